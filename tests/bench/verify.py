"""How fast and in how much memory a record is verified, signed and not. Run: python -m tests.bench.verify [EVENTS]

Wanted: no less than a tenth of the speed of `sha256sum` over the same bytes, and memory that does not grow with the record.
Each verification is a process of its own, so that its greatest memory is its own.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from handsfree.journal import keys
from handsfree.journal.writer import Journal
from tests.bench.journal import OPENED, make, mixture
from tests.journal.made import TestClock

_VERIFY = """
import resource, sys, time
from pathlib import Path
from handsfree.journal import keys
from handsfree.journal.verify import verify
began = time.perf_counter()
report = verify(Path(sys.argv[1]), known=keys.known(Path(sys.argv[2])))
took = time.perf_counter() - began
assert report.holds, report
print(took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


class _NoSync:
    """The real file without its syncs: a million of them would take an hour and measure the disk."""

    def __init__(self, file: object) -> None:
        self._file = file

    def __getattr__(self, name: str) -> object:
        return getattr(self._file, name)

    def sync(self) -> None: ...


def make_signed(folder: Path, events: int, key: keys.DeviceKey) -> None:
    source = mixture()
    with Journal.create(folder, clock=TestClock(), key=key) as journal:
        journal._file = _NoSync(journal._file)  # type: ignore[assignment]  # a stand-in
        journal.append(OPENED)
        while journal.count < events - 1:
            journal.append(*(next(source) for _ in range(min(7, events - 1 - journal.count))))
        journal.seal()


def measure(name: str, folder: Path, known: Path) -> None:
    path = folder / "journal.jsonl"
    size = path.stat().st_size
    began = time.perf_counter()
    subprocess.run(["sha256sum", path], check=True, capture_output=True)
    plain = time.perf_counter() - began
    out = subprocess.run([sys.executable, "-c", _VERIFY, folder, known], check=True, capture_output=True, text=True).stdout
    took, memory = (float(part) for part in out.split())
    print(
        f"{name:<28} {size / 1e6:8.1f} MB   sha256sum {size / plain / 1e6:6.1f} MB/s   verify {size / took / 1e6:6.1f} MB/s"
        f"   share {plain / took:.3f}   greatest memory {memory:.1f} MB"
    )


def main(events: int) -> None:
    with tempfile.TemporaryDirectory(prefix="handsfree-bench-") as name:
        folder = Path(name)
        key = keys.make("bench", folder / "keys")
        for count in sorted({min(10_000, events), events}):
            make(folder / f"{count}", count)
            measure(f"{count} events", folder / f"{count}", folder / "none")
        some = min(events, 100_000)
        make_signed(folder / "signed", some, key)
        measure(f"{some} events, all signed", folder / "signed", folder / "keys")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
