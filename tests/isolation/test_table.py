"""Where each thing that a safety officer found, and each line that a lock-out specialist wrote, is tried. Every test named
here failed before what it tries was built; none may go missing."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

from handsfree.procedure import proofs
from tests.isolation.test_finds import CHARGE
from tests.shipped.conftest import NAMES, book_named
from tests.visit.scenes import book

TOP = Path(__file__).resolve().parents[2]
FINDS, GATES, WHO = "tests/isolation/test_finds.py", "tests/visit/test_gates.py", "tests/visit/test_who.py"
SAFE, RUNNING, SELF = "tests/procedure/test_safe.py", "tests/faults/test_running.py", "tests/isolation/test_table.py"
ADVERSARY = "tests/isolation/test_adversary.py"

#: What was found -> (file, test) of each that tries it.
TABLE: dict[str, tuple[tuple[str, str], ...]] = {
    # 1: check says error, visit starts
    "below 400, bar or degF counts as dead": ((FINDS, "test_a_proof_that_proves_nothing_starts_no_visit"),),
    "230 volt affirmed as absence of voltage": ((FINDS, "test_no_reading_of_a_live_part_is_dead_whatever_the_step_says"),),
    "an answer named power is on": ((FINDS, "test_an_answer_called_power_is_on_clears_all_the_same"),),
    "what check refuses, visit starts": ((SAFE, "test_what_check_calls_an_error_no_visit_starts"),),
    "a wait that no clock holds crashes the visit": (
        ("tests/procedure/test_faulty.py", "test_it_does_not_start_and_is_named_at_its_line"),
        (RUNNING, "test_a_machine_that_fails_at_any_happening_leaves_a_live_visit_that_goes_on"),
    ),
    # 2: one bit for several sources
    "mains touched after only the water was isolated again": (
        (FINDS, "test_clearing_one_source_leaves_the_other_and_shuts_what_needs_it"),
    ),
    "isolating the water opens mains work": ((FINDS, "test_isolating_the_water_opens_nothing_that_the_mains_feeds"),),
    "a stored charge needs nothing": (
        (FINDS, "test_a_stored_charge_needs_its_caution_its_relief_and_its_measurement"),
    ),
    # 3: proof and machine disagree
    "a try and then a meter loops": ((FINDS, "test_a_try_and_then_a_meter_is_no_circle"),),
    "isolate both, prove both loops": ((FINDS, "test_isolate_isolate_prove_prove_works"),),
    # 4: taking over
    "another restores while the first one's lock is on": (
        (FINDS, "test_who_takes_over_cannot_take_off_the_lock_of_who_is_gone"),
        ("tests/visit/test_safety_finds.py", "test_whoever_comes_after_a_stop_does_not_take_off_the_lock_of_who_went"),
    ),
    "after a crash only the absent one's number opens": (
        (FINDS, "test_after_a_crash_another_is_heard_with_a_number_of_their_own"),
    ),
    "a misstated number makes another person": ((WHO, "test_a_number_misremembered_makes_no_second_person"),),
    "nobody is left with a lock on where the procedure may not run": (
        ("tests/visit/test_stranded.py", "test_it_is_said_and_only_the_restore_is_left"),
    ),
    # 5: power is on
    "not in force under stand by": ((FINDS, "test_power_is_on_acts_under_whatever_is_laid_over"),),
    "kept as a note": (
        (FINDS, "test_power_is_on_in_a_note_acts"), (WHO, "test_a_spoken_note_that_was_likely_power_is_on_acts"),
    ),
    "nothing follows it": ((FINDS, "test_what_to_do_now_follows_also_where_nothing_was_isolated"),),
    # 6: voices, and no way on
    "three voices opened a gate between them": (
        (GATES, "test_a_doubtful_voice_is_asked_once_more_and_another_never_opens"),
    ),
    "refused for ever without a cause": (
        (GATES, "test_each_failure_in_a_row_says_what_helps_more"),
        (GATES, "test_the_half_that_was_missing_is_said_and_never_the_figures"),
    ),
    # 7: the specialist's lines
    "covers opened and probed before the charge was relieved": (
        (SELF, "test_nothing_is_measured_before_the_charge_behind_it_was_relieved"),
    ),
    "one reading stands for three": ((FINDS, "test_one_reading_does_not_stand_for_three"),),
    "dead is anything under 30 V": ((FINDS, "test_a_proof_that_proves_nothing_starts_no_visit"),),
    "the try never asks whether it ran before": ((FINDS, "test_a_try_proves_nothing_where_nothing_ran_before"),),
    "nor confirms off again": ((FINDS, "test_a_try_counts_once_its_switch_is_off_again"),),
    "no restore looks that the switch is off": ((FINDS, "test_people_are_told_before_the_power_goes_and_before_it_comes"),),
    "nobody is told before isolation or power": ((FINDS, "test_people_are_told_before_the_power_goes_and_before_it_comes"),),
    "no plug box is named": ((SELF, "test_each_isolation_by_plug_names_its_box_its_lock_and_its_tag"),),
    "pins are measured while the plug is locked away": (
        ("tests/shipped/test_facts.py",
         "test_the_pins_of_the_cord_are_measured_with_the_plug_in_the_hand_and_boxed_again_on_every_way"),
    ),
    "a lift of two has one lock": ((FINDS, "test_a_lift_asks_for_the_second_lock_and_each_takes_off_their_own"),),
    "no transfer": (
        (FINDS, "test_a_transfer_in_order_keeps_it_isolated"), (ADVERSARY, "test_who_leaves_leaves_no_lock_behind"),
    ),
    "no absent owner": ((FINDS, "test_who_takes_over_cannot_take_off_the_lock_of_who_is_gone"),),
    "nobody is told that a lock was left on": (
        ("tests/journal/test_findings.py", "test_a_lock_left_on_and_a_hazard_without_its_proof"),
        (FINDS, "test_after_a_crash_another_is_heard_with_a_number_of_their_own"),
    ),
    "the number is in pages, search, reports, screens": (
        ("tests/journal/test_number_nowhere.py", "test_the_number_is_in_nothing_that_is_made_of_the_record"),
        ("tests/journal/test_number_nowhere.py", "test_the_screen_shows_it_while_it_is_read_back_and_never_again"),
    ),
}  # fmt: skip


@cache
def named_in(file: str) -> frozenset[str]:
    tree = ast.parse((TOP / file).read_text("utf-8"))
    return frozenset(node.name for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"))


@pytest.mark.parametrize("found", TABLE)
def test_it_is_tried(found: str) -> None:
    assert TABLE[found]
    for file, name in TABLE[found]:
        assert name in named_in(file), f"{name} is not in {file}"


def test_nothing_is_measured_before_the_charge_behind_it_was_relieved() -> None:
    lines = CHARGE.split("\n")
    dead = next(line for line in lines if "id: dead," in line)
    early = "\n".join(line for line in lines if line != dead).replace("  - {id: relief,", f"{dead}\n  - {{id: relief,")
    assert [fault.step for fault in proofs.prove(book(early)) if fault.kind == "proof before relief"] == ["dead"]


@pytest.mark.parametrize("name", NAMES)
def test_each_isolation_by_plug_names_its_box_its_lock_and_its_tag(name: str) -> None:
    """29 CFR 1910.147 (a)(2)(iii)(A), (c)(5)(ii)."""
    the_book = book_named(name)
    for procedure in the_book.procedures.values():
        for step in procedure.steps:
            if step.kind != "isolate" or not any(the_book.energy.sources[one].kind.name == "mains" for one in step.sources):
                continue
            done = " ".join(step.do).casefold()
            for word in ("plug", "box", "lock", "tag") if procedure.language == "en" else ("clavija", "caja", "candado"):
                assert word in done, f"{procedure.procedure}, {step.id}: {done}"
