"""The commands for the record, which print: `verify`, `replay`, `keys`, `prune`, `export`, `report`. Thin functions.

Each raises Trouble for what a person must see; a broken record is Trouble with status 3.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from rich.console import Console
from rich.markup import escape

from handsfree.errors import Trouble
from handsfree.journal import keys as device_keys
from handsfree.journal import reader, tree_heads
from handsfree.journal.coverage import day_and_time
from handsfree.journal.events import Stamped
from handsfree.journal.follow import ReplayMachine
from handsfree.journal.replay import Play, Voice
from handsfree.journal.rights import KeptHead
from handsfree.journal.rows import printable
from handsfree.journal.shapes import HASH
from handsfree.journal.tree_heads import NotedHead
from handsfree.journal.verdicts import VerifyReport
from handsfree.journal.words import as_words
from handsfree.outputs import kind_of, save, save_by

#: What `export` can write, and the usual file name ending of each.
EXPORTS = ("readings", "events", "schema", "sound")


def verify(
    visit: Path, *, signed: bool = False, events: int | None = None, head: str | None = None, words: str | None = None,
    proof: Path | None = None, keys_folder: Path | None = None, as_json: bool = False, console: Console | None = None,
) -> None:  # fmt: skip
    """Print whether the record is intact and what that covers. Trouble (status 3) at the first bad place."""
    from handsfree.journal.verify import verify as judge

    if head is not None and not re.fullmatch(HASH, head):
        raise Trouble("--head is the hash that an earlier 'handsfree verify' printed: 64 digits and letters from a to f.")
    try:
        noted = as_words(words) if words is not None else None
    except ValueError as error:
        raise Trouble(f"'{words}' cannot be used for --words: {error}.") from None
    known, rights = device_keys.known(keys_folder), device_keys.rights(keys_folder)
    said = _said_by(proof) if proof is not None else None
    word = said is not None and said.tree.signature and said.tree.public_key in known  # whose, else: anybody's
    kept = [KeptHead(said.events, said.head, said.wall)] if said is not None and word else []
    held = partial(judge, visit, known=known, rights=rights, kept=kept)
    report = held(signed=signed, events=events, head=head, words=noted)
    noted_by = _proved(visit, proof, said, known, held) if proof is not None and said is not None and report.holds else ""
    if as_json:
        print(json.dumps({
            "holds": report.holds, "events": report.events, "head": report.head, "at": report.at, "problem": report.problem,
            "remarks": report.remarks, "clips": report.clips, "removed": report.removed, "signers": report.signers,
            "all_signed": report.all_signed, "words": report.words, "renamed": report.renamed,
            "covers": [asdict(c) for c in report.covers], "joins": [asdict(j) for j in report.joins],
            "removals": [asdict(r) for r in report.removals],
        }))  # fmt: skip
    if not report.holds:
        raise Trouble(report.refusal(visit), 3)
    if not as_json:
        out = console or Console()
        left = report.clips - report.removed
        files = f"{left} files beside it are as they were recorded." if left else ""
        end = f"Its head is {report.head}, in words: {report.words}."
        if noted == report.words or (head is not None and head == report.head):
            end += " That is what you noted."
        elif noted or head:
            end += " What you noted is of an earlier end of this record; it went on after that."
        else:
            end += " Note it elsewhere, and a cut end can be found."
        for line in (report.verdict, files, *report.remarks, noted_by, end):
            if line:
                out.print(escape(printable(line)), highlight=False, soft_wrap=True)


def _said_by(proof: Path) -> NotedHead:
    """Trouble if it cannot be read; with status 3 if it does not hold."""
    try:
        return tree_heads.proved(json.loads(proof.read_bytes()))
    except OSError as error:
        raise Trouble(f"{proof} cannot be read: {error.strerror}. The desk's page of the visit offers it.") from None
    except (ValueError, RecursionError):
        raise Trouble(f"{proof} proves nothing: it is no desk's proof, or it was changed. Get it anew there.", 3) from None


def _proved(
    visit: Path, proof: Path, said: NotedHead, known: dict[str, str], held: Callable[..., VerifyReport]
) -> str:
    """What a desk's proof says of this record, as a sentence. Trouble (status 3) if it is not of this record."""
    opened = next(reader.read(visit)).event
    if said.visit != opened.visit or not held(sound=False, events=said.events, head=said.head).holds:
        raise Trouble(f"{proof} is of another record: no event here has the head that the desk noted for {said.visit}.", 3)
    tree = said.tree
    whose = known.get(tree.public_key, "") if tree.signature else ""
    by = f"by {whose}" if whose else "under no key that is known here: compare the root with one that you kept"
    return (f"The desk's ledger has the head of its event {said.events - 1}, noted on {day_and_time(said.wall)}. "
            f"Its tree of {tree.size} heads has the root {tree.root}, {by}.")


def replay(
    visit: Path, machine: ReplayMachine | None = None, *, speed: float | None = None, begin: str | None = None,
    only: str | None = None, html: Path | None = None, pdf: Path | None = None, voice: Voice | None = None,
    play: Play | None = None, keys_folder: Path | None = None, console: Console | None = None,
) -> None:  # fmt: skip
    """The visit on the terminal, or as a page or a PDF. Trouble (status 3), after everything is shown, if the record is
    broken or does not follow from the machine."""
    from handsfree.journal import replay as terminal
    from handsfree.journal.account import account

    out = console or Console()
    if html is not None:
        kind_of(html, (".html", ".htm"), "A visit's page")
    if pdf is not None:
        kind_of(pdf, (".pdf",), "A visit on paper")
    want = terminal.wish(speed, begin, only)
    told = account(visit, machine, device_keys.known(keys_folder), device_keys.rights(keys_folder))
    if html is not None:
        from handsfree.journal.page import visit_page

        save(html, lambda: visit_page(told).encode())
    if pdf is not None:
        from handsfree.journal.pdf import visit_pdf

        save(pdf, lambda: visit_pdf(told))
    if html is None and pdf is None:
        speaker = play if play is not None or speed is None else terminal.loudspeaker()
        if speed is not None and speaker is None:
            out.print(
                "There is no loudspeaker: the visit is shown in time, without its sound.", highlight=False, soft_wrap=True
            )
        terminal.replay(told, want, out, voice=voice, play=speaker)
    for path in (html, pdf):
        if path is not None:
            out.print(escape(f"Written: {path}"), highlight=False, soft_wrap=True)
    if not told.report.holds:
        raise Trouble(told.report.refusal(visit), 3)
    if told.departure is not None:
        where = told.departure
        sentence = f"The record of {visit} does not follow from the machine at event {where.n}: {where.sentence}."
        raise Trouble(sentence, 3)


def keys(
    *, make: str | None = None, trust: tuple[str, str] | None = None, may_remove: bool = False,
    withdraw: str | None = None, as_of: str | None = None, keys_folder: Path | None = None, console: Console | None = None,
) -> None:  # fmt: skip
    """Show the keys; first make this device's (`make`: its name), trust another's (`trust`: its name and public key) or
    withdraw one (`withdraw`: its name; `as_of`: the day from which it no longer counts, else now)."""
    out = console or Console()
    folder = keys_folder or device_keys.default_folder()
    if as_of is not None and withdraw is None:
        raise Trouble("--as-of goes with --withdraw: it says since when the key no longer counts.")
    if withdraw is not None:
        device_keys.withdraw(withdraw, _moment(as_of), folder)
    if trust is not None:  # first: where it is none, no key is made either
        device_keys.trust(*trust, folder, may_remove=may_remove)
    if make is not None:
        device_keys.make(make, folder)
    own = device_keys.load(folder)
    if own is None:
        out.print("This device has no key; make one with: handsfree keys --make NAME", highlight=False, soft_wrap=True)
    else:
        out.print(escape(f"This device is {own.device}. Its public key: {own.public_key}"), highlight=False, soft_wrap=True)
    rights = device_keys.rights(folder)
    for key, device in device_keys.known(folder).items():
        right = ", and may remove the sound of others' visits" if key in rights.removers else ""
        out.print(escape(f"Known: {device} {key}{right}"), highlight=False, soft_wrap=True)
    for key, gone in rights.withdrawn.items():
        since = day_and_time(gone.wall)
        out.print(escape(f"Withdrawn: {gone.device} {key}, from {since} on"), highlight=False, soft_wrap=True)


def _moment(text: str | None) -> datetime:
    """A day, or a day and a time, here; now if it is None."""
    try:
        return datetime.now().astimezone() if text is None else datetime.fromisoformat(text).astimezone()
    except (ValueError, OverflowError):
        raise Trouble(f"'{text}' is not a day. Write it as 2026-05-20, or with a time as '2026-05-20 08:00'.") from None


def prune(visits: Path, *, days: float, keys_folder: Path | None = None, console: Console | None = None) -> None:
    """Remove the sound of visits older than this many days."""
    from handsfree.journal.prune import prune_visits

    if not 0 <= days <= 36500:
        raise Trouble("The age for pruning is a number of days from 0 to 36500.")
    out, total, left = console or Console(), 0, 0
    key = device_keys.load(keys_folder)
    for done in prune_visits(visits, timedelta(days=days), now=datetime.now().astimezone(), key=key):
        total += done.removed
        if done.removed:
            out.print(
                escape(f"{done.visit.name}: {done.removed} clips removed; a mark says which."), highlight=False
            )
        if done.why_not:
            left += 1
            out.print(escape(f"{done.visit.name}: left as it is: {done.why_not}"), highlight=False, soft_wrap=True)
    out.print(f"{total} clips removed, {left} visits left as they are.", highlight=False, soft_wrap=True)


def export(visit: Path | None, what: str, to: Path, *, voice: Voice | None = None, console: Console | None = None) -> None:
    """`what`: one of EXPORTS. Readings become CSV or Parquet by the file's name; sound becomes FLAC with its captions
    beside."""
    from handsfree.journal import exports

    out = console or Console()
    if what not in EXPORTS:
        raise Trouble(f"'{what}' cannot be exported; {', '.join(EXPORTS[:-1])} and {EXPORTS[-1]} can.")
    if what == "schema":
        save(to, lambda: (json.dumps(exports.schema(), indent=2) + "\n").encode())
    elif visit is None:
        raise Trouble("Name the folder of a visit to export from.")
    elif what == "events":
        all_of_it = _all_of(visit)
        save(to, lambda: exports.events_jsonl(*all_of_it))
    elif what == "sound":
        from handsfree.journal.account import account
        from handsfree.journal.captions import write

        kind_of(to, (".flac",), "The sound of a visit")
        out.print(escape(f"Written: {write(account(visit), to, voice)}"), highlight=False, soft_wrap=True)
    elif kind_of(to, (".csv", ".parquet"), "Readings") == ".csv":
        all_of_it = _all_of(visit)
        save(to, lambda: exports.readings_csv(*all_of_it).encode())
    else:
        entries, broken_at = _all_of(visit)
        save_by(to, lambda path: exports.readings_parquet(entries, path, broken_at))
    out.print(escape(f"Written: {to}"), highlight=False, soft_wrap=True)
    if visit is not None and what in ("events", "readings"):
        _say_whether_it_holds(visit)


def _all_of(visit: Path) -> tuple[Sequence[Stamped], int | None]:
    """(every event that can be read, the number from which on nothing vouches for them or None). Trouble (status 3) if
    there is none."""
    from handsfree.journal.account import readable

    entries, behind, broken_at = readable(visit)
    if not entries:
        raise Trouble(f"There is no event in {visit}; nothing was written. Run 'handsfree verify {visit}'.", 3)
    return [*entries, *behind], broken_at


def _say_whether_it_holds(visit: Path) -> None:
    """Trouble (status 3), after everything is written, if nothing vouches for all of it."""
    from handsfree.journal.account import readable

    _, _, broken_at = readable(visit)
    if broken_at is not None:
        why = "what comes after is written too, marked as unverified"
        raise Trouble(f"The record of {visit} is broken at event {broken_at}; {why}.", 3)


def report(visit: Path, to: Path, *, keys_folder: Path | None = None, console: Console | None = None) -> None:
    """The service report for the customer, as Markdown or PDF by the file's name. Trouble (status 3), after it is written,
    if the record is broken."""
    from handsfree.journal.account import account
    from handsfree.journal.service import report_markdown, service
    from handsfree.journal.tongue import say_in, service_in

    told = account(visit, known=device_keys.known(keys_folder), rights=device_keys.rights(keys_folder))
    found = service_in(service(told), say_in(told.opened.language))
    if kind_of(to, (".md", ".pdf"), "A service report") == ".md":
        save(to, lambda: report_markdown(found).encode())
    else:
        from handsfree.journal.pdf import service_pdf

        save(to, lambda: service_pdf(found))
    (console or Console()).print(escape(f"Written: {to}"), highlight=False, soft_wrap=True)
    if not told.report.holds:
        raise Trouble(told.report.refusal(visit), 3)
