"""Exact inference and the choice of the next check."""

from __future__ import annotations

import itertools
import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import entropy

from handsfree.errors import Trouble
from handsfree.trade.faultmodel import COMPLAINT, parse, shipped
from handsfree.trade.whatnext import (
    LEAST_BITS,
    information,
    next_check,
    posterior,
    ranked,
    switching,
    time_to_act,
    what_next,
    why,
    worth,
)
from tests.bench import whatnext as bench
from tests.bench.mirror.answers import answer, mirrored
from tests.bench.mirror.simulator import cabinet
from tests.bench.whatnext_trees import TREES
from tests.trade.test_faultmodel import SMALL

MODEL = shipped()
ANSWERS = st.fixed_dictionaries(
    {COMPLAINT: st.sampled_from(MODEL.complaint.answers)},
    optional={check.id: st.sampled_from(check.answers) for check in MODEL.checks.values()},
)


def test_bayes_by_hand() -> None:
    model = parse(SMALL)
    got = posterior(model, {COMPLAINT: "warm", "lamp": "dark"})
    fan, fuse = 0.75 * 0.99 * 0.01, 0.25 * (0.98 * 0.25 + 0.01) * 0.99
    assert got["fan"] == pytest.approx(fan / (fan + fuse))


def test_inference_equals_summing_the_whole_joint_table() -> None:
    """Enumerate every cabinet of the small model: faults times all answers."""
    model = parse(SMALL)
    checks = [model.complaint, *model.checks.values()]
    joint = {}
    for index, fault in enumerate(model.faults):
        for combination in itertools.product(*(check.answers for check in checks)):
            chances = (check.column(a)[index] for check, a in zip(checks, combination, strict=True))
            joint[fault.id, combination] = fault.prior * math.prod(chances)
    assert sum(joint.values()) == pytest.approx(1.0)
    for observed in ({}, {"lamp": "lit"}, {COMPLAINT: "dead", "spin": "stiff"}):
        fits = {
            key: p
            for key, p in joint.items()
            if all(a == observed.get(c.id, a) for c, a in zip(checks, key[1], strict=True))
        }
        for fault in model.faults:
            share = sum(p for key, p in fits.items() if key[0] == fault.id) / sum(fits.values())
            assert posterior(model, observed)[fault.id] == pytest.approx(share)


@settings(max_examples=50, deadline=None)
@given(ANSWERS)
def test_posteriors_are_probabilities_whatever_is_answered(observed: dict[str, str]) -> None:
    got = posterior(MODEL, observed)
    assert sum(got.values()) == pytest.approx(1.0)
    assert min(got.values()) >= 0


@settings(max_examples=50, deadline=None)
@given(ANSWERS, st.randoms())
def test_order_of_answers_does_not_matter(observed: dict[str, str], rng: random.Random) -> None:
    items = list(observed.items())
    rng.shuffle(items)
    assert posterior(MODEL, dict(items)) == pytest.approx(posterior(MODEL, observed), abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(ANSWERS)
def test_information_is_the_expected_fall_of_scipys_entropy(observed: dict[str, str]) -> None:
    beliefs = posterior(MODEL, observed)
    check = next(c for c in MODEL.checks.values() if c.id not in observed or c.id == "windings")
    before, after = entropy(list(beliefs.values()), base=2), 0.0
    for outcome in check.answers:
        joint = [b * p for b, p in zip(beliefs.values(), check.column(outcome), strict=True)]
        after += sum(joint) * entropy(joint, base=2)  # scipy scales to one itself
    assert information(check, beliefs) == pytest.approx(before - after, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(ANSWERS, st.booleans())
def test_advice_is_new_and_says_what_it_costs(observed: dict[str, str], isolated: bool) -> None:
    advice = next_check(MODEL, observed, isolated)
    if advice is None:
        return
    assert advice.check.id not in observed
    assert advice.cuts_power == (advice.check.needs == "isolation" and not isolated)
    assert advice.restores_power == (advice.check.needs == "power" and isolated)
    assert all(MODEL.checks[name].needs == "isolation" for name in advice.together)
    assert advice.minutes >= advice.check.minutes


@settings(max_examples=50, deadline=None)
@given(ANSWERS, st.booleans())
def test_what_next_and_why_can_be_read_aloud(observed: dict[str, str], isolated: bool) -> None:
    for part in (*why(MODEL, observed, isolated), *what_next(MODEL, observed, isolated)):
        for sentence in part.split(". "):
            assert len(sentence.split()) <= 20, sentence


def test_what_was_put_right_in_vain_is_ruled_out() -> None:
    observed = {COMPLAINT: "freezing"}
    first = ranked(posterior(MODEL, observed))[0][0]
    again = posterior(MODEL, observed, [first])
    assert again[first] == 0
    assert sum(again.values()) == pytest.approx(1.0)
    with pytest.raises(Trouble, match="ruled out"):
        posterior(MODEL, observed, [fault.id for fault in MODEL.faults])
    with pytest.raises(Trouble):
        posterior(MODEL, observed, ["gremlins"])


def test_a_cheap_check_is_preferred_and_power_is_cut_late() -> None:
    advice = next_check(MODEL, {COMPLAINT: "dead"})
    assert advice is not None
    assert advice.check.needs != "isolation"


def test_isolation_is_asked_for_before_the_check_and_named_with_what_can_share_it() -> None:
    """Follow the advice at a cabinet whose relay does not close, up to the first check that cuts the power."""
    simulated, observed, model = cabinet("relay_open", 1), {COMPLAINT: "too_warm"}, mirrored()
    advice = next_check(model, observed)
    while advice is not None and not advice.cuts_power:
        observed[advice.check.id] = answer(simulated, advice.check.id, 0.0)
        advice = next_check(model, observed)
    assert advice is not None
    assert advice.together
    assert what_next(model, observed)[:2] == ("Isolate and prove dead first.", advice.check.asks)
    # The same again with the power off: no second isolation is asked for, and the switching is not charged.
    again = next_check(model, observed, isolated=True)
    assert again is not None
    assert again.check.needs == "isolation"
    assert not again.cuts_power
    assert again.minutes == again.check.minutes


def test_acting_is_advised_when_it_is_sure() -> None:
    observed = {COMPLAINT: "freezing", "setting": "too_cold", "thermometer": "agrees"}
    assert time_to_act(MODEL, posterior(MODEL, observed), observed, False)
    assert next_check(MODEL, observed) is None
    assert why(MODEL, observed)[-1] == "That is enough to act on."


def test_trees_and_model_speak_of_the_same_things() -> None:
    model = mirrored()
    assert set(TREES) == set(model.complaint.answers)
    for steps in TREES.values():
        for step in steps:
            assert set(step.accuses) <= set(MODEL.find(step.check).answers)
            assert all(MODEL.fault(name) for name in step.accuses.values())
            for check, answers in step.when.items():
                assert set(answers) <= set(MODEL.find(check).answers)


def _means(world: str, visits: int) -> dict[str, bench.Row]:
    return {row.strategy: row for row in bench.rows(visits, 7, (world,))}


# Smaller runs of `python -m tests.bench.whatnext`, with another seed than the table's.
@pytest.mark.parametrize("world", ["the model", "both wrong (1.0)", "the simulator"])
def test_what_next_needs_fewer_minutes_and_isolations_than_the_fixed_tree(world: str) -> None:
    table = _means(world, 250)
    ours, tree = table["what next"], table["fixed tree"]
    assert tree.saved - 2 * tree.saved_error > 0
    assert ours.isolations < tree.isolations
    assert ours.first_right > tree.first_right


@pytest.mark.parametrize("world", ["the model", "both wrong (1.0)"])
def test_what_next_beats_the_tree_that_may_also_infer(world: str) -> None:
    table = _means(world, 250)
    rival = table["tree + inference"]
    assert rival.saved - 2 * rival.saved_error > 0
    assert table["what next"].isolations < rival.isolations


def test_power_is_cut_once() -> None:
    """Isolations for checking alone (wrong repairs apart): at most one in nearly every visit."""
    draw = bench.worlds(11)["the model"]
    visits = [bench.run(mirrored(), draw(number), bench.what_next) for number in range(200)]
    undisturbed = [visit for visit in visits if not visit.tried]
    assert len(undisturbed) > 100
    assert sum(visit.isolations <= 1 for visit in undisturbed) / len(undisturbed) >= 0.97


@settings(max_examples=50, deadline=None)
@given(ANSWERS, st.sets(st.sampled_from(sorted(MODEL.checks)), min_size=1))
def test_checks_of_a_procedure_are_put_in_the_order_of_what_they_tell(observed: dict[str, str], names: set[str]) -> None:
    beliefs = posterior(MODEL, observed)
    order = worth(MODEL, observed, names)
    assert set(order) == {n for n in names if n not in observed and information(MODEL.checks[n], beliefs) >= LEAST_BITS}
    asked = [MODEL.checks[name] for name in order]
    told = [information(check, beliefs) / (check.minutes + switching(MODEL, check, False)) for check in asked]
    assert told == sorted(told, reverse=True)
