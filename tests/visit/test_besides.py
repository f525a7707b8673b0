"""A second complaint, said in the middle of the first: it is kept, opens nothing, and is taken up at 'anything else?'."""

from __future__ import annotations

import pytest

from handsfree.journal.events import AlsoSaid, PromptEnded, Resumed, Say, TimerRang, Utterance
from handsfree.language.meaning import Sense, Verdict
from handsfree.visit import telling
from handsfree.visit.machine import start
from handsfree.visit.rebuilt import rebuilt
from handsfree.visit.state import Awaiting
from tests.visit.scenes import ENGLISH, Scene, book

VISIT = """
procedure: p
title: P
steps:
  - id: wrong
    kind: ask
    gist: complaints
    say: What is wrong?
    answers: {too warm: look, noisy: look, wet: look, both: first}
  - {id: first, kind: ask, say: Which first?, answers: {too warm: look, noisy: look}}
  - {id: look, kind: instruct, say: Look at the coil.}
  - {id: fins, kind: ask, say: Are the fins clean?, answers: {clean: {stands_for: "yes"}, dusty: {stands_for: "no"}}}
  - {id: isolate, kind: isolate, say: Isolation comes now., do: [Pull the plug.], sources: [mains]}
  - {id: proof, kind: prove, method: switch, say: Try the switch.}
  - {id: warn, kind: caution, level: warning, hazards: [sharp fins], say: The fins are sharp.}
  - {id: reach, kind: instruct, hazards: [moving fan, sharp fins], say: Reach into the fan.}
  - {id: rest, kind: wait, lasts: 2 min, because: it must settle, say: Let it settle.}
  - {id: leave, kind: ask, say: Does the plug stay locked?, answers: {locked: else, free: restore}}
  - {id: restore, kind: restore, say: Power comes back now., checks: [Tools out.], power: Put the plug in.}
  - {id: free, kind: instruct, say: Stand back., makes: {left: free}}
  - id: else
    kind: ask
    gist: complaints
    unless: {left: locked off}
    go: done
    say: Anything else?
    answers: {nothing else: {stands_for: "no", go: done}, too warm: warm, noisy: noise, wet: water}
  - {id: warm, kind: instruct, say: Look at the fan., go: else}
  - {id: noise, kind: instruct, say: Look for loose parts., go: else}
  - {id: water, kind: instruct, say: Look at the drain., go: else}
  - {id: done, kind: end, outcome: done, say: That was it.}
""".replace("{locked: else, free: restore}", "{locked: {go: else, makes: {left: locked off}}, free: restore}")
#: To the fins, to the gate, behind it and to its end.
FINS, GATE = ("too warm", "next step"), ("clean",)
OPENS = ("isolated lock four two", "nothing runs")
END = ("understood", "next step", 130.0, "free", "next step", "next step", "clear lock four two", "next step", "next step")


def after(*lines: object) -> Scene:
    scene = Scene(book(VISIT)).open()
    for line in lines:
        if isinstance(line, float):
            scene.tell(TimerRang("wait"), line)
        else:
            scene.words(str(line))
    return scene


def said_besides(scene: Scene) -> list[tuple[str, str, str]]:
    return [(e.event.means, e.event.words, e.event.now) for e in scene.record if isinstance(e.event, AlsoSaid)]


@pytest.mark.parametrize("line", ["it is also noisy", "It is noisy too.", "one more thing, it rattles",
                                  "and it makes a noise", "oh by the way it hums as well"])  # fmt: skip
def test_it_is_noted_and_the_question_stands(line: str) -> None:
    scene = after(*FINS, line)
    assert scene.said == "Noted, for later: noisy. Clean or dusty?"
    assert scene.state.tries == 0
    assert said_besides(scene) == [("noisy", line, "noted")]
    assert scene.words("clean").state.step.id == "isolate"  # type: ignore[union-attr]  # there is one


@pytest.mark.parametrize("line", ["too warm", "it is too noisy to hear", "and now", "what else", "there is something else",
                                  "it is also warm", "the noise has stopped as well",
                                  "there is water on the floor"])  # fmt: skip
def test_what_is_no_second_complaint_is_not_kept(line: str) -> None:
    """Too much of something, nothing in particular, or what is being looked at already."""
    scene = after(*FINS, line)
    assert not said_besides(scene)
    assert not scene.state.besides


def test_it_is_taken_up_by_itself() -> None:
    scene = after(*FINS, "it is also noisy", *GATE, *OPENS, *END)
    assert scene.said.endswith("You also said: noisy. Look at that next?")
    assert scene.state.awaiting is Awaiting.ALSO_SAID
    assert scene.words("yes").said.endswith("Look for loose parts.")
    assert said_besides(scene)[-1] == ("noisy", "it is also noisy", "next")
    assert scene.words("next step").said == "Anything else?"
    assert scene.words("no").state.outcome == "done"


def test_no_leaves_it_and_the_next_one_follows() -> None:
    scene = after(*FINS, "it is noisy and wet too", *GATE, *OPENS, *END)
    assert scene.said.endswith("You also said: noisy. Look at that next?")
    assert scene.words("no").said == "You also said: wet. Look at that next?"
    assert scene.words("say again").said == "You also said: wet. Look at that next?"
    scene.tell(PromptEnded(scene.state.said - 1))
    assert scene.words("maybe").said == "You also said: wet. Look at that next?"
    assert scene.words("negative").said == "Anything else?"
    assert [one[::2] for one in said_besides(scene)[2:]] == [("noisy", "left"), ("wet", "left")]
    assert scene.words("nothing else").state.outcome == "done"


@pytest.mark.parametrize("line", ["forget that", "Not that one.", "never mind"])
def test_it_is_struck_where_it_comes_up_or_was_just_noted(line: str) -> None:
    scene = after(*FINS, "it is noisy and wet too", line)
    assert scene.said == "Struck: noisy and wet. Clean or dusty?"
    assert (scene.state.besides, scene.step) == ((), "fins")
    assert [one[::2] for one in said_besides(scene)[2:]] == [("noisy", "left"), ("wet", "left")]
    assert scene.state == scene.again()
    scene = after(*FINS, "it is also noisy", *GATE, *OPENS, *END, line)
    assert scene.said == "Anything else?"
    assert said_besides(scene)[-1] == ("noisy", "it is also noisy", "left")


def test_what_was_said_twice_is_struck_as_well() -> None:
    """'Noted, for later: noisy' was what was just heard."""
    scene = after(*FINS, "it is also noisy", "it is also noisy", "forget that")
    assert scene.said == "Struck: noisy. Clean or dusty?"
    assert scene.state.besides == ()


def test_later_only_an_answer_is_taken_back_and_that_by_correction() -> None:
    """Or it would strike the complaint in place of the answer."""
    scene = after(*FINS[:1], "it is also noisy", "next step", "forget that")
    assert scene.said == f"{ENGLISH.prompt('say-correction')} Clean or dusty?"
    assert [means for means, _ in scene.state.besides] == ["noisy"]


def test_another_complaint_may_be_named_first() -> None:
    scene = after(*FINS, "it is also noisy", *GATE, *OPENS, *END, "there is a puddle")
    assert scene.state.step.id == "water"  # type: ignore[union-attr]  # there is one
    assert scene.words("next step").said.endswith("You also said: noisy. Look at that next?")


def test_what_no_way_leads_to_is_kept_in_its_own_words() -> None:
    scene = after(*FINS, "also the door light is dead")
    assert scene.said == "Noted. Clean or dusty?"
    scene = after(*FINS, "also the door light is dead", *GATE, *OPENS, *END)
    assert scene.said.endswith("You also said: also the door light is dead. That is in the record. Anything else?")
    assert scene.state.awaiting is Awaiting.ANSWER
    assert said_besides(scene)[-1] == ("", "also the door light is dead", "told")


@pytest.mark.parametrize("lines", [(), ("affirm",), ("affirm", "isolated lock four two")])
def test_at_a_gate_and_at_a_proof_nothing_is_noted(lines: tuple[str, ...]) -> None:
    scene = after(*FINS, "clean", *lines)
    power = scene.state.interlock.power
    scene.words("it is also noisy")
    assert "oted" not in scene.said
    assert not said_besides(scene)
    assert scene.state.interlock.power in (power, "LIVE", "ISOLATING")


def test_at_a_caution_it_is_noted_and_the_caution_stands() -> None:
    scene = after(*FINS, *GATE, *OPENS, "it is wet as well")
    assert scene.said.startswith("Noted, for later: wet.")
    assert scene.state.awaiting is Awaiting.UNDERSTOOD


def test_during_a_wait_it_is_noted() -> None:
    scene = after(*FINS, *GATE, *OPENS, "understood", "next step", "it is also noisy")
    assert scene.said == f"Noted, for later: noisy. {ENGLISH.prompt('power-doubt')}"
    assert scene.state.awaiting is Awaiting.WAIT


@pytest.mark.parametrize("line", ["it hums too", "and it runs, it is loud", "he put the plug back in, and it is loud too",
                                  "also it is not isolated", "the display is lit as well"])  # fmt: skip
@pytest.mark.parametrize("lines", [(), ("understood",), ("understood", "next step")])
def test_where_somebody_relies_on_an_isolation_it_may_deny_that(lines: tuple[str, ...], line: str) -> None:
    """'Noted, for later: noisy' alone told somebody in front of a machine that hums, though isolated, that all is well."""
    scene = after(*FINS, *GATE, *OPENS, *lines)
    scene.words(line)
    assert ENGLISH.prompt("power-doubt") in scene.said or "oted" not in scene.said
    assert scene.words("power is on").power != "ISOLATED"


@pytest.mark.parametrize(("answers", "line"), [
    ("{dry: , wet: }", "and the floor is wet there"), ("{dry: , wet: }", "but there is a puddle"),
    ("{sound: , damaged: }", "and it is all sound"), ("{silent: , hums and clicks: }", "and it clicks"),
])  # fmt: skip
def test_what_may_answer_the_question_is_no_other_complaint(answers: str, line: str) -> None:
    """'And the floor is wet' where the site must be dry was 'noted, for later'."""
    site = VISIT.replace("""Are the fins clean?, answers: {clean: {stands_for: "yes"}, dusty: {stands_for: "no"}}""",
                         f"How is it?, answers: {answers}")  # fmt: skip
    scene = Scene(book(site)).open().words(*FINS, line)
    assert not scene.state.besides
    assert "oted" not in scene.said
    assert scene.step == "fins"


@pytest.mark.parametrize(("answer", "kept"), [("wet", ["wet"]), ("dry", ["wet"])])
def test_an_answer_to_something_else_is_not_the_complaint_of_its_name(answer: str, kept: list[str]) -> None:
    """'Wet' at "Is the floor dry or wet?" let the complaint go as if it were looked at; and it could not be kept again."""
    site = VISIT.replace("Look at the coil.}", "Look at the coil.}\n  - {id: floor, kind: ask, say: How is the floor?, "
                         "answers: {dry: , wet: }}")  # fmt: skip
    scene = Scene(book(site)).open().words("too warm", "it is also wet", "next step", answer)
    assert [means for means, _ in scene.state.besides] == kept
    scene = Scene(book(site)).open().words("too warm", "next step", answer, "it is also wet")
    assert [means for means, _ in scene.state.besides] == kept


def test_the_number_on_a_lock_is_neither_kept_nor_said() -> None:
    """'Also the lock four two is stuck' was said aloud again at the end, and stood in every view."""
    scene = after(*FINS, *GATE, *OPENS, "understood", "also the lock four two is stuck", *END[1:])
    kept = [words for _, words, _ in said_besides(scene)]
    assert kept == ["also the lock … is stuck"] * 2
    assert scene.said.endswith("You also said: also the lock … is stuck. That is in the record. Anything else?")


@pytest.mark.parametrize("sure", [0.0, 0.6])
def test_a_number_that_was_asked_for_is_no_other_complaint(sure: float) -> None:
    asked, after_it = VISIT.split("  - {id: fins, ")[0], VISIT[VISIT.index("  - {id: isolate") :]
    reading = ("  - {id: fins, kind: read, say: Give it., quantity: temperature, unit: degC, plausible: [-40, 60], "
               "expected: [0, 5], over_range: look, unsteady: look}\n")  # fmt: skip
    site = f"{asked}{reading}{after_it}"
    scene = Scene(book(site)).open().words("noisy", "next step")
    verdict = Verdict.PROPOSED if sure else Verdict.ASKED_AGAIN
    scene.tell(Utterance(verdict, Sense.NUMBER, "", 40.0, "degC", words="and it is up at forty degrees", engine="t",
                         sure=sure, started=scene.now + 1, ended=scene.now + 2))  # fmt: skip
    assert not scene.state.besides


def test_behind_a_locked_plug_it_is_said_and_left() -> None:
    lines = (*END[:3], "locked")
    scene = after(*FINS, "it is also noisy", *GATE, *OPENS, *lines)
    said = [e.event.text for e in scene.record if isinstance(e.event, Say)]
    assert any("You also said: noisy. That is in the record." in one for one in said)
    assert said_besides(scene)[-1] == ("noisy", "it is also noisy", "told")
    assert scene.state.outcome == "done"


def test_of_two_complaints_at_the_start_the_other_comes_later() -> None:
    scene = Scene(book(VISIT)).open().words("it is warm and it rattles")
    assert scene.said == "Was that too warm or noisy?"
    scene.words("too warm")
    assert scene.state.step.id == "look"  # type: ignore[union-attr]  # there is one
    assert [one[0] for one in scene.state.besides] == ["noisy"]


def test_a_bystander_adds_nothing() -> None:
    scene = after(*FINS)
    far = Utterance(Verdict.NOT_FOR_ME, words="my coffee is cold too, and it is so loud", engine="t", voice="other",
                    started=scene.now + 1, ended=scene.now + 2)  # fmt: skip
    scene.tell(far, 3.0)
    assert not scene.state.besides


def test_it_outlives_a_stop_and_other_rules() -> None:
    scene = after(*FINS, "it is also noisy")
    again = rebuilt(start(scene.book, ENGLISH), scene.record)
    assert again.besides == scene.state.besides == (("noisy", "it is also noisy"),)
    scene.tell(Resumed("stopped"))
    assert scene.state.besides
    scene.words("clean")


def test_who_watches_is_told() -> None:
    scene = after(*FINS, "it is also noisy")
    told = [telling.line(one) for one in scene.record if isinstance(one.event, AlsoSaid)]
    assert [(one.text, one.aside) for one in told if one is not None] == [("noisy", "noted for later")]


@pytest.mark.parametrize("line", ["nothing else", "skip it"])
def test_nothing_else_leaves_what_was_kept(line: str) -> None:
    """'Nothing else' leaves all of it; 'skip it' the one that is offered."""
    scene = after(*FINS, "it is noisy and wet too", *GATE, *OPENS, *END, line)
    left = [means for means, _, now in said_besides(scene) if now == "left"]
    assert left == (["noisy", "wet"] if line == "nothing else" else ["noisy"])
    assert (scene.state.outcome == "done") is (line == "nothing else")
