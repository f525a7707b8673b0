"""A visit as one HTML page: no network, no script, its sound inside it. WCAG 2.2 AA."""

from __future__ import annotations

import base64
from collections.abc import Iterable
from html import escape
from importlib.resources import files
from pathlib import Path
from string import Template

from handsfree.journal.account import Account, Taken
from handsfree.journal.drawing import PATTERNS, STATES, overview, reading
from handsfree.journal.rows import Row, amount, clock, range_of, span, unit


def page(account: Account) -> str:
    template = Template(files("handsfree.journal").joinpath("page.html").read_text(encoding="utf-8"))
    return template.substitute(
        title=safe(f"Visit {account.opened.visit}"),
        facts=_facts(account),
        patterns=PATTERNS,
        trouble=_trouble(account),
        overview=overview(account),
        key=_key(),
        isolation=_isolation(account),
        readings=_readings(account.readings),
        timeline=_timeline(account),
        foot=_foot(account),
    )


def safe(text: str) -> str:
    """Escaped, and without the characters that HTML does not allow."""
    return escape("".join(c if c.isprintable() or c in "\n\t " else "\ufffd" for c in text))


def _link(n: int, at: float) -> str:
    return f'<a href="#e{n}">{clock(at)}</a>'


def facts(account: Account) -> list[tuple[str, str]]:
    """What every view says first."""
    opened, report = account.opened, account.report
    found = [
        ("Record", report.verdict),
        ("Procedure", opened.procedure),
        ("Technician", opened.technician),
        ("Site", opened.site),
        ("Cabinet", opened.cabinet),
        ("Begun", account.began),
        ("On site", span(account.on_site)),
        ("Ended as", account.outcome),
    ]
    if account.departure is not None:
        where = account.departure
        found.append(("Machine", f"the record DOES NOT FOLLOW at event {where.n}: {where.sentence}"))
    return [(name, text) for name, text in found if text]


def _facts(account: Account) -> str:
    return "".join(f"<dt>{safe(name)}</dt><dd>{safe(text)}</dd>" for name, text in facts(account))


def _trouble(account: Account) -> str:
    items = []
    if not account.report.holds:
        items.append(f'<li><span class="flag">The record does not hold.</span> {safe(account.report.problem)}</li>')
    if account.departure is not None:
        said = safe(account.departure.sentence)
        items.append(f'<li><span class="flag">The record does not follow from the machine.</span> {said}</li>')
    items += [f"<li>{_link(f.n, f.at)} <strong>{safe(f.rule)}:</strong> {safe(f.sentence)}</li>" for f in account.findings]
    rows = [row for row in account.rows if row.trouble and row.n not in {finding.n for finding in account.findings}]
    items += [f"<li>{_link(row.n, row.at)} {safe(_said(row))}{_aside(row)}</li>" for row in rows]
    if not items:
        return '<div class="calm-box"><p>Nothing was found that needs a look.</p></div>'
    return f'<div class="trouble-box"><ul>{"".join(items)}</ul></div>'


def _said(row: Row) -> str:
    return f"{row.what}: {row.text}" if row.who == "technician" and row.what != "heard" else row.text


def _aside(row: Row) -> str:
    return f' <span class="aside">({safe(row.aside)})</span>' if row.aside else ""


def _key() -> str:
    boxes = "".join(
        f'<li><svg viewBox="0 0 28 16" aria-hidden="true" focusable="false"><rect x="1" y="1" width="26" height="14" '
        f'fill="url(#{pattern})" class="edge"/></svg> {words}</li>'
        for pattern, words in STATES.values()
    )
    return f'<ul class="key">{boxes}<li>bar: heard</li><li>dot: a reading</li><li>triangle: trouble</li></ul>'


def _table(caption: str, heads: Iterable[tuple[str, str]], rows: Iterable[str]) -> str:
    """In a box of its own that scrolls, by keyboard too, where the screen is narrow."""
    head = "".join(f'<th scope="col" class="{name}">{words}</th>' for words, name in heads)
    body = "".join(rows)
    short = " short" if body.count("<tr") < 12 else ""
    table = f"<table><caption>{caption}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    return f'<div class="scroll{short}" tabindex="0" role="group" aria-label="{caption}">{table}</div>'


def _isolation(account: Account) -> str:
    gates = [row for row in account.rows if row.what == "gate"]
    spans = [
        f'<tr><th scope="row">{STATES[s.state][1]}</th>'
        f'<td class="when">{_link(s.n, s.begin) if s.n else clock(s.begin)}</td>'
        f'<td class="when">{clock(s.end)}</td><td>{span(s.end - s.begin)}</td></tr>'
        for s in account.spans
    ]
    heads = [("State", ""), ("From", "when"), ("To", "when"), ("For", "")]
    table = _table("How long the supply was in each state.", heads, spans)
    if not gates:
        return table + "<p>No gate was met in this visit.</p>"
    opened = [
        f'<tr><th scope="row" class="when">{_link(row.n, row.at)}</th>'
        f"<td>{safe(row.text)}</td><td>{safe(row.aside)}</td></tr>"
        for row in gates
    ]
    heads = [("When", "when"), ("What", ""), ("How", "")]
    return table + _table("Each gate and how it opened or stayed shut.", heads, opened)


def _readings(readings: Iterable[Taken]) -> str:
    rows = []
    for taken in readings:
        r = taken.reading
        where = range_of(r) or "no range given"
        bad = where.startswith(("not", "out", "over", "unst"))
        flag = f'<span class="flag">{safe(where)}</span>' if bad else safe(where)
        expected = f"{r.expected[0]:g} to {r.expected[1]:g} {unit(r.unit)}" if r.expected else "not given"
        given = f"; given as {amount(r.given, r.given_unit)}" if r.given_unit not in ("", r.unit) else ""
        rows.append(
            f'<tr><th scope="row" class="when">{_link(taken.n, taken.at)}</th><td>{safe(r.quantity)}</td>'
            f"<td>{safe(r.state or amount(r.value, r.unit))}{safe(given)}</td><td>{safe(expected)}</td>"
            f"<td>{flag}</td><td>{reading(r)}</td></tr>"
        )
    if not rows:
        return "<p>No reading was taken in this visit.</p>"
    heads = [("When", "when"), ("What", ""), ("Value", ""), ("Expected", ""), ("Verdict", ""), ("Against its ranges", "")]
    caption = "In the drawings the line is what is plausible, the hatched box what is expected; a cross is out of range."
    return _table(caption, heads, rows)


def _timeline(account: Account) -> str:
    heads = [("When", "when"), ("Who", ""), ("What", ""), ("Sound", "sound")]
    rows = (_row(account.folder, row) for row in account.rows)
    return _table("Everything that was said, heard and decided, in order.", heads, rows)


def _row(folder: Path, row: Row) -> str:
    kind = f"{row.who}{' step' if row.what == 'step' else ''}{' trouble' if row.trouble else ''}"
    flag = '<span class="flag">Look:</span> ' if row.trouble and not row.unverified else ""
    kind += " unverified" if row.unverified else ""
    place = "" if row.unverified else f' id="e{row.n}"'  # a number may stand twice behind a break
    return (
        f'<tr{place} class="{kind}"><th scope="row" class="when">{clock(row.at)}</th><td>{row.who}</td>'
        f'<td>{flag}<span class="words">{safe(_said(row))}</span>{_aside(row)}</td>'
        f'<td class="sound">{_audio(folder, row)}</td></tr>'
    )


def _audio(folder: Path, row: Row) -> str:
    if not row.clip:
        return ""
    try:
        data = base64.b64encode((folder / row.clip).read_bytes()).decode()
    except OSError:
        return '<span class="aside">sound removed</span>'
    label = safe(f"Play what was heard at {clock(row.at)}: {row.text}"[:120])
    return f'<audio controls preload="none" aria-label="{label}" src="data:audio/flac;base64,{data}"></audio>'


def _foot(account: Account) -> str:
    remarks = "".join(f"<p>{safe(remark)}</p>" for remark in account.report.remarks)
    program = safe(account.opened.program)
    head = f"Hash of the last event: {account.report.head}, in words: {account.report.words}."
    return f"{remarks}<p>{head} Recorded by handsfree {program}.</p>"
