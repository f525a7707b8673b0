"""A sentence in a person's own words: what it means, where it means two things, and where it means none."""

from __future__ import annotations

import pytest

from handsfree.language.gist import gists, lexicon, told

LEXICON = lexicon("en", "complaints")


@pytest.mark.parametrize(
    ("text", "means"),
    [
        ("The beer is lukewarm.", ("too warm",)),
        ("it isn't cold enough", ("too warm",)),
        ("It's much too cold in there", ("freezing",)),
        ("there's ice in the bottles", ("freezing",)),
        ("there's ice on the back wall", ("iced up",)),
        ("won’t turn on", ("dead",)),
        ("it won't switch off", ("runs all the time",)),
        ("a puddle in front, and it rattles", ("noisy", "wet")),
        ("it hums but it doesn't cool", ("too warm", "noisy")),
        ("it is not warm", ()),
        ("the noise has stopped", ()),
        ("the door handle is broken", ()),
        ("", ()),
    ],
)
def test_what_people_mean(text: str, means: tuple[str, ...]) -> None:
    assert LEXICON is not None
    assert set(gists(text, LEXICON)) == set(means)


def test_a_language_or_a_name_without_words_means_nothing() -> None:
    assert told("hace ruido", "es", "complaints") == told("it is warm", "en", "absent") == ()
    assert lexicon("en", "../en.complaints") is None
