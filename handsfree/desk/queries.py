"""The pages' queries. Every query has a scope: whose visits the viewer may see.

What a page asks of the database is put together once for each scope and filter, and kept: putting it together takes longer
than the answer. Only the question is kept, never an answer.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Engine,
    Executable,
    Row,
    Select,
    and_,
    bindparam,
    exists,
    false,
    func,
    literal_column,
    or_,
    select,
    table,
    true,
    tuple_,
)
from sqlalchemy.orm import aliased

from handsfree.desk.database import look_up
from handsfree.desk.tables import (
    GOOD,
    Diagnosis,
    File,
    FindingRow,
    Reading,
    Saying,
    ThreadRow,
    TranscriptLine,
    Visit,
    folded,
)

PAGE = 50
Rows = Sequence[Row[Any]]
#: Questions kept, those asked last: of a few hundred people who look, each with a few lists.
kept_questions = lru_cache(maxsize=2000)


@dataclass(frozen=True)
class Scope:
    """`technicians`: whose visits, None for everybody's."""

    technicians: tuple[str, ...] | None = None

    def has(self, technician: str) -> bool:
        return self.technicians is None or technician in self.technicians

    def where(self, technician: Any = Visit.technician) -> ColumnElement[bool]:
        return true() if self.technicians is None else technician.in_(self.technicians)


EVERYBODY = Scope()


@dataclass(frozen=True)
class Filter:
    """'' and None do not count. `site`, `cabinet`, `technician` and `fault` match a part, whatever its capitals and accents.
    `since`, `until`: seconds of the epoch. `level`: of a finding it has; `open`: one that is not closed. `version`: as
    `readout.version_of` writes it. `exactly`: the technician, by one of these names, whole. `words`: that were said or
    noted in it; all begin a word of one saying. `at`: (site, cabinet) as records have them, at one of which it was. `sites`,
    `cabinets`, `technicians`: names that records have for what the registry calls so; they count beside a part."""

    site: str = ""
    cabinet: str = ""
    technician: str = ""
    fault: str = ""
    since: float | None = None
    until: float | None = None
    outcome: str = ""
    procedure: str = ""
    level: str = ""
    open: bool = False
    version: str = ""
    words: str = ""
    exactly: tuple[str, ...] = ()
    at: tuple[tuple[str, str], ...] = ()
    sites: tuple[str, ...] = ()
    cabinets: tuple[tuple[str, str], ...] = ()
    technicians: tuple[str, ...] = ()

    def where(self, postgresql: bool) -> list[ColumnElement[bool]]:
        parts = (
            (self.site, Visit.site_folded, Visit.site.in_(self.sites)),
            (self.cabinet, Visit.cabinet_folded, _at(self.cabinets)),
            (self.technician, Visit.technician_folded, Visit.technician.in_(self.technicians)),
        )
        known = (self.sites, self.cabinets, self.technicians)
        found: list[ColumnElement[bool]] = []
        for (part, column, named), names in zip(parts, known, strict=True):
            if part:
                has: ColumnElement[bool] = column.contains(folded(part), autoescape=True)
                found.append(or_(has, named) if names else has)
        if self.at:
            found.append(_at(self.at))
        if self.exactly:
            found.append(Visit.technician.in_(self.exactly))
        exact = (
            (Visit.outcome, self.outcome), (Visit.procedure, self.procedure),
            (Visit.version, self.version),
        )  # fmt: skip
        found += [column == value for column, value in exact if value]
        if self.fault:
            # EXISTS, not IN: SQLite would gather every visit that ever had the fault before it looked at the newest.
            named = exists().where(Diagnosis.visit_id == Visit.id, Diagnosis.fault == self.fault.replace(" ", "-"))
            found.append(or_(Visit.found_folded.contains(folded(self.fault), autoescape=True), named))
        if self.level or self.open:
            about = [FindingRow.visit_id == Visit.id, *([FindingRow.level == self.level] if self.level else []),
                     *([~FindingRow.closed] if self.open else [])]
            found.append(exists().where(*about))
        if self.words:
            found.append(said_in(self.words, postgresql))
        if self.since is not None:
            found.append(Visit.began >= self.since)
        if self.until is not None:
            found.append(Visit.began < self.until)
        return found


def _at(pairs: Sequence[tuple[str, str]]) -> ColumnElement[bool]:
    return or_(false(), *(and_(Visit.site == site, Visit.cabinet == cabinet) for site, cabinet in pairs))


#: What a list of visits can be sorted by, beside the newest first.
SORTS: dict[str, tuple[Any, ...]] = {
    "gravest": (Visit.rank, Visit.began.desc(), Visit.id.desc()),
    "site": (Visit.site_folded, Visit.cabinet_folded, Visit.began.desc(), Visit.id.desc()),
    "cabinet": (Visit.cabinet_folded, Visit.site_folded, Visit.began.desc(), Visit.id.desc()),
    "technician": (Visit.technician_folded, Visit.began.desc(), Visit.id.desc()),
    "longest": (Visit.on_site.desc(), Visit.id.desc()),
    "oldest": (Visit.began, Visit.id),
    "outcome": (Visit.outcome, Visit.began.desc(), Visit.id.desc()),
    "procedure": (Visit.procedure, Visit.version, Visit.began.desc(), Visit.id.desc()),
}


def visits(
    engine: Engine, scope: Scope, want: Filter, after: tuple[float, int] | None = None, most: int = PAGE, *,
    sort: str = "", skip: int = 0,
) -> Rows:
    """The newest first; `after`: (began, id) of the last one seen. Sorted by SORTS, leaving out the first `skip`. One more
    than `most`, if there are more."""
    return look_up(engine, _visits(_is_postgresql(engine), scope, want, after, most, sort, skip))


@kept_questions
def _visits(
    postgresql: bool, scope: Scope, want: Filter, after: tuple[float, int] | None, most: int, sort: str, skip: int
) -> Executable:
    asked = select(Visit).where(scope.where(), *want.where(postgresql))
    if sort in SORTS:
        return _columns(asked).order_by(*SORTS[sort]).offset(skip).limit(most + 1)
    if after is not None:
        asked = asked.where(tuple_(Visit.began, Visit.id) < tuple_(*after))
    return _columns(asked).order_by(Visit.began.desc(), Visit.id.desc()).limit(most + 1)


def _columns(asked: Select[Any]) -> Select[Any]:
    of_it = (FindingRow.visit_id == Visit.id, ~FindingRow.closed)
    trouble = select(func.count()).where(*of_it).scalar_subquery()
    worst = select(FindingRow.rule).where(*of_it).order_by(FindingRow.rank, FindingRow.n).limit(1).scalar_subquery()
    level = select(FindingRow.level).where(*of_it).order_by(FindingRow.rank, FindingRow.n).limit(1).scalar_subquery()
    return asked.with_only_columns(
        *Visit.__table__.columns, trouble.label("open_findings"), worst.label("worst"), level.label("level")
    )


def visit(engine: Engine, scope: Scope, name: str) -> Row[Any] | None:
    found = look_up(engine, _visit(scope), {"called": name})
    return found[0] if found else None


@kept_questions
def _visit(scope: Scope) -> Executable:
    return select(*Visit.__table__.columns).where(scope.where(), Visit.name == bindparam("called"))


def files(engine: Engine, visit_id: int) -> dict[int, Row[Any]]:
    """Event -> its file."""
    return {row.n: row for row in look_up(engine, _FILES, {"of": visit_id})}


_FILES = select(File.n, File.path, File.sha256).where(File.visit_id == bindparam("of"))


def file(engine: Engine, scope: Scope, name: str, n: int) -> Row[Any] | None:
    asked = select(File.path, File.sha256).join(Visit, Visit.id == File.visit_id)
    found = look_up(engine, asked.where(scope.where(), Visit.name == name, File.n == n))
    return found[0] if found else None


def all_files(engine: Engine) -> list[tuple[str, str, str]]:
    asked = select(Visit.name, File.path, File.sha256).join(Visit, Visit.id == File.visit_id).order_by(Visit.id, File.n)
    return [(row.name, row.path, row.sha256) for row in look_up(engine, asked)]


def due(engine: Engine, scope: Scope, most: int = 200) -> Rows:
    """Visits to be continued to which nobody has come back, the one due first at the top."""
    return look_up(engine, _due(scope, most))


@kept_questions
def _due(scope: Scope, most: int) -> Executable:
    later = aliased(Visit)
    came_back = exists().where(later.place == Visit.place, later.began > Visit.began, later.standing == GOOD,
                               Visit.place != 0)
    asked = select(*Visit.__table__.columns).where(scope.where(), Visit.due.is_not(None), Visit.standing == GOOD, ~came_back)
    return asked.order_by(Visit.due).limit(most)


def _is_postgresql(engine: Engine) -> bool:
    return engine.dialect.name == "postgresql"


def _words(text: str) -> list[str]:
    return re.findall(r"\w+", folded(text))[:8]


def said_in(text: str, postgresql: bool) -> ColumnElement[bool]:
    """Visits in which all these words begin words of one utterance; none if there is no word."""
    words = _words(text)
    if not words:
        return false()
    matching = _matching(words, postgresql)
    return Visit.id.in_(select(TranscriptLine.visit_id).join(matching, matching.c.id == TranscriptLine.saying_id))


def search(engine: Engine, scope: Scope, text: str, who: str = "", most: int = PAGE) -> Rows:
    """Lines in which all the words begin, the newest first. `who`: technician, program or note, '' for all."""
    words = tuple(_words(text))
    return look_up(engine, _search(_is_postgresql(engine), scope, words, who, most)) if words else []


@kept_questions
def _search(postgresql: bool, scope: Scope, words: tuple[str, ...], who: str, most: int) -> Executable:
    matching = _matching(words, postgresql)
    conditions = [scope.where(), *([TranscriptLine.who == who] if who else [])]
    columns = (
        TranscriptLine.n, TranscriptLine.at, TranscriptLine.who, TranscriptLine.verdict, TranscriptLine.step,
        TranscriptLine.sure, Visit.name, Visit.began, Visit.began_text, Visit.site, Visit.cabinet, Visit.technician,
    )  # fmt: skip
    newest = (TranscriptLine.began.desc(), TranscriptLine.visit_id.desc(), TranscriptLine.n)
    if postgresql:  # a few of each saying by its index, then the newest of those: 'affirm' alone has millions
        some = (
            select(*columns, TranscriptLine.visit_id)
            .join(Visit, Visit.id == TranscriptLine.visit_id)
            .where(TranscriptLine.saying_id == matching.c.id, *conditions)
            .order_by(*newest)
            .limit(most)
            .lateral("some")
        )
        asked = select(some, matching.c.text).select_from(matching).join(some, true())
        return asked.order_by(some.c.began.desc(), some.c.visit_id.desc(), some.c.n).limit(most)
    asked = select(*columns, matching.c.text).join(Visit, Visit.id == TranscriptLine.visit_id)
    asked = asked.join(matching, matching.c.id == TranscriptLine.saying_id).where(*conditions)
    return asked.order_by(*newest).limit(most)


def _matching(words: Sequence[str], postgresql: bool) -> Any:
    """The sayings. A few hundred at most: a search that finds more wants another word."""
    if postgresql:
        query = " & ".join(f"{word}:*" for word in words)
        found = func.to_tsvector(literal_column("'simple'"), Saying.folded).op("@@")(
            func.to_tsquery(literal_column("'simple'"), query)
        )
        return select(Saying.id, Saying.text).where(found).limit(300).subquery("matching")
    query = " ".join(f'"{word}"*' for word in words)
    index: ColumnElement[str] = literal_column("sayings_words")
    rowid: ColumnElement[int] = literal_column("rowid")
    rows = select(rowid).select_from(table("sayings_words")).where(index.op("MATCH")(query))
    return select(Saying.id, Saying.text).where(Saying.id.in_(rows)).limit(300).subquery("matching")


@dataclass(frozen=True)
class FindingQuery:
    """Which findings: `closed` or open; of a `rule`, a `level`; whose thread has a `state` ('asked', 'answered', …), is
    `assigned` to an account, or has `asked` a technician; of visits as `of` has it. '' does not count."""

    closed: bool = False
    rule: str = ""
    level: str = ""
    state: str = ""
    assigned: str = ""
    asked: str = ""
    of: Filter = field(default_factory=lambda: Filter())

    def where(self, postgresql: bool) -> list[ColumnElement[bool]]:
        pairs = (
            (FindingRow.rule, self.rule), (FindingRow.level, self.level), (ThreadRow.state, self.state),
            (ThreadRow.assigned, self.assigned), (ThreadRow.asked, self.asked),
        )  # fmt: skip
        found: list[ColumnElement[bool]] = [column == value for column, value in pairs if value]
        return [FindingRow.closed.is_(True) if self.closed else ~FindingRow.closed, *found, *self.of.where(postgresql)]


def findings(engine: Engine, scope: Scope, want: FindingQuery | None = None, most: int = 100, skip: int = 0) -> Rows:
    """The worklist: open ones, the most serious first and then the newest; or closed ones, the last closed first."""
    return look_up(engine, _findings(_is_postgresql(engine), scope, want or FindingQuery(), most, skip))


@kept_questions
def _findings(postgresql: bool, scope: Scope, want: FindingQuery, most: int, skip: int) -> Executable:
    asked = (
        select(FindingRow.key, FindingRow.n, FindingRow.at, FindingRow.rule, FindingRow.sentence, FindingRow.level,
               FindingRow.closed, Visit.name, Visit.head, Visit.found, Visit.standing, Visit.procedure, Visit.complaint,
               Visit.version, Visit.began_text, Visit.site, Visit.cabinet, Visit.technician, ThreadRow.by, ThreadRow.comment,
               ThreadRow.wall, ThreadRow.device, ThreadRow.state, ThreadRow.assigned, ThreadRow.asked, ThreadRow.due)
        .join(Visit, Visit.id == FindingRow.visit_id)
        .outerjoin(ThreadRow, ThreadRow.key == FindingRow.key)
        .where(scope.where(FindingRow.technician), *want.where(postgresql))
    )
    newest = (FindingRow.rank, FindingRow.began.desc(), FindingRow.n)
    order = (ThreadRow.wall.desc(), FindingRow.key) if want.closed else newest
    return asked.order_by(*order).offset(skip).limit(most)


def finding(engine: Engine, scope: Scope, key: str) -> Row[Any] | None:
    asked = select(FindingRow.key, FindingRow.n, FindingRow.rule, FindingRow.sentence, Visit.name, Visit.head,
                   Visit.technician, ThreadRow.asked, ThreadRow.state)
    asked = asked.join(Visit, Visit.id == FindingRow.visit_id).outerjoin(ThreadRow, ThreadRow.key == FindingRow.key)
    found = look_up(engine, asked.where(scope.where(), FindingRow.key == key))
    return found[0] if found else None


def findings_of(engine: Engine, visit_id: int) -> Rows:
    """Of one visit, the most serious first."""
    return look_up(engine, _FINDINGS_OF, {"of": visit_id})


_FINDINGS_OF = (
    select(*FindingRow.__table__.columns, ThreadRow.state, ThreadRow.assigned, ThreadRow.asked)
    .outerjoin(ThreadRow, ThreadRow.key == FindingRow.key).where(FindingRow.visit_id == bindparam("of"))
    .order_by(FindingRow.rank, FindingRow.n).limit(40)
)  # fmt: skip


def tally(engine: Engine, scope: Scope) -> list[tuple[str, str, int]]:
    """(level, rule, how many) of the open findings, the most serious rule first."""
    return [(row.level, row.rule, int(row.many)) for row in look_up(engine, _tally(scope))]


@kept_questions
def _tally(scope: Scope) -> Executable:
    asked = select(FindingRow.level, FindingRow.rule, func.count().label("many"))
    asked = asked.where(~FindingRow.closed, scope.where(FindingRow.technician))
    return asked.group_by(FindingRow.level, FindingRow.rule).order_by(func.min(FindingRow.rank))


def readings(engine: Engine, scope: Scope, at: Sequence[tuple[str, str]]) -> Rows:
    """Of one cabinet, under each (site, cabinet) that records have for it, by quantity and time: the last two thousand."""
    here = or_(*(and_(Reading.site == site, Reading.cabinet == cabinet) for site, cabinet in at))
    asked = (
        select(*Reading.__table__.columns, Visit.name, Visit.began, Visit.began_text, Visit.technician)
        .join(Visit, Visit.id == Reading.visit_id)
        .where(scope.where(), here)
        .order_by(Reading.taken.desc())
        .limit(2000)
    )
    return sorted(look_up(engine, asked), key=lambda row: (row.quantity, row.taken, row.n))


def places(engine: Engine, scope: Scope) -> Rows:
    """Site and cabinet of the last visits, for choosing from; a fleet has more than anybody would scroll through."""
    last = select(Visit.site, Visit.cabinet, Visit.technician).where(scope.where())
    last = last.order_by(Visit.began.desc()).limit(2000)
    return look_up(engine, select(last.subquery()).distinct())


def choices(engine: Engine, scope: Scope) -> dict[str, list[str]]:
    """What the fields of a form offer, from the last visits only."""
    columns = {"sites": Visit.site, "cabinets": Visit.cabinet, "technicians": Visit.technician, "outcomes": Visit.outcome,
               "procedures": Visit.procedure, "versions": Visit.version}  # fmt: skip
    last = select(*columns.values()).where(scope.where()).order_by(Visit.began.desc()).limit(2000)
    rows = look_up(engine, select(last.subquery()).distinct())
    found = {name: sorted({row[at] for row in rows} - {""}) for at, name in enumerate(columns)}
    return {**found, "faults": faults(engine, scope)}


def faults(engine: Engine, scope: Scope) -> list[str]:
    """Names of the faults found in the last visits."""
    last = select(Diagnosis.fault).order_by(Diagnosis.visit_id.desc()).limit(2000)
    if scope.technicians is not None:  # from their visits: among everybody's faults theirs would be sought for long
        theirs = select(Visit.id).where(scope.where()).order_by(Visit.began.desc()).limit(2000).subquery()
        last = select(Diagnosis.fault).join(theirs, theirs.c.id == Diagnosis.visit_id)
    return sorted({row.fault for row in look_up(engine, select(last.subquery()).distinct())})
