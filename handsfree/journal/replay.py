"""A visit on a terminal as it went, and in its own time with its sound if asked."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.panel import Panel

from handsfree.errors import Trouble
from handsfree.journal.account import Account
from handsfree.journal.rows import TOPICS, Row, clock, printable, span

#: Text -> mono samples at 16 kHz: the program's voice made again, because the record keeps its words, not its sound.
Voice = Callable[[str], Any]
#: (samples, samples a second) -> sound; returns at once.
Play = Callable[[Any, int], None]
#: Longest pause kept in a replay in real time; a wait of a day is only mentioned.
LONGEST_PAUSE = 10.0


@dataclass(frozen=True)
class ReplayOptions:
    """`speed`: 1.0 is real time, None prints at once. `begin`: seconds on the visit's clock. `only`: a topic."""

    speed: float | None = None
    begin: float = 0.0
    only: str | None = None


def wish(speed: float | None, begin: str | None, only: str | None) -> ReplayOptions:
    """From the command line. Trouble for a wrong value."""
    if speed is not None and not 0.1 <= speed <= 100:
        raise Trouble("A replay's speed is from 0.1 to 100; 1 is real time.")
    if only is not None and only not in TOPICS:
        raise Trouble(f"There is no topic '{only}'; a replay can show only {', '.join(TOPICS[:-1])} or {TOPICS[-1]}.")
    return ReplayOptions(speed, _seconds(begin), only)


def _seconds(text: str | None) -> float:
    """'90', '1:30', '0:01:30.5'"""
    if not text:
        return 0.0
    if not re.fullmatch(r"(?:(?:\d+:)?\d+:)?\d+(?:\.\d+)?", text):
        raise Trouble(f"'{text}' is not a time in a visit; write seconds, or minutes and seconds such as 1:30, or 0:01:30.")
    total = 0.0
    for part in text.split(":"):
        total = total * 60 + float(part)
    return total


def replay(
    account: Account,
    want: ReplayOptions,
    console: Console,
    *,
    voice: Voice | None = None,
    play: Play | None = None,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Print it; with a speed, in time, playing its clips and the program's words if `play` and `voice` are given."""
    _head(account, console)
    at = want.begin
    for row in account.rows:
        if row.at < want.begin or (want.only is not None and want.only not in row.topics):
            continue
        if want.speed is not None:
            pause = row.at - at
            if pause > LONGEST_PAUSE:
                console.print(f"[dim]{'':>12}   {span(pause)} pass[/dim]")
            sleep(min(max(pause, 0.0), LONGEST_PAUSE) / want.speed)
            at = row.at
        console.print(shown(row), highlight=False, soft_wrap=True)
        if want.speed is not None and play is not None:
            at += _sound(account.folder, row, voice, play, sleep, want.speed)
    _foot(account, console)


_STYLE = {"technician": "bold", "program": "", "record": "cyan"}
_WHO = {"technician": "hears", "program": "says", "record": "notes"}


#: Speech that was not taken, by the word of its row.
_NOT_TAKEN = ("asked again", "not for the program", "not understood")


def shown(row: Row) -> str:
    """One line, in rich's markup. What needs a look has a '!' as well as a colour."""
    style = "red" if row.unverified else "bold red" if row.trouble else _STYLE[row.who]
    text = escape(f"{row.what}: {row.text}" if row.what in _NOT_TAKEN else row.text)
    body = f"[{style}]{text}[/{style}]" if style else text
    aside = f" [dim]({escape(row.aside)})[/dim]" if row.aside else ""
    flag = "?" if row.unverified else "!" if row.trouble else " "
    return f"[dim]{clock(row.at):>12}[/dim] {flag} {_WHO[row.who]:<6} {body}{aside}"


def _head(account: Account, console: Console) -> None:
    opened, report = account.opened, account.report
    lines = [
        report.verdict,
        f"{opened.procedure}, begun {account.began}, on site {span(account.on_site)}, ended as: {account.outcome}",
        ", ".join(part for part in (opened.technician, opened.site, opened.cabinet) if part),
    ]
    if account.departure is not None:
        where = account.departure
        lines.append(f"THE RECORD DOES NOT FOLLOW from the machine at event {where.n} ({clock(where.at)}): {where.sentence}")
    lines += [f"! {clock(finding.at)} {finding.sentence}" for finding in account.findings]
    shown = "\n".join(escape(printable(line)) for line in lines if line)
    console.print(Panel(shown, title=escape(printable(opened.visit)), expand=False))


def _foot(account: Account, console: Console) -> None:
    for remark in account.report.remarks:
        console.print(f"[dim]{escape(printable(remark))}[/dim]", soft_wrap=True)
    head = f"{account.report.events} events, head {account.report.head}, in words: {account.report.words}"
    console.print(f"[dim]{head}[/dim]", soft_wrap=True)


def _sound(folder: Path, row: Row, voice: Voice | None, play: Play, sleep: Callable[[float], None], speed: float) -> float:
    """Play the row's sound, if it has any, at `speed`. Seconds of the visit that it took."""
    samples = None
    if row.clip and (folder / row.clip).is_file():
        import soundfile

        samples, _ = soundfile.read(folder / row.clip, dtype="float32")
    elif row.what == "said" and voice is not None:
        samples = voice(row.text)
    if samples is None:
        return 0.0
    play(samples, round(16_000 * speed))
    seconds = len(samples) / 16_000
    sleep(seconds / speed)
    return seconds


def loudspeaker() -> Play | None:
    """The machine's own; None if it has none."""
    try:
        import sounddevice

        sounddevice.query_devices(kind="output")
    except Exception:  # no PortAudio, no device, a sound server that is away: all the same to a replay
        return None

    def play(samples: Any, rate: int) -> None:
        sounddevice.play(samples, rate)

    return play
