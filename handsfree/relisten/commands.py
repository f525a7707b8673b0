"""The verb `relisten`, as a plain function; the command line registers it."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

#: Changes shown on the screen at most; --json has all.
SHOWN = 40


def relisten(
    place: Path, *, scheduler: str | None = None, engine: str | None = None, jobs: int | None = None, as_json: bool = False
) -> int:
    """`handsfree relisten DIR`. Exit status 1 where, at a gate, something is accepted now that was not then, or is accepted
    as something else. Trouble where there is no visit, no engine or no scheduler."""
    from handsfree.relisten.again import Relistened, batches, hear_batch, report_of
    from handsfree.relisten.spreading import on_cluster, on_cores
    from handsfree.settings import load_settings

    settings = load_settings(engine=engine)
    work = batches(place, settings.engine or None, settings.models.absolute())
    spread: Iterator[Relistened]
    spread = on_cluster(hear_batch, work, scheduler) if scheduler else on_cores(hear_batch, work, jobs)
    report = report_of(_watched(spread, len(work)))
    _print(report)
    if as_json:
        print(json.dumps(report.to_json()))
    return 1 if report.alarming else 0


def _watched(answers: Iterator[Any], total: int) -> Iterator[Any]:
    from rich.console import Console
    from rich.progress import track

    quiet = not sys.stderr.isatty()
    yield from track(answers, "Listening", total=total, console=Console(stderr=True, quiet=quiet), disable=quiet)


def _print(report: Any) -> None:
    from rich.console import Console
    from rich.table import Table

    from handsfree.relisten.again import HearingChange, ListenedFor

    console = Console()
    table = Table("listening for", *(str(change) for change in HearingChange))
    for stake in ListenedFor:
        table.add_row(str(stake), *(str(report.counts.get((stake, change), 0)) for change in HearingChange))
    console.print(table)
    for again in report.changed[:SHOWN]:
        then, now = (f"{each.verdict} ({each.meaning or 'nothing'}, {each.sure:.2f})" for each in (again.then, again.now))
        print(f"{again.stake}: {again.change}: {again.visit} event {again.n}, {again.clip}: then {then}, now {now}")
    if len(report.changed) > SHOWN:
        print(f"… and {len(report.changed) - SHOWN} more; --json has them all.")
    for visit, n, why in report.left_out:
        print(f"Not heard: {visit}{f' event {n}' if n >= 0 else ''}: {why}")
    removed = f", {report.removed} removed before" if report.removed else ""
    print(f"{report.clips} utterances of {report.visits} visits heard again by {report.engine or 'nothing'}{removed}.")
    if report.alarming:
        print(f"At gates {report.alarming} are newly accepted, or accepted as something else: look at them first.")
