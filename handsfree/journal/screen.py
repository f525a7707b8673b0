"""The one screen of a visit as HTML: the same for the exported page and for the desk, which put their own head and foot
around it and say how a row is heard.

Nothing is shown by colour alone: each state has a pattern or a word, each finding its level in words. Everything from a
record is escaped here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from html import escape
from importlib.resources import files

from handsfree.journal.account import Account
from handsfree.journal.events import Utterance
from handsfree.journal.findings import ReviewFinding
from handsfree.journal.rows import Row, clock, minutes, seen_as
from handsfree.journal.story import BEGINNING, LONGEST_LINE, Chapter, ReadingCurve, Story
from handsfree.language.put_over import PutOver, english
from handsfree.language.tokens import capital

#: A row -> its player as HTML, '' for none.
TextOfRow = Callable[[Row], str]
#: A finding -> what stands under it as HTML, '' for nothing.
Under = Callable[[ReviewFinding], str]

STATES = {"LIVE": "live", "ISOLATING": "being isolated", "ISOLATED": "isolated", "RESTORING": "being given back"}
WIDTH = 960
#: Stretches of one band, and marks under it.
MOST_BARS = 100


def css() -> str:
    return files("handsfree.journal").joinpath("screen.css").read_text(encoding="utf-8")


def safe(text: str) -> str:
    """Escaped, and without the characters that HTML does not allow."""
    return escape(seen_as(text))


def short(seconds: float) -> str:
    """'0:12:30'; days before it where there are any."""
    return clock(seconds).split(".")[0]


def link(n: int, words: str) -> str:
    return f'<a href="#e{n}">{safe(words)}</a>' if n >= 0 else safe(words)


def summary(told: Story, account: Account, look: str, say: PutOver = english) -> str:
    """The screen above the story. `look`: the list of what needs a look, by `look_list` or the desk's own."""
    warning = f'<p class="warn" role="alert"><strong>{safe(told.warning)}</strong></p>' if told.warning else ""
    facts = "".join(f"<div><dt>{safe(name)}</dt><dd>{safe(text)}</dd></div>" for name, text in told.facts)
    cards = (
        _card("look", say("What needs a look"), look),
        _card("found", say("What was found"), _found(told, say)),
        _card("done", say("What was done"), _list(told.done, say("No work on the cabinet is recorded."))),
        _card("next", say("What is next"), _list(told.next, say("Nothing is left open."))),
    )
    drawn = "".join(curve(one, say) for one in told.curves if len(one.points) > 1)
    return (
        f'{warning}<dl class="facts">{facts}</dl><div class="cards">{"".join(cards)}</div>'
        f'{_card("safe", say("Isolations"), _band(account, say) + _gates(told, account, say), "wide")}'
        f'{_card("air", say("Before and after"), _table(told, say) + drawn, "wide")}'
    )


def _card(name: str, head: str, body: str, kind: str = "") -> str:
    return (
        f'<section class="card {kind}" id="{name}" tabindex="-1" aria-labelledby="{name}-head">'
        f'<h2 id="{name}-head">{head}</h2>{body}</section>'
    )


def look_list(found: Iterable[ReviewFinding], under: Under = lambda finding: "", say: PutOver = english) -> str:
    items = "".join(
        f'<li class="{f.level}"><span class="level">{safe(say(f.level))}</span> '
        f'<a href="#e{f.n}">{safe(capital(say(f.rule)))}</a> '
        f'<span class="when">{short(f.at)}</span><br>{safe(f.sentence[:LONGEST_LINE])}{under(f)}</li>'
        for f in found
    )
    return f'<ul class="looks">{items}</ul>' if items else f"<p>{safe(say('Nothing was found that needs a look.'))}</p>"


def _found(told: Story, say: PutOver) -> str:
    if not told.found:
        return f"<p>{safe(say('No diagnosis is recorded.'))}</p>"
    evidence = "".join(
        f"<div><dt>{link(one.n, one.what)}</dt><dd>{safe(one.answer)}</dd></div>" for one in told.evidence
    )
    because = f'<dl class="because">{evidence}</dl>' if evidence else ""
    complaint = f'<p class="soft">{safe(say(f"Complaint: {told.complaint}"))}</p>'
    others = "".join(f"<li>{link(n, text)}</li>" for n, text in told.besides)
    besides = f'<p class="soft">{safe(say("Found besides:"))}</p><ul class="besides">{others}</ul>' if others else ""
    return f'{complaint}<p class="finding">{link(told.found_n, told.found)}</p>{because}{besides}'


def _list(lines: Iterable[str], nothing: str) -> str:
    items = "".join(f"<li>{safe(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else f"<p>{nothing}</p>"


def _table(told: Story, say: PutOver) -> str:
    if not told.readings:
        return f"<p>{safe(say('No reading was taken in this visit.'))}</p>"
    rows = "".join(
        f'<tr><th scope="row">{safe(name)}</th><td>{_reading(before)}</td><td>{_reading(after)}</td>'
        f"<td>{safe(want)}</td></tr>"
        for name, before, after, want in told.readings
    )
    head = "".join(f'<th scope="col">{safe(say(words))}</th>' for words in ("Reading", "Before", "After", "Expected"))
    return (
        f'<div class="scroll" tabindex="0" role="group" aria-label="{safe(say("Readings before and after the work"))}">'
        f'<table class="readings"><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>'
    )


def _reading(text: str) -> str:
    value, comma, verdict = text.partition(", ")
    return f'{safe(value)} <span class="flag">{safe(verdict)}</span>' if comma else safe(text) or "–"


# ---- drawings --------------------------------------------------------------------------------------------------------

PATTERNS = """<svg class="defs" aria-hidden="true" focusable="false"><defs>
<pattern id="s-ISOLATING" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" class="p1"/>
<circle cx="4" cy="4" r="1.6" class="p2"/></pattern>
<pattern id="s-ISOLATED" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" class="p3"/>
<rect width="3" height="8" class="p4"/></pattern>
<pattern id="s-RESTORING" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" class="p1"/>
<path d="M0 8L8 0" class="p5"/></pattern></defs></svg>"""


def _band(account: Account, say: PutOver) -> str:
    """Isolation over the visit, and under it every stretch of speech and every finding."""
    end = max(account.lasted, 1.0)

    def x(at: float) -> float:
        return round(8 + min(max(at, 0.0), end) / end * (WIDTH - 16), 1)

    bars = []
    sources = list(dict.fromkeys(one.source for one in account.spans[:MOST_BARS]))
    for one in account.spans[:MOST_BARS]:
        down = 46 * sources.index(one.source)
        left, wide = x(one.begin), max(x(one.end) - x(one.begin), 1.0)
        fill = "" if one.state not in STATES or one.state == "LIVE" else f' fill="url(#s-{one.state})"'
        state = say(STATES.get(one.state, "live"))
        words = say(f"{STATES.get(one.state, 'live')}, {short(one.begin)} to {short(one.end)}")
        kind = "bar" if fill else "bar live"
        box = f'x="{left}" y="{20 + down}" width="{wide:.1f}" height="26"'
        bars.append(f'<rect {box} class="{kind}"{fill}><title>{words}</title></rect>')
        if wide > 9 * len(state):
            bars.append(f'<text x="{left + 4}" y="{15 + down}">{safe(state)}</text>')
        if one.source and one.begin == account.spans[0].begin:
            bars.append(f'<text x="{WIDTH - 8}" y="{15 + down}" text-anchor="end" class="source">{safe(one.source)}</text>')
    low = 46 * (len(sources) - 1)
    speech = [e.event for e in account.entries if isinstance(e.event, Utterance) and e.event.ended > e.event.started > 0]
    stretches = {round(x(s.started) / 2): max(x(s.ended) - x(s.started), 1.5) for s in speech}
    ticks = [
        f'<rect x="{2 * left}" y="{52 + low}" width="{wide:.1f}" height="12" class="speech"/>'
        for left, wide in stretches.items()
    ]
    marks = [
        f'<path d="M{x(f.at)} {68 + low}l6 11h-12z" class="mark"><title>{safe(say(f.rule))}</title></path>'
        for f in account.findings[:MOST_BARS]
        if f.at
    ]
    times = "".join(
        f'<text x="{x(end * part)}" y="{96 + low}" text-anchor="{anchor}">{short(end * part)}</text>'
        for part, anchor in ((0.0, "start"), (0.25, "middle"), (0.5, "middle"), (0.75, "middle"), (1.0, "end"))
    )
    told = [
        f"{s.source} {say(STATES.get(s.state, 'live'))}, {short(s.begin)}–{short(s.end)}".strip() for s in account.spans[:20]
    ]
    named = "; ".join(told)
    label = safe(say(f"The supply over the visit: {named}. Below it, when the technician spoke and what needs a look."))
    drawn = "".join((*bars, *ticks, *marks))
    return (
        f'{PATTERNS}<div class="scroll" tabindex="0" role="group" aria-label="{safe(say("The visit on one line of time"))}">'
        f'<svg viewBox="0 0 {WIDTH} {100 + low}" class="band" role="img" aria-label="{label}">{drawn}{times}</svg></div>'
    )


def _gates(told: Story, account: Account, say: PutOver) -> str:
    if not told.gates:
        return f"<p>{safe(say('No gate was met in this visit.'))}</p>"
    unverified = f' <span class="flag">{safe(say("unverified"))}</span>'
    items = "".join(
        f'<li><a href="#e{one.n}" class="when">{short(one.at)}</a> {safe(one.what)} '
        f'{f"<span class=soft>{safe(one.how)}</span>" if one.how else ""}'
        f'{unverified if one.unverified else ""}</li>'
        for one in told.gates
    )
    who = account.opened.technician or say("somebody")
    return f'<p class="soft">{safe(say(f"By {who}, by voice:"))}</p><ul class="gates">{items}</ul>'


def curve(one: ReadingCurve, say: PutOver = english) -> str:
    """One quantity over the visit: points joined, the expected range as a band, when the supply came back as a line."""
    values = [p.value for p in one.points] + [v for v in (one.low, one.high) if v is not None and abs(v) < 1e9]
    low, high = min(values), max(values)
    room = (high - low) * 0.15 or max(abs(high) * 0.1, 1.0)
    low, high = low - room, high + room
    begin, end = one.points[0].at, max(one.points[-1].at, one.points[0].at + 60.0)

    def x(at: float) -> float:
        return round(56 + (min(max(at, begin), end) - begin) / (end - begin) * 420, 1)

    def y(value: float) -> float:
        return round(12 + (high - value) / (high - low) * 116, 1)

    parts = []
    if one.low is not None and one.high is not None:
        tall = max(y(one.low) - y(one.high), 1)
        parts.append(f'<rect x="56" y="{y(one.high)}" width="420" height="{tall:.1f}" class="want"/>')
        parts += [f'<text x="50" y="{y(v) + 4}" text-anchor="end">{v:g}</text>' for v in (one.low, one.high)]
    if one.restored is not None and begin < one.restored < end:
        back = x(one.restored)
        parts.append(f'<path d="M{back} 8V132" class="back"/><text x="{back + 4}" y="18">{safe(say("power back"))}</text>')
    path = " ".join(f"{'M' if at == 0 else 'L'}{x(p.at)} {y(p.value)}" for at, p in enumerate(one.points))
    parts.append(f'<path d="{path}" class="thread"/>')
    for p in () if one.logged else one.points:
        left, up = x(p.at), y(p.value)
        shape = f"M{left - 5} {up - 5}l10 10m0-10l-10 10" if p.out else f"M{left} {up - 5}l5 5-5 5-5-5z"
        kind = "cross" if p.out else "dot"
        parts.append(f'<path d="{shape}" class="{kind}"><title>{safe(say(f"{p.value:g} at {short(p.at)}"))}</title></path>')
    first, last = one.points[0], one.points[-1]
    parts.append(f'<text x="56" y="148">{short(begin)}</text><text x="476" y="148" text-anchor="end">{short(end)}</text>')
    name, where = capital(one.quantity), "" if one.logged else say(" The table above has the readings.")
    words = say(f"{name}: from {first.value:g} to {last.value:g} {one.unit} in {minutes(last.at - first.at)}")
    return (
        f'<figure class="curve"><figcaption>{safe(words)}</figcaption>'
        f'<svg viewBox="0 0 500 156" role="img" aria-label="{safe(words)}.{where}">'
        f'{"".join(parts)}</svg></figure>'
    )


# ---- the story --------------------------------------------------------------------------------------------------------

_WHO = {"technician": "heard", "program": "says", "record": "notes"}


def chapters(told: Story, heard: TextOfRow, say: PutOver = english) -> str:
    return "".join(chapter(one, heard, say) for one in told.chapters)


def chapter(one: Chapter, heard: TextOfRow, say: PutOver = english) -> str:
    """One stay in a step, folded unless something in it needs a look."""
    rows = "".join(_row(row, heard, say) for row in one.rows)
    flag = f' <span class="level">{safe(say("look"))}</span>' if one.look else ""
    place = f' id="e{one.n}"' if one.n >= 0 and not one.broken and one.title != BEGINNING else ""
    aside = ", ".join(part for part in (one.kind, say(minutes(one.seconds)) if one.seconds >= 30 else "") if part)
    return (
        f'<details class="step{" broken" if one.broken else ""}"{" open" if one.look else ""}{place}><summary>'
        f'<span class="when">{short(one.at)}</span> <span class="title">{safe(say(one.title))}</span> '
        f'<span class="soft">{safe(aside)}</span>{flag}</summary><ol class="rows">{rows}</ol></details>'
    )


def _row(row: Row, heard: TextOfRow, say: PutOver) -> str:
    kind = f"row {row.who}{' trouble' if row.trouble else ''}{' unverified' if row.unverified else ''}"
    words = f"{say(row.what)}: {row.text}" if row.who == "technician" and row.what != "heard" else row.text
    place = "" if row.unverified else f' id="e{row.n}"'  # a number may stand twice behind a break
    told = f' <span class="soft">{safe(row.aside)}</span>' if row.aside else ""
    mark = f'<span class="flag" title="{safe(say("needs a look"))}">!</span> ' if row.trouble and not row.unverified else ""
    mark = f'<span class="flag">{safe(say("unverified"))}</span> ' if row.unverified else mark
    return (
        f'<li{place} class="{kind}" data-at="{row.at:g}" tabindex="-1"><span class="when">{short(row.at)}</span>'
        f'<span class="who">{safe(say(_WHO[row.who]))}</span>'
        f'<span class="words">{mark}{safe(words)}{told}</span>{heard(row)}</li>'
    )
