"""A visit told line by line: what may stand in a line has its words in every language."""

from __future__ import annotations

import pytest

from handsfree.isolation.rules import Power, SourceEvent
from handsfree.language.meaning import EMERGENCY
from handsfree.procedure import phrasing
from handsfree.speech import judge
from handsfree.visit.flow import WITHOUT

HOWS = ("phrase", "proof", "relieved", "refused", "denied", WITHOUT, *map(str, SourceEvent))
REASONS = (
    judge.DENIED, judge.WHICH, judge.UNSURE, judge.UNLIKE, judge.OTHER_UNIT, judge.UNFOUND, judge.OTHERWISE, judge.ONE,
    judge.BEFORE,
)  # fmt: skip
TOLD = {
    "how": HOWS, "alarm": ("power is on", *EMERGENCY), "power": [power.lower() for power in Power], "reason": REASONS,
}  # fmt: skip


@pytest.mark.parametrize("code", ["en", "es"])
@pytest.mark.parametrize("what", TOLD)
def test_what_is_told_has_its_words(code: str, what: str) -> None:
    assert [name for name in TOLD[what] if not phrasing.has(code, f"{what}-{name.replace(' ', '-')}")] == []
