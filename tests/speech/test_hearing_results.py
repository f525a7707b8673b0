"""What the results of hearing hold, and that the sound check reads them; what pages say, tests/test_figures.py holds."""

from __future__ import annotations

import pytest

from handsfree.sound.check import share_at
from handsfree.speech.expected import TABLE
from tests.bench.hearing_table import OUTCOMES, gathered, results, share


def test_the_sound_check_expects_less_the_louder_it_is() -> None:
    assert [row.snr for row in TABLE] == [5.0, 10.0, 20.0, 40.0]
    assert share_at(30.0, TABLE) == pytest.approx((TABLE[2].accepted + TABLE[3].accepted) / 2)
    assert all(0.5 < row.accepted <= 1.0 for row in TABLE)
    found = results()
    people, unlike = share(found, "people", "answer", "5", ("right",)), share(found, "unlike", "choice", "5", ("right",))
    assert TABLE[0].accepted == pytest.approx((people[0] + unlike[0]) / (people[1] + unlike[1]), abs=0.001)


def test_every_row_of_the_results_adds_up() -> None:
    found = results()
    for row in (*found["people"], *found["unlike"]):
        assert sum(row[name] for name in OUTCOMES) == row["clips"]


def test_what_benches_wrote_is_gathered_by_kind_and_level() -> None:
    heard = {"right": 0, "proposed_right": 0, "proposed_wrong": 1, "wrong": 0, "accepted": 2, "asked_again": 3, "silent": 0}
    people = {"command": "p", "machine": "m", "by": [
        {"kind": "other word", "snr": "5", "speaker": who, "clips": 6, **heard} for who in ("one", "everybody")
    ]}  # fmt: skip
    counts = {"clips": 5, "opened": 1, "second": 2, "proposed": 0, "asked_again": 2, "silent": 0}
    classes = [
        {"kind": kind, "means": means, "snr": "5", **counts}
        for kind, means in (("gate", "the phrase"), ("gate by voice", "one"), ("near", "denied"), ("near", "asked"))
    ]  # fmt: skip
    first = {"right": 3, "proposed_right": 1, "proposed_wrong": 0, "wrong": 0, "asked_again": 0, "silent": 0}
    said = [{"kind": kind, "snr": "5", "exchanges": 4, "first": first} for kind in ("answer", "gate")]
    found = gathered(people, {"command": "n", "by": classes}, {"command": "e", "by": said})
    assert [(row["kind"], row["wrong"]) for row in found["people"]] == [("other word", 2)]
    assert share(found, "unlike", "choice", "5", ("right", "proposed_right")) == (4, 4)
    assert share(found, "unlike", "gate", "5", ("right",)) == (1, 5)
    assert share(found, "unlike", "gate", "5", ("within_two",)) == (3, 5)
    assert share(found, "unlike", "near", "5", ("wrong",)) == (2, 10)
