"""Hand-overs, findings and corrections: what is recorded once, whose padlock it is, and what is told no longer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from handsfree import __version__
from handsfree.journal.events import FindingMade, Gate, HandedOver, Resumed, Say, SoundBack, SoundLost, Stamped, Utterance
from handsfree.visit import sessions
from handsfree.visit.machine import advance
from handsfree.visit.state import Awaiting
from tests.visit import data
from tests.visit.scenes import Scene, book

#: Two isolations, a finding, and a hand-over between them.
TWICE = """
procedure: twice
title: Two people
complaint: too_warm
steps:
  - id: look
    kind: ask
    say: Is the display lit?
    answers: {lit: {tells: display=lit}, dark: {tells: display=dark}, strange: }
  - {id: found, kind: finding, finding: dirty-condenser, evidence: [look], say: The condenser is dirty.}
  - {id: isolate, kind: isolate, say: Isolation comes now., do: [Pull the plug.], sources: [mains]}
  - {id: proof, kind: prove, method: switch, say: Try the switch.}
  - {id: reach, kind: instruct, hazards: [moving fan], say: Reach into the fan.}
  - {id: other, kind: handover, to: the next shift, say: They go on., summary: [look]}
  - {id: isolate-again, kind: isolate, say: Isolation once more., do: [Pull the plug.], sources: [mains]}
  - {id: proof-again, kind: prove, method: switch, say: Try the switch.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the terminal.}
  - {id: restore, kind: restore, say: Power comes back., checks: [Tools out., Covers on.], power: Put the plug in.}
  - {id: done, kind: end, outcome: done, say: That was it.}
"""
TO_HANDOVER = ("lit", "isolated lock four two", "nothing runs", "next step")


def counted(scene: Scene, kind: type) -> int:
    return sum(isinstance(entry.event, kind) for entry in scene.record)


def test_who_takes_over_gives_the_number_of_their_own_padlock() -> None:
    scene = Scene(book(TWICE)).open().words(*TO_HANDOVER)
    assert scene.step == "other"
    assert scene.power == "LIVE"
    assert scene.state.interlock.lock == ()
    scene.lock = ""  # who takes over is another
    scene.words("next step")
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    assert "own lock" in scene.said
    assert "Isolation once more" not in scene.said
    scene.words("seven eight", "somebody new", "affirm")
    assert scene.step == "isolate-again"
    scene.words("isolated lock four two")
    assert scene.state.awaiting is Awaiting.GATE, "the number of who left opens nothing"
    scene.words("isolated lock seven eight", "nothing runs")
    assert scene.step == "touch"
    assert scene.power == "ISOLATED"
    assert scene.again() == scene.state


def test_a_visit_handed_over_and_ended_asks_for_no_number() -> None:
    text = TWICE[: TWICE.index("  - {id: isolate-again")] + "  - {id: done, kind: end, outcome: handed over, say: Bye.}\n"
    scene = Scene(book(text)).open().words(*TO_HANDOVER, "next step")
    assert scene.state.outcome == "handed over"


def test_a_resume_at_a_handover_says_it_again_and_records_it_once() -> None:
    scene = Scene(book(TWICE)).open().words(*TO_HANDOVER)
    scene.tell(Resumed("interrupted"), after=5)
    assert "They go on" in scene.said
    assert counted(scene, HandedOver) == 1
    scene.lock = "seven eight"
    scene.words("next step")
    assert scene.step == "isolate-again"


@pytest.mark.parametrize("away", [5.0, 46800.0])
def test_a_finding_is_gone_on_from_and_a_resume_after_it_records_it_no_second_time(away: float) -> None:
    scene = Scene(book(TWICE)).open().words("lit")
    assert "The condenser is dirty" in scene.said
    assert scene.step == "isolate"
    scene.tell(Resumed("interrupted"), after=away)
    assert counted(scene, FindingMade) == 1


def test_a_finding_that_a_crash_kept_off_the_record_is_recorded_by_the_resume(tmp_path: Path) -> None:
    """The journal ends between the answer and what followed from it; and, for comparison, after it."""
    place = tmp_path / "twice.yaml"
    place.write_text(TWICE, encoding="utf-8")
    session = sessions.begin(sessions.provable(place), tmp_path / "visits", sessions.Who(), "typed")
    scene = Scene(session.state.book)
    scene.tell(session.first)
    scene.words("lit")
    answered = max(n for n, entry in enumerate(scene.record) if isinstance(entry.event, Utterance))
    session.journal.append(*(entry.event for entry in scene.record[: answered + 1]))
    session.journal.close()
    taken = sessions.resume(session.folder)
    assert taken.first == Resumed("interrupted", __version__, unrecorded=True)
    _, effects = advance(taken.state, Stamped(0, "", scene.now, taken.first))
    assert any(isinstance(effect, FindingMade) for effect in effects)
    taken.journal.append(*(entry.event for entry in scene.record[answered + 1 :]))
    taken.journal.close()
    taken = sessions.resume(session.folder)
    assert taken.first == Resumed("interrupted", __version__)
    taken.journal.close()


def test_a_resume_after_a_break_too_long_tells_of_the_clearing_once() -> None:
    scene = Scene(book(data.WHOLE)).open().words(
        "next step", "cool", "forty", "isolated lock four two", "nothing runs", "understood"
    )
    assert scene.power == "ISOLATED"
    scene.tell(Resumed("interrupted"), after=3600)
    said = [effect.text for effect in scene.last if isinstance(effect, Say)]
    assert sum("Isolation is cleared" in text for text in said) == 1
    assert sum("Isolation comes now" in text for text in said) == 1
    assert sum(isinstance(effect, Gate) and effect.was == "ISOLATED" for effect in scene.last) == 1
    assert scene.step == "isolate"
    scene.words("isolated lock four two", "nothing runs")
    assert scene.step == "reach"


def test_a_correction_takes_back_what_the_answer_told() -> None:
    scene = Scene(book(TWICE)).open().words("dark")
    assert scene.state.told == {"display": "dark"}
    scene.words("correction")
    assert scene.state.told == {}
    scene.words("strange")
    assert scene.state.told == {}


def test_a_correction_leaves_what_earlier_answers_told() -> None:
    heard = "  - {id: hum, kind: ask, say: Is it humming?, answers: {hums: {tells: noise=compressor}, silent: }}\n"
    text = TWICE.replace("  - {id: found,", f"{heard}  - {{id: found,")
    scene = Scene(book(text)).open().words("dark", "hums")
    assert scene.state.told == {"display": "dark", "noise": "compressor"}
    scene.words("correction")
    assert scene.state.told == {"display": "dark"}


def test_another_answer_to_the_same_step_tells_in_place_of_the_first() -> None:
    scene = Scene(book(TWICE)).open().words("dark", "go back", "strange")
    assert scene.state.told == {}
    scene.words("go back", "lit")
    assert scene.state.told == {"display": "lit"}


def test_a_correction_takes_back_what_was_decided_on_the_answer() -> None:
    text = TWICE.replace(
        "  - {id: found,",
        "  - id: decided\n    kind: decide\n    say: So.\n    cases: [{when: look == \"dark\", go: found, tells: mode=off}]"
        "\n    otherwise: found\n    otherwise_tells: mode=cooling\n  - {id: found,",
    )
    scene = Scene(book(text)).open().words("dark")
    assert scene.state.told == {"display": "dark", "mode": "off"}
    scene.words("correction")
    assert scene.state.told == {}
    scene.words("strange")
    assert scene.state.told == {"mode": "cooling"}


@pytest.mark.parametrize("after", [(SoundLost("booth", "loudspeaker"), SoundBack("booth", "loudspeaker")), (Resumed("x"),)])
def test_a_caution_that_was_broken_off_is_heard_to_its_end(after: tuple[Any, ...]) -> None:
    warn = "  - {id: warn, kind: caution, level: warning, hazards: [sharp fins], say: Fins.}"
    text = TWICE.replace("  - {id: found,", f"{warn}\n  - {{id: found,")
    scene = Scene(book(text)).open().words("strange")
    assert not any(effect.cuttable for effect in scene.last if isinstance(effect, Say) and effect.role == "caution")
    scene.words("say again")
    assert all(effect.cuttable for effect in scene.last if isinstance(effect, Say) and effect.role == "caution")
    for event in after:
        scene.tell(event)
    if isinstance(after[0], SoundLost):
        scene.words("go ahead")
    cautions = [effect for effect in scene.last if isinstance(effect, Say) and effect.role == "caution"]
    assert cautions
    assert not any(caution.cuttable for caution in cautions)
