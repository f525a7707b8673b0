"""The interlock by itself: its table, and every sequence of turns up to a length."""

from __future__ import annotations

import itertools

import pytest

from handsfree.journal.events import Utterance
from handsfree.language.meaning import Sense, Verdict, gate_text
from handsfree.visit.interlock import TABLE, Interlock, Power, Turn, hear_phrase, overstayed, prove, turn

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
