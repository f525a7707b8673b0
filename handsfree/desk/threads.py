"""The threads of findings in the database: from the desk's journal, and from answers spoken on visits.

Rules of this file:

- The journal is authoritative; the tables are made from it, completely or one act at a time, by the same function.
- A technician who was asked is asked at the close-out of a later visit, and what they say then is the answer. They may also
  give it at any time, as a note that begins with the word *answer*: it goes into the thread of the oldest question to them
  that is not answered; one about the cabinet of that visit comes before others. Nobody answers for somebody else.
  It is worked out from the records each time, and is in no journal: the record shows where it was said.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Executable, Row, and_, bindparam, delete, func, insert, or_, select, true, update
from sqlalchemy.orm import aliased

from handsfree.desk import acts
from handsfree.desk.acts import ANSWERED, ASKED, ASSIGNED, FOLLOW_UP, WHAT, Kept
from handsfree.desk.database import THREADS, alone_at, look_up, put_alone
from handsfree.desk.queries import Rows, Scope, kept_questions
from handsfree.desk.tables import GOOD, ActRow, FindingRow, Saying, SpokenAnswer, ThreadRow, TranscriptLine, Visit
from handsfree.visit.desk_questions import DeskQuestion, fits

#: Questions that are searched for an answer, the oldest first.
MOST_ASKED = 500
ANSWER = "answer"


#: A name that records have for a person -> all that they have.
NamesOf = Callable[[str], Collection[str]]


def as_written(name: str) -> Collection[str]:
    """For a desk without a registry."""
    return (name,)


def rebuild(
    engine: Engine, folder: Path, known: dict[str, str] | None = None, names_of: NamesOf = as_written
) -> int:
    """Makes the tables again from the journal. Returns how many acts there are."""
    kept = list(acts.read(folder, known))

    def fill(connection: Connection) -> None:
        alone_at(connection, THREADS)
        connection.execute(delete(ThreadRow))
        connection.execute(delete(ActRow))
        connection.execute(update(FindingRow).where(FindingRow.closed).values(closed=False))
        for one in kept:
            _put(connection, one)
        hear_answers(connection, names_of)

    put_alone(engine, fill)
    return len(kept)


def note(engine: Engine, kept: Sequence[Kept], names_of: NamesOf = as_written) -> None:
    """Acts just written, into the tables."""

    def fill(connection: Connection) -> None:
        alone_at(connection, THREADS)
        for one in kept:
            _put(connection, one)
        hear_answers(connection, names_of)

    put_alone(engine, fill)


def hear_again(engine: Engine, names_of: NamesOf) -> None:
    """After a change of which names mean one person."""
    put_alone(engine, partial(hear_answers, names_of=names_of))


def _put(connection: Connection, kept: Kept) -> None:
    act, what = kept.act, WHAT[kept.act.what]
    row = {
        "n": kept.n, "key": act.key, "visit": act.visit, "what": act.what, "by": act.by, "text": act.text, "to": act.to,
        "due": act.due, "wall": kept.wall, "at": datetime.fromisoformat(kept.wall).timestamp(), "device": kept.device,
    }  # fmt: skip
    connection.execute(insert(ActRow), [row])
    there = connection.execute(select(*ThreadRow.__table__.columns).where(ThreadRow.key == act.key)).first()
    fields = dict(there._mapping) if there is not None else {
        "key": act.key, "visit": act.visit, "state": "", "closed": False, "assigned": "", "asked": "", "due": "", "by": "",
        "comment": "", "wall": "", "device": "",
    }  # fmt: skip
    if what.state:
        fields["state"] = what.state
    if what.closes is not None:
        fields["closed"] = what.closes
    if what.closes:
        fields |= {"by": act.by, "comment": act.text, "wall": kept.wall, "device": kept.device}
    if act.what == ASSIGNED:
        fields["assigned"] = act.to
    if act.what == ASKED:
        fields["asked"] = act.to
    if act.what == FOLLOW_UP:
        fields["due"] = act.due
    connection.execute(delete(ThreadRow).where(ThreadRow.key == act.key))
    connection.execute(insert(ThreadRow), [fields])
    connection.execute(update(FindingRow).where(FindingRow.key == act.key).values(closed=fields["closed"]))


def hear_answers(connection: Connection, names_of: NamesOf) -> None:
    """Works out again the answers spoken on visits."""
    if connection.execute(select(ActRow.id).where(ActRow.what == ASKED).limit(1)).first() is None:
        return
    alone_at(connection, THREADS)  # two that did it at once would wait for each other's rows
    connection.execute(delete(ActRow).where(ActRow.spoken != ""))
    again = update(ThreadRow).where(ThreadRow.state == ANSWERED, ThreadRow.key.not_in(_answered_in_writing()))
    connection.execute(again.values(state=ASKED))
    asked: Any = (
        select(ActRow.key, ActRow.visit, ActRow.to, ActRow.at, Visit.place)
        .join(ThreadRow, ThreadRow.key == ActRow.key)
        .outerjoin(Visit, Visit.name == ActRow.visit)
        .where(ActRow.what == ASKED, ThreadRow.state == ASKED)
        .order_by(ActRow.at.desc())
        .limit(MOST_ASKED)
    )
    latest: dict[str, Row[Any]] = {}
    for row in connection.execute(asked):
        latest.setdefault(row.key, row)
    used: set[tuple[str, int]] = set()
    for row in sorted(latest.values(), key=lambda row: row.at):
        found = _spoken_to(connection, row, names_of(row.to), used)
        if found is not None:
            used.add((found.name, found.n))
            values = {
                "n": None, "key": row.key, "visit": row.visit, "what": ANSWERED, "by": row.to, "text": found.text, "to": "",
                "due": "", "wall": found.began_text, "at": found.began + found.at, "device": "", "spoken": found.name,
                "spoken_n": found.n,
            }  # fmt: skip
            connection.execute(insert(ActRow), [values])
            connection.execute(update(ThreadRow).where(ThreadRow.key == row.key).values(state=ANSWERED))


def _answered_in_writing() -> Any:
    return select(ActRow.key).where(ActRow.what == ANSWERED, ActRow.spoken == "")


def _spoken_to(
    connection: Connection, asked: Row[Any], names: Collection[str], used: set[tuple[str, int]]
) -> Row[Any] | None:
    """`names`: of who was asked."""
    told = and_(SpokenAnswer.visit_id == TranscriptLine.visit_id, SpokenAnswer.n == TranscriptLine.n)
    said: Any = (
        select(
            TranscriptLine.n, TranscriptLine.at, Saying.text, Visit.name, Visit.began, Visit.began_text, Visit.place,
            SpokenAnswer.key,
        )
        .select_from(TranscriptLine)
        .join(Visit, Visit.id == TranscriptLine.visit_id)
        .join(Saying, Saying.id == TranscriptLine.saying_id)
        .outerjoin(SpokenAnswer, told)
        .where(Visit.technician.in_(names), Visit.began > asked.at, Visit.standing == GOOD, TranscriptLine.who == "note")
        .where(or_(SpokenAnswer.key == asked.key, and_(SpokenAnswer.key.is_(None), Saying.text.ilike(f"{ANSWER}%"))))
        .order_by(Visit.began, TranscriptLine.n)
        .limit(50)
    )  # fmt: skip
    left = [row for row in connection.execute(said) if (row.name, row.n) not in used]
    put_to_them = [row for row in left if row.key]
    here = [row for row in left if asked.place and row.place == asked.place]
    return next(iter([*put_to_them, *here, *left]), None)


def thread(engine: Engine, key: str) -> Sequence[Row[Any]]:
    """What was done about a finding, in order."""
    asked = select(*ActRow.__table__.columns).where(ActRow.key == key).order_by(ActRow.at, ActRow.id).limit(200)
    return look_up(engine, asked)


def of_visit(engine: Engine, visit: str) -> dict[str, list[Row[Any]]]:
    """Finding -> its thread, of one visit."""
    found: dict[str, list[Row[Any]]] = {}
    for row in look_up(engine, _OF_VISIT, {"name": visit}):
        found.setdefault(row.key, []).append(row)
    return found


_OF_VISIT = (
    select(*ActRow.__table__.columns).where(ActRow.visit == bindparam("name")).order_by(ActRow.at, ActRow.id).limit(400)
)


def follow_ups(engine: Engine, scope: Scope, most: int = 200) -> Rows:
    """Findings with a day by which somebody must go there, the earliest first; `went`: the visit that has fulfilled it
    since, None while nobody has been there. Fulfilled ones of the last ninety days are among them."""
    return look_up(engine, _follow_ups(scope, most))


@kept_questions
def _follow_ups(scope: Scope, most: int) -> Executable:
    later = aliased(Visit)
    since = select(func.max(ActRow.at)).where(ActRow.key == ThreadRow.key, ActRow.what == FOLLOW_UP).scalar_subquery()
    went = (
        select(later.name)
        .where(later.place == Visit.place, later.standing == GOOD, Visit.place != 0)
        .where(later.began > since, later.name != Visit.name)
        .order_by(later.began)
        .limit(1)
        .scalar_subquery()
    )
    asked = (
        select(
            ThreadRow.key,
            ThreadRow.due,
            ThreadRow.assigned,
            FindingRow.n,
            FindingRow.rule,
            FindingRow.sentence,
            FindingRow.level,
            Visit.name,
            Visit.site,
            Visit.cabinet,
            Visit.technician,
            Visit.began_text,
            went.label("went"),
        )
        .join(FindingRow, FindingRow.key == ThreadRow.key)
        .join(Visit, Visit.id == FindingRow.visit_id)
        .where(scope.where(), ThreadRow.due != "", or_(~ThreadRow.closed, went.is_not(None)))
        .order_by(ThreadRow.due, Visit.began)
        .limit(most)
    )
    return asked


def asked_of(
    engine: Engine, technicians: Collection[str] | None, names_of: NamesOf = as_written
) -> list[DeskQuestion]:
    """What these technicians, None for all, were asked and have not answered, the oldest first; under each name that records
    have for the person, for a device knows who works by the name they gave today. As many as a device takes."""
    asked = (
        select(ThreadRow.key, ThreadRow.asked, ActRow.by, ActRow.text, Visit.site, Visit.cabinet)
        .select_from(ThreadRow)
        .join(ActRow, and_(ActRow.key == ThreadRow.key, ActRow.what == ASKED, ActRow.at == _last_asked()))
        .join(Visit, Visit.name == ThreadRow.visit)
        .where(ThreadRow.state == ASKED, true() if technicians is None else ThreadRow.asked.in_(technicians))
        .order_by(ActRow.at)
        .limit(MOST_ASKED)
    )
    return fits(
        [DeskQuestion(row.key, name, row.by, row.text, row.site, row.cabinet) for name in names_of(row.asked)]
        for row in look_up(engine, asked)
    )


def _last_asked() -> Any:
    other = aliased(ActRow)
    return select(func.max(other.at)).where(other.key == ThreadRow.key, other.what == ASKED).scalar_subquery()


def questions(engine: Engine, technician: Sequence[str], answered: bool = False) -> Rows:
    """What a technician, by these names, was asked and has not answered, the oldest first; or has answered."""
    return look_up(engine, _questions(tuple(name for name in technician if name), answered))


@kept_questions
def _questions(technician: tuple[str, ...], answered: bool) -> Executable:
    asked = (
        select(
            ThreadRow.key,
            ThreadRow.state,
            ActRow.text,
            ActRow.by,
            ActRow.wall,
            FindingRow.n,
            FindingRow.rule,
            FindingRow.sentence,
            FindingRow.level,
            Visit.name,
            Visit.site,
            Visit.cabinet,
            Visit.began_text,
        )
        .select_from(ThreadRow)
        .join(ActRow, and_(ActRow.key == ThreadRow.key, ActRow.what == ASKED, ActRow.at == _last_asked()))
        .join(FindingRow, FindingRow.key == ThreadRow.key)
        .join(Visit, Visit.id == FindingRow.visit_id)
        .where(ThreadRow.asked.in_(technician))
        .where(ThreadRow.state != ASKED if answered else ThreadRow.state == ASKED)
        .order_by(ActRow.at)
        .limit(100)
    )
    return asked
