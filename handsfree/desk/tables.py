"""The desk's tables: everything in them is worked out from the visit folders and the desk's journal, and can be again.

Rules of this file:

- The folders are authoritative. A table contains nothing that is not in a folder or in the desk's own journal of acts.
- A moment is a double: seconds of the epoch, UTC. Both databases subtract and compare them alike; `began_text` keeps the
  wall time with its offset as the record has it. In PostgreSQL `to_timestamp(began)` shows one.
- The same things are said again and again. A text is kept once, in `sayings`, and a line points to it: full-text search
  looks through the distinct texts, which stop growing long before the lines do.
- Rows that are asked for by time carry `began` themselves, so that each table can be partitioned by it alone.
"""

from __future__ import annotations

import unicodedata
from typing import Any

from sqlalchemy import BigInteger, Boolean, Double, ForeignKey, Index, Integer, String, Text, text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

#: SQLite counts its own rows only in a column of type INTEGER.
Id = BigInteger().with_variant(Integer, "sqlite")


#: It counts; its record is broken; or whole, but not what the program writes, or not compared; arrived broken; is a copy.
GOOD, NOT_HOLDING, DEPARTING, QUARANTINED, COPY = "good", "broken", "departing", "quarantine", "copy"


def folded(text: str) -> str:
    """Without capitals and accents: as names are searched for."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in plain if not unicodedata.combining(c))


class Base(DeclarativeBase):
    """The derived tables. What must outlive them (people, sessions) is in `people_tables`."""


class CabinetName(Base):
    """A cabinet by a name that records have for it. `one`: the row whose cabinet it is, its own where the registry says
    nothing of it: see `places`."""

    __tablename__ = "places"

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    site: Mapped[str] = mapped_column(Text)
    cabinet: Mapped[str] = mapped_column(Text)
    one: Mapped[int] = mapped_column(Integer)
    __table_args__ = (Index("places_by_name", "site", "cabinet", unique=True), Index("places_that_are_one", "one"))


#: Visits within `returns.AGAIN_DAYS` days of the one before, of those that count.
RETURNED = "standing = 'good' AND since_last <= 2592000"


class Visit(Base):
    """`size`: of the journal file when it was read, `changed`: `marks.judged_by` then, `reading`: version of the reading
    code; by these a refresh knows what is stale. `trips`: 1, and one more for each return to one that was to be
    continued. `due`: earliest return of one to be continued, None otherwise. `problem`: why the record does not hold, ''
    where it does. `found`: the diagnosis in words. `standing`: GOOD, or why it counts in no figure. `rank`: of its gravest
    finding, closed or not. `…_folded`: as `folded` writes them, for finding them by a part. `complaint`: what it was opened
    for, in words; `version`: of that procedure, as it calls itself, and the beginning of its text's hash. `parts`: what was
    fitted or exchanged. `heard`, `again`: utterances for the program, and how often it asked again. `since_last`,
    `until_next`: seconds to the visit before and after at the same cabinet, None for none. `day`: days since 1970-01-01, by
    the clock of the place. `place`: which cabinet, whatever it was called (`CabinetName.one`), 0 where it names none.
    `words`: of `head`, '' where they were not worked out (they are slow by design)."""

    __tablename__ = "visits"

    id: Mapped[int] = mapped_column(Id, primary_key=True)
    name: Mapped[str] = mapped_column(String(255), unique=True)
    size: Mapped[int] = mapped_column(BigInteger)
    changed: Mapped[int] = mapped_column(BigInteger)
    reading: Mapped[int] = mapped_column(Integer)
    head: Mapped[str] = mapped_column(String(64))
    events: Mapped[int] = mapped_column(Integer)
    problem: Mapped[str] = mapped_column(Text)
    signed_by: Mapped[str] = mapped_column(Text)
    procedure: Mapped[str] = mapped_column(Text)
    technician: Mapped[str] = mapped_column(Text)
    site: Mapped[str] = mapped_column(Text)
    cabinet: Mapped[str] = mapped_column(Text)
    program: Mapped[str] = mapped_column(Text)
    engine: Mapped[str] = mapped_column(Text)
    began: Mapped[float] = mapped_column(Double)
    began_text: Mapped[str] = mapped_column(Text)
    lasted: Mapped[float] = mapped_column(Double)
    outcome: Mapped[str] = mapped_column(Text)
    trips: Mapped[int] = mapped_column(Integer)
    due: Mapped[float | None] = mapped_column(Double)
    found: Mapped[str] = mapped_column(Text, server_default="")
    site_folded: Mapped[str] = mapped_column(Text, server_default="")
    cabinet_folded: Mapped[str] = mapped_column(Text, server_default="")
    technician_folded: Mapped[str] = mapped_column(Text, server_default="")
    found_folded: Mapped[str] = mapped_column(Text, server_default="")
    on_site: Mapped[float] = mapped_column(Double, server_default="0")
    standing: Mapped[str] = mapped_column(String(12), server_default="good")
    rank: Mapped[int] = mapped_column(Integer, server_default="99")
    complaint: Mapped[str] = mapped_column(Text, server_default="")
    version: Mapped[str] = mapped_column(String(40), server_default="")
    parts: Mapped[str] = mapped_column(Text, server_default="")
    heard: Mapped[int] = mapped_column(Integer, server_default="0")
    again: Mapped[int] = mapped_column(Integer, server_default="0")
    since_last: Mapped[float | None] = mapped_column(Double)
    until_next: Mapped[float | None] = mapped_column(Double)
    day: Mapped[int] = mapped_column(Integer, server_default="0")
    place: Mapped[int] = mapped_column(Integer, server_default="0")
    words: Mapped[str] = mapped_column(Text, server_default="")
    __table_args__ = (
        Index("visits_by_place", "place", "began"),
        Index("visits_returned", "day", "place", postgresql_where=text(RETURNED), sqlite_where=text(RETURNED)),
        Index("visits_by_day", "day"),
        Index("visits_by_time", "began", "id"),
        *(Index(f"visits_by_{name}", name, "began") for name in ("site", "cabinet", "technician", "outcome", "procedure")),
        Index("visits_by_due", "due"),
        Index("visits_by_rank", "rank", began.desc(), id.desc()),
    )


class Saying(Base):
    """A text, once. `folded`: as it is searched for."""

    __tablename__ = "sayings"

    id: Mapped[int] = mapped_column(Id, primary_key=True)
    digest: Mapped[str] = mapped_column(String(64), unique=True)
    text: Mapped[str] = mapped_column(Text)
    folded: Mapped[str] = mapped_column(Text, server_default="")


def _visit() -> Mapped[int]:
    return mapped_column(Id, ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True)


def _n() -> Mapped[int]:
    return mapped_column(Integer, primary_key=True)


class TranscriptLine(Base):
    """An utterance, a note or a prompt. `who`: technician, program, note. `verdict`: of an utterance, '' otherwise."""

    __tablename__ = "lines"

    visit_id: Mapped[int] = _visit()
    n: Mapped[int] = _n()
    began: Mapped[float] = mapped_column(Double)
    at: Mapped[float] = mapped_column(Double)
    who: Mapped[str] = mapped_column(String(12))
    verdict: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    sure: Mapped[float] = mapped_column(Double)
    procedure: Mapped[str] = mapped_column(Text)
    step: Mapped[str] = mapped_column(Text)
    saying_id: Mapped[int] = mapped_column(Id, ForeignKey("sayings.id"))
    __table_args__ = (Index("lines_by_saying", "saying_id", "began"),)


class File(Base):
    """Sound and attachments that a record binds; what is served is compared with `sha256` first."""

    __tablename__ = "files"

    visit_id: Mapped[int] = _visit()
    n: Mapped[int] = _n()
    path: Mapped[str] = mapped_column(String(200))
    sha256: Mapped[str] = mapped_column(String(64))


class Reading(Base):
    """`where`: '', 'in range', 'out of its expected range', 'not plausible', 'over range', 'unsteady'."""

    __tablename__ = "readings"

    visit_id: Mapped[int] = _visit()
    n: Mapped[int] = _n()
    taken: Mapped[float] = mapped_column(Double)
    site: Mapped[str] = mapped_column(Text)
    cabinet: Mapped[str] = mapped_column(Text)
    procedure: Mapped[str] = mapped_column(Text)
    step: Mapped[str] = mapped_column(Text)
    quantity: Mapped[str] = mapped_column(Text)
    value: Mapped[float | None] = mapped_column(Double)
    unit: Mapped[str] = mapped_column(Text)
    low: Mapped[float | None] = mapped_column(Double)
    high: Mapped[float | None] = mapped_column(Double)
    where: Mapped[str] = mapped_column(Text)
    __table_args__ = (Index("readings_of_cabinet", "cabinet", "site", "quantity", "taken"),)


class GateChange(Base):
    __tablename__ = "gates"

    visit_id: Mapped[int] = _visit()
    n: Mapped[int] = _n()
    at: Mapped[float] = mapped_column(Double)
    was: Mapped[str] = mapped_column(Text)
    now: Mapped[str] = mapped_column(Text)
    how: Mapped[str] = mapped_column(Text)
    why: Mapped[str] = mapped_column(Text)
    step: Mapped[str] = mapped_column(Text)


class Diagnosis(Base):
    """A diagnosis the procedure came to. `tells`: see `journal.found`."""

    __tablename__ = "faults"

    visit_id: Mapped[int] = _visit()
    n: Mapped[int] = _n()
    began: Mapped[float] = mapped_column(Double)
    fault: Mapped[str] = mapped_column(Text)
    tells: Mapped[str] = mapped_column(String(8), server_default="fault")
    text: Mapped[str] = mapped_column(Text)
    __table_args__ = (Index("faults_by_name", "fault", "began"),)


#: The ordinal of 1970-01-01.
EPOCH = 719_163
#: As each database writes what asks for open findings: SQLite takes a partial index only where it says the same.
OPEN: dict[str, Any] = {"postgresql_where": text("NOT closed"), "sqlite_where": text("closed = 0")}


class FindingRow(Base):
    """A computed finding. `key` names it for good: of the visit, the event's hash-chained number and the rule.
    `closed`: it was signed off or dismissed, by the desk's journal. `technician`: of the visit."""

    __tablename__ = "findings"

    key: Mapped[str] = mapped_column(String(64), primary_key=True)
    visit_id: Mapped[int] = mapped_column(Id, ForeignKey("visits.id", ondelete="CASCADE"))
    n: Mapped[int] = mapped_column(Integer)
    began: Mapped[float] = mapped_column(Double)
    at: Mapped[float] = mapped_column(Double)
    rule: Mapped[str] = mapped_column(Text)
    sentence: Mapped[str] = mapped_column(Text)
    level: Mapped[str] = mapped_column(String(8), server_default="look")
    rank: Mapped[int] = mapped_column(Integer, server_default="99")
    closed: Mapped[bool] = mapped_column(Boolean)
    technician: Mapped[str] = mapped_column(Text, server_default="")
    __table_args__ = (
        Index("findings_of_visit", "visit_id", "n"),
        Index("findings_by_rank", "rank", began.desc(), "n", **OPEN),
        Index("findings_open", "began", **OPEN),
        Index("findings_open_of", "technician", **OPEN),
    )


class ThreadRow(Base):
    """How the thread of a finding stands, out of the desk's journal. `state`: '' or of the last act that has one
    (`acts.WHAT`); `closed`; `assigned`: to which account; `asked`: which technician; `due`: the day of the last
    follow-up. `by`, `comment`, `wall`, `device`: of the act that closed it last."""

    __tablename__ = "threads"

    key: Mapped[str] = mapped_column(String(64), primary_key=True)
    visit: Mapped[str] = mapped_column(String(255))
    state: Mapped[str] = mapped_column(String(20))
    closed: Mapped[bool] = mapped_column(Boolean)
    assigned: Mapped[str] = mapped_column(Text)
    asked: Mapped[str] = mapped_column(Text)
    due: Mapped[str] = mapped_column(String(10))
    by: Mapped[str] = mapped_column(Text)
    comment: Mapped[str] = mapped_column(Text)
    wall: Mapped[str] = mapped_column(String(40))
    device: Mapped[str] = mapped_column(Text)
    __table_args__ = (Index("threads_by_assigned", "assigned"), Index("threads_by_asked", "asked"))


class ActRow(Base):
    """One act in the thread of a finding. `n`: its line in the desk's journal, None for an answer that was spoken on a
    visit: then `spoken` is the visit and `spoken_n` the event. `at`: seconds of the epoch."""

    __tablename__ = "acts"

    id: Mapped[int] = mapped_column(Id, primary_key=True)
    n: Mapped[int | None] = mapped_column(Integer)
    key: Mapped[str] = mapped_column(String(64))
    visit: Mapped[str] = mapped_column(String(255))
    what: Mapped[str] = mapped_column(String(20))
    by: Mapped[str] = mapped_column(Text)
    text: Mapped[str] = mapped_column(Text)
    to: Mapped[str] = mapped_column(Text)
    due: Mapped[str] = mapped_column(String(10))
    wall: Mapped[str] = mapped_column(String(40))
    at: Mapped[float] = mapped_column(Double)
    device: Mapped[str] = mapped_column(Text)
    spoken: Mapped[str] = mapped_column(String(255), server_default="")
    spoken_n: Mapped[int] = mapped_column(Integer, server_default="0")
    __table_args__ = (Index("acts_of_finding", "key", "at"), Index("acts_by_what", "what", "at"))


class SpokenAnswer(Base):
    """The note `n` of a visit answers what was asked of the finding `key`: it was put at close-out."""

    __tablename__ = "spoken_answers"

    visit_id: Mapped[int] = _visit()
    n: Mapped[int] = _n()
    key: Mapped[str] = mapped_column(String(64))
    __table_args__ = (Index("spoken_answers_by_finding", "key"),)


class StepRow(Base):
    """One stay in a step. `seconds` until it was left; `again`: askings-again; `repeated`: 'say again'; `back`: left by
    'go back'; `stood_by`: 'stand by'."""

    __tablename__ = "steps"

    visit_id: Mapped[int] = _visit()
    n: Mapped[int] = _n()
    began: Mapped[float] = mapped_column(Double)
    procedure: Mapped[str] = mapped_column(Text)
    step: Mapped[str] = mapped_column(Text)
    kind: Mapped[str] = mapped_column(Text)
    seconds: Mapped[float] = mapped_column(Double)
    heard: Mapped[int] = mapped_column(Integer)
    again: Mapped[int] = mapped_column(Integer)
    repeated: Mapped[int] = mapped_column(Integer)
    back: Mapped[int] = mapped_column(Integer)
    stood_by: Mapped[int] = mapped_column(Integer)
    __table_args__ = (Index("steps_by_time", "began"),)


class RolledCounts:
    """What visits that count make together. `firsts`, `fixed`, `returns`: see `measures`."""

    visits: Mapped[int] = mapped_column(Integer)
    firsts: Mapped[int] = mapped_column(Integer)
    fixed: Mapped[int] = mapped_column(Integer)
    returns: Mapped[int] = mapped_column(Integer)
    heard: Mapped[int] = mapped_column(Integer)
    again: Mapped[int] = mapped_column(Integer)
    seconds: Mapped[float] = mapped_column(Double)


class RollDay(RolledCounts, Base):
    """The visits that count of one day, rolled up. `single`: in one trip and to an end, which took `seconds` on site."""

    __tablename__ = "roll_days"

    day: Mapped[int] = mapped_column(Integer, primary_key=True)
    procedure: Mapped[str] = mapped_column(Text, primary_key=True)
    version: Mapped[str] = mapped_column(String(40), primary_key=True)
    outcome: Mapped[str] = mapped_column(Text, primary_key=True)
    single: Mapped[int] = mapped_column(Integer)


class RollPlace(Base):
    """The returns to one cabinet in `rolls.BLOCKS` blocks of `rolls.BLOCK` days each, rolled up: one column per block."""

    __tablename__ = "roll_places"

    span: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    place: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    returns: Mapped[int] = mapped_column(Integer)
    b0: Mapped[int] = mapped_column(Integer)
    b1: Mapped[int] = mapped_column(Integer)
    b2: Mapped[int] = mapped_column(Integer)
    b3: Mapped[int] = mapped_column(Integer)
    b4: Mapped[int] = mapped_column(Integer)
    b5: Mapped[int] = mapped_column(Integer)
    b6: Mapped[int] = mapped_column(Integer)
    b7: Mapped[int] = mapped_column(Integer)
    b8: Mapped[int] = mapped_column(Integer)
    b9: Mapped[int] = mapped_column(Integer)
    b10: Mapped[int] = mapped_column(Integer)
    b11: Mapped[int] = mapped_column(Integer)


class RollTechnician(RolledCounts, Base):
    """The visits that count of one technician, by the name in the records, in one block of `rolls.BLOCK` days, rolled up.
    `seconds`: on site; `last`: day of the last of them."""

    __tablename__ = "roll_technicians"

    block: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    technician: Mapped[str] = mapped_column(Text, primary_key=True)
    last: Mapped[int] = mapped_column(Integer)


class RollStep(Base):
    """The stays in one step on one day, rolled up."""

    __tablename__ = "roll_steps"

    day: Mapped[int] = mapped_column(Integer, primary_key=True)
    procedure: Mapped[str] = mapped_column(Text, primary_key=True)
    step: Mapped[str] = mapped_column(Text, primary_key=True)
    stays: Mapped[int] = mapped_column(Integer)
    visits: Mapped[int] = mapped_column(Integer)
    heard: Mapped[int] = mapped_column(Integer)
    again: Mapped[int] = mapped_column(Integer)
    repeated: Mapped[int] = mapped_column(Integer)
    back: Mapped[int] = mapped_column(Integer)
    stood_by: Mapped[int] = mapped_column(Integer)
    seconds: Mapped[float] = mapped_column(Double)


#: Everything of a visit, in an order in which it can be deleted.
OF_VISIT: tuple[type[Base], ...] = (TranscriptLine, File, Reading, GateChange, Diagnosis, FindingRow, StepRow, SpokenAnswer)
