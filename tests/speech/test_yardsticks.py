"""The yardsticks of hearing are what they say: the same clips for the same arguments, no near miss that means the phrase."""

from __future__ import annotations

import random

import pytest

from handsfree.language.base import load
from handsfree.language.meaning import GateAsked, Heard, Listening, Meaning, Sense, Verdict
from handsfree.speech import acceptance
from handsfree.speech.weighing import Stake
from tests.bench import exchanges, gate_phrases, near, people
from tests.bench.people_words import Speaker
from tests.bench.teach import actors, fit_acceptance, fresh, testimony

ENGLISH = load("en")
LOCK = ("four", "two", "seven")
WORDS = ("ant", "bee", "cow", "dog", "elk", "fox", "gnu", "hen", "owl")
GATE = Listening(gate=GateAsked("isolated", LOCK))
SENTENCES = [(means, pattern) for means, patterns in gate_phrases.NEAR.items() for pattern in patterns]


@pytest.mark.parametrize(("means", "pattern"), SENTENCES)
def test_what_must_never_open_a_gate_does_not_when_it_is_typed(means: str, pattern: str) -> None:
    for seed in range(8):
        text = gate_phrases.filled(pattern, LOCK, random.Random(seed))
        assert all(meaning.sense is not Sense.GATE for meaning in ENGLISH.understand(text, GATE)[:1]), text


def test_another_number_is_another_and_one_uneven_has_a_figure_more_or_less() -> None:
    for seed in range(60):
        luck = random.Random(seed)
        other = gate_phrases.filled("{w}", LOCK, luck).split()
        uneven = gate_phrases.filled("{u}", LOCK, luck).split()
        assert len(other) == len(LOCK)
        assert tuple(other) != LOCK
        assert abs(len(uneven) - len(LOCK)) == 1


def test_the_people_say_the_same_at_every_level_and_none_is_in_force_where_none_should_be() -> None:
    paths = {word: people.Path(f"/{word}.wav") for word in WORDS}
    everybody = (Speaker("one", "p", paths, {4: people.Path("/4.wav")}), Speaker("two", "p", paths))
    planned = people.plan(everybody, 8, 3)
    assert planned == people.plan(everybody, 8, 3)
    by_level = {level: [s.text for s in planned if s.snr == level and s.kind == "answer"] for level in people.LEVELS}
    assert len({tuple(texts) for texts in by_level.values()}) == 1
    assert len(by_level[None]) == 8
    for said in planned:
        phrases = said.line.listen_for.phrases
        if said.kind == "answer":
            assert 2 <= len(phrases) <= 6
            assert said.text in phrases
        if said.kind == "other word":
            assert len(phrases) >= 2
            assert said.text not in phrases


def test_only_the_gate_and_only_the_proof_of_dead_count_as_passed() -> None:
    gate = near.Said("near", "denied", None, "", "v", GATE, 0)
    proof = near.Said("proof", "denied", None, "", "v", Listening(phrases=gate_phrases.PROVES, proof=True), 0)
    opens = Heard(Verdict.ACCEPTED, Meaning(Sense.GATE, "isolated, lock four two seven"), 1.0)
    assert near.passed(gate, opens)
    assert not near.passed(gate, Heard(Verdict.ACCEPTED, Meaning(Sense.COMMAND, "power is on"), 1.0))
    assert not near.passed(gate, Heard(Verdict.ASKED_AGAIN, opens.meaning, 1.0))
    assert near.passed(proof, Heard(Verdict.ACCEPTED, Meaning(Sense.PHRASE, "nothing runs"), 1.0))
    assert not near.passed(proof, Heard(Verdict.ACCEPTED, Meaning(Sense.PHRASE, "it runs"), 1.0))


class Speaks:
    """A person whose utterances are heard as told."""

    def __init__(self, *heard: Heard) -> None:
        self.left, self.asked = list(heard), list[str]()

    def begin(self) -> None: ...

    def hear(self, text: str, *args: object, **named: object) -> Heard:
        self.asked.append(text)
        return self.left.pop(0)


def heard(verdict: Verdict, text: str, sense: Sense = Sense.PHRASE) -> Heard:
    return Heard(verdict, Meaning(sense, text), 0.5)


def test_a_wrong_proposal_is_refused_and_the_value_said_again() -> None:
    wants = exchanges.Wants("warm", Listening(phrases=("warm", "hot")), exchanges.Expect(phrase="warm"))
    speaks = Speaks(
        heard(Verdict.PROPOSED, "hot"), heard(Verdict.ACCEPTED, "negative", Sense.COMMAND),
        heard(Verdict.ASKED_AGAIN, "hot"), heard(Verdict.PROPOSED, "warm"),
        heard(Verdict.ASKED_AGAIN, "affirm", Sense.COMMAND),
        heard(Verdict.ACCEPTED, "affirm", Sense.COMMAND),
    )  # fmt: skip
    person = exchanges.Person(speaks, "v", None, "fan", random.Random(1))  # type: ignore[arg-type]  # a stand-in
    assert exchanges.exchange(wants, person) == exchanges.Exchange("right", 3, 6, 1, "proposed_wrong")
    assert speaks.asked == ["warm", "negative", "warm", "warm", "affirm", "affirm"]


def test_more_near_misses_begin_with_the_same_ones_and_every_round_has_every_class_at_every_level() -> None:
    few, many = (list(near.plan(["a", "b", "c"], each, 5 * each, 1)) for each in (2, 4))
    assert many[:2] == few
    classes = {("accent", "the phrase in another accent"), ("proves", "the proof")}
    classes |= {("near", means) for means in gate_phrases.NEAR} | {("proof", means) for means in gate_phrases.PROOFS}
    classes |= {("affirms", means) for means in gate_phrases.AFFIRMS}
    classes |= {("denies", means) for means in gate_phrases.DENIES}
    classes |= {("not affirmed", means) for means in gate_phrases.NOT_AFFIRMED}
    for said in many:
        for level in near.LEVELS:
            assert {(one.kind, one.means) for one in said if one.snr == level} == classes | {("gate", "the phrase")}
            assert sum(one.kind == "gate" for one in said if one.snr == level) == 5
        assert len({one.text for one in said}) < len(said) / 2, "the same sentences at every level"


_PART = ("  choice: 5", "   phrase", "  reading: 4", "   number", "    at 0.5", "  meant: 9", "")
OLD = ["Acceptance: what each gives.", "", "both (a, b), 9 clips; ranking 1", *_PART, "one (a), 9 clips; ranking 1", *_PART]


def test_a_stake_fitted_by_itself_changes_its_own_part_of_the_report_and_no_other() -> None:
    new = ["both (a, b), 6 clips; ranking 2", "  reading: 6", "   number", "    at 0.7", ""]
    found = fit_acceptance.put_in(OLD, new, Stake.READING)
    anew = ("  reading: 6; fitted by itself on 6 clips; ranking 2", "   number", "    at 0.7")
    assert found == [*OLD[:5], *anew, *OLD[8:]]


def test_every_clip_that_asks_for_a_number_and_no_other_is_made_to_fit_readings_on() -> None:
    asked = [fresh.asks_number(clip) for clip in fresh.plan(200, 1)]
    heard = [acceptance.ranked_as(testimony._listening(clip.listen_for)) == "number" for clip in fresh.plan(200, 1)]
    assert asked == heard
    assert 0 < sum(asked) < len(asked)


LABELS = [
    actors.Label(f"{scene}{number:05d}", text)
    for scene in ("JOE", "100", "C18", "240", "57A", "31B", "080")
    for number, text in enumerate(("good idea", "why", "i guess not", "take the left door", "what a nice hat this is"))
]


@pytest.mark.parametrize(
    ("text", "kept"), [("I guess not.", "i guess not"), ("Level 5!", ""), ("The Zzyqx!", ""), ("", ""), ("a " * 10, "")]
)
def test_of_what_actors_say_only_words_of_the_dictionary_are_kept(text: str, kept: str) -> None:
    assert actors.known_words(text) == kept


def test_actors_sentences_are_drawn_alike_and_those_that_teach_do_not_fit() -> None:
    planned = actors.plan(LABELS, 40, 1)
    assert planned == actors.plan(LABELS, 40, 1)
    fit = {one.name for one in LABELS if one.fits}
    assert {name for _, name in planned} <= fit
    assert fit < {one.name for one in LABELS}
    for clip, _ in planned:
        phrases = clip.listen_for.get("phrases", [])
        assert (clip.text in phrases) == (clip.kind == "choice")


def test_a_fit_of_one_stake_alone_leaves_the_report_on_all_else() -> None:
    kept = ["  gate: 2", "    at 0.5: kept", ""]
    old = ["head", "", "sounds (a), 9 clips; x", "  choice: 1", "   phrase", "    at 0.5: old", *kept]
    new = ["sounds (a), 12 clips, 3 of them by people; y", "  choice: 4", "   phrase", "    at 0.5: new", ""]
    got = fit_acceptance.put_in(old, new, Stake.CHOICE)
    assert got[3] == "  choice: 4; fitted by itself on 12 clips, 3 of them by people; y"
    assert got[4:] == ["   phrase", "    at 0.5: new", *kept]
