"""What a supervisor reads once a day or once a week: what came in, what needs attention, what is due. A page and a file.

Pure, except for its queries; the page's template and `markdown` show the same lines."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Engine, case, func, select

from handsfree.desk import queries, threads
from handsfree.desk.acts import ANSWERED, ASKED
from handsfree.desk.database import look_up
from handsfree.desk.measures import DAY, Between, returns
from handsfree.desk.queries import Filter, FindingQuery, Rows, Scope
from handsfree.desk.tables import GOOD, ActRow, FindingRow, Visit
from handsfree.journal.findings import GRAVE, LOOK

#: How many days it may look back over.
SPANS = {1: "day", 7: "week"}
MOST = 30
#: Of the findings of visits before: the gravest, and the newest of these.
MOST_BEFORE = 5


@dataclass(frozen=True)
class Digest:
    """`outcomes`: visits begun, by how they ended; `found`: new open findings, the most serious first, with `grave` and
    `looks` counting them; `before`: the first of the `open_before`, of visits begun earlier; `done`: what was done about
    findings, by kind; `follow_ups`: those due by `until` or earlier."""

    days: int
    since: float
    until: float
    visits: int
    outcomes: tuple[tuple[str, int], ...]
    apart: int
    found: Rows
    grave: int
    looks: int
    before: Rows
    open_before: int
    done: tuple[tuple[str, int], ...]
    asked: Rows
    answered: Rows
    later: Rows
    follow_ups: Rows
    returns: Rows


def digest_for(engine: Engine, scope: Scope, days: int, now: float | None = None) -> Digest:
    until = time.time() if now is None else now
    since = until - days * DAY
    # what is begun after now has a clock that is ahead, and would be in no digest
    between, upto = (Filter(since=since), ()) if now is None else (Filter(since=since, until=until), (Visit.began < until,))
    window = (scope.where(), Visit.began >= since, Visit.began < until)
    outcomes = look_up(
        engine,
        select(Visit.outcome, func.count().label("many"))
        .where(*window, Visit.standing == GOOD)
        .group_by(Visit.outcome)
        .order_by(func.count().desc(), Visit.outcome),
    )
    apart = look_up(engine, select(func.count()).select_from(Visit).where(*window, Visit.standing != GOOD))[0][0]
    new = case((Visit.began >= since, 1), else_=0)
    counted = look_up(
        engine, select(FindingRow.level, new.label("new"), func.count().label("many"))
        .join(Visit, Visit.id == FindingRow.visit_id).where(scope.where(), *upto, ~FindingRow.closed)
        .group_by(FindingRow.level, new))  # fmt: skip
    levels = {row.level: row.many for row in counted if row.new}
    before = sum(row.many for row in counted if not row.new)
    done = look_up(
        engine,
        select(ActRow.what, func.count().label("many"))
        .join(Visit, Visit.name == ActRow.visit)
        .where(scope.where(), ActRow.at >= since, ActRow.at < until)
        .group_by(ActRow.what)
        .order_by(ActRow.what),
    )
    today = f"{datetime.fromtimestamp(until).astimezone():%Y-%m-%d}"
    return Digest(
        days,
        since,
        until,
        sum(row.many for row in outcomes),
        tuple((row.outcome, row.many) for row in outcomes),
        apart,
        queries.findings(engine, scope, FindingQuery(of=between), most=MOST),
        levels.get(GRAVE, 0),
        levels.get(LOOK, 0),
        queries.findings(engine, scope, FindingQuery(of=Filter(until=since)), most=MOST_BEFORE) if before else [],
        before,
        tuple((row.what, row.many) for row in done),
        queries.findings(engine, scope, FindingQuery(state=ASKED), most=MOST),
        queries.findings(engine, scope, FindingQuery(state=ANSWERED), most=MOST),
        [row for row in queries.due(engine, scope) if row.due < until][:MOST],
        [row for row in threads.follow_ups(engine, scope) if row.went is None and row.due <= today][:MOST],
        returns(engine, scope, Between(since, until), MOST),
    )


def sections(of: Digest) -> list[tuple[str, list[tuple[str, str]]]]:
    """(heading, (address at the desk or '', line) of it); every heading is there, with no lines if there is nothing."""
    ended = ", ".join(f"{many} {outcome}" for outcome, many in of.outcomes)
    came = [("", f"{of.visits} visits: {ended}." if of.visits else "No visit was begun.")]
    came += [
        ("/findings?level=grave", f"{of.apart} more are not counted: their record does not hold, or is a copy.")
    ] * bool(of.apart)
    acts = ", ".join(f"{many} {what}" for what, many in of.done)
    return [
        ("What came in", came),
        (
            f"New, and needs you: {of.grave} grave, {of.looks} to look at" if of.found else "New, and needs you",
            [_finding(row, f"{row.level}: {row.rule}. {row.sentence}") for row in of.found],
        ),
        ("Open from before", _before(of)),
        ("Answered, to be closed", [_finding(row, f"{row.rule}: answered by {row.asked}.") for row in of.answered]),
        ("Asked, no answer yet", [_finding(row, f"{row.rule}: {row.asked} was asked.") for row in of.asked]),
        ("Overdue", [
            *[_finding(row, f"{row.rule}: somebody was to go there by {row.due}.") for row in of.follow_ups],
            *[(f"/visits/{row.name}", f"{_place(row)}: to be continued, since {row.began_text[:10]}.") for row in of.later],
        ]),
        (
            "Cabinets that came back",
            [("", f"{_place(row)}: {row.returns} returns in {row.visits} visits.") for row in of.returns],
        ),
        ("What was done about findings", [("", f"{acts}.")] if acts else []),
    ]  # fmt: skip


def _before(of: Digest) -> list[tuple[str, str]]:
    if not of.open_before:
        return []
    some = [_finding(row, f"{row.level}: {row.rule}.") for row in of.before]
    findings = "finding of an earlier visit is" if of.open_before == 1 else "findings of earlier visits are"
    return [("/findings", f"{of.open_before} {findings} open; the gravest first."), *some]


def _finding(row: object, words: str) -> tuple[str, str]:
    name, n = getattr(row, "name", ""), getattr(row, "n", 0)
    return f"/visits/{name}?at={n}", f"{_place(row)}: {words}"


def _place(row: object) -> str:
    """Where and who."""
    parts = (getattr(row, "cabinet", ""), getattr(row, "site", ""), getattr(row, "technician", ""))
    return ", ".join(part for part in parts if part) or str(getattr(row, "name", ""))


def title(of: Digest) -> str:
    begin, end = (f"{datetime.fromtimestamp(at).astimezone():%Y-%m-%d %H:%M}" for at in (of.since, of.until))
    return f"The last {SPANS.get(of.days, f'{of.days} days')}: {begin} to {end}"


def markdown(of: Digest, origin: str = "") -> str:
    """For a file or a message. `origin`: of the desk, before its addresses."""
    out = [f"# {title(of)}", ""]
    for head, lines in sections(of):
        out += [f"## {head}", ""]
        out += [f"- {_plain(words)}{f' {origin}{address}' if address else ''}" for address, words in lines] or ["- None."]
        out.append("")
    return "\n".join(out)


def _plain(text: str) -> str:
    """Nothing in it is a tag, a link or a picture."""
    return " ".join(text.replace("<", "‹").replace(">", "›").replace("](", "] (").split())[:400]
