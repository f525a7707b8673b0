"""The interlock by itself: its table, and every sequence of turns up to a length."""

from __future__ import annotations

import itertools

import pytest

from handsfree.journal.events import Utterance
from handsfree.language.meaning import Sense, Verdict, gate_text
from handsfree.visit.interlock import TABLE, Interlock, Power, Turn, hear_phrase, overstayed, prove, spoke, turn

LOCK = ("four", "two")


def phrase(
    word: str = "isolated", lock: tuple[str, ...] = LOCK, verdict: str = Verdict.ACCEPTED, sense: str = Sense.GATE
) -> Utterance:
    return Utterance(verdict, sense, gate_text(word, lock), ended=5.0)


def test_only_proving_dead_reaches_isolated() -> None:
    assert [key for key, to in TABLE.items() if to is Power.ISOLATED] == [(Power.ISOLATING, Turn.PROVED_DEAD)]


def test_every_sequence_of_five_turns_isolates_only_by_phrase_then_proof() -> None:
    """Each move of the alphabet, in every order: ISOLATED only where the last three moves that count are begun, phrase,
    proof with nothing between that clears."""
    moves = [*Turn, "phrase", "wrong"]
    reached = 0
    for sequence in itertools.product(moves, repeat=5):
        lock = Interlock(lock=LOCK)
        given = False
        for move in sequence:
            before = lock.power
            if move == "phrase":
                lock = hear_phrase(lock, phrase())
                given = given or before is Power.ISOLATING
            elif move == "wrong":
                lock = hear_phrase(lock, phrase(lock=("four", "three")))
            else:
                lock = turn(lock, move, 1.0)
                if lock.power is Power.ISOLATED:
                    assert move is Turn.PROVED_DEAD
                    assert before is Power.ISOLATING
                    assert given
                    reached += 1
                given = False
            assert lock.phrase_given == given or lock.power is Power.RESTORING
    assert reached > 0


@pytest.mark.parametrize(
    "said",
    [
        phrase(verdict=Verdict.ASKED_AGAIN),
        phrase(verdict=Verdict.NOT_FOR_ME),
        phrase(sense=Sense.DENIAL),
        phrase(sense=Sense.PHRASE),
        phrase(sense=Sense.COMMAND),
        phrase(lock=("four",)),
        phrase(lock=("four", "three")),
        phrase(lock=("two", "four")),
        phrase(lock=("four", "two", "two")),
        phrase(word="clear"),
        Utterance(Verdict.ACCEPTED, Sense.COMMAND, "affirm"),
        Utterance(Verdict.ACCEPTED, Sense.COMMAND, "next step"),
    ],
)
def test_nothing_but_the_phrase_is_the_phrase(said: Utterance) -> None:
    isolating = turn(Interlock(lock=LOCK), Turn.ISOLATION_BEGUN, 0.0)
    after = hear_phrase(isolating, said)
    assert not after.phrase_given
    assert after.failures == 1
    assert prove(after, 1.0).power is Power.LIVE


def test_the_phrase_counts_only_in_its_own_state() -> None:
    for power in (Power.LIVE, Power.ISOLATED, Power.RESTORING):
        assert not hear_phrase(Interlock(power, LOCK), phrase()).phrase_given


def test_no_lock_number_no_phrase() -> None:
    isolating = turn(Interlock(), Turn.ISOLATION_BEGUN, 0.0)
    assert not hear_phrase(isolating, phrase(lock=())).phrase_given


def test_silence_longer_than_the_break_is_an_overstay() -> None:
    isolated = prove(hear_phrase(turn(Interlock(lock=LOCK), Turn.ISOLATION_BEGUN, 0.0), phrase()), 10.0)
    assert isolated.isolated
    assert not overstayed(isolated, 10.0 + 1800, 1800)
    assert overstayed(isolated, 10.0 + 1800.1, 1800)
    assert not overstayed(Interlock(), 1e9, 1800)


def test_the_names_that_stand_in_every_record() -> None:
    """A reader of an old record knows these words: none may change."""
    assert list(Power) == ["LIVE", "ISOLATING", "ISOLATED", "RESTORING"]
    assert list(Turn) == [
        "isolation begun", "proved dead", "restore begun", "restored", "found live", "isolation left", "power is on",
        "break", "resume", "handover", "visit closed", "fault",
    ]


def test_a_visit_starts_live_with_nothing_given() -> None:
    fresh = Interlock()
    assert (fresh.power, fresh.lock, fresh.phrase_given, fresh.failures) == (Power.LIVE, (), False, 0)
    assert fresh.phrase_given is False
    assert (fresh.last_heard, fresh.since) == (0.0, 0.0)
    assert not fresh.isolated


OPENING = {Turn.ISOLATION_BEGUN: Power.ISOLATING, Turn.RESTORE_BEGUN: Power.RESTORING}


@pytest.mark.parametrize("power", Power)
@pytest.mark.parametrize("what", Turn)
@pytest.mark.parametrize("given", [False, True])
def test_every_turn_from_every_state(power: Power, what: Turn, given: bool) -> None:
    """Written out here a second time: two turns begin something, proving isolates after the phrase, all others are LIVE."""
    before = Interlock(power, LOCK, phrase_given=given, failures=3, last_heard=2.0, since=1.0)
    after = turn(before, what, 7.0)
    proved = what is Turn.PROVED_DEAD and power is Power.ISOLATING and given
    assert after.power is (Power.ISOLATED if proved else OPENING.get(what, Power.LIVE))
    assert after.phrase_given is False
    assert (after.lock, after.failures, after.since) == (LOCK, 0, 7.0)
    assert after.last_heard == (7.0 if what is Turn.PROVED_DEAD else 2.0)


@pytest.mark.parametrize(("power", "word"), [(Power.ISOLATING, "isolated"), (Power.RESTORING, "clear")])
def test_the_phrase_is_noted_with_its_time_and_the_failures_forgotten(power: Power, word: str) -> None:
    before = Interlock(power, LOCK, failures=2, last_heard=1.0, since=1.0)
    after = hear_phrase(before, phrase(word))
    assert after == Interlock(power, LOCK, phrase_given=True, failures=0, last_heard=5.0, since=1.0)
    other = hear_phrase(before, phrase("clear" if word == "isolated" else "isolated"))
    assert other == Interlock(power, LOCK, phrase_given=False, failures=3, last_heard=1.0, since=1.0)


def test_one_digit_is_no_lock_number() -> None:
    assert not hear_phrase(Interlock(Power.ISOLATING, ("four",)), phrase(lock=("four",))).phrase_given
    assert hear_phrase(Interlock(Power.ISOLATING, LOCK), phrase()).phrase_given


def test_a_silence_counts_from_the_last_word_once_the_phrase_was_given() -> None:
    given = hear_phrase(Interlock(Power.ISOLATING, LOCK), phrase())
    assert overstayed(given, 5.0 + 60.1, 60)
    assert not overstayed(spoke(given, 30.0), 30.0 + 60.0, 60)
    assert spoke(given, 30.0).last_heard == 30.0
    assert not overstayed(Interlock(Power.ISOLATING, LOCK), 1e9, 60)
