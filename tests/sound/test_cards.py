"""The shapes in which a device is tried."""

from __future__ import annotations

import pytest

from handsfree.sound.cards import Device, Way, shapes


@pytest.mark.parametrize(
    ("rate", "first"), [(44_100.0, 44_100), (48_000.0, 48_000), (96_000.0, 96_000), (16_000.0, 16_000), (8_000.0, 16_000)]
)
@pytest.mark.parametrize("way", ["input", "output"])
def test_its_own_rate_first_and_none_under_16_khz_by_choice(rate: float, first: int, way: Way) -> None:
    found = shapes(Device(3, "card", "system", 1, 2, rate, ""), way)
    assert found[0] == (first, 1)
    assert {(16_000, 1), (44_100, 1), (48_000, 1)} <= set(found)
    assert len(found) == len(set(found))
    assert max(channels for _, channels in found) == (1 if way == "input" else 2)
