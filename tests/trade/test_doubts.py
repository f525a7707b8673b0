"""Two faults at once, none that is known, and how much an answer hangs on its judgements."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.trade.doubts import OFF, OTHER, TOGETHER, explanations, sensitivity
from handsfree.trade.faultmodel import COMPLAINT, parse, shipped
from handsfree.trade.whatnext import posterior, why
from tests.trade.test_faultmodel import SMALL

MODEL = shipped()
ANSWERS = st.dictionaries(st.sampled_from(sorted(MODEL.checks)), st.integers(0, 4), max_size=8).map(
    lambda chosen: {name: MODEL.checks[name].answers[at % len(MODEL.checks[name].answers)] for name, at in chosen.items()}
)
#: What the fault model must know, by the trade: each with a sign that is its own.
MUST_KNOW = {
    "capacitor": ("capacitor", "weak"), "controller": ("call", "idle"), "drain": ("drain_look", "blocked"),
    "defrost_heater": ("defrost_heater_ohms", "bad"), "stock_blocks_air": ("stock_look", "blocked"),
    "room_too_hot": ("surroundings", "hot"), "room_too_cold": ("surroundings", "cold"), "sun": ("surroundings", "sun"),
    "restriction": ("coil_look", "part"), "door_seal": ("door_strip", "slips"), "supply_at_start": ("start_drop", "large"),
    "breaker_out": ("breaker", "tripped"), "earth_fault": ("insulation", "leaks"), "tilted_deck": ("level", "moved"),
}  # fmt: skip


@pytest.mark.parametrize("fault", sorted(MUST_KNOW))
def test_the_model_knows_it_and_its_own_sign_raises_it(fault: str) -> None:
    check, answer = MUST_KNOW[fault]
    before, after = posterior(MODEL, {}), posterior(MODEL, {check: answer})
    assert after[fault] > 3 * before[fault]


def test_nothing_observed_is_by_hand() -> None:
    """The small model: 3 to 1; one pair; nothing asked."""
    found = dict(explanations(parse(SMALL), {}))
    single = (1 - OTHER) / (1 + TOGETHER * 0.75 * 0.25)
    assert found["fan",] == pytest.approx(single * 0.75)
    assert found["fan", "fuse"] == pytest.approx(single * TOGETHER * 0.75 * 0.25)
    assert found[()] == pytest.approx(OTHER)
    assert sum(found.values()) == pytest.approx(1.0)


def test_a_pair_is_found_where_each_has_its_sign() -> None:
    observed = {
        COMPLAINT: "too_warm", "door_strip": "slips", "condenser_look": "dirty", "condenser_split": "dirty",
        "compressor_touch": "very_hot", "sensor_ohms": "fits", "mode": "cooling", "setting": "normal",
    }  # fmt: skip
    best = next(names for names, _ in explanations(MODEL, observed) if len(names) == 2)
    assert set(best) == {"condenser_blocked", "door_seal"}
    assert dict(explanations(MODEL, observed))[best] > 10 * dict(explanations(MODEL, {}))[best]


def test_none_of_these_rises_where_no_fault_fits() -> None:
    odd = {"relay": "welded", "display": "dark", "setting": "too_cold", "noise": "panel", "windings": "open",
           "start_part": "bad", "capacitor": "weak", "stock_look": "blocked", "joints": "oily"}  # fmt: skip
    found = dict(explanations(MODEL, odd))
    assert found[()] > 5 * OTHER
    assert any("None of the known faults" in sentence for sentence in why(MODEL, odd))


@settings(max_examples=40, deadline=None)
@given(ANSWERS)
def test_they_are_probabilities(observed: dict[str, str]) -> None:
    found = explanations(MODEL, observed)
    assert sum(share for _, share in found) == pytest.approx(1.0)
    assert min(share for _, share in found) >= 0


@settings(max_examples=40, deadline=None)
@given(ANSWERS)
def test_sensitivity_brackets_what_a_changed_table_gives(observed: dict[str, str]) -> None:
    """Against the table itself: the weight of the likeliest doubled and halved, and worked out anew."""
    beliefs = posterior(MODEL, observed)
    first = max(beliefs, key=lambda name: beliefs[name])
    found = sensitivity(MODEL, observed, first, beliefs)
    assert found.low <= beliefs[first] <= found.high
    for factor in (OFF, 1 / OFF):
        others = sum(share for name, share in beliefs.items() if name != first)
        changed = beliefs[first] * factor / (beliefs[first] * factor + others)
        assert found.low - 1e-9 <= changed <= found.high + 1e-9


def test_unknown_answers_are_refused() -> None:
    with pytest.raises(Trouble):
        explanations(MODEL, {"mode": "purple"})
