"""The walk of `tests.bench.walk` in its small form; and its watchman is shown machines that are wrong, and must see it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from handsfree.journal.events import Happening, LockChanged, NoteKept, Resumed, Stamped, Utterance
from handsfree.language.meaning import gate_text
from handsfree.visit import gates, machine, movement, persons, phrases
from tests.bench.letters import few, letter
from tests.bench.small_visits import BOOKS, CHARGE, METER, ONE, PAIR, TWO
from tests.bench.walk import WALL, Walk, Walked, walk
from tests.bench.watchman import ENGLISH, A, B, Small, Watch, broken, hears, quiet

MOST = 500


def small(first: bool = False) -> Walked:
    return walk(METER, MOST, letters=few(METER), first=first)


def test_no_state_of_a_small_visit_breaks_a_rule() -> None:
    walked = small()
    assert walked.found == []
    assert walked.isolated
    assert {"off", "dead", "touch", "rest", "back"} <= walked.entered
    assert walked.replayed


def test_a_visit_with_a_try_for_its_proof() -> None:
    walked = walk(ONE, MOST, letters=few(ONE))
    assert walked.found == []
    assert walked.isolated
    assert {"touch", "again"} <= walked.entered


@pytest.mark.parametrize("name", ["two", "charge"])
def test_two_sources_two_people_and_a_stored_charge(name: str) -> None:
    """Along the whole of a good way, everything that may happen at each of its places."""
    walked = walk(BOOKS[name], 60, letters=few(BOOKS[name]))
    assert walked.found == []
    assert walked.isolated
    assert {"touch", "back", "done"} <= walked.entered


def test_what_takes_two_people_waits_for_two_though_nothing_is_locked() -> None:
    walked = walk(BOOKS["lift"], 60, letters=few(BOOKS["lift"]))
    assert walked.found == []
    assert {"lift", "rest", "down", "done"} <= walked.entered


def _any_number(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever's number opens the gate."""
    real = gates.hear_phrase

    def hears(interlock: Any, *rest: Any) -> Any:
        return real(interlock, *(
            replace(one, text=gate_text("isolated", interlock.lock)) if isinstance(one, Utterance) and "isolated" in one.text
            else one for one in rest
        ))  # fmt: skip

    monkeypatch.setattr(gates, "hear_phrase", hears)


def _no_break(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine, "overstayed", lambda *_: False)


def _deaf_to_power(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(phrases, "power_is_on", lambda flow: flow.say("Noted.", "notice"))


def _mute_at_power(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(phrases, "power_is_on", lambda flow: None)


def _resumed_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    real = machine.HANDLERS[Resumed]

    def resumes(flow: Any, event: Any) -> None:
        was = flow.state
        real(flow, event)
        if was.interlock.isolated and was.frames:
            flow.change(interlock=was.interlock, frames=was.frames, awaiting=was.awaiting, overlay=was.overlay)

    monkeypatch.setitem(machine.HANDLERS, Resumed, resumes)


@pytest.mark.parametrize(
    ("breaks", "rule"),
    [(_any_number, "2"), (_no_break, "1"), (_deaf_to_power, "1"), (_mute_at_power, "6"), (_resumed_as_it_was, "1")],
)
def test_the_watchman_sees_a_machine_that_is_wrong(monkeypatch: pytest.MonkeyPatch, breaks: Any, rule: str) -> None:
    breaks(monkeypatch)
    assert rule in {why[0] for why, _ in small(first=True).found}


# ---- ways of which a walk told though the machine was right -----------------------------------------------------------

Said = str | tuple[str | Happening, float] | Happening  # what is said or happens, after so many seconds of silence
BOTH_HERE = ("number A", "affirm", "affirm", "second person", "number B", "affirm")


BESIDE = Small(
    """
procedure: beside
title: One source is held and another restored
sources: {plug: {kind: mains}, valve: {kind: water}}
steps:
  - {id: off, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [plug]}
  - {id: back, kind: restore, sources: [valve], say: Restore the valve., checks: [Tools out.], power: Open the valve.}
  - {id: dead, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the bare terminals.}
  - {id: all, kind: restore, sources: [plug], say: Restore the plug., checks: [Tools out.], power: Put the plug in.}
  - {id: done, kind: end, outcome: done, say: That was it.}
""",
    needs={"touch": ("plug",)}, isolates={"off": ("plug",)}, proves={"dead": ("plug", "switch")},
    restores={"back": ("valve",), "all": ("plug",)}, power={"Open the valve.": ("valve",), "Put the plug in.": ("plug",)},
)  # fmt: skip


def watched(small: Small, said: tuple[Said, ...]) -> tuple[Watch, list[str], list[str]]:
    """The watchman at the end of a way through the real machine, the rules he saw broken, the sources that became dead."""
    walked = Walk(small, 1)
    state, _ = machine.advance(machine.start(walked.book, ENGLISH), Stamped(0, WALL, 0.0, walked.opened))
    watch, wrong, dead = Watch(), [], []
    for one in said:
        text, silence = one if isinstance(one, tuple) else (one, 1.0)
        event = letter(text) if isinstance(text, str) else text
        happening = Stamped(1, WALL, state.now + silence, event)
        watch = hears(small, watch, happening, silence)
        state, effects = machine.advance(state, happening)
        for effect in effects:
            before = watch.dead
            watch, why = broken(small, watch, effect)
            wrong += [why] if why else []
            dead += sorted(watch.dead - before)
        watch = quiet(watch)
    return watch, wrong, dead


@pytest.mark.parametrize(
    ("small", "said", "dead"),
    [
        # who leaves has no lock on, and it is the first phrase of the visit: the voice is told of in the same breath
        (TWO, (*BOTH_HERE, "i am leaving", "clear A", "affirm", "isolated B", "nothing runs", "affirm"), ["plug"]),
        # who leaves came after the locks were on and was to put one on when the break was too long
        (PAIR, (*PAIR.good[:10], "second person", "number B", "affirm", ("say again", 1860.0), "i am leaving", "negative",
                "clear B", "affirm", "isolated A", "affirm", "isolated A", "nothing runs", "affirm"),
         ["plug", "valve", "plug"]),
        # who leaves had joined after another's voice had opened nothing
        (PAIR, ("number A", "affirm", "negative", replace(letter("isolated A"), voice="other"), *BOTH_HERE[3:], "affirm",
                "i am leaving", "negative", "clear B", "affirm", "isolated A", "affirm", "isolated A", "nothing runs",
                "affirm"), ["plug"]),
        # 'valve' is said where none but the plug and all of them may be meant, then 'power is on' again
        (PAIR, (*PAIR.good[:4], "power is on", "valve", "power is on", "affirm", "isolated A", "affirm", "isolated A",
                "affirm", "isolated A", "power is on", "valve", "nothing runs", "affirm"), ["plug"]),
        # a note that the power is on comes with a break that made everything live: which one was meant is nobody's question
        (PAIR, (*PAIR.good[:6], "it runs", "second person", "number B", "affirm",
                (NoteKept("", "", "the power is on", 2.0), 1860.0), "i am leaving", "negative", "clear B", "affirm",
                "isolated A", "negative", "isolated A", "power is on", "valve", "nothing runs", "affirm"), ["plug"]),
        # between the steps for an owner who is gone somebody wants to stop, affirms it once, and goes on after all
        (PAIR, (*PAIR.good[:14], "next step", "next step", "next step", "negative", "affirm", "stop the visit", "affirm",
                "negative", "affirm", "affirm", "affirm", "clear B"), ["plug", "valve"]),
        # who corrects the number of their own lock before it is on is still one person
        (TWO, ("number A", "affirm", "affirm", "isolated B", "correction", "number B", "affirm", "affirm", "isolated B",
               "nothing runs", "affirm"), ["plug"]),
        # 'power is on' while a source that nobody isolated is restored: that one is meant, and the other stays held
        (BESIDE, ("number A", "affirm", "affirm", "isolated A", "next step", "power is on", "valve", "next step",
                  "next step", "next step", "clear A", "next step", "nothing runs", "affirm"), ["plug"]),
        # one of two does, and the other does not change
        (TWO, (*BOTH_HERE, "affirm", "isolated B", "correction", "number A", "affirm", "affirm", "isolated A", "isolated B",
               "nothing runs", "affirm"), ["plug"]),
    ],
)  # fmt: skip
def test_the_watchman_follows_who_left_and_what_was_meant(small: Small, said: tuple[Said, ...], dead: list[str]) -> None:
    assert watched(small, said)[1:] == ([], dead)


def test_what_was_not_offered_does_not_tell_the_watchman_which_source_is_on() -> None:
    watch, wrong, _ = watched(PAIR, (*PAIR.good[:4], "power is on", "valve"))
    assert wrong == []
    assert watch.doubt == {"plug", "valve"}


def test_the_watchman_sees_a_charge_relieved_while_what_fills_it_may_be_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """At the measurement of the capacitor, the power comes back: first the plug, then the capacitor."""
    way = (*CHARGE.good[:8], "power is on")
    assert watched(CHARGE, way)[1] == []

    def straight(flow: Any, frames: Any) -> Any:
        wanting = movement.lacking(flow, frames)
        return flow.state.covering.get(wanting[0], ()) if wanting else frames

    monkeypatch.setattr(movement, "_first", straight)
    assert [why[0] for why in watched(CHARGE, way)[1]] == ["1"]


def test_the_watchman_sees_a_second_lock_taken_off_by_the_steps_for_the_first() -> None:
    """Each owner who is gone has the four steps of their own, and somebody else's do not count."""
    one, other = ENGLISH.prompt("first-person"), ENGLISH.prompt("second-person")
    on = frozenset({("plug", A), ("plug", B)})
    owners = frozenset({(one, A), (other, B)})
    asked = replace(Watch(people=frozenset({A, B}), locks=on, owners=owners), gone=4, gone_owner=other)
    assert broken(TWO, asked, LockChanged(one, "plug", False, "without its owner"))[1].startswith("4")
    after, why = broken(TWO, asked, LockChanged(other, "plug", False, "without its owner"))
    assert (why, after.people, after.locks) == ("", {A}, {("plug", A)})
    assert broken(TWO, quiet(after), LockChanged(one, "plug", False, "without its owner"))[1].startswith("4")


def test_the_watchman_sees_a_second_person_who_takes_the_place_of_the_first(monkeypatch: pytest.MonkeyPatch) -> None:
    real = persons.join
    monkeypatch.setattr(persons, "join", lambda *given: replace(real(*given), people=real(*given).people[-1:]))
    _, wrong, _ = watched(TWO, (*BOTH_HERE, "affirm", "isolated B", "nothing runs", "affirm"))
    assert [why[0] for why in wrong] == ["2"]


def test_the_watchman_sees_who_is_let_go_by_another_number(monkeypatch: pytest.MonkeyPatch) -> None:
    """Told to have left, but not by their own number: whose phrase is missing is still here."""
    real = persons.leave

    def leaves(interlock: Any, names: Any, utterance: Utterance) -> Any:
        return real(interlock, names, replace(utterance, text=gate_text("clear", interlock.lock)))

    monkeypatch.setattr(persons, "leave", leaves)
    for whose in ("clear B", "isolated A"):
        _, wrong, _ = watched(TWO, (*BOTH_HERE, "i am leaving", whose, "affirm", "isolated B", "nothing runs", "affirm"))
        assert "2" in {why[0] for why in wrong}
