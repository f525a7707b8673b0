"""What else may have been said in a phrase's place: on frames written by hand, no engine run."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.language.base import load
from handsfree.language.meaning import GateAsked, Listening
from handsfree.language.phonetics import PHONEMES
from handsfree.speech.ctc import Frames, Symbols, score
from handsfree.speech.engine import QUIET_BEFORE, RATE
from handsfree.speech.phonetic_shape import Lattice, Shapes, lattice
from handsfree.speech.sounds import SYMBOL, word_ways

MANY = 12  # sounds there are
WORDS = (((1, 2),), ((3, 4, 5), (3, 5)), ((6,),))
TEXT = (1, 2, 3, 4, 5, 6)


def frames(said: Symbols, sure: float = 0.9, many: int = MANY) -> Frames:
    """Each sound in two frames, one of none after it."""
    rows = [symbol for sound in said for symbol in (sound, sound, many)]
    given = np.full((len(rows) + 2, many + 1), (1 - sure) / many)
    for at, symbol in enumerate([many, *rows, many]):
        given[at, symbol] = sure
    return Frames(given[:, :many], given[:, many])


def shape(said: Symbols) -> Lattice:
    return lattice(frames(said), WORDS)


def test_of_the_phrase_itself_nothing_is_likelier() -> None:
    found = shape(TEXT)
    for at in range(4):
        assert found.inserted(at) == pytest.approx(0, abs=1e-9)
    for at in range(3):
        assert found.replaced(at) == pytest.approx(0, abs=1e-9)
        assert found.instead(at, ((8, 9),)) > 5


@pytest.mark.parametrize(("said", "at"), [((8, 9, *TEXT), 0), ((1, 2, 8, 9, 3, 4, 5, 6), 1), ((*TEXT, 8, 9), 3)])
def test_what_stands_before_between_or_behind_is_told_where_it_stands(said: Symbols, at: int) -> None:
    found = shape(said)
    assert min(range(4), key=found.inserted) == at
    assert found.inserted(at) < -5


def test_another_word_in_the_place_of_one_is_told() -> None:
    found = shape((1, 2, 3, 4, 5, 7))
    assert found.instead(2, ((7,), (8,))) == pytest.approx(found.replaced(2), abs=1e-9)
    assert found.replaced(2) < -3
    assert found.replaced(0) == pytest.approx(0, abs=1e-9)


def test_every_way_of_a_word_is_that_word() -> None:
    assert shape((1, 2, 3, 5, 6)).replaced(1) == pytest.approx(0, abs=1e-9)


def test_a_word_lies_where_it_was_said() -> None:
    first, last = shape(TEXT).span(1)
    assert (first, last) == (pytest.approx(6, abs=2), pytest.approx(15, abs=2))


def test_the_phrase_begins_and_ends_at_its_first_and_last_sound() -> None:
    first, last = shape((9, 8, *TEXT, 7)).ends
    assert 6 <= first <= 7  # after two sounds of three frames each
    assert 23 <= last <= 26


def test_at_a_gate_the_copies_of_the_sound_count_alike_and_loud_time_before_it_is_told() -> None:
    listening = Listening(gate=GateAsked("isolated", ("four", "two")))
    shapes = Shapes(load("en"), lambda _: ())
    phrase = tuple(way for word in ("isolated", "lock", "four", "two") for way in word_ways(word)[0])
    plain, more = frames(phrase, many=len(PHONEMES)), frames((SYMBOL["W"], SYMBOL["AA"], *phrase), many=len(PHONEMES))

    def told(*copies: Frames, loud_from: float = 0.4) -> dict[str, float]:
        """Three seconds, of which the first are silent."""
        at = np.arange(3 * RATE) / RATE
        sound = (0.3 * np.sin(2 * np.pi * 700 * at) * (at > loud_from)).astype(np.float32)
        return dict(shapes.evidence(copies, [], listening, sound, 0.0))

    one, other, both = told(plain), told(more), told(plain, more)
    assert one["before of isolated, lock four two"] > other["before of isolated, lock four two"] + 5
    for name in one:
        assert both[name] == pytest.approx(one[name] if name.startswith(QUIET_BEFORE) else (one[name] + other[name]) / 2)
    assert told(more)[f"{QUIET_BEFORE} of isolated, lock four two"] == 1.0
    assert told(more, loud_from=0.1)[f"{QUIET_BEFORE} of isolated, lock four two"] < 0.5


@given(st.lists(st.integers(0, MANY - 1), min_size=1, max_size=9), st.floats(0.3, 0.95))
def test_anything_is_never_less_likely_than_what_is_said(said: list[int], sure: float) -> None:
    given_frames = frames(tuple(said), sure)
    found = lattice(given_frames, WORDS)
    assert all(found.inserted(at) <= 1e-9 for at in range(4))
    assert all(found.replaced(at) <= 1e-9 for at in range(3))
    # the likeliest path is never likelier than all paths together
    ways = [tuple(a + b + c) for a in WORDS[0] for b in WORDS[1] for c in WORDS[2]]
    assert found.whole <= float(score(given_frames, ways).max()) + np.log(len(ways)) + 1e-6
