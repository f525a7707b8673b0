"""A pack of the real program, set up with no network: `python -m tests.bench.packs [--wheels FOLDER]`. Linux, root.

It fetches some 240 MB of wheels, sets the pack up in a network namespace that has no network (`unshare --net`), and tells
the size of the pack, of what was installed, and of its largest parts."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from handsfree.pack.making import PackOptions, make

MEGABYTE = 1e6


def size(folder: Path) -> float:
    """Megabytes of files."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file() and not path.is_symlink()) / MEGABYTE


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--wheels", type=Path, default=None)
    wheels = parser.parse_args().wheels
    with tempfile.TemporaryDirectory(prefix="packs-") as made:
        pack, there = Path(made) / "kit", Path(made) / "there"
        make(pack, PackOptions(wheels, Path(made) / "none", None))
        print(f"pack: {pack.stat().st_size / MEGABYTE:.0f} MB")
        kept = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
        done = subprocess.run(["unshare", "--net", sys._base_executable, str(pack), str(there)], env=kept, check=False)  # type: ignore[attr-defined]  # of CPython
        if done.returncode:
            return done.returncode
        print(f"installed, and proved by the demo: {size(there):.0f} MB")
        packages = next(there.glob("program/lib/python*/site-packages"))
        parts = sorted(((size(one), one.name) for one in packages.iterdir() if one.is_dir()), reverse=True)
        for megabytes, name in parts[:16]:
            print(f"  {megabytes:5.0f} MB  {name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
