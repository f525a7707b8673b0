"""Every threshold of the hearing in one table: its value, its unit, the reason for it, and what it costs.

Rules of this file:

- A bar is a probability that acting is right, as `acceptance` gives it, unless its unit says otherwise.
- Above *take* the program acts. Above *propose* it reads back what it made out, and acts only after 'affirm'; it never
  proposes at a gate, nor where the answer may prove works dead. Below, it asks which of two, asks again, or stays silent.
- What it costs is what the fit gives on voices left out (acceptance_report.txt), or who gets asked again.
- The handbook's table of thresholds is generated from here, README's and the handbook's figures and what the sound check
  expects from a results file (tests/bench/figures.py): no other file repeats a number of these.
"""

from __future__ import annotations

from collections.abc import Mapping
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
    "accept an answer",
    0.75,
    _P,
    "An answer is not confirmed separately: a wrong one is noticed late.",
    "On voices left out, 2 in 100 clean answers of synthetic voices and 19 at 5 dB are read back or asked again; of actors, "
    "some of whom taught in other scenes, 1 and 5. Words that differ from an answer by one sound, or by one of several "
    "words, are accepted four times in ten if actors say them and three if synthetic voices do; few people say them there. "
    "Of 640 other words by people, 12 are.",
)
TAKE_COMMAND = Bar(
    "accept a command",
    0.88,
    _P,
    "Commands always count, even while people talk to each other.",
    "In loud noise a command must be said twice.",
)
TAKE_SHORT = Bar(
    "accept a command of three sounds or fewer",
    0.98,
    _P,
    "Many words begin or end like 'why' or 'note'.",
    "Short commands need repeating more often than long ones.",
)
TAKE_OWN_WORDS = Bar(
    "accept an answer or command in the person's own words",
    0.60,
    _P,
    "Nothing is at stake there, and the witness that writes must have written nothing else, of all that it can write.",
    "Of 761 near misses and bystanders' sentences by voices of another kind, it accepts none that the usual threshold would "
    "refuse. Of 288 right ones it accepts 6 more; the list of wordings was made with these 288 in view.",
)
TAKE_READING = Bar(
    "accept a reading",
    0.95,
    _P,
    "A number with one wrong digit looks as good as the right one.",
    "Numbers in noise are read back first.",
)
TAKE_STATED = Bar(
    "accept a stated lock number",
    0.60,
    _P,
    "It is always read back and affirmed before it counts.",
    "Four in ten at the threshold are corrected at once.",
)
TAKE_GATE = Bar(
    "open a gate",
    0.96,
    _P,
    "Hands go where the power was. On voices left out, 17 near misses of 2,377 pass ('eyes related', 'how isolated', "
    "'isolating'); no threshold separates these. Of 960 by voices of another kind, one passes ('who isolated lock …').",
    "On voices left out, most with heavy accents, 23 gates in 100 must be said twice in quiet, 34 at 10 dB, 50 at 5 dB.",
)
TAKE_PROOF = Bar(
    "accept a proof that the works are dead",
    0.96,
    _P,
    "Somebody will touch what this says is dead. On voices left out, none of 124 near misses of 'nothing runs' passes. Of "
    "1,379 by voices of another kind, 4 pass ('nothing rings', 'nothing's wrong'); it was raised from 95 % because of 3 "
    "more. Of 864 that are not 'affirm', 10 passed ('if that is right' twice); since conditions count as denials, 1 of 540 "
    "new ones did.",
    "On voices left out, three in ten are asked again in quiet, half at 10 dB.",
)
TAKE_PROOF_READING = Bar(
    "read back a reading that proves the works dead",
    0.96,
    _P,
    "A reading that says dead is read back, and counts only when affirmed; the affirmation is weighed as a proof. On voices "
    "left out, 8 readings of 1,138 are wrong at 95 %, 5 at 97 %, 1 at 99 %. A witness without a fit never reaches it.",
    "Some 22 in 100 such readings must be said again in quiet, 30 at 10 dB; at 99 % it would be 42 and 55. One wrongly "
    "heard as live ends the isolation, which must then be repeated.",
)
TAKE_TWICE = Bar(
    "accept a gate phrase, or 'affirm' at a proof, that was said twice",
    0.98,
    _P,
    "Two attempts in doubt, each more likely right than not, may be sure together. A near miss said twice is misheard "
    "twice, so they need more than one attempt. Three never add up, nor do two answers that prove the works dead.",
    "On the voices of the fit, 24 of 384 right ones that one attempt left in doubt are accepted at the second. So are 5 of "
    "288 that are not 'affirm' but sound like it ('a fern'), and none of 960 near misses of a gate. On other voices: 7 of "
    "200, 2 of 360 ('infirm'), none of 480.",
)
TAKE_START = Bar(
    "start a visit from stand-by",
    0.97,
    _P,
    "The microphone hears other people talk all day. A visit that nobody wanted is a nuisance; nothing is lost.",
    "Now and then the words must be said twice.",
)
ALONE = Bar(
    "added for one witness alone",
    1.5,
    "log-odds",
    "If one of the two witnesses is not installed or has failed, nothing contradicts the other.",
    "Without its second witness the program asks again more often.",
)
UNFITTED = Bar(
    "a witness without a fit",
    0.955,
    _P,
    "It is given this where its free words mean exactly what its grammar found: enough for an answer, never for a gate.",
    "With such an engine alone no gate opens by voice.",
)
DENIED = Bar(
    "a denial that only the witness of sounds hears",
    5.0,
    "nats before the act",
    "In noise it finds a 'not' or an 'is it' where there is none; the probability already counts how close the two are.",
    "Without this margin a sixth of the gates at 5 dB would stay shut, and not one more near miss of 150 would be stopped.",
)
ANOTHER = Bar(
    "another word to both witnesses",
    5.0,
    "nats before the answer",
    "If one witness writes another word, and the other finds a word that is no answer so far ahead of the answer, it was "
    "hardly the answer.",
    "On voices left out, 1 in 100 right answers is read back first. So is one in six of the words that differ from an "
    "answer by one sound or one word and would otherwise be accepted.",
)
PROPOSE = Bar(
    "read back and ask to affirm",
    0.50,
    _P,
    "A mistake that is read back costs one 'negative'; saying it again costs as much.",
    "A few in a hundred that are read back are wrong, and are refused.",
)
WHICH = Bar(
    "ask which of two",
    0.75,
    _P,
    "The two likeliest answers of one question, added together; the reply takes one word.",
    "The answer must be said once more.",
)
TIE = Bar(
    "the second answer of two",
    0.50,
    "share of the first's probability",
    "Asking which of two helps only if the second may be the right one.",
    "The answer is asked again instead.",
)
MEANT = Bar(
    "ask again",
    0.50,
    _P,
    "Speech that resembles nothing in force is meant for somebody else; answering it disturbs.",
    "A little of what is meant for the program gets no reply, and must be said again.",
)
AGAIN = Bar(
    "weight of an earlier attempt",
    0.6,
    "share",
    "The same voice in the same noise is misheard the same way twice, so two attempts count less than two witnesses.",
    "A third attempt is needed now and then.",
)
CHANGED = Bar(
    "a changed mind",
    0.50,
    _P,
    "If the new words surely differ from the earlier ones, the earlier ones no longer count.",
    "After a change the new words count alone.",
)
BEFORE = Bar(
    "speech right before a gate's phrase",
    0.25,
    "share of the third of a second before it",
    "'Who isolated, lock four two' can be heard as the phrase by both witnesses: they swallow the short word. It is still "
    "loud.",
    "On the voices of the fit it keeps 2 of 853 right phrases shut. Below it the share counts in the probability: of 1,152 "
    "sounds with one short word in front 20 opened a gate before it was looked at, none now. They are among those fitted.",
)
CLIPPED = Bar(
    "clipped sound",
    0.02,
    "share of samples",
    "A microphone that is too near or too loud distorts every word.",
    "The person is told, and a gate stays shut.",
)
PAUSE = Bar(
    "end of an utterance", 0.78, "seconds of quiet",
    "Digits said one by one with half a second between them stay together.",
    "The verdict waits this long; recognition runs meanwhile.",
)  # fmt: skip
PAUSE_BEGUN = Bar(
    "the same, unfinished", 1.3, "seconds of quiet",
    "After one digit of a lock number, a number that may go on, or half a gate phrase, slow speakers are not cut off.",
    "A number without decimals or unit is accepted half a second later.",
)  # fmt: skip
PAUSE_WHOLE = Bar(
    "the same, after a sure answer or command", 0.54, "seconds of quiet",
    "What follows is another sentence. Never at a gate or a proof, where a 'not' may come late.",
    "A word added to an answer after half a second counts as a second utterance.",
)  # fmt: skip
# Of the speaker witness: set on 24 synthetic voices that are used for no test. They say lock numbers and gate phrases at
# several rates, clean and at 20 dB. Three in a hundred clips of the right voice lie below the first of these.
# tests/bench/voices_apart.py measures them on others.
VOICE_SAME = Bar(
    "the same voice", 0.49, "likeness",
    "Three in a hundred clips of the right voice lie below it, if the voice is known from four clips.",
    "The person says the phrase once more.",
)  # fmt: skip
VOICE_GAP = Bar(
    "this much less: another voice", 0.20, "likeness",
    "Between the two the voice is in doubt and is asked for again. Wide, because people vary more than synthetic voices.",
    "The gate stays shut, and the program says why.",
)  # fmt: skip
VOICE_FEW = Bar(
    "less for a voice known half as well", 0.09, "likeness",
    "One short clip tells little about a voice: the same person's next clip is less alike.",
    "More voices pass for one that is known from one clip.",
)  # fmt: skip
VOICE_KNOWN = Bar(
    "a voice well known", 4, "clips", "More clips change the curve little.", "A few utterances go by first.",
)  # fmt: skip
VOICE_ADDS = Bar(
    "surely the same voice", 0.60, "likeness",
    "Clips of another voice must not be added to this one; for a voice known from few clips, less is enough.",
    "A voice is learnt more slowly.",
)  # fmt: skip
VOICE_LEAST = Bar(
    "speech to learn a voice by", 0.6, "seconds", "A lock number is short; the encoder's window is 0.8 s.",
    "Nothing is learnt from a short word.",
)  # fmt: skip
VOICE_SPEECH = Bar(
    "speech to judge a voice by", 1.2, "seconds", "Two windows; on one word the right voice is doubted too often.",
    "The voice of a short answer is not judged.",
)  # fmt: skip
VOICE_SOFTER = Bar(
    "above the noise, to hear a voice without it", 19.0, "decibels",
    "Some 13 dB of signal to noise. Below it a copy with softer noise tells voices apart better; above it, hardly.",
    "In noise a voice is compared by both.",
)  # fmt: skip
VOICE_NOISE = Bar(
    "above the noise", 14.0, "decibels",
    "Some 8 dB of signal to noise. At 5 dB nearly one other voice in three would pass, so it does not judge.",
    "In loud noise voices are not compared.",
)  # fmt: skip
ENROL_MOST = Bar(
    "the most that an enrolment adds", 1.5, "log-odds", "More would be another model, not a fit to one person.",
    "A voice that would need more goes on repeating itself.",
)  # fmt: skip
ENROL_ROOM = Bar(
    "room that an enrolment leaves", 1.0, "log-odds",
    "The likeliest wrong answer to what the person read stays at least this far below its threshold.",
    "Less is added for a voice whose wrong answers come near.",
)  # fmt: skip
ENROL_LEFT = Bar(
    "right phrases that an enrolment leaves behind", 0.2, "share",
    "Its size follows the person's usual phrases, not the worst.", "One phrase in five may still be asked again.",
)  # fmt: skip
ENROL_FEWEST = Bar(
    "phrases to learn from", 6, "phrases", "Fewer show chance, not a voice.",
    "If fewer are heard rightly, nothing is learnt for answers or for readings.",
)  # fmt: skip
ENROL_WAIT = Bar(
    "give up an enrolment", 1.0, "minutes of quiet", "The person has gone.", "Nothing is kept; the reading begins again.",
)  # fmt: skip
EVERY: tuple[Bar, ...] = (
    TAKE_ANSWER, TAKE_COMMAND, TAKE_SHORT, TAKE_OWN_WORDS, TAKE_READING, TAKE_STATED, TAKE_GATE, TAKE_PROOF,
    TAKE_PROOF_READING, TAKE_TWICE, TAKE_START, ALONE, UNFITTED, DENIED, ANOTHER, PROPOSE, WHICH, TIE, MEANT, AGAIN,
    CHANGED, BEFORE, CLIPPED, PAUSE, PAUSE_BEGUN, PAUSE_WHOLE, VOICE_SAME, VOICE_GAP, VOICE_FEW, VOICE_KNOWN, VOICE_ADDS,
    VOICE_LEAST, VOICE_SPEECH, VOICE_SOFTER, VOICE_NOISE, ENROL_MOST, ENROL_ROOM, ENROL_LEFT, ENROL_FEWEST, ENROL_WAIT,
)  # fmt: skip


#: What one act of each stake takes at once; `take` knows the exceptions.
BY_STAKE: Mapping[Stake, Bar] = {
    Stake.CHOICE: TAKE_ANSWER, Stake.COMMAND: TAKE_COMMAND, Stake.READING: TAKE_READING, Stake.GATE: TAKE_GATE,
    Stake.PROOF: TAKE_PROOF,
}  # fmt: skip


def written(bar: Bar) -> str:
    """'97 %', '0.6 share'."""
    return f"{bar.value:.1%}" if bar.unit == _P else f"{bar.value:g} {bar.unit}"


def take(meaning: Meaning, proof: bool) -> Bar:
    """The threshold for acting on this at once."""
    if proof:
        return TAKE_PROOF_READING if meaning.sense is Sense.NUMBER else TAKE_PROOF
    return TAKE_SHORT if short_command(meaning) else _TAKE[meaning.sense]


def short_command(meaning: Meaning) -> bool:
    """A command of so few sounds that it is easily heard where something else was said."""
    return meaning.sense is Sense.COMMAND and len(phonemes(meaning.spoken or meaning.text)) <= _SHORT


_TAKE = {
    Sense.PHRASE: TAKE_ANSWER, Sense.COMMAND: TAKE_COMMAND, Sense.NUMBER: TAKE_READING, Sense.STATE: TAKE_READING,
    Sense.DIGITS: TAKE_STATED, Sense.GATE: TAKE_GATE,
}  # fmt: skip


def may_propose(meaning: Meaning, proof: bool, listening: Listening) -> bool:
    """An answer, a reading or a state that nobody can be hurt by. Saying a command again is quicker than affirming it."""
    harmless = not proof and listening.gate is None
    return harmless and meaning.sense in (Sense.PHRASE, Sense.NUMBER, Sense.STATE)


def thresholds() -> dict[Stake, float]:
    """By stake, as an enrolment needs them."""
    return {stake: BY_STAKE[stake].value for stake in (Stake.CHOICE, Stake.READING, Stake.GATE)}
