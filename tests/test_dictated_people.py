"""How `tests.bench.dictated_people` counts words wrong, and the list's own faults."""

from __future__ import annotations

import numpy as np
import pytest

from handsfree.authoring.draft import Doubt
from tests.authoring.test_second_ear import Heard
from tests.bench.dictated_people import Row, count, mended, plain, wrong

SOUND = np.zeros(100, np.float32)


@pytest.mark.parametrize(
    ("written", "listed", "faults"),
    [("Press 1, or #, for voice mail.", "press one or pound for voicemail", 0), ("Press two.", "press one", 1),
     ("Reenter it.", "re-enter it", 0), ("To send it.", "descend it", 2), ("The key", "the pound key", 1),
     ("", "the key", 2), ("Dial 24.", "dial twenty four", 0), ("Thank you for it", "thanks for it", 2)],
)  # fmt: skip
def test_words_wrong_are_counted_whatever_their_spelling(written: str, listed: str, faults: int) -> None:
    assert wrong(plain(written), plain(listed)) == faults


def test_only_what_the_sound_speaks_against_is_a_fault_of_the_list() -> None:
    sounds = Heard("which folder should i save this message to")
    found = mended(sounds, SOUND, plain("Which folder should I say this message to?"),  # type: ignore[arg-type]
                   plain("Which folder should I save the message to?"))  # fmt: skip
    assert " ".join(found) == "which folder should i save this message to"


def test_a_doubt_is_settled_by_who_knows() -> None:
    row = Row("somebody", "clean")
    doubts = (Doubt(1, "bar", ("burr",)), Doubt(3, "out", ("doubt",)))
    count(row, "The bar is out.", plain("the burr is out"), plain("the bur is out"), doubts)
    assert (row.words, row.wrong, row.listed, row.asked, row.justly, row.left) == (4, 1, 1, 2, 1, 0)
    assert row.pairs == [("burr", "bar")]
