"""Turns what the witnesses testify into the few numbers from which acceptance is computed. Pure.

Rules of this file:

- A witness is known by the kind of evidence it gives (`engine.Witness`), never by its name.
- Candidates of one act (an answer, a command, a value, the gate) belong together. Denials count against it.
- Acts are ranked by the sum of all witnesses' scores, each kind weighed by the fit (`acceptance`).
- The higher a feature, the more it supports the act. Each is clipped to the range in which it was fitted, so that odd sound
  cannot push a sum beyond what was measured.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

from handsfree.language.meaning import Denial, Listening, Meaning, Sense, may_prove
from handsfree.language.phonetics import distance, phonemes, similarity, sound_distance
from handsfree.language.quantities import unit_fits
from handsfree.language.tokens import tokens
from handsfree.speech.engine import OTHER, QUIET_BEFORE, Candidate, Testimony, Witness, log_sum

if TYPE_CHECKING:
    from handsfree.language.base import Language

TRUE_DENIALS = frozenset({Denial.NEGATION, Denial.STILL_ON, Denial.QUESTION, Denial.UNSURE, Denial.NUMBER})
#: What really counts against an act: what denies it, and what leaves half of it out.
_EARNEST = TRUE_DENIALS | {Denial.HALF}
#: Nats below the best of all that a witness found: what it thinks of an act that it did not find.
FLOOR = {Witness.TOKENS: -12.0, Witness.SOUNDS: -30.0, Witness.GRAMMAR: -12.0}

_LONG = 16  # sounds; what speaks against an answer grows with its length, though longer ones are mistaken more seldom
_ACCENT = 0.34  # share of its sounds in which a word of three or four may differ: one; 'unlock' differs in more
_USUALLY = 3.0  # nats by which an act lies over its denials, where none of them was listed


class Stake(StrEnum):
    """What is at stake if an act is wrongly accepted."""

    CHOICE = "choice"
    COMMAND = "command"
    READING = "reading"
    GATE = "gate"
    PROOF = "proof"  # an answer or 'affirm' that may prove works dead


STAKES: Mapping[Sense, Stake] = {
    Sense.PHRASE: Stake.CHOICE, Sense.COMMAND: Stake.COMMAND, Sense.STATE: Stake.READING, Sense.NUMBER: Stake.READING,
    Sense.DIGITS: Stake.READING, Sense.GATE: Stake.GATE,
}  # fmt: skip

#: What a witness of sounds tells of a phrase that must be whole (`phonetic_shape`), with the range it is fitted in: how much
#: of it speaks against the act. That a change is far less likely says little more than that it is less likely.
SHAPES: Mapping[Stake, Mapping[str, tuple[float, float]]] = {
    Stake.GATE: {
        "before": (-3, 0), "behind": (-3, 0), "between": (-3, 0), "second": (-3, 0), "another": (-6, 2),
        QUIET_BEFORE: (0, 1),
    },
    Stake.PROOF: {"before": (-3, 0), "behind": (-3, 0), "between": (-3, 0)},
}  # fmt: skip

Key = tuple[Sense, str]
Features = Mapping[str, float]
Shares = Mapping[Witness, float]  # how much a nat of each kind of witness weighs in ranking


@dataclass(frozen=True)
class Act:
    meaning: Meaning
    score: float


@dataclass(frozen=True)
class Weighed:
    """`best`: the leading act. `ranked`: all acts, the leading one first, scored together. `features`: (name, value) of the
    leading one. `proof`: it may prove that the works are dead. `likeness`: of the speech to anything in force, including
    denials."""

    best: Meaning
    stake: Stake
    features: tuple[tuple[str, float], ...]
    ranked: tuple[Act, ...]
    proof: bool = False
    likeness: tuple[tuple[str, float], ...] = ()


def in_accent(testimonies: Sequence[Testimony]) -> list[Testimony]:
    """With 'isolated, look four two' as the gate's phrase where that is 'isolated, lock four two': the first word and every
    figure as they must be, one other word a single sound off. Who says it so has the accent that the witness wrote."""
    gate = next((c.meaning for t in testimonies for c in t.candidates if c.meaning.sense is Sense.GATE), None)
    return [_in_accent(t, gate) if gate is not None else t for t in testimonies]


def _in_accent(testimony: Testimony, gate: Meaning) -> Testimony:
    ways = [tokens(gate.text), tokens(gate.spoken)]
    return replace(testimony, candidates=tuple(
        Candidate(replace(gate, spoken=c.meaning.spoken), c.score)
        if c.meaning.sense is Sense.DENIAL and any(_accent(tokens(c.meaning.spoken), way) for way in ways) else c
        for c in testimony.candidates
    ))  # fmt: skip


def _accent(said: Sequence[str], way: Sequence[str]) -> bool:
    """`way`: a gate's word, one more, and figures."""
    if len(said) != len(way) or len(way) < 3 or said[0] != way[0] or list(said[2:]) != list(way[2:]):
        return False
    return distance(said[1], way[1]) <= _ACCENT


def acts(testimony: Testimony, listening: Listening) -> list[Act]:
    """What could be acted on, best first. Texts of one act add up if the witness writes; if it hears sounds, only the
    likeliest counts, because they share their paths."""
    found: dict[Key, list[Candidate]] = {}
    for candidate in testimony.candidates:
        if candidate.meaning.sense is not Sense.DENIAL:
            found.setdefault(key(candidate.meaning, listening), []).append(candidate)
    out = [Act(_fullest(group), _together(testimony, group, listening)) for group in found.values()]
    return sorted(out, key=lambda act: -act.score)


def _together(testimony: Testimony, group: Sequence[Candidate], listening: Listening) -> float:
    scores = [c.score + _odd(c.meaning, listening) for c in group]
    return log_sum(scores) if testimony.gives is Witness.TOKENS else max(scores)


def key(meaning: Meaning, listening: Listening) -> Key:
    """What makes two meanings the same act: a value with the unit asked for, or without a unit, is the same value."""
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


def weigh(testimonies: Sequence[Testimony], listening: Listening, shares: Shares) -> Weighed | None:
    """The leading act of all witnesses together and its features; None if no witness found anything in force."""
    seen = [_Seen.of(testimony, listening) for testimony in testimonies if heard_anything(testimony)]
    ranked = _ranked(seen, shares)
    if not ranked:
        return None
    best = ranked[0].meaning
    stake = stake_of(best, listening)
    features: dict[str, float] = {}
    for view in seen:
        own = view.of_act(key(best, listening), best)
        own = _whole(view, best, stake, own) if stake in SHAPES else own
        features |= {f"{view.gives.value} {name}": value for name, value in own.items()}
    after = ranked[1].score if len(ranked) > 1 else -math.inf
    features["lead"] = _clip(ranked[0].score - after, 0, 8)
    if stake is Stake.CHOICE:
        features["long"] = _clip(len(phonemes(best.spoken or best.text)), 0, _LONG)
    return Weighed(
        best,
        stake,
        tuple(features.items()),
        tuple(ranked[:6]),
        may_prove(best, listening),
        likeness(testimonies),
    )


def stake_of(meaning: Meaning, listening: Listening) -> Stake:
    words = meaning.sense is not Sense.NUMBER
    return Stake.PROOF if words and may_prove(meaning, listening) else STAKES[meaning.sense]


def _whole(view: _Seen, best: Meaning, stake: Stake, known: Features) -> dict[str, float]:
    """The features of a phrase that must be complete: what speaks against it counts separately from what speaks for it.
    Missing evidence counts as strongly against it as possible. `apart`, the likeliest other word, says nothing here."""
    own = {name: value for name, value in known.items() if name != "apart"} | {"against": min(known["denied"], 1.0)}
    if view.gives is Witness.SOUNDS:
        told = dict(view.testimony.evidence)
        shapes = SHAPES[stake].items()
        own |= {name: _clip(told.get(f"{name} of {best.text}", low), low, high) for name, (low, high) in shapes}
    return own


def heard_anything(testimony: Testimony) -> bool:
    """It heard something, in force or not: a witness that found nothing of what is in force speaks against all of it."""
    return bool(testimony.candidates or testimony.free)


@dataclass(frozen=True)
class _Seen:
    """One witness's view: `acts` by what they are; `top`: the best score of anything, denials too."""

    gives: Witness
    testimony: Testimony
    acts: Mapping[Key, Act]
    top: float

    @staticmethod
    def of(testimony: Testimony, listening: Listening) -> _Seen:
        found = {key(act.meaning, listening): act for act in acts(testimony, listening)}
        unfound = testimony.free_score if testimony.free_score is not None else 0.0
        top = max((candidate.score for candidate in testimony.candidates), default=unfound)
        return _Seen(testimony.gives, testimony, found, max(top, *(act.score for act in found.values())) if found else top)

    def of_act(self, which: Key, best: Meaning) -> dict[str, float]:
        own = self.acts[which].score if which in self.acts else self.top + FLOOR[self.gives]
        unfound = -math.inf if which in self.acts else self.top
        rival = max((act.score for other, act in self.acts.items() if other != which), default=unfound)
        return _FEATURES[self.gives](self.testimony, best, own, rival)


def _over_denials(testimony: Testimony, best: Meaning, own: float) -> float:
    """How far the act lies over the best of what really counts against it; where nothing does, as far as is usual."""
    earnest = _EARNEST | {Denial.NEAR} if best.sense is Sense.GATE else _EARNEST
    denials = (c for c in testimony.candidates if c.meaning.sense is Sense.DENIAL)
    return own - max((c.score for c in denials if c.meaning.text in earnest), default=own - _USUALLY)


def _of_tokens(testimony: Testimony, best: Meaning, own: float, rival: float) -> dict[str, float]:
    """`odds`: the act against all else that it might write, each as a probability; `lead`: over the next act; `alike`: how
    like the act what it wrote sounds."""
    others = [c.score for c in testimony.candidates if c.meaning.sense is Sense.DENIAL]
    others += [score for name, score in testimony.evidence if name.startswith(OTHER)]
    odds = own - log_sum([*others, rival])
    return {
        "odds": _clip(odds, -6, 7),
        "lead": _clip(own - rival, -6, 7),
        "denied": _clip(_over_denials(testimony, best, own), -6, 7),
        "alike": 1.0 if odds >= 0 else similarity(testimony.free, best.spoken or best.text),
    }


def _of_sounds(testimony: Testimony, best: Meaning, own: float, rival: float) -> dict[str, float]:
    """`lead`: over the next act; `denied`: over what denies it; `free`: under what was said freely, and a sound of it;
    `apart`: over the likeliest of the language's words that nobody offered; `alike`: how like the act what was said freely
    sounds."""
    evidence = dict(testimony.evidence)
    free = testimony.free_score if testimony.free_score is not None else own
    count = max(1.0, evidence.get("sounds", 1.0))
    said = tuple(testimony.free.split())
    return {
        "lead": _clip(own - rival, -8, 8),
        "apart": _clip(own - evidence.get("other word", own - _USUALLY), -8, 8),
        "alike": 1.0 - sound_distance(said, phonemes(best.spoken or best.text)),
        "denied": _clip(_over_denials(testimony, best, own), -8, 8),
        "free": _clip(own - free, -25, 0),
        "each": _clip((own - free) / count, -4, 0),
    }


def _of_grammar(testimony: Testimony, best: Meaning, own: float, rival: float) -> dict[str, float]:
    """What the engine says of its first candidate, if this is it; and how far it leads, a second of speech."""
    evidence = dict(testimony.evidence)
    first = bool(testimony.candidates) and own >= testimony.candidates[0].score
    seconds = max(0.3, evidence.get("seconds", 1.0))
    return {
        "agree": _clip(max(evidence.get("agree", 0.0), evidence.get("agree_loop", 0.0)) if first else 0.0, 0, 1),
        "lead": _clip((own - rival) / seconds, -20, 60),
        "denied": _clip((_over_denials(testimony, best, own)) / seconds, -20, 60),
    }


_FEATURES = {Witness.TOKENS: _of_tokens, Witness.SOUNDS: _of_sounds, Witness.GRAMMAR: _of_grammar}


def _ranked(seen: Sequence[_Seen], shares: Shares) -> list[Act]:
    meanings: dict[Key, Meaning] = {}
    for view in seen:
        for which, act in view.acts.items():
            meanings.setdefault(which, act.meaning)
    return sorted(
        (Act(meaning, together(which, seen, shares)) for which, meaning in meanings.items()), key=lambda a: -a.score
    )


def together(which: Key, seen: Sequence[_Seen], shares: Shares) -> float:
    """The weighted sum of all witnesses' scores for an act, in nats below the best of everything that they found."""
    return sum(
        shares.get(view.gives, 1.0)
        * (max(FLOOR[view.gives], view.acts[which].score - view.top) if which in view.acts else FLOOR[view.gives])
        for view in seen
    )


def likeness(testimonies: Sequence[Testimony]) -> tuple[tuple[str, float], ...]:
    """How like anything in force the speech is, including denials: decides whether it was meant for the program at all."""
    found: dict[str, float] = {}
    for testimony in testimonies:
        top = max((candidate.score for candidate in testimony.candidates), default=-1e3)
        if testimony.gives is Witness.SOUNDS:
            free = testimony.free_score if testimony.free_score is not None else 0.0
            found["sounds each"] = _clip((top - free) / max(1.0, dict(testimony.evidence).get("sounds", 1.0)), -5, 0)
        elif testimony.gives is Witness.TOKENS:
            others = [score for name, score in testimony.evidence if name.startswith(OTHER)]
            all_in_force = log_sum(candidate.score for candidate in testimony.candidates)
            found["tokens like"] = _clip(all_in_force - log_sum(others), -10, 10)
    return tuple(found.items())


def leading_denial(testimony: Testimony) -> Meaning | None:
    """The witness's leading candidate if that is a denial."""
    first = testimony.candidates[0].meaning if testimony.candidates else None
    return first if first is not None and first.sense is Sense.DENIAL else None


def written_denials(testimony: Testimony, listening: Listening, language: Language) -> list[Meaning]:
    """What the witness's own words deny among the phrases in force."""
    return [meaning for meaning in language.understand(testimony.free, listening) if meaning.sense is Sense.DENIAL]


def _clip(value: float, low: float, high: float) -> float:
    return min(high, max(low, value))
