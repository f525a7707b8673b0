"""Whether speech that means nothing in force was meant for the program, so that its speaker always gets a reply.

The rules of this file:

- It acts on nothing: it only decides who gets a short reply ('Dry or soaked?') and who gets none.
- It judges by the time since the question, the words, the loudness and the voice. It judges a typed line by time and words:
  the keyboard must not hide a silence of the voice.
- `tests.bench.meant` fitted the weights on its sentences. Other sentences, from other jobs and places, test them
  (`--judging`). Words that stand nowhere in the work count for nothing: a person names what they see in words of their own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from handsfree.journal.events import Utterance
from handsfree.language.meaning import Verdict
from handsfree.language.tokens import tokens

#: Set where one sentence in twenty of bystanders got an answer, each file of sentences judged by a fit on the others.
BAR = 0.55
#: Begins the reason for speech that ended before the question did: nobody can have answered it.
TOO_EARLY = "said before"
#: How sure of something in force the recogniser must be for that to count, and what it counts, in log-odds. Less tells
#: nothing: what a bystander says at a distance was as like something in force as what its person says in other words.
LIKELY, LIKENESS = 0.2, 1.5
#: Seconds after which the time since the question no longer counts.
LONGEST = 120.0
#: dB to the person's usual level, mean and spread: of the person, who turns the head, and of others, who stand some two to
#: four times as far from the microphone (6 dB a doubling in the open, less in a room). Common practice, no source.
OWN, OTHERS = (0.0, 4.0), (-10.0, 6.0)
AWAY = -1.5  # log-odds by level, below which likeness to something in force is no reason to answer
#: What a comparison of voices adds, in log-odds: common practice, no source.
VOICES = {"same": 1.0, "doubtful": -1.0, "other": -4.0, "": 0.0}


@dataclass(frozen=True)
class Asked:
    """What the program had asked: the words of its question and answers, how many seconds ago, within how many seconds an
    answer was expected, how loud its person usually is (dB full scale, 0: not known), whether it asked for a number."""

    words: frozenset[str]
    since: float
    expected: float = 5.0
    level: float = 0.0
    number: bool = False


#: Log-odds a unit of each feature, and `bias`.
WEIGHTS: dict[str, float] = {
    "bias": 1.78, "late": -1.66, "bare": -0.34, "length": -0.89, "short": 1.91, "asked": 3.12, "work": 0.86,
    "replying": 1.74, "degree": 1.0, "tells": 0.81, "asks": 1.58, "others": -2.88, "figure": 0.95, "level": 1.15,
    "measured": 0.04,
}


def word_set(texts: Iterable[str]) -> frozenset[str]:
    return frozenset(word for text in texts for word in tokens(text))


def features(words: str, asked: Asked, hints: Mapping[str, frozenset[str]], level: float = 0.0) -> dict[str, float]:
    """`late`: log of the seconds since the question over those in which an answer was to be looked for, from one; `bare`:
    the same, where no word says more; `length`: words beyond three, six at most; `short`: one word or two; `asked`, `work`:
    telling words of the question, or else of the trade; `replying`: begins as people answer; `degree`: how much of it
    ('slightly', 'hardly'); `tells`, `asks`: begins as people tell of a thing before them ('it', 'there is'), or ask back
    ('which'); `others`: words about other people; `figure`: a number where one was asked for; `level`: log-odds of how
    loud it was (dB full scale, 0: not known), `measured`: that this is known."""
    said = tokens(words)
    telling = [word for word in said if word not in hints["plain"] and word not in hints["replying"]]
    of_question = sum(word in asked.words for word in telling)
    of_work = sum(word in hints["trade"] and word not in asked.words for word in telling)
    late = math.log(min(max(asked.since / asked.expected, 1.0), LONGEST / 5))
    first = said[0] if said else ""
    replying = first in hints["replying"]
    return {
        "bias": 1.0,
        "late": late,
        "bare": late * float(not (of_question or of_work or replying)),
        "length": min(max(len(said) - 3.0, 0.0), 3.0),
        "short": float(len(said) <= 2),
        "asked": float(min(of_question, 2)),
        "work": float(min(of_work, 2)),
        "replying": float(replying),
        "degree": float(min(sum(word in hints["degree"] for word in said), 2)),
        "tells": float(first in hints["telling"]),
        "asks": float(first in hints["asking_back"]),
        "others": float(min(sum(word in hints["others"] for word in said), 2)),
        "figure": float(asked.number and any(word in hints["figures"] or word.isdigit() for word in said)),
        "level": by_level(level, asked.level),
        "measured": float(bool(level and asked.level)),
    }


def by_level(level: float, usual: float) -> float:
    """Log-odds that it is the person, from -4 to 1.5; 0 if either level is not known."""
    if not level or not usual:
        return 0.0
    apart = level - usual
    odds = [-0.5 * ((apart - mean) / spread) ** 2 - math.log(spread) for mean, spread in (OWN, OTHERS)]
    return min(max(odds[0] - odds[1], -4.0), 1.5)


def usual_level(usual: float, level: float) -> float:
    """The usual level after one more accepted utterance; the latest counts for a third."""
    if not level:
        return usual
    return level if not usual else round(usual + (level - usual) / 3, 2)


def meant(utterance: Utterance, asked: Asked, hints: Mapping[str, frozenset[str]]) -> float:
    """Probability that it was for the program. If no words were made out, only the recogniser's own verdict counts."""
    words, like = utterance.words or utterance.spoken, utterance.verdict == Verdict.ASKED_AGAIN
    away = by_level(utterance.level, asked.level) < AWAY
    if not tokens(words):
        return float(like and not away)
    found = features(words, asked, hints, utterance.level)
    likely = LIKENESS if like and utterance.sure >= LIKELY and not away else 0.0
    odds = sum(WEIGHTS[name] * value for name, value in found.items()) + VOICES.get(utterance.voice, 0.0) + likely
    return 1 / (1 + math.exp(-odds))
