"""The commands for the record, one thin function each. Everything heavy is imported where it is used."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from handsfree.errors import Trouble

JsonLine = Annotated[bool, typer.Option("--json", help="The last line of output is one JSON object.")]
VisitFolder = Annotated[Path, typer.Argument(help="Folder of a visit.")]


def not_with(one: str, given: bool, **others: object) -> None:
    """Trouble if one option makes another meaningless: to ignore it silently would mislead."""
    for name, value in others.items():
        other = "--" + name.replace("_", "-")
        if given and value not in (None, False):
            raise Trouble(f"{one} and {other} cannot be used together; leave out one of them.")


def verify(
    visit: VisitFolder,
    signed: Annotated[bool, typer.Option("--signed", help="Demand a known key for every event, and no cut end.")] = False,
    events: Annotated[int | None, typer.Option(min=0, help="There must be at least this many events.")] = None,
    head: Annotated[str | None, typer.Option(help="Hash of an event, noted earlier, that must be in the record.")] = None,
    words: Annotated[str | None, typer.Option(help="The four words said at the end of the visit.")] = None,
    proof: Annotated[Path | None, typer.Option(help="File from the desk: that it noted this record's head.")] = None,
    json: JsonLine = False,
) -> None:
    """Check that a record is whole and unchanged. Says since when and under whose key. If it is not: exit status 3,
    and the first bad place."""
    from handsfree.journal import commands

    commands.verify(visit, signed=signed, events=events, head=head, words=words, proof=proof, as_json=json)


def replay(
    visit: VisitFolder,
    speed: Annotated[float | None, typer.Option(help="Play it with its sound, this many times as fast.")] = None,
    begin: Annotated[str | None, typer.Option("--from", help="Begin at this time, such as 12:30 or 0:12:30.")] = None,
    only: Annotated[str | None, typer.Option(help="Show only: gates, readings or trouble.")] = None,
    html: Annotated[Path | None, typer.Option(help="Write one page that needs nothing else.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="Write it as a PDF file.")] = None,
) -> None:
    """Show a visit as it went. It is worked out again from its record; exit status 3 if the two do not agree."""
    for name, path in (("--html", html), ("--pdf", pdf)):  # the whole visit stands there
        not_with(name, path is not None, speed=speed, only=only, **{"from": begin})
    from handsfree.journal import commands
    from handsfree.visit import review

    voice = review.voice() if speed is not None else None
    commands.replay(visit, review.replay_machine(), speed=speed, begin=begin, only=only, html=html, pdf=pdf, voice=voice)


def keys(
    make: Annotated[str | None, typer.Option(help="Make this device's signing key, under this device name.")] = None,
    trust: Annotated[tuple[str, str] | None, typer.Option(help="Trust another device: its name and public key.")] = None,
    may_remove: Annotated[bool, typer.Option("--may-remove", help="It may remove the sound of others' visits.")] = False,
    withdraw: Annotated[str | None, typer.Option(help="Trust a device's key no longer; what was kept before holds.")] = None,
    as_of: Annotated[str | None, typer.Option("--as-of", help="Since when, if not now: a day, or a day and a time.")] = None,
) -> None:
    """Show, make, trust or withdraw signing keys."""
    from handsfree.journal import commands

    commands.keys(make=make, trust=trust, may_remove=may_remove, withdraw=withdraw, as_of=as_of)


def export(
    what: Annotated[str, typer.Argument(help="readings, events, schema or sound.")],
    to: Annotated[Path, typer.Argument(help="File to write: .csv or .parquet, .jsonl, .json, .flac.")],
    visit: Annotated[Path | None, typer.Option("--visit", help="Folder of the visit.")] = None,
) -> None:
    """Export readings, events or sound. Readings as a table, events with their schema, sound with captions."""
    from handsfree.journal import commands
    from handsfree.visit import review

    commands.export(visit, what, to, voice=review.voice() if what == "sound" else None)


def report(visit: VisitFolder, to: Annotated[Path, typer.Argument(help="File to write, .md or .pdf.")]) -> None:
    """Write the service report for the customer. It has neither the technician's voice nor the lock number."""
    from handsfree.journal import commands

    commands.report(visit, to)


def attach(
    visit: VisitFolder,
    file: Annotated[Path, typer.Argument(help="The photo or other file.")],
    step: Annotated[str, typer.Option(help="The step that asked for it.")],
) -> None:
    """Add to a visit's record the photo that a step asked for. The record keeps its hash."""
    from handsfree.journal import keys
    from handsfree.visit import sessions

    print(f"Kept as {sessions.attach(visit, file, step, keys.load())}")


def prune(
    visits: Annotated[Path, typer.Argument(help="Folder of the visits.")],
    days: Annotated[float, typer.Option(help="Remove sound older than this many days.")],
) -> None:
    """Remove old sound. A mark stays in its place, so that the record still verifies."""
    from handsfree.journal import commands

    commands.prune(visits, days=days)


VERBS: tuple[Callable[..., None], ...] = (verify, replay, keys, export, report, attach, prune)
