"""Whether speech that means nothing in force was meant for the program, so that its speaker always gets a reply.

The rules of this file:

- It acts on nothing: it only decides who gets a short reply ('Dry or soaked?') and who gets none.
- It judges by the time since the question, the words, the loudness and the voice. It judges a typed line by time and words,
  and as loud as its person usually is: the keyboard must not hide a silence of the voice.
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

#: Set where one sentence in twenty of bystanders got an answer, each author's sentences judged by a fit on the others'.
BAR = 0.55
#: Begins the reason for speech that ended before the question did: nobody can have answered it.
TOO_EARLY = "said before"
#: How sure of something in force the recogniser must be for that to count, and what it counts, in log-odds. Less tells
#: nothing: what a bystander says at a distance was as like something in force as what its person says in other words.
LIKELY, LIKENESS = 0.2, 1.5
#: When people answer: half of the time in which an answer is to be looked for in the middle, its natural log within SPREAD.
#: Others speak at any time: one sentence in WINDOW seconds, or in twice the time of the work where that is longer. Common
#: practice, no source.
MIDDLE, SPREAD, WINDOW = 0.5, 0.9, 120.0
SOONEST, AT_ONCE = 0.5, 5.0  # s
#: dB to the person's usual level, mean and spread: of the person, who turns the head, and of others, who stand some two to
#: four times as far from the microphone (6 dB a doubling in the open, less in a room). Common practice, no source.
OWN, OTHERS = (0.0, 4.0), (-10.0, 6.0)
TYPED = 0.9  # log-odds by level of what the person says, in the middle
AWAY = -1.5  # log-odds by level, below which likeness to something in force is no reason to answer
#: What a comparison of voices adds, in log-odds. Of people whom a visit knows, 2 to 8 % of other voices pass for the same,
#: the right one is doubted in some 10 % and taken for another in 2 % (results/hearing-log.md, *Whose voice*): 3, 0 and -3;
#: and a half on each, for where voices are compared a lower bar leaves as few bystanders.
VOICES = {"same": 3.5, "doubtful": 0.5, "other": -2.5, "": 0.0}


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
    "bias": -0.44, "time": 0.62, "level": 1.16, "asked": 1.87, "work": 0.36, "replying": 1.3, "short": 3.1,
    "others": -2.16, "figure": 1.1,
}


def word_set(texts: Iterable[str]) -> frozenset[str]:
    return frozenset(word for text in texts for word in tokens(text))


def features(words: str, asked: Asked, hints: Mapping[str, frozenset[str]], level: float = 0.0) -> dict[str, float]:
    """`time`, `level`: log-odds of when it was said after the question and of how loud (dB full scale, 0: not known);
    `asked`, `work`: telling words of the question, or else of the trade; `replying`: begins as people answer; `short`: one
    word or two; `others`: words about other people; `figure`: a number where one was asked for. How long it is and words
    that stand nowhere in the work count for nothing."""
    said = tokens(words)
    telling = [word for word in said if word not in hints["plain"] and word not in hints["replying"]]
    return {
        "bias": 1.0,
        "time": by_time(asked.since, asked.expected),
        "level": by_level(level, asked.level),
        "asked": float(min(sum(word in asked.words for word in telling), 2)),
        "work": float(min(sum(word in hints["trade"] and word not in asked.words for word in telling), 2)),
        "replying": float(bool(said) and said[0] in hints["replying"]),
        "short": float(len(said) <= 2),
        "others": float(min(sum(word in hints["others"] for word in said), 2)),
        "figure": float(asked.number and any(word in hints["figures"] or word.isdigit() for word in said)),
    }


def by_time(since: float, expected: float) -> float:
    """Log-odds that it answers the question, from -4 to 3. `since`: seconds since its end; `expected`: within how many an
    answer is to be looked for. To work people say something when it is done, or at once ('skip it')."""
    late = max(since, SOONEST)
    middles = (MIDDLE * AT_ONCE, MIDDLE * max(expected, AT_ONCE))
    apart = min(abs(math.log(late / middle)) for middle in middles) / SPREAD
    odds = -0.5 * apart**2 - math.log(late * SPREAD * math.sqrt(2 * math.pi)) + math.log(max(WINDOW, 2 * expected))
    return min(max(odds, -4.0), 3.0)


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
    if utterance.typed:
        found["level"] = TYPED
    likely = LIKENESS if like and utterance.sure >= LIKELY and not away else 0.0
    odds = sum(WEIGHTS[name] * value for name, value in found.items()) + VOICES.get(utterance.voice, 0.0) + likely
    return 1 / (1 + math.exp(-odds))
