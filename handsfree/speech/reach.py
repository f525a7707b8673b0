"""What witnesses can settle at all: if even the best possible evidence lies below the bar, nobody ever gets there, however
clearly they speak. Pure.

One witness alone needs more than two (`bars.ALONE`). So its gate, or its proof that works are dead, may be out of reach.
Whoever works must know that beforehand, and type.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from handsfree.language.meaning import Denial, GateAsked, Listening, Meaning, NumberAsked, Sense, gate_text
from handsfree.language.phonetics import phonemes
from handsfree.speech import bars
from handsfree.speech.acceptance import fitted, ranked_as, set_of
from handsfree.speech.engine import OTHER, Candidate, Testimony, Witness
from handsfree.speech.judge import probability
from handsfree.speech.weighing import SHAPES, Stake, weigh

_FAR = -99.0  # nats: below the range of every feature
#: One act of each stake, and what is in force.
_ACTS: Mapping[Stake, tuple[Meaning, Listening]] = {
    Stake.CHOICE: (Meaning(Sense.PHRASE, "warm", spoken="warm"), Listening(phrases=("warm", "cool"))),
    Stake.COMMAND: (Meaning(Sense.COMMAND, "next step", spoken="next step"), Listening()),
    Stake.READING: (Meaning(Sense.NUMBER, "50", 50.0, None, "fifty"), Listening(number=NumberAsked())),
    Stake.GATE: (
        Meaning(Sense.GATE, gate_text("isolated", ("four", "two")), spoken="isolated lock four two"),
        Listening(gate=GateAsked("isolated", ("four", "two"))),
    ),
    Stake.PROOF: (
        Meaning(Sense.PHRASE, "nothing runs", spoken="nothing runs"),
        Listening(phrases=("nothing runs", "it runs"), proof=True),
    ),
}


def settles(kinds: Collection[Witness]) -> tuple[Stake, ...]:
    """The stakes that the best evidence of these kinds reaches."""
    return tuple(stake for stake, bar in bars.BY_STAKE.items() if best(kinds, stake) >= bar.value)


def best(kinds: Collection[Witness], stake: Stake) -> float:
    """The probability that the best evidence of these kinds gives: no feature of theirs can be higher."""
    fit = fitted().get(set_of(kinds))
    if fit is None:
        return bars.UNFITTED.value
    act, listening = _ACTS[stake]
    weighed = weigh([_perfect(kind, act, stake) for kind in kinds], listening, fit.ranking[ranked_as(listening)])
    assert weighed is not None
    return probability(weighed, fit, {})


def shut(name: str, kinds: Collection[Witness]) -> str:
    """What the engine `name`, if it hears alone, can never settle, in a sentence; '' where there is nothing of the kind."""
    lacking = {Stake.GATE, Stake.PROOF} - set(settles(kinds))
    if Stake.GATE in lacking:
        return f"With '{name}' alone no gate opens by voice and nothing is proved dead: type the phrase and the proof."
    return f"With '{name}' alone nothing is proved dead by voice: type the proof." if lacking else ""


def _perfect(kind: Witness, act: Meaning, stake: Stake) -> Testimony:
    found = Candidate(act, 0.0), Candidate(Meaning(Sense.DENIAL, Denial.NEGATION), _FAR)
    if kind is Witness.SOUNDS:
        said = phonemes(act.spoken)
        shapes = ((f"{name} of {act.text}", most) for name, (_, most) in SHAPES.get(stake, {}).items())
        evidence = ("sounds", float(len(said))), ("other word", _FAR), *shapes
        return Testimony("best", found, " ".join(said), 0.0, evidence, kind)
    return Testimony("best", found, act.spoken, 0.0, ((f"{OTHER}else", _FAR), ("agree", 1.0)), kind)
