"""What going from step to step owes a person: what was asked elsewhere is over, what is missing is isolated first and the
visit comes back, and whatever shuts a step says so, with its tone, and cannot be cut."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from handsfree.journal import events as ev
from handsfree.language.meaning import Sense, Verdict, gate_text
from handsfree.procedure import proofs
from handsfree.visit import movement
from handsfree.visit.machine import start
from handsfree.visit.questions import flow_of
from handsfree.visit.rebuilt import rebuilt
from handsfree.visit.state import Awaiting, Overlay
from tests.bench.letters import letter
from tests.bench.small_visits import BOOKS, LIFT, METER, ONE, PAIR
from tests.isolation.test_finds import OPENS, TWO, powers
from tests.isolation.test_shared import BOOK, job
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, accepted, book, running


@pytest.fixture(autouse=True)
def _no_oracle(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle of `scenes` knows one source."""
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)


def says(scene: Scene, key: str, **values: object) -> list[ev.Say]:
    """Every time that the last turn said this sentence."""
    text = ENGLISH.prompt(key, **values)
    return [one for one in scene.last if isinstance(one, ev.Say) and text in one.text]


def record(scene: Scene, begun: int = 0) -> list[Any]:
    return [entry.event for entry in scene.record[begun:]]


# ---- a step is entered afresh ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", BOOKS)
def test_a_wait_is_timed_while_it_is_waited_for_and_at_no_other_step(name: str) -> None:
    scene = Scene(book(BOOKS[name].text)).open("")
    for text in BOOKS[name].good:
        scene.tell(letter(text))
        waits = scene.state.awaiting in (Awaiting.WAIT, Awaiting.CUT_WAIT)
        assert ("wait" in running(record(scene))) is waits, (scene.step, text)
    assert scene.state.outcome == "done"
    assert scene.state.awaiting is Awaiting.NOTHING, "when the visit is over nothing is asked"


ASKED = """
procedure: asked
title: Questions
steps:
  - {id: first, kind: ask, say: How is the first, answers: {dry: , wet: }}
  - {id: second, kind: ask, say: How is the second, answers: {dry: off, wet: done}}
  - {id: off, kind: isolate, say: Isolate., do: [Pull the plug.], sources: [mains]}
  - {id: dead, kind: prove, method: switch, say: Try the switch.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the terminal.}
  - {id: back, kind: restore, say: Back., checks: [Tools out., Covers on.], power: Put it in.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""


def test_what_was_likely_heard_at_another_step_cannot_be_affirmed_any_more() -> None:
    scene = Scene(book(ASKED)).open().words("dry")
    scene.tell(replace(accepted(Sense.PHRASE, "wet"), verdict=Verdict.PROPOSED, sure=0.6))
    assert scene.state.overlay is Overlay.PROPOSAL
    scene.tell(accepted(Sense.COMMAND, "go back"))
    assert "How is the first" in scene.said
    scene.tell(accepted(Sense.COMMAND, "affirm"))
    assert scene.step == "first"
    assert not [one for one in record(scene) if isinstance(one, ev.AnswerTaken) and one.answer == "wet"]


def test_misses_at_another_step_do_not_count_here() -> None:
    """The second miss at one question tells all that may be said: nobody hears that at the first."""
    once = Scene(book(ASKED)).open()
    once.tell(accepted(Sense.COMMAND, "affirm"))
    after = Scene(book(ASKED)).open().words("dry")
    after.tell(accepted(Sense.COMMAND, "affirm"))
    after.tell(accepted(Sense.COMMAND, "go back"))
    after.tell(accepted(Sense.COMMAND, "affirm"))
    assert after.said == once.said


def test_a_reading_of_another_step_is_not_the_first_of_two_times_here() -> None:
    """What is said twice needs no 'affirm'; what two instruments show is said once of each."""
    step = "{{id: {0}, kind: read, say: Give it., quantity: {0}, unit: degF, plausible: [{1}, 130]}}"
    text = "procedure: two\ntitle: Two\nsteps:\n" + "".join(
        f"  - {line}\n" for line in (step.format("air", 20), step.format("box", 50), "{id: far, kind: instruct, say: Far.}")
    )
    scene = Scene(book(text)).open("")
    scene.tell(accepted(Sense.NUMBER, "40", 40.0))
    assert scene.step == "box"
    scene.tell(accepted(Sense.NUMBER, "40", 40.0))
    assert (scene.step, scene.state.awaiting) == ("box", Awaiting.READING_AFFIRM)
    scene.tell(accepted(Sense.NUMBER, "40", 40.0))
    assert scene.step == "far"


@pytest.mark.parametrize("way", ["a wait that ended", "a break that was too long"])
def test_whoever_is_silent_at_a_new_step_is_asked_where_they_are_though_they_were_asked_before(way: str) -> None:
    scene = Scene(book(METER.text)).open("")
    for text in METER.good[: -7 if way == "a wait that ended" else -9]:
        scene.tell(letter(text))
    if way == "a wait that ended":
        scene.tell(letter("next step"))
        assert scene.state.awaiting is Awaiting.CUT_WAIT
    scene.tell(ev.TimerRang("quiet"), 100.0)
    assert scene.state.told_quiet
    was = scene.step
    scene.tell(ev.TimerRang("wait"), 100.0) if way == "a wait that ended" else scene.tell(ev.TimerRang("break"), 1900.0)
    assert scene.step != was
    assert "quiet" in running(record(scene))


def test_a_voice_in_doubt_is_asked_for_once_more_at_every_gate() -> None:
    """It was in doubt at this gate before somebody went back from it: that is not the first of two times."""
    doubtful = replace(accepted(Sense.GATE, gate_text("isolated", ("four", "two"))), voice="doubtful")
    scene = Scene(book(ASKED)).open().words("dry", "dry")
    for _ in range(2):
        scene.tell(doubtful)
        assert says(scene, "gate-voice-again")
        assert powers(scene) == {"mains": "ISOLATING"}
        assert not scene.state.interlock.locks
        scene.words("go back", "dry")


# ---- what is missing is isolated first ------------------------------------------------------------------------------


def at_pipes() -> Scene:
    """Both sources isolated, at the step that the water feeds."""
    scene = Scene(book(TWO)).open().words("understood", OPENS, OPENS, "nothing runs", "nothing runs")
    assert scene.step == "pipes"
    return scene


def test_a_step_that_may_not_be_reached_says_once_why_and_nobody_can_cut_it() -> None:
    scene = at_pipes()
    scene.tell(ev.Resumed("interrupted"))
    assert [(one.role, one.cuttable) for one in says(scene, "isolate-again")] == [("refusal", False)]
    begun = len(scene.record)
    scene.words(OPENS, OPENS, "nothing runs", "nothing runs")
    assert scene.step == "pipes"
    told = [one.text for one in record(scene, begun) if isinstance(one, ev.Say)]
    assert not [text for text in told if ENGLISH.prompt("isolate-again") in text], "all went as it should"
    assert not [text for text in told if ENGLISH.prompt("isolation-cleared", why="") in text]


BETWEEN = """
procedure: between
title: Steps between
sources: {plug: {kind: mains}, valve: {kind: water}}
steps:
  - {id: off, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [plug]}
  - {id: mind, kind: caution, level: warning, hazards: [sharp fins], say: The fins cut.}
  - {id: dead, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: look, kind: instruct, say: Look around.}
  - {id: shut, kind: isolate, say: Isolate the water., do: [Shut the valve.], sources: [valve]}
  - {id: dry, kind: prove, method: tap, source: valve, say: Try the tap.}
  - {id: both, kind: instruct, hazards: [mains, water], say: Touch the bare pump.}
  - {id: back, kind: restore, sources: [plug, valve], say: Back., checks: [Hands out.], power: Put all on.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""


def at_both() -> Scene:
    scene = Scene(book(BETWEEN)).open().words(OPENS, "understood", "nothing runs", "next step", OPENS, "nothing runs")
    assert scene.step == "both"
    return scene


def test_on_the_way_back_each_missing_source_is_isolated_and_proved_and_what_keeps_safe_is_read_again() -> None:
    """Between an isolation and its proof everything is gone through again; what lies between two isolations is not."""
    scene = at_both()
    scene.tell(ev.Resumed("interrupted"))
    begun = len(scene.record)
    scene.words(OPENS)
    assert (scene.step, scene.state.awaiting) == ("mind", Awaiting.UNDERSTOOD)
    scene.words("understood", "nothing runs")
    assert scene.step == "shut"
    scene.words(OPENS, "nothing runs")
    assert (scene.step, powers(scene)) == ("both", {"plug": "ISOLATED", "valve": "ISOLATED"})
    entered = [one.step for one in record(scene, begun) if isinstance(one, ev.StepEntered)]
    assert entered == ["mind", "dead", "shut", "dry", "both"]
    scene.tell(accepted(Sense.COMMAND, "go back"))
    assert says(scene, "no-further-back"), "nobody goes back over an isolation"


def test_with_one_source_missing_the_other_is_not_isolated_again() -> None:
    scene = at_both().words("power is on", "valve")
    assert (scene.step, powers(scene)["plug"]) == ("shut", "ISOLATED")
    scene.words(OPENS, "nothing runs")
    assert scene.step == "both"


def test_once_back_where_it_was_missing_a_later_proof_leads_on_and_not_back_there() -> None:
    text = BETWEEN.replace("{id: look, kind: instruct, say: Look around.}",
                           "{id: look, kind: instruct, hazards: [mains], say: Touch the bare terminal.}")  # fmt: skip
    scene = Scene(book(text)).open().words(OPENS, "understood", "nothing runs")
    assert scene.step == "look"
    scene.words("power is on", OPENS, "understood", "nothing runs")
    assert scene.step == "look"
    scene.words("next step", OPENS, "nothing runs")
    assert scene.step == "both"


AGAIN = """
procedure: again
title: Isolated in two places
steps:
  - {id: off, kind: isolate, say: Isolate., do: [Pull the plug.], sources: [mains]}
  - {id: dead, kind: prove, method: switch, say: Try the switch.}
  - {id: how, kind: ask, say: How is it, answers: {wet: other, dry: touch}}
  - {id: other, kind: isolate, say: Isolate at the box., do: [Switch off at the box.], sources: [mains]}
  - {id: gone, kind: prove, method: switch, say: Try it again.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the bare terminal.}
  - {id: back, kind: restore, say: Back., checks: [Tools out., Covers on.], power: Put it in.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""


def test_gone_back_over_an_isolation_what_needs_it_is_still_isolated_first() -> None:
    """It said that the procedure has no isolation, and stopped the visit."""
    assert proofs.prove(book(AGAIN)) == ()
    scene = Scene(book(AGAIN)).open().words(OPENS, "nothing runs", "power is on", "wet")
    assert (scene.step, powers(scene)) == ("other", {"mains": "ISOLATING"})
    scene.words("go back")
    assert (scene.step, powers(scene)) == ("how", {"mains": "LIVE"})
    left = [one for one in scene.last if isinstance(one, ev.Gate)]
    assert [(one.was, one.now, one.how, one.why) for one in left] == [("ISOLATING", "LIVE", "isolation left", "")]
    scene.words("dry")
    assert not scene.state.closed
    assert scene.step in ("off", "other")
    assert says(scene, "isolate-again")
    scene.words(OPENS, "nothing runs")
    assert (scene.step, powers(scene)) == ("touch", {"mains": "ISOLATED"})


# ---- what another procedure isolated --------------------------------------------------------------------------------


def test_what_stays_isolated_is_on_record_with_its_place_and_nobody_goes_back_over_it() -> None:
    looking = job("fit-it", "Fit the fan.").replace("steps:\n", "steps:\n  - {id: see, kind: instruct, say: See.}\n")
    scene = Scene(book(*BOOK[:-1], looking)).open().words(OPENS, "nothing runs", "next step", "next step")
    assert (scene.state.path, scene.step) == (("chained", "fit-it"), "work")
    passed = [one for one in record(scene) if isinstance(one, ev.StepPassed)]
    assert [(one.path, one.step) for one in passed] == [(("chained", "fit-it", "make-safe"), "off")]
    scene.words("go back")
    assert says(scene, "no-further-back")


def test_behind_an_isolation_that_stays_another_sources_proof_is_asked_for() -> None:
    text = """
procedure: behind
title: Behind
sources: {plug: {kind: mains}, valve: {kind: water}}
steps:
  - {id: off, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [plug]}
  - {id: dead, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: shut, kind: isolate, say: Isolate the water., do: [Shut the valve.], sources: [valve]}
  - {id: anew, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [plug]}
  - {id: anew-dead, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: dry, kind: prove, method: tap, source: valve, say: Try the tap.}
  - {id: both, kind: instruct, hazards: [mains, water], say: Touch the bare pump.}
  - {id: back, kind: restore, sources: [plug, valve], say: Back., checks: [Hands out.], power: Put all on.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
    scene = Scene(book(text)).open().words(OPENS, "nothing runs", OPENS)
    assert (scene.step, scene.state.awaiting) == ("dry", Awaiting.SWITCH_TRIED)
    scene.words("nothing runs")
    assert scene.step == "both"


# ---- who is here ----------------------------------------------------------------------------------------------------


def test_a_step_for_two_says_so_and_nobody_can_cut_it() -> None:
    scene = Scene(book(LIFT.text)).open("")
    for text in LIFT.good[:3]:
        scene.tell(letter(text))
    assert [(one.role, one.cuttable) for one in says(scene, "takes-two")] == [("notice", False)]


def test_who_is_asked_for_their_number_anew_is_the_first_here_and_nobody_else_is_expected() -> None:
    """Whoever was about to join when everybody's number fell away."""
    scene = Scene(book(ONE.text)).open("")
    for text in ONE.good[:2]:
        scene.tell(letter(text))
    flow = flow_of(replace(scene.state, joining=ENGLISH.prompt("second-person"), another=True))
    assert not movement.state_number(flow)
    scene.state, scene.last = flow.state, tuple(flow.effects)
    assert says(scene, "lock-number")
    scene.tell(letter("number A"))
    scene.tell(letter("affirm"))
    assert [person.name for person in scene.state.interlock.people] == [ENGLISH.prompt("first-person")]
    assert scene.state.awaiting is Awaiting.SEEN


# ---- what was cleared -----------------------------------------------------------------------------------------------


CLEARED = {
    "power is on": (accepted(Sense.COMMAND, "power is on"), 1.0, "why-power-on"),
    "a break": (accepted(Sense.COMMAND, "next step"), 1900.0, "why-break"),
    "the microphone": (ev.SoundLost("d", "microphone"), 1.0, "why-resume"),
}


@pytest.mark.parametrize("cause", CLEARED)
@pytest.mark.parametrize("far", [6, 7, 8, 9])
def test_whatever_clears_it_sounds_the_tone_says_why_at_once_and_cannot_be_cut(cause: str, far: int) -> None:
    event, after, why = CLEARED[cause]
    scene = Scene(book(ONE.text)).open("")
    for text in ONE.good[:far]:
        scene.tell(letter(text))
    scene.tell(event, after)
    assert powers(scene)["mains"] != "ISOLATED"
    assert ev.Tone("gate shut") in scene.last
    said = says(scene, "isolation-cleared", why=ENGLISH.prompt(why))
    assert [(one.role, one.cuttable) for one in said] == [("notice", False)]
    assert next(one for one in scene.last if isinstance(one, ev.Say)) == said[0]


def test_after_a_break_what_is_to_be_done_is_asked_though_the_visit_stood_by() -> None:
    """At a step that needs no isolation: its question, and its answer counts."""
    scene = Scene(book(BETWEEN)).open().words(OPENS, "understood", "nothing runs", "stand by")
    assert scene.step == "look"
    scene.words("go ahead", after=1900.0)
    assert powers(scene)["plug"] == "LIVE"
    assert "Look around." in scene.said
    scene.words("next step")
    assert scene.step == "shut"


def test_at_the_gate_of_one_source_another_that_is_cleared_leaves_this_one_to_be_isolated() -> None:
    """From its beginning, because another question came between."""
    scene = Scene(book(PAIR.text)).open("")
    for text in (*PAIR.good[:5], "power is on", "plug"):
        scene.tell(letter(text))
    assert (scene.step, scene.state.awaiting) == ("shut", Awaiting.SEEN)
    assert powers(scene) == {"plug": "LIVE", "valve": "ISOLATING"}
    for text in PAIR.good[4:6]:
        scene.tell(letter(text))
    assert scene.state.interlock.hold("valve").claimed


def test_at_its_own_gate_what_is_cleared_is_begun_anew() -> None:
    scene = Scene(book(ONE.text)).open("")
    for text in (*ONE.good[:5], "power is on"):
        scene.tell(letter(text))
    assert (scene.step, scene.state.awaiting, powers(scene)) == ("off", Awaiting.SEEN, {"mains": "ISOLATING"})
    for text in ONE.good[4:8]:
        scene.tell(letter(text))
    assert scene.power == "ISOLATED"


# ---- taken up again -------------------------------------------------------------------------------------------------


def resting(waited: float) -> Scene:
    """At a wait of two minutes; taken up again so long after it began."""
    text = ASKED.replace("{id: off,", "{id: rest, kind: wait, lasts: 2 min, because: it must settle, say: Let it settle.}\n"
                         "  - {id: next, kind: instruct, say: Look at it.}\n  - {id: off,").replace("dry: off", "dry: rest")
    scene = Scene(book(text)).open().words("dry", "dry", "next step")
    assert scene.state.awaiting is Awaiting.CUT_WAIT
    scene.now = scene.state.wait_ends - 120.0
    scene.tell(ev.Resumed("interrupted"), waited)
    return scene


@pytest.mark.parametrize(("waited", "left"), [(30.0, "one minute and 30 seconds"), (119.0, "one second")])
def test_taken_up_in_a_wait_it_waits_for_the_rest_of_it_and_says_how_long(waited: float, left: str) -> None:
    scene = resting(waited)
    assert (scene.step, scene.state.awaiting) == ("rest", Awaiting.WAIT), "whether to cut it short is not asked any more"
    early = [one for one in scene.last if isinstance(one, ev.Say) and "early" in one.text]
    assert [one.role for one in early] == ["notice"]
    assert left in early[0].text
    assert [one.seconds for one in scene.last if isinstance(one, ev.SetTimer) and one.timer == "wait"] == [120.0 - waited]
    scene.tell(ev.TimerRang("wait"), 120.0 - waited)
    assert scene.step == "next"


@pytest.mark.parametrize("waited", [119.6, 120.0, 500.0])
def test_taken_up_at_or_after_the_end_of_a_wait_it_goes_on(waited: float) -> None:
    scene = resting(waited)
    assert (scene.step, "Look at it." in scene.said) == ("next", True)
    assert "early" not in scene.said


TOLD = """
procedure: told
title: A finding and a hand-over
steps:
  - {id: how, kind: ask, say: How is it, answers: {wet: , dry: }}
  - {id: found, kind: finding, finding: a-leak, evidence: [how], say: It leaks.}
  - {id: last, kind: handover, to: the support desk, say: They need this., summary: [how]}
  - {id: done, kind: end, outcome: handed over, say: Done.}
"""


def test_who_is_no_newcomer_at_a_hand_over_hears_it_again_and_goes_on() -> None:
    scene = Scene(book(TOLD)).open().words("wet", "second person")
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    scene.lock = ""
    scene.words("negative")
    assert "They need this." in scene.said
    scene.words("next step")
    assert scene.state.outcome == "handed over"


@pytest.mark.parametrize("at", ["found", "last"])
def test_taken_up_from_its_record_a_finding_or_hand_over_is_said_again_and_made_once(at: str) -> None:
    """Of a record that breaks off right behind it."""
    scene = Scene(book(TOLD)).open().words("wet")
    made = ev.FindingMade if at == "found" else ev.HandedOver
    until = next(n for n, one in enumerate(record(scene)) if isinstance(one, made)) + 1
    later = Scene(scene.book)
    later.state, later.now = rebuilt(start(scene.book, ENGLISH), scene.record[:until]), scene.now
    later.tell(ev.Resumed("interrupted"))
    assert later.step == at
    assert {"found": "It leaks.", "last": "They need this."}[at] in later.said
    assert not [one for one in later.last if isinstance(one, made)]
    later.lock = ""
    later.words("next step")
    assert later.step == {"found": "last", "last": "done"}[at]


# ---- an end that nobody wrote ---------------------------------------------------------------------------------------


def closed(scene: Scene) -> list[tuple[str, str]]:
    return [(one.outcome, one.text) for one in scene.last if isinstance(one, ev.Closed)]


def test_a_procedure_that_runs_off_its_last_step_is_done_and_adds_nothing() -> None:
    scene = Scene(book("procedure: bare\ntitle: Bare\nsteps: [{id: look, kind: instruct, say: Look.}]\n")).open("")
    scene.words("next step")
    assert (closed(scene), scene.said) == ([("done", "")], "")


def test_a_circle_of_steps_that_ask_nobody_is_told_of_and_stops_the_visit() -> None:
    text = TOLD.replace("say: It leaks.", "say: It leaks., go: found")
    scene = Scene(book(text)).open().words("wet")
    assert [one.role for one in says(scene, "circles")] == ["notice"]
    assert (closed(scene), len(says(scene, "stopped"))) == ([("stopped", "")], 2)


def test_a_hazard_that_nothing_isolates_stops_the_visit_and_gives_no_other_reason() -> None:
    scene = Scene(book(data.BAD)).open().words("next step")
    assert [(one.role, one.cuttable) for one in says(scene, "hazard-no-isolation")] == [("refusal", False)]
    assert closed(scene) == [("stopped", "")]
    assert "Touch the terminal" not in scene.said
