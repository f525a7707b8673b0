"""The desk's questions on the device: a small file that `handsfree send` brings back, and with which a visit opens.

Rules of this file:

- Nothing in the file is trusted: malformed entries are left out, and a text is cut to what can be said.
- A visit takes only the questions for its technician, the same cabinet's first, and only a few: close-out is not an
  interrogation.
- An answered question is taken out when the visit ends. The desk goes on sending it until that visit reaches the desk, so
  the file remembers it until the desk leaves it out. The same finding asked about in other words is another question.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from filelock import FileLock

from handsfree.errors import Trouble
from handsfree.journal import reader
from handsfree.journal.events import DeskAnswered, DeskAsked
from handsfree.outputs import replace_file

#: Most questions of one visit; characters of a question; questions in a file, and its bytes.
MOST, LONGEST, MOST_KEPT, LARGEST = 2, 300, 500, 1 << 20


@dataclass(frozen=True)
class DeskQuestion:
    """`key`: of the finding it is about. `technician`: who is asked, as records name them. `site`, `cabinet`: where it
    was."""

    key: str
    technician: str
    by: str
    text: str
    site: str = ""
    cabinet: str = ""


def file_beside(outbox: Path) -> Path:
    return outbox.with_name("desk-questions.json")


def fits(groups: Iterable[Iterable[DeskQuestion]]) -> list[DeskQuestion]:
    """As many as a device accepts, each cut to what can be said; of a group all or none, and then none of those after it."""
    found: list[DeskQuestion] = []
    room = LARGEST
    for group in groups:
        some = [_said(asdict(one)) for one in group]
        room -= sum(len(questions_file((one,))) for one in some)  # a little more than they take together
        if len(found) + len(some) > MOST_KEPT or room < 0:
            break
        found += some
    return found


def questions_file(questions: Iterable[DeskQuestion], answered: Iterable[DeskQuestion] = ()) -> bytes:
    """`answered`: questions answered here, on visits that the desk may not have yet."""
    lists = {"questions": questions, "answered": answered}
    return json.dumps({name: [asdict(one) for one in some] for name, some in lists.items()}, ensure_ascii=False).encode()


def parse(data: bytes, of: str = "questions") -> tuple[DeskQuestion, ...]:
    """ValueError if it is no such file; entries that are not questions are left out. `of`: which list of it."""
    try:
        raw = json.loads(data[:LARGEST])[of]
        listed = raw[:MOST_KEPT] if isinstance(raw, list) else None
    except (KeyError, TypeError, ValueError, RecursionError) as error:
        raise ValueError(f"these are not questions ({type(error).__name__})") from None
    if listed is None:
        raise ValueError("these are not questions")
    good = [one for one in listed if isinstance(one, dict) and all(isinstance(one.get(name, ""), str) for name in _NAMES)]
    return tuple(one for one in map(_said, good) if one.key and one.technician and one.text)


_NAMES = tuple(field.name for field in fields(DeskQuestion))


def _said(raw: dict[str, str]) -> DeskQuestion:
    return DeskQuestion(**{name: _plain(raw.get(name, "")) for name in _NAMES})


def _plain(text: str) -> str:
    """One line that can be said; applied to its own result it changes nothing."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:LONGEST].rstrip()


def pending(path: Path, technician: str, site: str, cabinet: str) -> tuple[tuple[str, str, str], ...]:
    """(finding, who asks, words) to ask on a visit; () if there is no file, or nothing for this person."""
    theirs = [one for one in _kept(path, "questions") if technician and one.technician.casefold() == technician.casefold()]
    here = (site.casefold(), cabinet.casefold())
    theirs.sort(key=lambda one: (one.site.casefold(), one.cabinet.casefold()) != here)
    return tuple(dict.fromkeys((one.key, one.by, one.text) for one in theirs))[:MOST]  # a person has several names


def keep(path: Path, sent: Iterable[DeskQuestion]) -> tuple[DeskQuestion, ...]:
    """Replaces what was kept by what the desk sent, without the questions already answered here. OSError if the file cannot
    be written."""
    with FileLock(f"{path}.lock"):
        left, done = _parted(sent, {(one.key, one.text) for one in _kept(path, "answered")})
        replace_file(path, questions_file(left, done), 0o600)
    return left


def take_out(path: Path, visit: Path) -> None:
    """Removes the questions that were answered on this visit, in the words asked there. Trouble if the file cannot be
    written."""
    asked: dict[str, str] = {}
    answered: set[tuple[str, str]] = set()
    for entry in reader.read(visit):
        if isinstance(entry.event, DeskAsked):
            asked[entry.event.key] = entry.event.text
        elif isinstance(entry.event, DeskAnswered):
            answered.add((entry.event.key, asked.get(entry.event.key, "")))
    if not answered:
        return
    try:
        with FileLock(f"{path}.lock"):
            left, done = _parted(_kept(path, "questions"), answered)
            replace_file(path, questions_file(left, (*_kept(path, "answered"), *done)[-MOST_KEPT:]), 0o600)
    except OSError as error:
        raise Trouble(f"The desk's questions are kept in {path}, which cannot be written: {error.strerror}.") from None


def _parted(
    some: Iterable[DeskQuestion], answered: Collection[tuple[str, str]]
) -> tuple[tuple[DeskQuestion, ...], tuple[DeskQuestion, ...]]:
    """(those still open, those that were answered in these words)."""
    found: tuple[list[DeskQuestion], list[DeskQuestion]] = [], []
    for one in some:
        found[(one.key, one.text) in answered].append(one)
    return tuple(found[0]), tuple(found[1])


def _kept(path: Path, of: str) -> tuple[DeskQuestion, ...]:
    try:
        return parse(path.read_bytes(), of)
    except (OSError, ValueError):
        return ()
