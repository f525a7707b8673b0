"""From what the engines testify to the numbers that acceptance is computed from. Pure.

Rules of this file:

- Candidates of one act (an answer, a command, a value, the gate) add up. Denials and texts that mean nothing stand
  against it.
- What stands against an act stands the harder the less it sounds like it: 'isolated look for two' is how a transcriber
  may well write 'isolated lock four two'; 'not isolated' is not. Compared as phonemes, never as letters.
- Every feature is clipped to a range in which it was fitted, so that odd sound cannot push a sum beyond what was measured.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

from handsfree.language.meaning import Denial, Listening, Meaning, Sense, may_prove
from handsfree.language.phonetics import phonemes, similarity
from handsfree.language.quantities import unit_fits
from handsfree.speech.engine import OTHER, Candidate, Testimony, log_sum
from handsfree.speech.near_words import taken_for
from handsfree.speech.pace import ABOVE_NOISE, SECONDS, misfit
from handsfree.speech.pocketsphinx_rivals import weakest_word

if TYPE_CHECKING:
    from handsfree.language.base import Language

_ALIKE = 0.86  # similarity from which a text counts as another writing of the same sound
NEURAL = "whisper"
SECOND = "whisper base"  # the larger model
_FLOOR = -12.0  # nats below everything found: what a pass thinks of an act it did not find
_NUMBER_FLOOR = -7.0  # the same where a number is asked for: a pass often misses the right one of a million
_OFF_PACE = 1.5  # nats a deviation beyond the first by which an act is too short or too long for the sound
_SHORT = 3  # sounds: 'why' and 'note' are soon heard in an answer's place ('dry', 'right', 'no')
_TIE = 2.0  # nats within which two acts cannot be told apart
_TAKEN_FOR = 1.0  # nats within which numbers taken for each other are asked
_SOUNDS_ALIKE = 0.6  # words that are taken for each other: 'running' and 'humming' 0.70, 'no' and 'note' 0.67
_TOO_NEAR = 3.0  # nats within which these are asked
TRUE_DENIALS = frozenset({Denial.NEGATION, Denial.STILL_ON, Denial.QUESTION, Denial.UNSURE, Denial.NUMBER})


class Stake(StrEnum):
    """What is at stake when an act is accepted wrongly."""

    CHOICE = "choice"
    READING = "reading"
    GATE = "gate"


STAKES: Mapping[Sense, Stake] = {
    Sense.PHRASE: Stake.CHOICE, Sense.COMMAND: Stake.CHOICE, Sense.STATE: Stake.READING, Sense.NUMBER: Stake.READING,
    Sense.DIGITS: Stake.READING, Sense.GATE: Stake.GATE,
}  # fmt: skip


@dataclass(frozen=True)
class Weighed:
    """`best`: the leading act. `features`: (name, value). `rivals`: acts too near to tell apart, the best included.
    `denial`: the leading denial where it outweighs the act. `proof`: it may prove that the works are dead.
    `tied`: some of the rivals are numbers, or sound alike, and are known to be taken for it."""

    best: Meaning
    stake: Stake
    features: tuple[tuple[str, float], ...]
    rivals: tuple[Meaning, ...] = ()
    denial: Meaning | None = None
    proof: bool = False
    tied: bool = False


@dataclass(frozen=True)
class Act:
    meaning: Meaning
    score: float


def acts(testimony: Testimony, listening: Listening) -> list[Act]:
    """What could be acted on, scores of one act added up, best first."""
    found: dict[tuple[Sense, str], list[Candidate]] = {}
    for candidate in testimony.candidates:
        meaning = candidate.meaning
        if meaning.sense is not Sense.DENIAL:
            found.setdefault(key(meaning, listening), []).append(candidate)
    out = [Act(_fullest(group), log_sum(c.score + _odd(c.meaning, listening) for c in group)) for group in found.values()]
    return sorted(out, key=lambda act: -act.score)


def key(meaning: Meaning, listening: Listening) -> tuple[Sense, str]:
    """What makes two meanings the same act: a value with the unit asked for or with none is one."""
    if meaning.sense is not Sense.NUMBER:
        return meaning.sense, meaning.text
    asked = listening.number.unit if listening.number is not None else ""
    return meaning.sense, f"{meaning.value} {meaning.unit or asked}"


def _fullest(group: Sequence[Candidate]) -> Meaning:
    """The best-scored of the group, one with a unit before one without."""
    best = max(group, key=lambda c: c.score).meaning
    units = {c.meaning.unit for c in group} - {None}
    return replace(best, unit=units.pop()) if best.unit is None and len(units) == 1 else best


#: What a service meter can show of a unit at all, where a step says nothing narrower. Common practice, no source.
_USUAL = {
    "degF": (-100.0, 999.0), "degC": (-75.0, 540.0), "volt": (-1000.0, 1000.0), "ampere": (-400.0, 400.0),
    "psi": (-30.0, 1000.0),
}  # fmt: skip


def _odd(meaning: Meaning, listening: Listening) -> float:
    """What an unlikely reading costs, nats: never hidden, but not believed lightly. Outside the plausible range; volts where
    ohms are asked for; more figures than a field meter shows (four, and two after the point). Common practice, no source."""
    asked = listening.number
    if asked is None or meaning.value is None:
        return 0.0
    figures = f"{abs(meaning.value):.12g}"
    decimals = len(figures.partition(".")[2])
    cost = -1.0 * max(0, len(figures.replace(".", "").lstrip("0")) - 4) - 1.5 * max(0, decimals - 2)
    low, high = _USUAL.get(meaning.unit or asked.unit, (-1e9, 1e9))
    inside = (meaning.unit or asked.unit) != asked.unit or asked.low <= meaning.value <= asked.high
    fits = unit_fits(asked.unit, meaning.unit)
    return cost - 3.0 * (not inside) - 3.0 * (not low <= meaning.value <= high) - 3.0 * (not fits)


def weigh(testimonies: Sequence[Testimony], listening: Listening, language: Language) -> Weighed | None:
    """The leading act of all engines together and its features; None where nothing in force was found.

    The neural engine leads where it testifies: the act with the highest product of its posterior over its passes."""
    neural = [t for t in testimonies if t.engine.startswith(NEURAL) and t.candidates]
    if not neural:
        return _weigh_words([t for t in testimonies if not t.engine.startswith(NEURAL)], listening, language)
    ranked = _ranked(neural, listening)
    if not ranked:
        return None
    best = ranked[0].meaning
    features: dict[str, float] = {}
    act = key(best, listening)
    wrote = [[key(meaning, listening) for meaning in language.understand(t.free, listening)[:1]] == [act] for t in neural]
    for testimony, written in zip(neural, wrote, strict=True):
        prefix = testimony.engine.removeprefix(NEURAL).strip()
        found = _against(testimony, best, written, listening, language)
        features |= {f"{prefix} {name}".strip(): value for name, value in found.items()}
    leaders = [acts(t, listening)[:1] for t in neural]
    features["free same"] = sum(wrote) / len(neural)
    features[ABOVE_NOISE] = _clip(dict(neural[0].evidence).get(ABOVE_NOISE, 0.0), 8, 24)
    features["in time"] = -min(4.0, _misfit(neural, act, listening))
    features["usual"] = max(-6.0, _odd(best, listening))
    in_front = [key(t.candidates[0].meaning, listening) == act for t in neural]
    features["in front"] = sum(in_front) / len(neural)
    features["one leader"] = float(all(led and key(led[0].meaning, listening) == act for led in leaders))
    features["lead"] = _clip(ranked[0].score - ranked[1].score if len(ranked) > 1 else 24.0, 0, 12)
    confusable: set[tuple[Sense, str]] = set()
    for testimony in neural:
        confusable |= _taken_for(testimony, best, listening)
    rivals = tuple(
        one.meaning for one in ranked
        if one.score > ranked[0].score - _TIE * len(neural) or key(one.meaning, listening) in confusable
    )  # fmt: skip
    return Weighed(
        best, STAKES[best.sense], tuple(features.items()), rivals if len(rivals) > 1 else (), leading_denial(neural[0]),
        may_prove(best, listening), bool(confusable),
    )  # fmt: skip


def apart(testimonies: Sequence[Testimony], best: Meaning, other: Meaning, listening: Listening) -> float:
    """Nats by which the engine that is least sure puts one value above another, whatever its unit; infinite where none found
    the other."""
    gaps = []
    for testimony in testimonies:
        found = acts(testimony, listening)
        own = max((act.score for act in found if key(act.meaning, listening) == key(best, listening)), default=-math.inf)
        unfound = math.inf if own > -math.inf else -math.inf
        gaps += [own - act.score for act in found if act.meaning.value == other.value] or [unfound]
    return min(gaps)


def _taken_for(testimony: Testimony, best: Meaning, listening: Listening) -> set[tuple[Sense, str]]:
    """What this engine found little below `best` and is known to be taken for it: numbers, or what sounds like an answer."""
    scores = {key(act.meaning, listening): act for act in acts(testimony, listening)}
    own = scores.get(key(best, listening), Act(best, -math.inf)).score
    near = {which: act.meaning for which, act in scores.items() if act.meaning != best}
    return {which for which, other in near.items() if _confused(best, other, own - scores[which].score, listening)}


def _confused(best: Meaning, other: Meaning, nats: float, listening: Listening) -> bool:
    """`nats`: how far the other lies below. A visit's answers and commands are taken for each other where they differ in one
    word, and these two words sound alike; 'drags' and 'it drags' are two ways of saying one answer. Among a recorder's words
    there are such ways ('fan blade', 'fan blades'): there nothing is asked."""
    if best.value is not None:
        return other.value is not None and nats < _TAKEN_FOR and taken_for(best.value, other.value)
    words = {best.sense, other.sense} <= {Sense.PHRASE, Sense.COMMAND}
    if not (words and listening.of_a_visit and nats < _TOO_NEAR):
        return False
    said, like = best.spoken.split(), other.spoken.split()
    mine, theirs = [word for word in said if word not in like], [word for word in like if word not in said]
    return len(mine) == len(theirs) == 1 and similarity(mine[0], theirs[0]) >= _SOUNDS_ALIKE


def _ranked(neural: Sequence[Testimony], listening: Listening) -> list[Act]:
    """Acts by the sum, over the passes, of the log of their share of all that each pass found; numbers also by pace."""
    number = listening.number is not None
    floor = _NUMBER_FLOOR if number else _FLOOR
    meanings: dict[tuple[Sense, str], Meaning] = {}
    views: list[dict[tuple[Sense, str], float]] = []
    for testimony in neural:
        found = acts(testimony, listening)
        total = log_sum([*(c.score for c in testimony.candidates), *(score for _, score in _others(testimony))])
        views.append({key(act.meaning, listening): max(floor, act.score - total) for act in found})
        for act in found:
            meanings.setdefault(key(act.meaning, listening), act.meaning)
    totals = {which: sum(view.get(which, floor) for view in views) for which in meanings}
    if number:
        for which in totals:
            totals[which] -= _OFF_PACE * min(4.0, max(0.0, _misfit(neural, which, listening) - 1))
    return sorted((Act(meanings[which], total) for which, total in totals.items()), key=lambda act: -act.score)


def _misfit(neural: Sequence[Testimony], which: tuple[Sense, str], listening: Listening) -> float:
    """Deviations between the time spoken and what the act takes to say, of the ways it was found the one that fits best."""
    seconds = dict(neural[0].evidence).get(SECONDS, 0.0)
    ways = {c.meaning.spoken for t in neural for c in t.candidates if key(c.meaning, listening) == which}
    return min((misfit(len(phonemes(spoken)), seconds) for spoken in ways), default=0.0)


def _others(testimony: Testimony) -> list[tuple[str, float]]:
    return [(name.removeprefix(OTHER), score) for name, score in testimony.evidence if name.startswith(OTHER)]


def leading_denial(testimony: Testimony) -> Meaning | None:
    """The engine's leading candidate where that is a denial."""
    first = testimony.candidates[0].meaning if testimony.candidates else None
    return first if first is not None and first.sense is Sense.DENIAL else None


def short_command(meaning: Meaning) -> bool:
    """A command of so few sounds that it is soon heard where something else was said."""
    return meaning.sense is Sense.COMMAND and len(phonemes(meaning.spoken)) <= _SHORT


def written_denials(testimony: Testimony, listening: Listening, language: Language) -> list[Meaning]:
    """What the engine's own words deny of what is in force."""
    return [meaning for meaning in language.understand(testimony.free, listening) if meaning.sense is Sense.DENIAL]


def _against(
    testimony: Testimony, best: Meaning, written: bool, listening: Listening, language: Language
) -> dict[str, float]:
    """How one neural pass sees `best`: in nats above each kind of thing that speaks against it. `written`: its own words
    mean just that."""
    found = {key(act.meaning, listening): act for act in acts(testimony, listening)}
    floor = (testimony.free_score if testimony.free_score is not None else testimony.candidates[0].score) + _FLOOR
    own = found.pop(key(best, listening), Act(best, floor)).score
    against = [
        (_heard(c.meaning.spoken, best, language), c.score, c.meaning.text in TRUE_DENIALS)
        for c in testimony.candidates
        if c.meaning.sense is Sense.DENIAL
    ]
    against += [(_heard(text, best, language), score, False) for text, score in _others(testimony)]
    alike = [(similarity(text, best.spoken), score, firm) for text, score, firm in against]
    far = log_sum(score for near, score, firm in alike if firm or near < _ALIKE)
    near = log_sum(score for near, score, firm in alike if not firm and near >= _ALIKE)
    firm = log_sum(score for _, score, firm in alike if firm)
    rival = log_sum(act.score for act in found.values())
    heard = best.spoken if written else _heard(testimony.free, best, language)
    return {
        "rival": _clip(own - rival, -6, 10),
        "far": _clip(own - far, -10, 10),
        "near": _clip(own - near, -8, 6),
        "firm": _clip(own - firm, -8, 10),
        "share": _clip(own - log_sum([own, near, far, rival]), -8, 0),
        "odds": _clip(own - log_sum([near, far, rival]), -6, 7),  # the same, told apart also where it is nearly all
        "alike": similarity(heard, best.spoken),
        "weakest": weakest_word(best.spoken, phonemes(heard)),
    }


#: Evidence of an engine without a language-model scale that is taken as it is: (name, low, high).
_WORD_EVIDENCE = (
    ("agree", 0, 1), ("agree_loop", 0, 1), ("weakest", 0, 1), ("grammar_same", 0, 1), ("over_next", -0.5, 2),
    ("over_loop", -3, 3),
    ("over_free", -3, 3), ("pace", 0, 20), ("shortest", 0, 12), ("speech", 0, 1),
)  # fmt: skip


def _weigh_words(testimonies: Sequence[Testimony], listening: Listening, language: Language) -> Weighed | None:
    """An engine of words alone: its first candidate and its own evidence for it. A denial in front leaves nothing to
    accept."""
    testimony = next((t for t in testimonies if t.candidates), None)
    if testimony is None or testimony.candidates[0].meaning.sense is Sense.DENIAL:
        return None
    best = testimony.candidates[0].meaning
    evidence = dict(testimony.evidence)
    features = {name: _clip(evidence.get(name, low), low, high) for name, low, high in _WORD_EVIDENCE}
    denials = [c.score for c in testimony.candidates if c.meaning.sense is Sense.DENIAL]
    speech = max(1.0, evidence.get("pace", 7.0) * len(phonemes(best.spoken)))
    features["over_denial"] = _clip((testimony.candidates[0].score - max(denials)) / speech if denials else 2.0, -0.5, 2)
    features["sounds"] = _clip(math.log(max(1, len(phonemes(best.spoken)))), 0.5, 4)
    features["words"] = float(len(best.spoken.split()))
    close = 0.01 * speech
    rivals = tuple(
        c.meaning
        for c in testimony.candidates
        if c.meaning.sense is not Sense.DENIAL and c.score > testimony.candidates[0].score - close
    )
    return Weighed(
        best, STAKES[best.sense], tuple(features.items()), rivals if len(rivals) > 1 else (),
        proof=may_prove(best, listening),
    )  # fmt: skip


def unfitted(weighed: Weighed, testimonies: Sequence[Testimony], listening: Listening, language: Language) -> float:
    """A stand-in probability where no model was fitted (Vosk: no English model was at hand to fit one): sure only when the
    free decode of the same sound means exactly the same act."""
    first = next((t for t in testimonies if t.candidates), None)
    if first is None:
        return 0.0
    same = any(
        key(meaning, listening) == key(weighed.best, listening) for meaning in language.understand(first.free, listening)[:1]
    )
    return 0.95 if same and not weighed.rivals else 0.3 if same else 0.01 + 0.2 * dict(weighed.features).get("agree", 0.0)


def _heard(text: str, best: Meaning, language: Language) -> str:
    """A transcript as words: figures one by one where a lock number is expected, as a number elsewhere."""
    if not re.search(r"\d", text):
        return text
    spread = re.sub(r"(?<=\d)\D?(?=\d)", " ", text) if best.sense in (Sense.GATE, Sense.DIGITS) else text
    return language.speakable(spread)


def _clip(value: float, low: float, high: float) -> float:
    return min(high, max(low, value))
