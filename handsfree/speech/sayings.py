"""Repeated attempts add up: what was not accepted, and is said again under the same question, is weighed together with the
earlier attempts.

Rules of this file:

- A sequential test (Wald, Annals of Mathematical Statistics 16 (1945)): the log-odds of all attempts add up, those of
  earlier ones at a share (`bars.AGAIN`), because the same voice in the same noise is misheard in the same way.
- It applies to answers and readings with the same thresholds as for one attempt.
- A gate phrase, and 'affirm' where dead works hang on it, add up by two attempts, the last and the one before it, never
  three. They have a threshold of their own (`bars.TAKE_TWICE`), because a near miss said twice is misheard twice. Each must
  lead by itself, and be more likely right than wrong. An answer or a reading that proves dead counts by one attempt only.
- A changed mind is noticed: something that is surely different starts afresh. So does another question, or a denial.
- What was withdrawn for a reason other than doubt does not count later, even if it is repeated.
- Pure: the earlier attempts are passed in, and nothing is kept here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from handsfree.language.meaning import TOGETHER, Heard, Listening, Meaning, Sense, Verdict, may_prove
from handsfree.speech import bars
from handsfree.speech.acceptance import logistic
from handsfree.speech.judge import UNSURE, WHICH, decide
from handsfree.speech.weighing import Key, key

WITHIN = 45.0  # seconds between two attempts at one thing
_LEAST = 1e-3  # probability left to an act that an attempt did not find: no attempt rules an act out for ever
#: The prior probability of an act, and of anything else. Common practice, no source.
_PRIOR, _ELSE = 0.1, 0.2
#: Why an attempt was not accepted, where another may help. A denial, a witness that failed, sound that was lost or spoken
#: over the program's own words are no doubts: such an attempt is never added to.
_DOUBTS = frozenset({"", UNSURE, WHICH})
_OTHER: Key = (Sense.DENIAL, "something else")


@dataclass(frozen=True)
class Sayings:
    """What was said under one question and not accepted. `told`: by how much all attempts so far made each act likelier, in
    nats. `last`: the probability of each act by the last attempt alone."""

    listening: Listening
    told: Mapping[Key, float]
    ended: float
    last: Mapping[Key, float] = field(default_factory=dict)


def add_attempt(before: Sayings | None, heard: Heard, listening: Listening) -> tuple[Heard, Sayings | None]:
    """The verdict on all attempts together, and what to pass in with the next. `heard`: judged alone, times on the visit's
    clock. Speech that was not meant for the program neither adds nor takes away."""
    if heard.meaning is not None and heard.meaning.sense is Sense.DENIAL:
        return heard, None  # also where it was said too early to be acted on
    if heard.verdict is Verdict.NOT_FOR_ME:
        return heard, before
    if heard.voice in ("other", "doubtful"):
        return heard, None
    if heard.verdict is Verdict.ACCEPTED or heard.reason not in _DOUBTS or not heard.shares:
        return heard, None
    own = {key(meaning, listening): share for meaning, share in heard.shares}
    kept = before if before is not None and _goes_on(before, heard, own, listening) else None
    told = _added(kept, own)
    together = _together(heard, told, listening, kept.last) if kept is not None else heard
    left = None if together.verdict is Verdict.ACCEPTED else Sayings(listening, told, heard.ended, own)
    return together, left


def _goes_on(before: Sayings, heard: Heard, own: Mapping[Key, float], listening: Listening) -> bool:
    """It is the same question, soon after, and not surely something else."""
    if before.listening != listening or heard.started - before.ended > WITHIN:
        return False
    best = max(own, key=lambda which: own[which])
    leading = max((which for which in before.told if which != _OTHER), key=lambda which: before.told[which])
    return best == leading or own[best] < bars.CHANGED.value


def _added(before: Sayings | None, own: Mapping[Key, float]) -> dict[Key, float]:
    """By how much all attempts made each act likelier."""
    earlier = before.told if before is not None else {}
    now = {**own, _OTHER: max(_LEAST, 1 - sum(own.values()))}
    return {
        which: _likelier(which, now.get(which, _LEAST)) + bars.AGAIN.value * (_earlier(which, earlier) if earlier else 0.0)
        for which in {**earlier, **now}
    }


def _earlier(which: Key, told: Mapping[Key, float]) -> float:
    return told[which] if which in told else _likelier(which, _LEAST)


def _likelier(which: Key, share: float) -> float:
    return math.log(max(_LEAST, share) / (_ELSE if which == _OTHER else _PRIOR))


def _together(heard: Heard, told: Mapping[Key, float], listening: Listening, last: Mapping[Key, float]) -> Heard:
    """Judged again on the sum."""
    leading = heard.shares[0][0]
    if may_prove(leading, listening) or leading.sense is Sense.GATE:
        return _twice(heard, listening, last)
    shares = _shares(heard, told, listening)
    best, sure = shares[0]
    if may_prove(best, listening) or best.sense is Sense.GATE:
        return heard
    verdict, reason, rivals = decide(best, sure, heard.meant, shares, listening, proof=False)
    return replace(heard, verdict=verdict, meaning=best, sure=sure, reason=reason, rivals=rivals, shares=tuple(shares))


def _shares(heard: Heard, told: Mapping[Key, float], listening: Listening) -> list[tuple[Meaning, float]]:
    """The probability of each act that was heard now, by all attempts together; the likeliest first."""
    found = {key(meaning, listening): meaning for meaning, _ in heard.shares}
    weights = {which: math.exp(min(50.0, nats)) * (_ELSE if which == _OTHER else _PRIOR) for which, nats in told.items()}
    total = sum(weights.values())
    return sorted(((found[w], weight / total) for w, weight in weights.items() if w in found), key=lambda pair: -pair[1])


def _twice(heard: Heard, listening: Listening, last: Mapping[Key, float]) -> Heard:
    """A gate or a proof said for the second time: accepted if it leads both times, and is sure enough by both together."""
    best, alone = heard.shares[0]
    which = key(best, listening)
    before = last.get(which, 0.0)
    leads = before >= max(last.values(), default=0.0) and min(before, alone) >= bars.PROPOSE.value
    if best.sense not in (Sense.GATE, Sense.COMMAND) or not leads or heard.verdict is not Verdict.ASKED_AGAIN:
        return heard
    sure = logistic(_odds(alone) + bars.AGAIN.value * (_odds(before) - math.log(_PRIOR / _ELSE)))
    if sure < bars.TAKE_TWICE.value:
        return heard
    return replace(heard, verdict=Verdict.ACCEPTED, meaning=best, sure=sure, reason=TOGETHER, rivals=())


def _odds(share: float) -> float:
    share = min(1 - _LEAST, max(_LEAST, share))
    return math.log(share / (1 - share))


def all_of(said: Sequence[Heard], listening: Listening) -> Heard:
    """The verdict after the last of these attempts; ValueError for none."""
    if not said:
        raise ValueError("nothing was said")
    before: Sayings | None = None
    for heard in said:
        verdict, before = add_attempt(before, heard, listening)
    return verdict
