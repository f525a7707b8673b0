"""The views of a record in the record's own language.

What the views say is made in English, for the desk. A page, a paper or a report that goes with the record is put into its
language by grammar/<language>.views.yaml (`language.put_over`). A language without that file is shown in English, and
says so (`lang`).
"""

from __future__ import annotations

from dataclasses import replace

from handsfree.journal.rows import Row
from handsfree.journal.service import Section, Service
from handsfree.journal.story import Chapter, Story
from handsfree.language.put_over import PutOver, english, put_over, there

ENGLISH = "en"
#: Places in which a sentence of the program may stand.
_SENTENCES = frozenset((
    "aside", "asked", "by", "how", "least", "left", "more", "named", "now", "one", "other", "outcome", "source", "span",
    "state", "text", "time", "took", "value", "verdict", "was", "what", "when", "why",
))  # fmt: skip
#: Facts whose text the program makes; the others are names and days.
_TOLD = ("On site", "Ended as", "Time on site", "Result")


def tongue(code: str) -> str:
    """The language that the views of a record in this language have."""
    return code if code != ENGLISH and there(code, "views") else ENGLISH


def say_in(code: str) -> PutOver:
    """What puts a sentence of the views into this language; one that it does not know stays as it is."""
    return put_over(code, "views", _SENTENCES) if tongue(code) != ENGLISH else english


def story_in(told: Story, say: PutOver) -> Story:
    """What people and procedures said stays as it is."""
    if say is english:
        return told
    return replace(
        told,
        facts=_facts(told.facts, say), verdict=say(told.verdict), warning=say(told.warning),
        done=tuple(map(say, told.done)), next=tuple(map(say, told.next)),
        readings=tuple((name, say(before), say(after), say(want)) for name, before, after, want in told.readings),
        curves=tuple(replace(one, quantity=say(one.quantity)) for one in told.curves),
        gates=tuple(replace(one, what=say(one.what), how=say(one.how)) for one in told.gates),
        look=tuple(replace(one, sentence=say(one.sentence)) for one in told.look),
        chapters=tuple(_chapter(one, say) for one in told.chapters),
    )  # fmt: skip


def _facts(facts: tuple[tuple[str, str], ...], say: PutOver) -> tuple[tuple[str, str], ...]:
    return tuple((say(name), say(text) if name in _TOLD else text) for name, text in facts)


def _chapter(one: Chapter, say: PutOver) -> Chapter:
    return replace(one, kind=say(one.kind), rows=tuple(_row(row, say) for row in one.rows))


def _row(row: Row, say: PutOver) -> Row:
    """Of what somebody said only what the program puts in its place: no words, or a phrase without its number."""
    own = row.who == "record" or row.text.startswith("(") or row.text.endswith(", lock …")
    return replace(row, text=say(row.text) if own else row.text, aside=say(row.aside))


def service_in(report: Service, say: PutOver) -> Service:
    if say is english:
        return report
    return replace(
        report, title=say(report.title), facts=_facts(report.facts, say), foot=say(report.foot), warning=say(report.warning),
        sections=tuple(_section(one, say) for one in report.sections),
    )  # fmt: skip


def _section(one: Section, say: PutOver) -> Section:
    table = one.table
    if table is not None:
        rows = tuple((row[0], *map(say, row[1:])) for row in table.rows)
        table = replace(table, heads=tuple(map(say, table.heads)), rows=rows)
    return replace(one, title=say(one.title), lines=tuple(map(say, one.lines)), table=table)
