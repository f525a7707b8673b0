"""The service report for the customer: fault, evidence, work done, parts, readings before and after, product temperature,
cautions, open points. As Markdown here, as PDF in `pdf.py`.

Rules of this file:

- It is made only from steps, answers, readings, findings and hand-overs. What the technician said, in sound or in words
  (utterances, notes, gate phrases), and what the program read back are never shown, so neither voice nor lock number can
  get into it.
- Supervisors' findings stay with the supervisor; what a customer must know about a reading is beside it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from handsfree.journal import events as ev
from handsfree.journal.account import Account
from handsfree.journal.events import Stamped
from handsfree.journal.found import locks_on
from handsfree.journal.gathering import Gathered, gathered, parts_of, to_order
from handsfree.journal.rows import amount, printable, range_of, span, unit


@dataclass(frozen=True)
class ReportTable:
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Section:
    """`lines` are a list; `table` follows them."""

    title: str
    lines: tuple[str, ...] = ()
    table: ReportTable | None = None


@dataclass(frozen=True)
class Service:
    title: str
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    foot: str
    warning: str = ""
    language: str = "en"


_NONE_LINE = "None recorded."


def service(account: Account) -> Service:
    """The report of one visit."""
    got = gathered(account.entries)
    opened = account.opened
    facts = [
        ("Visit", opened.visit),
        ("Site", opened.site),
        ("Cabinet", opened.cabinet),
        ("Date", ", ".join(_days(account.entries))),
        ("Time on site", span(account.on_site)),
        ("Result", account.outcome),
    ]
    products = [text for name, text in _reading_lines(got) if "product" in name.lower()]
    parts = [f"{part[0].upper()}{part[1:]}" for part in parts_of(got)]
    sections = (
        _section("Fault", got.faults or ["No fault was found."] * bool(got.proved)),
        *([_section("Found in order", got.proved)] if got.proved else []),
        _section("Evidence", got.evidence),
        _section("Work done", got.work),
        _section("Isolation", _isolation(account)),
        _section("Parts", parts),
        Section("Readings before and after", table=_readings(got)) if got.before or got.after else _section("Readings", []),
        *([_section("Product temperature", products)] if products or _temperatures(got) else []),
        *([_section("On the stock", got.advice)] if got.advice else []),
        _section("Cautions", got.cautions),
        _section("Open points", open_points(account, got)),
    )
    foot = (
        f"Made from the record of the visit, {account.report.events} events, {account.report.head}. "
        "Local codes and licensed practice come first."
    )
    warning = ""
    if account.report.in_doubt:
        warning = account.report.verdict
    elif not account.report.holds:
        warning = "THE RECORD BEHIND THIS REPORT IS BROKEN; do not rely on it."
        if account.after or account.report.cut is not None:
            warning += f" It breaks at event {account.report.at}, and what comes after is left out here."
    shown = tuple((k, printable(v)) for k, v in facts if v)
    return Service(printable(f"Service report {opened.visit}"), shown, sections, foot, warning, opened.language)


def _days(entries: Sequence[Stamped]) -> list[str]:
    """Those on which somebody came, or was still there at the end."""
    came = [entry for entry in entries if isinstance(entry.event, ev.Opened | ev.Resumed | ev.Closed)]
    return sorted({entry.wall[:10] for entry in (*entries[:1], *came)})


def _temperatures(got: Gathered) -> bool:
    """Something was measured in degrees: then a customer with goods asks for theirs. A trade without has none."""
    return any(one.unit in ("degC", "degF") for one in (*got.before.values(), *got.after.values()))


def _section(title: str, lines: Sequence[str]) -> Section:
    return Section(title, tuple(dict.fromkeys(printable(line) for line in lines)) or (_NONE_LINE,))


#: What came of it, by what followed: a restore, or that its isolation was cleared.
_AFTERWARDS = {"RESTORING": "then given back", "LIVE": "then taken for live", "ISOLATING": "then isolated anew"}


def _isolation(account: Account) -> list[str]:
    """When the supply was made safe, proved dead and restored, and for how long; no lock number."""
    found = []
    for at, one in enumerate(account.spans):
        if one.state == "ISOLATED":
            after = [later.state for later in account.spans[at + 1 :] if later.source == one.source]
            where = f"{one.source[0].upper()}{one.source[1:]}: made" if one.source else "Made"
            how = _AFTERWARDS.get(after[0], "then taken for live") if "LIVE" in after else "not given back in this visit"
            found.append(f"{where} safe under a lock and proved dead for {span(one.end - one.begin)}, {how}.")
    return found


def _shown(reading: ev.ReadingTaken | None) -> str:
    if reading is None:
        return ""
    where = range_of(reading)
    value = reading.state or amount(reading.value, reading.unit)
    return f"{value} ({where})" if where.startswith(("not", "out")) else value


def _reading_lines(got: Gathered) -> Iterator[tuple[str, str]]:
    for when, readings in (("before", got.before), ("after", got.after)):
        for name, reading in readings.items():
            yield name, f"{name.capitalize()}, {when} the work: {_shown(reading)}"


def _readings(got: Gathered) -> ReportTable:
    names = list(dict.fromkeys([*got.before, *got.after]))
    rows = []
    for name in names:
        some = got.after.get(name) or got.before[name]
        expected = f"{some.expected[0]:g} to {some.expected[1]:g} {unit(some.unit)}" if some.expected else ""
        rows.append((name.capitalize(), _shown(got.before.get(name)), _shown(got.after.get(name)), expected))
    return ReportTable(("Reading", "Before the work", "After the work", "Expected"), tuple(rows))


def open_points(account: Account, got: Gathered) -> list[str]:
    """What is left to do, in words for a person."""
    points = [*got.handed, *to_order(got), *got.to_prove]
    points += dict.fromkeys(f"A wait was cut short: {text}" for text in got.cut)
    if account.outcome in ("not closed", "stopped", "to be continued", "not fixed", "made safe"):
        points.append(f"The visit ended as: {account.outcome}.")
    locked = {source for _, source in locks_on(account.entries)}
    points += [f"{source.capitalize() or 'The supply'} was isolated, and its lock is still on." for source in sorted(locked)]
    for source in dict.fromkeys(s.source for s in account.spans if s.source not in locked):
        states = [s.state for s in account.spans if s.source == source]
        if "RESTORING" not in states[-2:-1] and {"ISOLATING", "ISOLATED"} & set(states[-2:]):
            what = source.capitalize() if source else "The supply"
            points.append(f"{what} was isolated, and no restore is recorded after that.")
    latest = {**got.before, **got.after}
    for name, reading in latest.items():
        if range_of(reading).startswith(("not", "out")):
            unread = bool(got.after) and name not in got.after
            shown = _shown(reading)
            said = f"was {shown} before the work, and was not read again" if unread else f"was last {shown}"
            points.append(f"{name.capitalize()} {said}.")
    return points


_SPECIAL = re.compile(r"([\\`*_{}\[\]<>|#])")


def report_markdown(report: Service) -> str:
    """GitHub-flavoured, for its tables."""

    def clean(text: str) -> str:
        return _SPECIAL.sub(r"\\\1", " ".join(text.split()))

    out = [f"# {clean(report.title)}", "", *([f"**{clean(report.warning)}**", ""] if report.warning else [])]
    out += [f"- {clean(name)}: {clean(text)}" for name, text in report.facts]
    for section in report.sections:
        out += ["", f"## {section.title}", ""]
        out += [f"- {clean(line)}" for line in section.lines]
        if section.table is not None:
            out.append("| " + " | ".join(section.table.heads) + " |")
            out.append("|" + " --- |" * len(section.table.heads))
            out += ["| " + " | ".join(clean(cell) for cell in row) + " |" for row in section.table.rows]
    return "\n".join([*out, "", clean(report.foot), ""])
