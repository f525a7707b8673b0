"""The score of a text under frames, against the sum over every path written out."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from handsfree.speech import ctc

FRAMES = 6
NONE = 3  # the label of no sound


@pytest.fixture(scope="module")
def table() -> np.ndarray:
    return np.random.default_rng(7).dirichlet(np.ones(4), FRAMES)


@pytest.fixture(scope="module")
def frames(table: np.ndarray) -> ctc.Frames:
    return ctc.Frames(table[:, :NONE], table[:, NONE])


def by_hand(table: np.ndarray, text: tuple[int, ...]) -> float:
    """Every labelling of the frames whose repeats and nothings left out are the text."""
    total = 0.0
    for path in itertools.product(range(4), repeat=FRAMES):
        kept = [label for at, label in enumerate(path) if label != NONE and (at == 0 or path[at - 1] != label)]
        if tuple(kept) == text:
            total += float(np.prod([table[at, label] for at, label in enumerate(path)]))
    return float(np.log(total))


@pytest.mark.parametrize("text", [(0,), (0, 1), (0, 0), (1, 1, 2), (2, 1, 0), (0, 1, 2, 0)])
def test_a_score_is_the_sum_over_every_path(table: np.ndarray, frames: ctc.Frames, text: tuple[int, ...]) -> None:
    others = [(0,), (0, 1, 1), text, (2,)]
    assert ctc.score(frames, others)[2] == pytest.approx(by_hand(table, text))


@pytest.mark.parametrize("beginning", [(0,), (0, 1), (2, 2)])
@pytest.mark.parametrize("ending", [(1,), (2, 0), (0,)])
def test_meeting_in_the_middle_is_the_whole(
    table: np.ndarray, frames: ctc.Frames, beginning: tuple[int, ...], ending: tuple[int, ...]
) -> None:
    forwards = ctc.walk_frames(frames, ctc.tree([beginning]), keep=True)
    backwards = ctc.walk_frames(frames.reversed(), ctc.tree([ending[::-1]]), keep=True)
    met = ctc.met(forwards, np.array([beginning[-1]]), backwards, np.array([ending[0]]))
    assert met[0, 0] == pytest.approx(by_hand(table, beginning + ending))


def test_only_the_pairs_asked_for_meet(frames: ctc.Frames) -> None:
    some = [(0,), (1, 2), (2,)]
    forwards = ctc.walk_frames(frames, ctc.tree(some), keep=True)
    backwards = ctc.walk_frames(frames.reversed(), ctc.tree([one[::-1] for one in some]), keep=True)
    last, first = np.array([one[-1] for one in some]), np.array([one[0] for one in some])
    every = ctc.met(forwards, last, backwards, first)
    pairs = np.array([2, 0, 1]), np.array([2, 1, 0])
    assert ctc.met(forwards, last, backwards, first, pairs) == pytest.approx(every[pairs])


@pytest.mark.parametrize("text", [(0,), (2, 2), (1, 0, 1)])
def test_where_anything_may_come_before_each_beginning_counts_by_what_came_before(
    table: np.ndarray, frames: ctc.Frames, text: tuple[int, ...]
) -> None:
    before = np.log(np.array([1.0, 0.5, 0.3, 0.25, 0.125, 0.01, 0.001]))
    total = 0.0
    for start in range(FRAMES):  # the first sound of the text is the label of this frame
        for path in itertools.product(range(4), repeat=FRAMES - start):
            kept = [label for at, label in enumerate(path) if label != NONE and (at == 0 or path[at - 1] != label)]
            if tuple(kept) == text and path[0] == text[0]:
                total += np.exp(before[start]) * np.prod([table[start + at, label] for at, label in enumerate(path)])
    walked = ctc.walk_frames(frames, ctc.tree([text]), before=before)
    assert walked.whole()[0] == pytest.approx(np.log(total))


def test_the_likeliest_labels_are_those_of_each_frame_by_itself(table: np.ndarray, frames: ctc.Frames) -> None:
    assert ctc.likeliest_labels(frames) == pytest.approx([0.0, *np.cumsum(np.log(table.max(1)))])


def test_what_does_not_fit_into_the_frames_is_never(frames: ctc.Frames) -> None:
    assert ctc.score(frames, [(0, 0, 0, 0, 0, 0, 0)])[0] == ctc.NEVER
    assert ctc.score(ctc.Frames(np.zeros((0, 3)), np.zeros(0)), [(0,)])[0] == ctc.NEVER


def test_what_was_said_freely_leaves_out_repeats_and_nothing() -> None:
    labels = [0, 0, NONE, 0, 1, NONE]
    table = np.eye(4)[labels]
    assert ctc.freely(ctc.Frames(table[:, :NONE], table[:, NONE])) == (0, 0, 1)
    assert ctc.freely(ctc.Frames(np.zeros((0, 3)), np.zeros(0))) == ()


def test_many_frames_do_not_vanish() -> None:
    table = np.random.default_rng(1).dirichlet(np.ones(40), 1500)
    score = ctc.score(ctc.Frames(table[:, :39], table[:, 39]), [tuple(range(30))])[0]
    assert -20_000 < score < -1500
