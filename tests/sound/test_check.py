"""The sound check on mixtures whose figures are known, and the screen and list that show them."""

from __future__ import annotations

import numpy as np
import pytest
from rich.console import Console

from handsfree.sound import check
from handsfree.sound.cards import Device
from handsfree.sound.samples import RATE, Samples, VirtualClock, silence
from handsfree.sound.screen import BANDS, LETTERS, Screen, Status, render
from tests.sound.pretended import ClipSource

TABLE = (check.Expected(5, 0.4), check.Expected(20, 0.9), check.Expected(10, 0.7))


def noise(level: float, seconds: float, seed: int = 1) -> Samples:
    x = np.random.default_rng(seed).standard_normal(round(seconds * RATE))
    return (x / np.sqrt(np.mean(x**2)) * 10 ** (level / 20)).astype(np.float32)


def phrase(level: float, floor: float) -> Samples:
    """One second of sound of a known level, with pauses about it, in noise."""
    spoken = np.concatenate([silence(1.0), noise(level, 1.0, 2), silence(1.0)])
    return (spoken + noise(floor, 3.0, 3)).astype(np.float32)


@pytest.mark.parametrize(("level", "floor"), [(-20, -60), (-20, -40), (-30, -40), (-25, -30)])
def test_level_floor_and_ratio(level: float, floor: float) -> None:
    got = check.judge(noise(floor, 10.0), phrase(level, floor), TABLE)
    assert got.floor == pytest.approx(floor, abs=0.5)
    assert got.snr == pytest.approx(level - floor, abs=1.5)
    assert got.level == pytest.approx(level, abs=1.5)


def test_expected_share_is_between_the_rows_of_the_table() -> None:
    assert check.share_at(15, TABLE) == pytest.approx(0.8)
    assert check.share_at(40, TABLE) == pytest.approx(0.9)
    assert check.share_at(-5, TABLE) == pytest.approx(0.4)
    assert check.share_at(15, ()) is None


@pytest.mark.parametrize(
    ("quiet", "spoken", "word"),
    [
        (silence(10), silence(3), "muted"),
        (silence(10), np.concatenate([silence(1), noise(-20, 1), silence(1)]), "Between words"),
        (noise(-50, 10), noise(-50, 3, 4), "No voice"),
        (noise(-60, 10), np.clip(phrase(-3, -60) * 3, -1, 1), "clipped"),
        (noise(-80, 10), phrase(-50, -80), "too faint"),
        (noise(-30, 10), phrase(-22, -30), "as loud as your voice"),
        (noise(-60, 10), phrase(-22, -60), "good"),
    ],
)
def test_advice_names_what_is_wrong(quiet: Samples, spoken: Samples, word: str) -> None:
    got = check.judge(quiet, spoken.astype(np.float32), TABLE)
    assert word in got.advice[0]
    said = "\n".join(check.in_words(got))
    nobody = word in ("muted", "No voice")
    assert ("Voice to noise" in said and "To expect" in said) is not nobody  # nothing is promised of a voice nobody heard


def test_hum_is_told_from_hiss() -> None:
    t = np.arange(10 * RATE) / RATE
    hum = (0.02 * np.sin(2 * np.pi * 100 * t)).astype(np.float32) + noise(-70, 10)
    assert any("hum" in line for line in check.judge(hum, phrase(-20, -60), ()).advice)
    assert not any("hum" in line for line in check.judge(noise(-38, 10), phrase(-20, -38), ()).advice)


def test_the_whole_check_from_a_source() -> None:
    clock, asked = VirtualClock(), list[str]()
    source = ClipSource(clock, before=0.0, after=0.0)
    source.say(np.concatenate([noise(-55, 0.5 + check.QUIET_FOR), phrase(-20, -55), noise(-55, 3.0, 5)]))
    got = check.measure(source, asked.append, TABLE)
    assert len(asked) == 2
    assert got.snr == pytest.approx(35, abs=2)
    lines = check.in_words(got)
    assert any("90 % of phrases" in line for line in lines)


def test_the_list_of_devices() -> None:
    found = [Device(0, "Kitchen", "ALSA", 2, 0, 48000, "input"), Device(1, "Hall speaker", "ALSA", 0, 2, 44100, "")]
    lines = check.device_lines(found)
    assert "microphone, 48000 Hz, usual input" in lines[0]
    assert "loudspeaker, 44100 Hz" in lines[1]
    assert "no sound device" in check.device_lines([])[0]


@pytest.mark.parametrize("width", [40, 80, 120])
def test_the_screen_says_everything_in_words(width: int) -> None:
    status = Status("Is the fan running?", ("running", "not running"), "ISOLATED", -30, True, "not running", "asked again")
    console = Console(width=width, record=True, file=open("/dev/null", "w"))  # noqa: SIM115
    console.print(render(status, width))
    text = console.export_text()
    text = " ".join(text.split()) if width < 60 else text
    for words in ("Is the fan running?", "› running", "“not running”", "say it again", "hearing you"):
        assert words in text
    assert ("█" in text.splitlines()[2]) if width > 60 else ("ISOLATED" in text.replace(" ", ""))


def test_every_band_can_be_written_large() -> None:
    for words, _ in BANDS.values():
        assert set(words) <= set(LETTERS)
    for glyph in LETTERS.values():
        rows = glyph.split()
        assert len(rows) == 5
        assert len({len(row) for row in rows}) == 1


def test_a_screen_that_is_not_a_terminal_shows_nothing_and_breaks_nothing() -> None:
    with Screen(Console(file=open("/dev/null", "w"), force_terminal=False)) as screen:
        screen.show(step="x", level=-20.0)
        assert screen.status.step == "x"
        with pytest.raises(TypeError):
            screen.show(colour="red")
