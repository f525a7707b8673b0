"""Every threshold on which hearing acts: one table, each with its value, its unit, why it is where it is, and what it costs.

Rules of this file:

- A bar is a probability that acting is right, as `acceptance` gives it, unless its unit says otherwise.
- Above *take* the program acts. Above *propose* it reads back what it made out, and acts on 'affirm' alone; never at a gate,
  nor where dead works hang on the answer. Below, it asks which of two, asks again, or stays silent.
- What it costs is what the fit gives on voices left out (acceptance_report.txt), or who gets asked again.
- README, handbook and the sound check are generated from here: no other file repeats a number of these.
"""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.language.meaning import Listening, Meaning, Sense
from handsfree.language.phonetics import phonemes
from handsfree.speech.weighing import Stake


@dataclass(frozen=True)
class Bar:
    name: str
    value: float
    unit: str
    reason: str
    costs: str


_P = "probability"
_SHORT = 3  # sounds

TAKE_ANSWER = Bar(
    "take an answer",
    0.80,
    _P,
    "An answer is repeated nowhere: what is taken wrongly is found out late.",
    "On voices left out 3 in 100 clean answers and 19 at 5 dB are read back or asked again. Of any other word none of 225 "
    "is taken; of words one sound beside an answer, which few people say there, four in ten.",
)
TAKE_COMMAND = Bar(
    "take a command",
    0.88,
    _P,
    "A command is in force everywhere, also while somebody talks to somebody else.",
    "In loud noise a command is said twice.",
)
TAKE_SHORT = Bar(
    "take a command of three sounds or fewer",
    0.98,
    _P,
    "'Why' and 'note' are heard in many a word that begins or ends so.",
    "Short commands are said twice oftener than long ones.",
)
TAKE_READING = Bar(
    "take a reading",
    0.95,
    _P,
    "A number off by one figure looks as good as the right one.",
    "Numbers in noise are read back first.",
)
TAKE_STATED = Bar(
    "take a lock number that is stated",
    0.60,
    _P,
    "It is read back and affirmed before it counts, whatever it was.",
    "Four in ten at the bar are corrected at once.",
)
TAKE_GATE = Bar(
    "open a gate",
    0.96,
    _P,
    "Hands go where the power was. On voices left out 3 near misses of 3,084 lie over it, all 'isolating' for 'isolated', "
    "which no bar parts. Of 2,143 by voices of another kind one does ('who isolated lock …' at 5 dB).",
    "Of voices left out, most with heavy accents, 20 gates in 100 are said twice in quiet, 35 at 10 dB, 48 at 5 dB.",
)
TAKE_PROOF = Bar(
    "believe that the works are dead",
    0.96,
    _P,
    "Somebody will touch what this says is dead. On voices left out none of 124 near misses of 'nothing runs' lies over "
    "it. Of 1,379 by voices of another kind 4 do ('nothing rings', 'nothing's wrong'); it was put up from 95 % over 3 more. "
    "Of 864 that are not 'affirm' 10 did ('if that is right' twice); since conditions are denials, 1 of 540 drawn anew.",
    "Of voices left out three in ten are asked again in quiet, half at 10 dB.",
)
TAKE_PROOF_READING = Bar(
    "read back a reading that proves the works dead",
    0.96,
    _P,
    "A reading that says dead is read back, and counts only once it is affirmed: that is weighed as a proof. On voices left "
    "out 8 readings of 1,138 are wrong at 95 %, 5 at 97 %, 1 at 99 %. More than a witness has that nobody could fit.",
    "Some 22 in 100 such readings are said again in quiet, 30 at 10 dB; at 99 % 42 and 55. One wrongly heard as live ends "
    "the isolation, which is then made anew.",
)
TAKE_TWICE = Bar(
    "take a gate or a proof that was said twice",
    0.98,
    _P,
    "Two sayings in doubt, each likelier right than not, may be sure together. A near miss said twice errs alike twice, so "
    "it takes more than one saying does; three never count, nor do two of a reading that proves the works dead.",
    "TWICE.",
)
TAKE_START = Bar(
    "start a visit from stand-by",
    0.97,
    _P,
    "The microphone hears a whole day of other people's talk. A visit that nobody wanted disturbs; nothing is lost by one.",
    "Now and then the words are said twice.",
)
ALONE = Bar(
    "more for one witness alone",
    1.5,
    "log-odds",
    "Where one of the two witnesses is not installed or has failed, nobody contradicts.",
    "Without its second witness the program asks again oftener.",
)
UNFITTED = Bar(
    "a witness that nobody could fit",
    0.955,
    _P,
    "It is believed where its free words mean exactly what its grammar found: enough for an answer, never for a gate.",
    "With such an engine alone no gate opens by voice.",
)
DENIED = Bar(
    "a denial that the witness of sounds alone hears",
    5.0,
    "nats before the act",
    "In noise it finds a 'not' or an 'is it' where there is none; how near they lie is in the probability already.",
    "At no margin a sixth of the gates at 5 dB stay shut, and not one near miss of 150 more.",
)
ANOTHER = Bar(
    "another word to both witnesses",
    3.0,
    "nats before the answer",
    "Where one would write another word, and to the other a word that nobody offered lies so far before the answer, it was "
    "hardly the answer.",
    "On voices left out 2 in 100 right answers are read back first; so is a third of the words one sound beside an answer "
    "that would be taken.",
)
PROPOSE = Bar(
    "read back and ask to affirm",
    0.50,
    _P,
    "Read back, a mistake costs one 'negative'; saying it again costs as much.",
    "A few in a hundred that are read back are wrong, and refused.",
)
WHICH = Bar(
    "ask which of two",
    0.75,
    _P,
    "The two likeliest answers of one question together; asking which takes one word.",
    "The answer is said once more.",
)
TIE = Bar(
    "as likely as the likeliest",
    0.50,
    "share of its probability",
    "Asking which of two helps only where the second may be it.",
    "The answer is asked again instead.",
)
MEANT = Bar(
    "ask again",
    0.50,
    _P,
    "Speech like nothing in force is somebody else's; answering it disturbs.",
    "Of what is meant for the program a little is met with silence, and said again.",
)
AGAIN = Bar(
    "weight of an earlier saying",
    0.6,
    "share",
    "The same voice in the same noise errs alike twice, so two sayings count less than two witnesses.",
    "A third saying is needed now and then.",
)
CHANGED = Bar(
    "a changed mind",
    0.50,
    _P,
    "Something else than before, and surely so: what was said before counts no more.",
    "After a change the first saying counts alone.",
)
CLIPPED = Bar(
    "sound that is cut off at its top",
    0.02,
    "share of samples",
    "A microphone too near or too loud bends the sound of every word.",
    "The person is told, and a gate stays shut.",
)
PAUSE = Bar(
    "the end of what is said", 0.78, "seconds of quiet",
    "Figures said one by one with half a second between them stay together.",
    "The verdict waits as long, and hears ahead meanwhile.",
)  # fmt: skip
PAUSE_BEGUN = Bar(
    "the same after a beginning", 1.3, "seconds of quiet",
    "A figure of a lock number, a number that may go on, a gate's phrase that is not whole: who speaks slowly is not cut.",
    "A number without decimals or unit is taken half a second later.",
)  # fmt: skip
PAUSE_WHOLE = Bar(
    "the same after a sure answer or command", 0.54, "seconds of quiet",
    "What follows is another sentence. Never at a gate or a proof, where a 'not' may come late.",
    "Who adds a word to an answer after half a second says two things.",
)  # fmt: skip
# Of the speaker witness: set on 24 synthetic voices that judge nothing, saying lock numbers and gate phrases at several
# rates, clean and at 20 dB, so that three in a hundred clips of a voice's own lie under the first.
# tests/bench/voices_apart.py measures them on others.
VOICE_SAME = Bar(
    "the same voice", 0.49, "likeness",
    "Three in a hundred clips of the right voice lie under it, where the voice is known by four.",
    "The person says the phrase once more.",
)  # fmt: skip
VOICE_GAP = Bar(
    "less, and it is another's", 0.20, "likeness",
    "Between the two the voice is in doubt, and asked for once more. Wide, for people vary more than synthetic voices.",
    "The gate stays shut, and the program says why.",
)  # fmt: skip
VOICE_FEW = Bar(
    "less for a voice half as well known", 0.09, "likeness",
    "One short clip tells little of a voice: the same person's next is less alike.",
    "More voices pass for one that is known by one clip.",
)  # fmt: skip
VOICE_KNOWN = Bar(
    "a voice well known", 4, "clips", "More clips change the curve little.", "A few utterances go by first.",
)  # fmt: skip
VOICE_ADDS = Bar(
    "surely the same voice", 0.60, "likeness",
    "What is added to a voice must not be another's; where it is known by few clips, less is surely enough.",
    "A voice is learnt more slowly.",
)  # fmt: skip
VOICE_LEAST = Bar(
    "speech to learn a voice by", 0.6, "seconds", "A lock number is short; the encoder's window is 0.8 s.",
    "Of a short word nothing is learnt.",
)  # fmt: skip
VOICE_SPEECH = Bar(
    "speech to tell a voice by", 1.2, "seconds", "Two windows; of one word the right voice is doubted too often.",
    "Of a short answer nothing is said.",
)  # fmt: skip
VOICE_NOISE = Bar(
    "out of the noise", 19.0, "decibels",
    "Some 13 dB of signal to noise. At 10 dB it cannot tell voices apart, so it says nothing there.",
    "In loud noise voices are not compared.",
)  # fmt: skip
EVERY: tuple[Bar, ...] = (
    TAKE_ANSWER, TAKE_COMMAND, TAKE_SHORT, TAKE_READING, TAKE_STATED, TAKE_GATE, TAKE_PROOF, TAKE_PROOF_READING, TAKE_TWICE,
    TAKE_START, ALONE, UNFITTED, DENIED, ANOTHER, PROPOSE, WHICH, TIE, MEANT, AGAIN, CHANGED, CLIPPED, PAUSE, PAUSE_BEGUN,
    PAUSE_WHOLE, VOICE_SAME, VOICE_GAP, VOICE_FEW, VOICE_KNOWN, VOICE_ADDS, VOICE_LEAST, VOICE_SPEECH, VOICE_NOISE,
)  # fmt: skip


def written(bar: Bar) -> str:
    """'97 %', '0.6 share'."""
    return f"{bar.value:.1%}" if bar.unit == _P else f"{bar.value:g} {bar.unit}"


def take(meaning: Meaning, proof: bool) -> Bar:
    """What it takes to act on this at once."""
    if proof:
        return TAKE_PROOF_READING if meaning.sense is Sense.NUMBER else TAKE_PROOF
    return TAKE_SHORT if short_command(meaning) else _TAKE[meaning.sense]


def short_command(meaning: Meaning) -> bool:
    """A command of so few sounds that it is soon heard where something else was said."""
    return meaning.sense is Sense.COMMAND and len(phonemes(meaning.spoken or meaning.text)) <= _SHORT


_TAKE = {
    Sense.PHRASE: TAKE_ANSWER, Sense.COMMAND: TAKE_COMMAND, Sense.NUMBER: TAKE_READING, Sense.STATE: TAKE_READING,
    Sense.DIGITS: TAKE_STATED, Sense.GATE: TAKE_GATE,
}  # fmt: skip


def may_propose(meaning: Meaning, proof: bool, listening: Listening) -> bool:
    """An answer, a reading or a state that nobody can be hurt by. A command is said again sooner than affirmed."""
    harmless = not proof and listening.gate is None
    return harmless and meaning.sense in (Sense.PHRASE, Sense.NUMBER, Sense.STATE)


def thresholds() -> dict[Stake, float]:
    """By stake, as an enrolment needs them."""
    return {Stake.CHOICE: TAKE_ANSWER.value, Stake.READING: TAKE_READING.value, Stake.GATE: TAKE_GATE.value}
