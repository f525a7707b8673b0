"""How listening again grows with cores and with workers of a cluster: clips a second, as a curve.

Run: python -m tests.bench.relisten [VISITS] [MOST]. An archive of VISITS visits of six recordings each is made and heard
again with the cheap engine by 1, 2, … MOST processes of this machine, then by as many Dask workers on loopback, one thread
each, and the answers are compared. Starting processes and loading the engine is in the times, as it is in the verb's. On a
machine of N cores the curve can only rise up to N; what else runs there is in the figures, so its load is printed too.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from handsfree.relisten.again import Relistened, RelistenReport, batches, hear_batch, report_of
from handsfree.relisten.spreading import on_cluster, on_cores
from tests.relisten import heard
from tests.relisten.test_relisten import cluster


def timed(answers: Callable[[], Iterator[Relistened]]) -> tuple[RelistenReport, float]:
    began = time.perf_counter()
    return report_of(answers()), time.perf_counter() - began


def main(visits: int = 24, most: int = 4) -> None:
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(f"{os.cpu_count()} cores, load before the start {load:.1f}; {visits} visits; engine {heard.ENGINE}")
    with tempfile.TemporaryDirectory() as place:
        archive = Path(place) / "archive"
        archive.mkdir()
        heard.copied(heard.heard_visit(archive, "2026-05-01-heard", 1, 20), visits - 1)
        work = batches(archive, heard.ENGINE, Path("no-models"))
        first: RelistenReport | None = None
        alone = 0.0
        print(f"{'':10}{'at once':>8}{'clips':>8}{'seconds':>9}{'clips/s':>9}{'speed-up':>10}  same answer")
        for kind in ("processes", "workers"):
            for count in (n for n in (1, 2, 3, 4, 8, 16) if n <= most):
                if kind == "processes":
                    report, seconds = timed(lambda count=count: on_cores(hear_batch, work, count))  # type: ignore[misc]  # a default binds it now
                else:
                    there = Path(place) / f"cluster-{count}"
                    there.mkdir()
                    with cluster(there, count) as (address, _):
                        report, seconds = timed(lambda at=address: on_cluster(hear_batch, work, at))  # type: ignore[misc]  # a default binds it now
                first, alone = first or report, alone or seconds
                print(
                    f"{kind:10}{count:8}{report.clips:8}{seconds:9.1f}{report.clips / seconds:9.2f}{alone / seconds:10.2f}"
                    f"  {'yes' if report == first else 'NO'}",
                    flush=True,
                )


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:3]))
