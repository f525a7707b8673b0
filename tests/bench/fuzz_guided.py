"""Coverage-guided fuzzing of the reader with atheris. Run: python -m tests.bench.fuzz_guided [SECONDS]

The journal's modules are instrumented; atheris changes a whole record, beginning from a real one. A verdict or Trouble may
come out, nothing else; a changed record may not be accepted. Needs `pip install atheris` (not a dependency).
"""

from __future__ import annotations

import contextlib
import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["handsfree.journal"]):
    from handsfree.errors import Trouble
    from handsfree.journal.reader import read
    from handsfree.journal.verify import verify

from tests.journal.made import write_visit


def main(seconds: float) -> None:
    with tempfile.TemporaryDirectory(prefix="handsfree-guided-") as name:
        seeds, folder = Path(name) / "seeds", Path(name) / "fuzzed"
        whole = (write_visit(Path(name) / "whole", sound=False) / "journal.jsonl").read_bytes()
        for made in (seeds, folder):
            made.mkdir()
        (seeds / "whole").write_bytes(whole)

        def one(data: bytes) -> None:
            (folder / "journal.jsonl").write_bytes(data)
            accepted = False
            with contextlib.suppress(Trouble):
                accepted = verify(folder).holds
            with contextlib.suppress(Trouble):
                list(read(folder))
            if accepted and data != whole:
                raise AssertionError("a changed record was accepted")

        size = f"-max_len={2 * len(whole)}"
        atheris.Setup([sys.argv[0], str(seeds), f"-max_total_time={seconds:.0f}", size, "-print_final_stats=1"], one)
        atheris.Fuzz()


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 60.0)
