"""Listening again: what the recogniser, as it is now, makes of an archive's kept utterances.

Rules of this file:

- An utterance is heard under what was in force when it was said: the last ListenFor before it in its record.
- A clip is heard only if its hash is the one that the record names.
- `hear_batch` does the whole work, on a core of this machine and on a worker of a cluster alike. Its answer depends only on
  the visit and the program, never on what else is running. `fingerprint` tells apart two programs that differ.
- No lock number leaves the archive: a gate's phrase and a stated number are named, not repeated.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.errors import Trouble
from handsfree.journal.events import ListenFor, Opened, SoundRemoved, Stamped, Utterance
from handsfree.journal.reader import JOURNAL, read, visits_in
from handsfree.language.meaning import TOGETHER, Denial, Sense, Verdict
from handsfree.speech.processes import recogniser_here

if TYPE_CHECKING:
    from handsfree.speech.recogniser import Recogniser

#: Bytes of journal for one batch: a long visit is several.
BATCH = 200_000


class ListenedFor(StrEnum):
    """What was being listened for; what is worst to mishear comes first."""

    GATE = "at a gate"
    LOCK = "lock number"
    READING = "reading"
    ANSWER = "answer or command"


class HearingChange(StrEnum):
    """How the result changed from then to now, the worst first."""

    OTHER = "now accepted as something else"
    ACCEPTED = "now accepted, was not"
    ASKED = "now asked again"
    SILENT = "now not for me"
    SAME = "as then"


@dataclass(frozen=True)
class Judged:
    """A verdict and what was understood, as words that may be shown."""

    verdict: str
    meaning: str
    sure: float


@dataclass(frozen=True)
class Again:
    """One utterance, then and now. `n`: its event."""

    visit: str
    n: int
    clip: str
    stake: ListenedFor
    change: HearingChange
    then: Judged
    now: Judged


@dataclass(frozen=True)
class Batch:
    """The `part`-th of `parts` of a visit's utterances."""

    folder: str
    part: int
    parts: int
    engine: str | None
    models: str


@dataclass(frozen=True)
class Relistened:
    """`heard`: every utterance that was heard again. `left_out`: (event, why) of those that could not be; event -1 for the
    whole visit. `removed`: clips that were pruned. `program`: fingerprint of the program that heard; `engine`: its name."""

    batch: Batch
    heard: tuple[Again, ...] = ()
    left_out: tuple[tuple[int, str], ...] = ()
    removed: int = 0
    program: str = ""
    engine: str = ""


# ---- the work ------------------------------------------------------------------------------------------------------


def batches(place: Path, engine: str | None, models: Path) -> list[Batch]:
    """The work on a visit's folder or a folder of visits, the largest first so that the last are small. Trouble where there
    is no visit."""
    found = []
    for folder in visits_in(place):
        size = (folder / JOURNAL).stat().st_size
        parts = max(1, -(-size // BATCH))
        found += [(size / parts, Batch(str(folder.resolve()), n, parts, engine, str(models))) for n in range(parts)]
    return [batch for _, batch in sorted(found, key=lambda each: (-each[0], each[1].folder, each[1].part))]


@dataclass(frozen=True)
class _Kept:
    n: int
    event: Utterance
    listening: ListenFor


def _kept(entries: Iterable[Stamped]) -> tuple[str, list[_Kept], frozenset[str]]:
    """(language, utterances with a clip, clips that were removed). An utterance accepted only together with an earlier one
    is left out: it cannot be heard again by itself."""
    language, found, removed = "en", [], set()
    listening = ListenFor(commands=())
    for entry in entries:
        event = entry.event
        if isinstance(event, ListenFor):
            listening = event
        elif isinstance(event, Opened):
            language = event.language
        elif isinstance(event, Utterance) and event.clip and not event.typed and event.reason != TOGETHER:
            found.append(_Kept(entry.n, event, listening))
        elif isinstance(event, SoundRemoved):
            removed |= {clip for clip, _ in event.clips}
    return language, found, frozenset(removed)


def hear_batch(batch: Batch) -> Relistened:
    """Trouble where the folder is not there, or the engine is not."""
    folder = Path(batch.folder)
    if not folder.is_dir():
        raise Trouble(f"{folder} is missing where the work is done; every machine must reach the archive by that path.")
    try:
        language, kept, removed = _kept(read(folder))
    except Trouble as trouble:
        return Relistened(batch, left_out=((-1, trouble.sentence),) if batch.part == 0 else (), program=fingerprint())
    recogniser = recogniser_here(batch.engine, language, batch.models)
    heard: list[Again] = []
    left_out: list[tuple[int, str]] = []
    gone = 0
    for each in kept[len(kept) * batch.part // batch.parts : len(kept) * (batch.part + 1) // batch.parts]:
        if each.event.clip in removed:
            gone += 1
            continue
        try:
            heard.append(_hear(recogniser, folder, each))
        except Exception as error:  # a clip may hold anything, and the rest of the archive must still be heard
            why = str(error) if isinstance(error, Trouble | OSError) else f"it cannot be heard ({type(error).__name__})"
            left_out.append((each.n, why))
    return Relistened(batch, tuple(heard), tuple(left_out), gone, fingerprint(), recogniser.name)


#: Seconds. A saying is cut off after twelve; hours of silence are a few kilobytes, and fill the memory when they are heard.
LONGEST_CLIP = 600.0


def _hear(recogniser: Recogniser, folder: Path, kept: _Kept) -> Again:
    from handsfree.dialogue.listening import listening_of
    from handsfree.sound.files import read_sound

    path = folder / kept.event.clip
    if hashlib.sha256(path.read_bytes()).hexdigest() != kept.event.clip_sha256:
        raise Trouble(f"{path.name} is not the clip that was recorded: its hash differs.")
    samples = read_sound(path, LONGEST_CLIP)
    with _ONE_AT_A_TIME:
        heard = recogniser.hear(samples, listening_of(kept.listening))
    meaning, event = heard.meaning, kept.event
    now = (str(meaning.sense), meaning.text, meaning.value, meaning.unit) if meaning else ("", "", None, None)
    then = (event.sense, event.text, event.value, event.unit)
    return Again(
        visit=folder.name, n=kept.n, clip=event.clip, stake=stake_of(kept.listening),
        change=change_of(event.verdict, then, str(heard.verdict), now),
        then=Judged(event.verdict, shown(*then), round(event.sure, 4)),
        now=Judged(str(heard.verdict), shown(*now), round(float(heard.sure), 4)),
    )  # fmt: skip


#: An engine is not made for two calls at once; a worker gains nothing from several threads.
_ONE_AT_A_TIME = threading.Lock()


# ---- then and now --------------------------------------------------------------------------------------------------

Meant = tuple[str, str, float | None, str | None]


def stake_of(listening: ListenFor) -> ListenedFor:
    if listening.gate:
        return ListenedFor.GATE
    if listening.digits is not None:
        return ListenedFor.LOCK
    return ListenedFor.READING if listening.number_unit is not None else ListenedFor.ANSWER


def change_of(then: str, meant_then: Meant, now: str, meant_now: Meant) -> HearingChange:
    """An utterance that was not accepted led to nothing, so its meaning does not count. Asked again and silent differ."""
    if now == Verdict.ACCEPTED:
        if then != Verdict.ACCEPTED:
            return HearingChange.ACCEPTED
        return HearingChange.SAME if meant_then == meant_now else HearingChange.OTHER
    if then == now:
        return HearingChange.SAME
    return HearingChange.ASKED if now == Verdict.ASKED_AGAIN else HearingChange.SILENT


def shown(sense: str, text: str, value: float | None, unit: str | None) -> str:
    """A meaning in words, without a lock number."""
    if sense == Sense.NUMBER and value is not None:
        return f"{value:g} {unit or ''}".rstrip()
    if sense == Sense.DIGITS:
        return "(a lock number)"
    if sense == Sense.GATE:
        return f"{text.split(',')[0]}, lock (the number)"
    if sense == Sense.DENIAL:
        kinds = {str(kind) for kind in Denial}
        return f"denial: {text if text in kinds else 'as said'}"
    return text


@cache
def fingerprint() -> str:
    """SHA-256 over the program and its grammar: programs with the same fingerprint hear alike."""
    from handsfree.resources import shipped_folder

    found = hashlib.sha256()
    for top in (Path(__file__).resolve().parent.parent, shipped_folder("grammar")):
        for path in sorted(p for p in top.rglob("*") if p.suffix in (".py", ".json", ".jsgf", ".yaml") and p.is_file()):
            found.update(str(path.relative_to(top)).encode() + b"\0" + hashlib.sha256(path.read_bytes()).digest())
    return found.hexdigest()


# ---- the report ----------------------------------------------------------------------------------------------------


@dataclass
class RelistenReport:
    """`counts`: (stake, change) -> how many. `changed`: every utterance not heard as it was then, the worst first."""

    counts: dict[tuple[ListenedFor, HearingChange], int] = field(default_factory=dict)
    changed: list[Again] = field(default_factory=list)
    left_out: list[tuple[str, int, str]] = field(default_factory=list)
    clips: int = 0
    removed: int = 0
    visits: int = 0
    engine: str = ""

    @property
    def alarming(self) -> int:
        """How many utterances at gates are accepted now that were not then, or are accepted as something else."""
        worse = (HearingChange.OTHER, HearingChange.ACCEPTED)
        return sum(self.counts.get((ListenedFor.GATE, change), 0) for change in worse)

    def to_json(self) -> dict[str, Any]:
        by = [
            {"stake": str(stake), **{str(change): self.counts.get((stake, change), 0) for change in HearingChange}}
            for stake in ListenedFor
        ]
        changed = [
            {
                "visit": a.visit, "event": a.n, "clip": a.clip, "stake": str(a.stake), "change": str(a.change),
                "then": [a.then.verdict, a.then.meaning, a.then.sure], "now": [a.now.verdict, a.now.meaning, a.now.sure],
            }
            for a in self.changed
        ]  # fmt: skip
        left = [{"visit": visit, "event": n, "why": why} for visit, n, why in self.left_out]
        return {"visits": self.visits, "clips": self.clips, "engine": self.engine, "by": by, "changed": changed,
                "left_out": left, "removed": self.removed}  # fmt: skip


_STAKES, _CHANGES = list(ListenedFor), list(HearingChange)


def report_of(answers: Iterator[Relistened]) -> RelistenReport:
    """The report of all the answers, the same in whatever order they come. Trouble where different programs gave them."""
    report, programs, engines, visits = RelistenReport(), set(), set(), set()
    for answer in answers:
        visit = Path(answer.batch.folder).name
        visits.add(answer.batch.folder)
        programs.add(answer.program)
        engines |= {answer.engine} - {""}
        if len(programs) > 1:
            raise Trouble("The workers run different versions of handsfree. Install the same version on all of them.")
        report.clips += len(answer.heard)
        report.removed += answer.removed
        report.left_out += [(visit, n, why) for n, why in answer.left_out]
        for again in answer.heard:
            place = again.stake, again.change
            report.counts[place] = report.counts.get(place, 0) + 1
            if again.change is not HearingChange.SAME:
                report.changed.append(again)
    report.changed.sort(key=lambda a: (_STAKES.index(a.stake), _CHANGES.index(a.change), a.visit, a.n))
    report.left_out.sort()
    report.visits, report.engine = len(visits), ", ".join(sorted(engines))
    return report
