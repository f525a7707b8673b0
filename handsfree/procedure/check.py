"""Everything a field visit would trip over, before the field: files, graphs, values, words, sounds and times.

A procedure that others call may lean on them for its end and its isolation: what its callers' books prove of it counts, and
what only shows when it runs alone is a note."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble
from handsfree.language import base
from handsfree.language.tokens import capital
from handsfree.procedure import (
    cabinet,
    listening,
    page_check,
    phrasing,
    recordings,
    safe,
    wording,
)  # fmt: skip
from handsfree.procedure.load import FileProblems, load_book, load_file, procedure_files, shown_path
from handsfree.procedure.model import Book
from handsfree.procedure.observations import Observations
from handsfree.procedure.pointing import pointed
from handsfree.procedure.remarks import Remark, Weight, remark_at
from handsfree.procedure.yamlfile import LIMIT_BYTES

#: What a procedure that is called may leave to its callers.
_LEFT_TO_CALLERS = frozenset({
    "dead end", "hazard while live", "proof without isolation", "restore without isolation", "hazard without caution",
})  # fmt: skip

#: Tells without parsing that a file may call others.
_CALL = re.compile(rb"kind:\s*['\"]?call")


@dataclass(frozen=True)
class CheckReport:
    """Of one file. `steps`: (id, seconds to listen). `routes`: the first ways through; `extent`: of all of them."""

    file: str
    procedure: str
    remarks: tuple[Remark, ...]
    steps: tuple[tuple[str, float], ...] = ()
    routes: tuple[listening.Route, ...] = ()
    extent: listening.Extent | None = None
    callers: tuple[str, ...] = field(default=())
    language: str = phrasing.USUAL

    @property
    def errors(self) -> int:
        return sum(remark.weight is Weight.ERROR for remark in self.remarks)


def check_path(
    path: Path, folders: Sequence[Path] | None = None, known: Observations | None = None
) -> tuple[CheckReport, ...]:
    """A file, or every procedure file of a folder. `known`: what the fault model can be told; if left out, the model
    that ships. Trouble where there is no file."""
    if path.is_dir():
        files = procedure_files(path)
        if not files:
            raise Trouble(f"There is no procedure file in {shown_path(path)}; a procedure's name ends in .yaml.")
        pages = path / cabinet.FOLDER
        files += procedure_files(pages) if pages.is_dir() else []
        return tuple(_check_in_folder(file, folders, known) for file in files)
    return (check_file(path, folders, known),)


def _check_page(path: Path) -> CheckReport:
    try:
        page = cabinet.load_page(path).page
    except FileProblems as error:
        return CheckReport(shown_path(path), path.stem, _file_remarks(error))
    where = shown_path(path)
    return CheckReport(where, page.cabinet, tuple(page_check.of_page(where, page)), language=page.language)


def _file_remarks(error: FileProblems) -> tuple[Remark, ...]:
    return tuple(
        Remark(
            one.file, one.line, one.step, "file", Weight.ERROR, capital(one.sentence), "",
            field=one.field, language=error.language,
        )
        for one in error.problems
    )


def _check_in_folder(path: Path, folders: Sequence[Path] | None, known: Observations | None) -> CheckReport:
    """A file that cannot be read does not keep the others from being checked."""
    try:
        return check_file(path, folders, known)
    except Trouble as error:
        remark = Remark(shown_path(path), 0, "", "file", Weight.ERROR, error.sentence, "")
        return CheckReport(shown_path(path), path.stem, (remark,))


def check_file(path: Path, folders: Sequence[Path] | None = None, known: Observations | None = None) -> CheckReport:
    """Trouble only where the file cannot be read at all; what is wrong in it is in the report."""
    if cabinet.is_page(path):
        return _check_page(path)
    try:
        loaded = load_file(path)
        book = load_book(path, folders)
    except FileProblems as error:
        return CheckReport(shown_path(path), path.stem, _file_remarks(error), language=error.language)
    name = book.main
    language = base.load(book.procedures[name].language)
    callers = _callers(path, name, folders)
    remarks = (
        *_name(path, book),
        *_graph(book, callers),
        *safe.remarks_of(book, name, known),
        *wording.remarks(book, name),
        *recordings.remarks(book, name, path.resolve().parent),
        *_times(book, name),
    )
    steps = book.procedures[name].steps
    sound = not any(remark.group == "graph" for remark in remarks)
    return CheckReport(
        book.file(name), name, tuple(sorted(pointed(remarks, loaded), key=lambda remark: (remark.line, remark.group))),
        tuple((step.id, round(listening.seconds(step), 1)) for step in steps),
        listening.routes(book) if sound else (), listening.extent(book) if sound else None,
        tuple(caller.main for caller in callers), language.code,
    )  # fmt: skip


def as_data(reports: Sequence[CheckReport]) -> dict[str, Any]:
    """For JSON."""
    return {
        "files": [asdict(report) | {"errors": report.errors} for report in reports],
        "errors": sum(report.errors for report in reports),
        "remarks": sum(len(report.remarks) for report in reports),
    }


def lines(report: CheckReport) -> Iterator[str]:
    """For people; the listening time of every step and of every way through is in the JSON."""
    say = partial(phrasing.say, report.language)
    for remark in report.remarks:
        yield remark.shown
    if report.steps:
        slowest, total = max(report.steps, key=lambda one: one[1]), sum(one[1] for one in report.steps)
        yield say(
            "steps-sum", file=report.file, n=len(report.steps), seconds=f"{total:.0f}", step=slowest[0],
            longest=f"{slowest[1]:.0f}",
        )  # fmt: skip
    if report.extent:
        yield f"{report.file}: {_summary(report.extent, say)}"
    if not report.remarks:
        yield say("clean", file=report.file)


def _summary(extent: listening.Extent, say: partial[str]) -> str:
    listen, work, locked = extent.listen, extent.minutes, extent.isolations
    if extent.ways == 1:
        return say("way-sum", listen=f"{listen[1]:.0f}", work=f"{work[1]:g}", locked=locked[1])
    return say(
        "ways-sum", ways=f"{extent.ways:,}", least=f"{listen[0]:.0f}", most=f"{listen[1]:.0f}", short=f"{work[0]:g}",
        long=f"{work[1]:g}", few=locked[0], many=locked[1],
    )  # fmt: skip


def _name(path: Path, book: Book) -> Iterator[Remark]:
    if path.stem != book.main:
        code = book.procedures[book.main].language
        yield Remark(
            book.file(book.main), 1, "", "file", Weight.ADVICE,
            phrasing.say(code, "file-name", file=path.stem, procedure=book.main), phrasing.say(code, "file-name-do"),
            language=code,
        )  # fmt: skip


def _callers(path: Path, name: str, folders: Sequence[Path] | None) -> tuple[Book, ...]:
    """Books of the files beside this one that lead to it. A file beside it that is itself wrong is no caller."""
    found = []
    for file in procedure_files(path.resolve().parent):
        if file.name == path.name or file.stat().st_size > LIMIT_BYTES or not _CALL.search(file.read_bytes()):
            continue
        try:
            book = load_book(file, folders)
            if name in book.procedures:
                found.append(book)
        except Trouble:
            continue
    return tuple(found)


def _graph(book: Book, callers: tuple[Book, ...]) -> Iterator[Remark]:
    """The faults of this procedure's file; those of what it calls are reported with that file, unless only this call brings
    them about."""
    for fault, kind in safe.graph_faults(book):
        own = fault.file == book.file(book.main)
        if not own and kind not in _LEFT_TO_CALLERS:
            continue
        if not (callers and own and kind in _LEFT_TO_CALLERS):
            yield fault
            continue
        names = ", ".join(f"`{one.main}`" for one in callers)
        yield replace(fault, weight=Weight.NOTE, do=phrasing.say(fault.language, "called-by", callers=names))


def _times(book: Book, name: str) -> Iterator[Remark]:
    for step in book.procedures[name].steps:
        piece = listening.longest_piece(step)
        if piece > listening.LIMIT_SECONDS:
            limit = f"{listening.LIMIT_SECONDS:.0f}"
            yield remark_at(book, name, step, "time", Weight.ADVICE, "too-long", seconds=f"{piece:.0f}", most=limit)
