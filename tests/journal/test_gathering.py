"""What was done in answer to a question, what came of the work, what was handed over and what is left to do."""

from __future__ import annotations

from typing import Any

import pytest

from handsfree.journal import events as ev
from handsfree.journal.events import Stamped
from handsfree.journal.gathering import gathered, to_order
from handsfree.journal.tongue import say_in

PATH = ("wet",)
NEXT = ev.Utterance("accepted", "command", "next step")


def _record(*happened: Any) -> list[Stamped]:
    return [Stamped(n, "2026-02-11T09:30:00+01:00", float(n), event) for n, event in enumerate(happened)]


def _step(name: str, kind: str) -> ev.StepEntered:
    return ev.StepEntered(PATH, name, kind, "LIVE")


def _said(step: str, text: str) -> ev.Say:
    return ev.Say(1, text, "step", step=step)


def _asked(step: str, text: str, answer: str) -> tuple[Any, ...]:
    heard = ev.Utterance("accepted", "phrase", answer)
    return _step(step, "ask"), _said(step, text), heard, ev.AnswerTaken(PATH, step, answer)


CLEAN = "Clean the gasket and its seat. Set the door. Try the strip again. Does it hold?"
LIMPIE = "Limpie la junta. Ajuste la puerta. Pruebe otra vez la tira. ¿Sujeta?"
DRAIN = (_step("drain-work", "instruct"), _said("drain-work", "Clear the drain. Use no sharp tool. Empty the tray."), NEXT)


@pytest.mark.parametrize(
    ("text", "work"),
    [(CLEAN, "Clean the gasket and its seat. Set the door."), (LIMPIE, "Limpie la junta. Ajuste la puerta.")],
)
def test_work_that_a_question_follows_on_is_work_and_its_answer_evidence(text: str, work: str) -> None:
    """Found by voice: a gasket was cleaned and held, and the report said only that the door does not seal."""
    got = gathered(_record(*_asked("door-work", text, "holds fast"), _step("next", "read")))
    assert got.work == [work]
    assert got.evidence == ["Door work: holds fast"]


@pytest.mark.parametrize("text", ["Pour a cup of water in. Is it free?", "Look at the drain. Is it clear?", "Is it dry?"])
def test_a_question_alone_is_no_work(text: str) -> None:
    got = gathered(_record(*_asked("drain-look", text, "blocked"), _step("next", "read")))
    assert (got.work, got.evidence) == ([], [])


def test_what_is_answered_right_after_the_work_is_evidence() -> None:
    again = _asked("drain-again", "Pour another cup. Does it run free?", "running free")
    got = gathered(_record(*DRAIN, *again, *_asked("room", "Is it warm here?", "warm"), _step("next", "read")))
    assert got.work == ["Clear the drain. Empty the tray."]
    assert got.evidence == ["Drain again: running free"]
    gone = (ev.Utterance("accepted", "command", "correction"), ev.Corrected(PATH, "drain-again"))
    assert gathered(_record(*DRAIN, *again, *gone, _step("next", "read"))).evidence == []


SUMMARY = (("level-look", "leans forward"), ("people", "not taken"), ("gente", "sin tomar"))


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("Hand over to the support desk. The cabinet leans. Send somebody.", ": The cabinet leans. Send somebody."),
        ("Hand over to the support desk.", "."),
    ],
)
def test_what_is_handed_over_is_said_with_it(words: str, told: str) -> None:
    """Found by voice: 'Send a second person' was said aloud, and written nowhere."""
    handed = (_step("feet", "handover"), ev.HandedOver(PATH, "feet", "the support desk", SUMMARY), _said("feet", words))
    more = (_said("feet", "They will ask for this."), NEXT, _said("feet", words), _step("end", "end"))
    got = gathered(_record(*handed, *more))
    assert got.handed == [f"Handed over to the support desk{told}"]
    assert got.evidence == ["Level look: leans forward"]
    assert say_in("es")(got.handed[0]).startswith("Entregado a the support desk")


def test_a_part_that_nobody_had_is_to_be_ordered() -> None:
    ask = "Do you have the same fan here?"
    got = gathered(_record(*_asked("new-fan", ask, "order one"), *_asked("try-fan", ask, "order one"), _step("end", "end")))
    assert to_order(got) == ["A part is to be ordered: new fan.", "A part is to be ordered."]
    assert say_in("es")(to_order(got)[0]) == "Hay que pedir una pieza: new fan."
    assert to_order(gathered(_record(*_asked("new-fan", ask, "spare here")))) == []


BARE = ev.FindingMade(PATH, "bare", "coil-defrosted", "The coil is bare. The pull-down is still to be proved.", (), "proved")
COLD = ev.FindingMade(PATH, "cold", "cold-again", "Proved: the cabinet is cold again.", (), "proved")


def test_what_is_still_to_be_proved_is_not_found_in_order() -> None:
    got = gathered(_record(BARE))
    assert got.proved == ["The coil is bare."]
    assert got.to_prove == ["The pull-down is still to be proved."]
    assert gathered(_record(BARE, COLD)).to_prove == []
