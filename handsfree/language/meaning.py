"""What may be heard at a moment, and what came of hearing it.

Rules of this file:

- `Listening` says what is in force: this step's answers and the phrases that always work, nothing else.
- `Meaning` says what an utterance asks for, in the program's words, never in the engine's.
- `Heard` pairs the two with a verdict. Only the verdict ACCEPTED lets anybody act. PROPOSED is read back first and counts
  only after 'affirm'. It never occurs at a gate, or where an answer may prove that the works are dead.
- A denial, a question or a wrong lock number is a meaning that is never accepted. It is kept so that the program can say why
  the gate stays shut.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

#: How the reason begins when an utterance is asked again because its sound was cut off, or because a witness failed where
#: all must agree.
TOO_LOUD, WITNESS_FAILED = "the microphone is too loud", "a witness failed"
#: Why a gate or a proof was accepted that alone would have been asked again.
TOGETHER = "sure enough with what was said before"


class Verdict(StrEnum):
    ACCEPTED = "accepted"
    PROPOSED = "proposed"  # likely, not sure: read back, and counts once it is affirmed
    ASKED_AGAIN = "asked again"  # speech for the program, but not surely what it seems: ask
    NOT_FOR_ME = "not for me"  # no speech, or speech that nothing in force resembles: stay silent


class Sense(StrEnum):
    PHRASE = "phrase"  # one of this step's answers
    COMMAND = "command"  # one of the phrases that always work
    NUMBER = "number"  # a reading
    STATE = "state"  # over-range or unsteady: an answer of its own to a reading
    DIGITS = "digits"  # digit by digit: the lock number when it is first stated
    GATE = "gate"  # the whole phrase of a gate, with the right number
    DENIAL = "denial"  # a look-alike of what is in force: negation, question, half phrase, wrong number


class Denial(StrEnum):
    """`Meaning.text` of Sense.DENIAL: which kind of look-alike it is, so that the reason can be said aloud."""

    NEGATION = "negation"  # 'not isolated', 'power is not isolated'
    STILL_ON = "still on"  # 'the power is still on'
    QUESTION = "question"  # 'is it isolated'
    UNSURE = "unsure"  # 'isolated I think'
    HALF = "half phrase"  # 'isolated', 'lock four two', 'isolated lock four'
    NUMBER = "wrong number"  # 'isolated lock four three'
    NEAR = "near word"  # a dictionary word that sounds like one in force


@dataclass(frozen=True)
class Meaning:
    """`text`: the answer, command name, gate word, over-range/unsteady, or the denial as said.
    `value`: the number in `unit` (pint unit name, None where none was spoken).
    `spoken`: the words of the phrase form that was matched."""

    sense: Sense
    text: str
    value: float | None = None
    unit: str | None = None
    spoken: str = ""


@dataclass(frozen=True)
class NumberAsked:
    """A reading. `unit`: a pint unit name ('degF', 'volt', 'ohm', 'psi', '' for a bare count). `low`, `high`: the plausible
    range in that unit, which weighs candidates but never hides what was said."""

    unit: str = ""
    low: float = -1e9
    high: float = 1e9


@dataclass(frozen=True)
class GateAsked:
    """`word`: 'isolated' or 'clear'; `lock`: the technician's number as digit words, ('four', 'two')."""

    word: str
    lock: tuple[str, ...]


def gate_text(word: str, lock: tuple[str, ...]) -> str:
    """`Meaning.text` of an opened gate (Sense.GATE): 'isolated, lock four two'. The interlock compares with exactly this.
    Sense.DIGITS carries its digits likewise, as plain words: 'four two'."""
    return f"{word}, lock {' '.join(lock)}"


@dataclass(frozen=True)
class Listening:
    """What is in force. `commands`: None for all that always work, else only those named (stand by listens only for
    'go ahead'). `digits`: (fewest, most) digits when a number is stated digit by digit.
    `asides`: questions that are answered without touching what is asked ('where is the relay').
    `also`: further commands of this question's own. `note`: the next utterance is kept as a note, whatever it says.
    `gist`: the lexicon by which a sentence in a person's own words is one of the phrases (`language.gist`), '' for none.
    `proof`: an answer, a reading or 'affirm' may prove that the works are dead; it is believed no more easily than a
    gate.
    `own_words`: nothing is at stake, so people's own words for what is in force count too (`language.own_words`)."""

    phrases: tuple[str, ...] = ()
    number: NumberAsked | None = None
    gate: GateAsked | None = None
    digits: tuple[int, int] | None = None
    commands: tuple[str, ...] | None = None
    note: bool = False
    proof: bool = False
    asides: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    gist: str = ""
    own_words: bool = False

    @property
    def guarded(self) -> bool:
        """What is heard now may open a gate, or prove works dead."""
        return self.gate is not None or self.proof

    @property
    def named(self) -> tuple[str, ...]:
        """Every command in force, by name."""
        return (*(ALWAYS if self.commands is None else self.commands), *self.also)

    @property
    def named_in_own_words(self) -> tuple[str, ...]:
        """Every command that people's own words may mean here."""
        return (*self.named, *IN_OWN_WORDS) if "where am i" in self.named else self.named


def beside(answers: Sequence[str], ways: Mapping[str, tuple[str, ...]]) -> tuple[str, ...] | None:
    """`Listening.commands` beside these answers: None for all that always work. `ways`: `Language.commands`."""
    words = [word.casefold() for answer in answers for word in answer.split()]
    gone = {name for name in GIVES_WAY if any(word.startswith(ways[name][0]) for word in words)}
    return tuple(name for name in ALWAYS if name not in gone) if gone else None


def may_prove(meaning: Meaning, listening: Listening) -> bool:
    """Acting on it may leave somebody believing that the works are dead."""
    named = meaning.sense is Sense.COMMAND and meaning.text in WHEN_ASKED
    return listening.proof and (named or meaning.sense in (Sense.PHRASE, Sense.NUMBER))


@dataclass(frozen=True)
class Heard:
    """One utterance, judged. `sure`: calibrated probability, 0 to 1, that acting on `meaning` is right.
    `rivals`: meanings too near to tell apart, the best included; the program then asks which.
    `words`: what the leading engine made of it, for the reader of the record.
    `witnesses`: (name, value) of each piece of evidence. `started`, `ended`: seconds on the visit's clock.
    `voice`: 'same', 'doubtful' or 'other' against the voice that stated the lock number or, of what was not taken where no
    gate or proof is asked for, against the voices whose answers were taken; '' where nothing compares voices.
    `meant`: probability, 0 to 1, that this speech was addressed to the program."""

    verdict: Verdict
    meaning: Meaning | None
    sure: float
    words: str = ""
    rivals: tuple[Meaning, ...] = ()
    witnesses: tuple[tuple[str, float], ...] = ()
    engine: str = ""
    started: float = 0.0
    ended: float = 0.0
    reason: str = ""  # why not accepted, in a few words, for the record
    voice: str = ""
    meant: float = 0.0
    shares: tuple[tuple[Meaning, float], ...] = ()  # probability of each act that was weighed, for adding up sayings


#: Phrases that always work, by name. How each is said is in grammar/<language>.jsgf.
ALWAYS: tuple[str, ...] = (
    "next step", "go back", "say again", "stand by", "go ahead", "how long", "where am i", "what can i say",
    "correction", "note", "stop the visit", "faster", "slower", "louder", "softer", "power is on", "what next", "why",
    "help", "stop", "short form", "usual form", "full form", "i am hurt", "fire", "i got a shock", "i smell gas",
    "second person", "i am leaving",
)
#: Said in people's own words only, wherever 'where am i' may be said and nothing is at stake: listed for no recogniser, for
#: one lies near 'what can i say', and the other is seldom said.
IN_OWN_WORDS: tuple[str, ...] = ("what did i say", "forget that")
#: Not in force beside an answer with a word that begins like it ('stopped'): there, nothing is lost by not hearing it.
GIVES_WAY: tuple[str, ...] = ("stop",)
#: Those of ALWAYS that are answered with the safe act and the emergency call, whatever else is going on.
EMERGENCY: tuple[str, ...] = ("i am hurt", "fire", "i got a shock", "i smell gas")
#: In force only when the program has asked for one of them.
WHEN_ASKED: tuple[str, ...] = (
    "affirm", "negative", "understood", "yes", "no", "done", "cannot tell", "not fitted", "skip it",
)
YES, NO = ("affirm", "yes"), ("negative", "no")
#: What answers whether something is so; 'yes' and 'no' never at a gate or a proof.
YES_NO: tuple[str, ...] = tuple(way for pair in zip(YES, NO, strict=True) for way in pair)
#: What moves on where nothing is at stake.
ONWARD: tuple[str, ...] = ("done", "next step", "go ahead")
#: Commands that do the same where they are in force together: a person may say two of them in one breath.
ALIKE: tuple[tuple[str, ...], ...] = (ONWARD, YES, NO)
#: Ways out of a question that nobody can answer; the procedure says where they lead.
WAYS_OUT: tuple[str, ...] = ("cannot tell", "not fitted", "skip it")
