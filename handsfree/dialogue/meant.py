"""Whether speech that means nothing in force was meant for the program, so that its person is never met with silence.

The rules of this file:

- It acts on nothing: it decides who gets a short answer ('Dry or soaked?') and who none.
- Who is meant is judged by the time since the question, by the words, the voice and what the recogniser thinks. A typed
  line is judged by its words alone: the keyboard must not hide a silence that the voice would meet.
- The weights were fitted by `tests.bench.meant` on one half of its sentences; it counts on the other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from handsfree.journal.events import Utterance
from handsfree.language.meaning import Verdict
from handsfree.language.tokens import tokens

BAR = 0.55
#: How the reason begins of speech that was over before the question was: nobody can have answered it.
TOO_EARLY = "said before"
#: Log-odds for resembling something in force, and how sure of it the recogniser must be that no more is asked.
LIKE, LIKELY = 1.0, 0.2
#: Seconds after which the time since the question says nothing any more.
LONGEST = 120.0
#: What a comparison of voices adds, in log-odds: common practice, no source.
VOICES = {"same": 1.0, "doubtful": -1.0, "other": -4.0, "": 0.0}


@dataclass(frozen=True)
class Asked:
    """What the program had asked: the words of its question and answers, those of the whole work, how many seconds ago."""

    words: frozenset[str]
    work: frozenset[str]
    since: float


#: Log-odds a unit of each feature, and `bias`.
WEIGHTS: dict[str, float] = {
    "bias": 4.29, "late": -0.48, "bare": -0.35, "length": -0.81, "asked": 0.84, "work": 0.02,
    "foreign": -1.28, "replying": 0.68, "others": -2.28,
}


def words_of(texts: Iterable[str]) -> frozenset[str]:
    return frozenset(word for text in texts for word in tokens(text))


def features(words: str, asked: Asked, hints: Mapping[str, frozenset[str]]) -> dict[str, float]:
    """`late`: log of the seconds since the question, from one; `bare`: the same, where no word says more; `length`: words
    beyond three; `asked`, `work`: telling words of the question, or else of the trade; `foreign`: telling words that stand
    nowhere in the work; `replying`: begins as people answer; `others`: words about other people."""
    said = tokens(words)
    telling = [word for word in said if word not in hints["plain"] and word not in hints["replying"]]
    of_question = sum(word in asked.words for word in telling)
    of_work = sum(word in hints["trade"] and word not in asked.words for word in telling)
    foreign = sum(word not in asked.words and word not in asked.work and word not in hints["trade"] for word in telling)
    late = math.log(min(max(asked.since, 1.0), LONGEST))
    replying = bool(said) and said[0] in hints["replying"]
    return {
        "bias": 1.0,
        "late": late,
        "bare": late * float(not (of_question or of_work or replying)),
        "length": max(len(said) - 3.0, 0.0),
        "asked": float(min(of_question, 2)),
        "work": float(min(of_work, 2)),
        "foreign": float(min(foreign, 3)),
        "replying": float(replying),
        "others": float(min(sum(word in hints["others"] for word in said), 2)),
    }


def meant(utterance: Utterance, asked: Asked, hints: Mapping[str, frozenset[str]]) -> float:
    """Probability that it was for the program. Where no words were made out, only the recogniser's own verdict says."""
    words, like = utterance.words or utterance.spoken, utterance.verdict == Verdict.ASKED_AGAIN
    if not tokens(words) or (like and utterance.sure >= LIKELY):
        return float(like)
    found = features(words, asked, hints)
    odds = sum(WEIGHTS[name] * value for name, value in found.items()) + VOICES.get(utterance.voice, 0.0) + LIKE * like
    if utterance.meant > 0.5 and not utterance.typed:  # less says only that it is unlike what is in force, as all of this is
        odds += 0.5 * min(math.log(utterance.meant / max(1 - utterance.meant, 1e-6)), 3.0)
    return 1 / (1 + math.exp(-odds))
