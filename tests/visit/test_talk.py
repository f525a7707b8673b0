"""People's words, facts, forms, proposals: what the dialogue makes of them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.journal.events import (
    Alarm,
    AnswerTaken,
    Attached,
    EvidenceTaken,
    FactUsed,
    HandedOver,
    Opened,
    PromptEnded,
    ReadingTaken,
    Resumed,
    Say,
    StepPassed,
    Utterance,
)
from handsfree.language import base
from handsfree.language.meaning import EMERGENCY, Sense, Verdict
from handsfree.visit.machine import start
from handsfree.visit.rebuilt import rebuilt
from handsfree.visit.speaking import result_words
from handsfree.visit.state import Awaiting, Overlay
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, book

TALK = """
procedure: talk
title: Talk
steps:
  - id: floor
    kind: ask
    say: Look at the floor. Is it dry?
    fact: floor
    unknown: ask-desk
    absent: grille
    answers:
      dry: {stands_for: "yes", go: grille}
      soaked: {stands_for: "no", go: mop, makes: {site: wet}}
  - {id: mop, kind: instruct, say: Mop the floor., short: Mop., unless: {site: dry}, spoils: [floor], go: grille}
  - {id: ask-desk, kind: instruct, say: Call the desk.}
  - {id: grille, kind: instruct, say: Take the grille off., makes: {grille: 'off'}, unless: {grille: 'off'}}
  - id: shown
    kind: read
    say: Give the temperature.
    quantity: temperature
    unit: degF
    plausible: [0, 100]
    fact: shown
    keeps: 10 min
  - {id: warn, kind: caution, level: warning, say: The fins are sharp., short: Sharp fins.}
  - id: deep
    kind: ask
    say: How deep is the ice?
    answers: {thin: shown-again, thick: shown-again}
  - id: shown-again
    kind: read
    say: Give the temperature again.
    quantity: temperature
    unit: degC
    plausible: [-20, 60]
    fact: shown
  - id: cold
    kind: decide
    say: The temperature decides.
    cases: [{when: shown < 46, go: warn-again}]
    otherwise: warn-again
  - {id: warn-again, kind: caution, level: warning, say: The fins are sharp., short: Sharp fins.}
  - id: floor-again
    kind: ask
    say: Is the floor dry now?
    fact: floor
    answers: {dry: grille-again, soaked: grille-again}
  - {id: grille-again, kind: instruct, say: Take the grille off now., unless: {grille: 'off'}}
  - {id: rest, kind: wait, lasts: 4 min, because: it must settle, say: Let it settle.}
  - {id: done, kind: end, outcome: done, say: That was it.}
"""


def talk(*lines: str) -> Scene:
    return Scene(book(TALK)).open().words(*lines)


def events(scene: Scene, kind: type) -> list[object]:
    return [entry.event for entry in scene.record if isinstance(entry.event, kind)]


def said(scene: Scene) -> list[str]:
    return [effect.text for effect in scene.last if isinstance(effect, Say)]


def heard(verdict: Verdict, words: str, *, sense: Sense | str = "", text: str = "", value: float | None = None) -> Utterance:
    return Utterance(verdict, sense, text, value, words=words, engine="test", sure=0.6)


# ---- yes and no, done ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("words", "answer", "step"), [
    ("yes", "Dry.", "grille"), ("no", "Soaked.", "mop"), ("yeah", "Dry.", "grille"),
])  # fmt: skip
def test_yes_and_no_say_what_they_were_taken_for(words: str, answer: str, step: str) -> None:
    scene = talk(words)
    assert scene.step == step
    assert said(scene)[0].startswith(answer)
    assert events(scene, AnswerTaken)[-1].answer == answer.lower().rstrip(".")  # type: ignore[attr-defined]  # of that kind


@pytest.mark.parametrize(("words", "answer"), [
    ("yeah it is", "Dry."), ("Yes it is.", "Dry."), ("no it isn't", "Soaked."), ("No, it is not.", "Soaked."),
])  # fmt: skip
def test_yeah_it_is_counts_before_an_isolation_and_never_where_it_begins(words: str, answer: str) -> None:
    """Whether something runs decides if the switch can prove it dead: there only 'affirm' and 'negative' count."""
    asks = "  - {id: cord, kind: ask, say: Dry?, answers: {dry: {stands_for: 'yes'}, soaked: {stands_for: 'no'}}}\n"
    scene = Scene(book(data.WHOLE.replace("  - id: isolate\n", f"{asks}  - id: isolate\n")))
    scene.ran = None
    scene.open().words("next step", "warm", "43", words)
    assert events(scene, AnswerTaken)[-1].answer == answer.lower().rstrip(".")  # type: ignore[attr-defined]  # of that kind
    assert (scene.step, scene.state.awaiting) == ("isolate", Awaiting.SEEN)
    scene.words(words)
    assert scene.state.awaiting is Awaiting.SEEN
    assert scene.said.startswith(ENGLISH.prompt("short-seen"))


def test_what_was_heard_stands_in_front_of_the_next_sentence_and_in_no_prompt_of_its_own() -> None:
    scene = talk("yes")
    (say,) = [effect for effect in scene.last if isinstance(effect, Say)]
    assert (say.text, say.text[say.front :].strip()) == ("Dry. Take the grille off.", "Take the grille off.")


@pytest.mark.parametrize("words", ["done", "ready", "got it", "finished", "it is done"])
def test_done_moves_on_where_nothing_is_at_stake(words: str) -> None:
    assert talk("yes", words).step == "shown"


def test_yes_does_not_move_on_from_work() -> None:
    scene = talk("yes", "yes")
    assert scene.step == "grille"
    assert said(scene) == ["Say next step when it is done."]


@pytest.mark.parametrize("words", ["yes", "done", "ready", "okay", "got it"])
def test_no_word_of_habit_counts_at_a_gate_a_caution_or_a_proof(words: str) -> None:
    whole = Scene(book(data.WHOLE)).open().words("next step", "warm", "43.5")
    for opens, at in ((None, "isolate"), ("isolated lock four two", "proof"), ("nothing runs", "warn")):
        if opens is not None:
            whole.words(opens)
        before = (whole.step, whole.power, whole.state.awaiting)
        whole.words(words)
        assert (whole.step, whole.power, whole.state.awaiting) == before
        assert before[0] == at
        assert whole.said, "never silence"


PHOTO = """
procedure: photo
title: A photo
steps:
  - {id: wiring, kind: evidence, what: photo, say: Photograph the wiring., makes: {wiring-photo: taken}}
  - {id: again, kind: evidence, what: photo, say: Photograph it now., unless: {wiring-photo: taken}}
  - id: desk
    kind: handover
    to: the desk
    say: Hand it over.
    summary: [wiring]
  - {id: done, kind: end, outcome: handed over, say: Done.}
"""


def test_next_step_at_a_photo_goes_on_without_it_and_the_record_says_so() -> None:
    scene = Scene(book(PHOTO)).open()
    assert scene.said.endswith("Photograph the wiring. Say done when it is taken.")
    scene.words("next step")
    assert scene.step == "again", "nobody counts on a photo that was not taken"
    assert scene.said.startswith("Noted: not taken.")
    (event,) = events(scene, EvidenceTaken)
    assert (event.step, event.taken) == ("wiring", False)  # type: ignore[attr-defined]  # of that kind
    scene.words("go ahead")
    (made,) = events(scene, HandedOver)
    assert made.summary == (("wiring", "not taken"),)  # type: ignore[attr-defined]  # of that kind
    assert scene.state == scene.again()


@pytest.mark.parametrize("words", ["done", "photo taken", "got it", "got it, next", "I took the photo"])
def test_a_photo_is_taken_when_somebody_says_so(words: str) -> None:
    scene = Scene(book(PHOTO)).open().words(words)
    assert scene.step == "desk"
    assert [event.taken for event in events(scene, EvidenceTaken)] == [True]  # type: ignore[attr-defined]  # of that kind


def test_what_is_no_answer_at_a_photo_hears_both_ways_on() -> None:
    scene = Scene(book(PHOTO)).open().words("yes")
    assert scene.said == "Say done when it is taken. Next step leaves it out."
    assert Scene(book(PHOTO)).open().words("next step", "done").said.startswith("Noted.")


def test_a_photo_that_came_in_is_taken_whatever_is_said() -> None:
    """'The photo is in the record. Noted: not taken.'"""
    scene = Scene(book(PHOTO)).open()
    scene.tell(Attached("wiring", "a.jpg", "0"))
    scene.words("next step")
    assert (scene.step, scene.said.startswith("Noted. ")) == ("desk", True)
    assert [event.taken for event in events(scene, EvidenceTaken)] == [True]  # type: ignore[attr-defined]  # of that kind
    late = Scene(book(PHOTO)).open().words("next step")
    late.tell(Attached("wiring", "a.jpg", "0"))
    late.words("next step")
    (made,) = events(late, HandedOver)
    assert made.summary == (("wiring", "photo"),)  # type: ignore[attr-defined]  # of that kind
    log = Scene(book(PHOTO)).open()
    log.tell(Attached("wiring", "log.csv", "0", amiss="no times"))
    assert log.words("next step").said.startswith("Noted: not taken.")


def test_without_the_photo_nobody_counts_on_what_its_step_changed() -> None:
    """'Take the grille off and photograph': the grille is off, and the visit still took it for on."""
    text = """
procedure: photo
title: A photo
steps:
  - {id: begin, kind: instruct, say: Begin., makes: {grille: 'on'}}
  - {id: wiring, kind: evidence, what: photo, say: Grille off. Photograph it., makes: {grille: 'off'}}
  - {id: put-on, kind: instruct, say: Put the grille on., unless: {grille: 'on'}}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
    scene = Scene(book(text)).open().words("done", "next step")
    assert (scene.step, "grille" in scene.state.facts) == ("put-on", False)


# ---- ways out --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("words", "step"), [("can't tell", "ask-desk"), ("not fitted", "grille"), ("skip it", "ask-desk")])
def test_who_cannot_answer_is_led_where_the_procedure_says_and_the_record_keeps_it(words: str, step: str) -> None:
    scene = talk(words)
    assert scene.step == step
    assert events(scene, AnswerTaken)[-1].answer in ("cannot tell", "not fitted", "skip it")  # type: ignore[attr-defined]  # of that kind


def test_a_reading_nobody_can_take_goes_on_unknown_and_decides_nothing() -> None:
    scene = talk("yes", "done", "can't tell")
    assert scene.step == "warn"
    assert events(scene, ReadingTaken)[-1].state == "cannot tell"  # type: ignore[attr-defined]  # of that kind
    assert "shown" not in scene.state.facts


def test_a_question_without_a_way_out_says_that_it_is_needed() -> None:
    scene = talk("yes", "done", "50", "understood", "can't tell")
    assert scene.step == "deep"
    assert "I need this one" in scene.said


# ---- facts -----------------------------------------------------------------------------------------------------------


def through(*, pause: float = 1.0) -> Scene:
    scene = talk("yes", "done", "50", "understood")
    scene.words("thin", after=pause)
    return scene


def test_what_is_known_is_not_asked_again_in_another_unit_or_another_step() -> None:
    scene = through()
    assert scene.step == "warn-again"
    used = events(scene, FactUsed)[-1]
    assert (used.fact, used.value) == ("shown", "10 degC")  # type: ignore[attr-defined]  # of that kind
    scene.words("understood")
    assert scene.step == "rest", "the floor and the grille are known"
    assert [event.step for event in events(scene, StepPassed)] == ["grille-again"]  # type: ignore[attr-defined]  # of that kind


def test_a_fact_grows_stale() -> None:
    assert through(pause=700.0).step == "shown-again"


def test_what_a_step_spoils_is_asked_again() -> None:
    scene = talk("no", "done", "done", "50", "understood", "thin", "understood")
    assert scene.step == "floor-again"


def test_a_correction_takes_the_fact_back() -> None:
    scene = talk("yes", "done", "50", "correction")
    assert scene.step == "shown"
    assert "shown" not in scene.state.facts


PROOF = """
procedure: proof
title: A first value that is known
steps:
  - id: before
    kind: read
    say: Give the temperature.
    quantity: temperature
    unit: degC
    plausible: [-20, 60]
    fact: inside
    keeps: 15 min
    series: [food]
  - {id: work, kind: instruct, say: Close the door.}
  - id: first
    kind: read
    say: Give the temperature again.
    quantity: temperature
    unit: degC
    plausible: [-20, 60]
    fact: inside
    series: [proof, food]
  - id: next
    kind: read
    say: The temperature now.
    quantity: temperature
    unit: degC
    plausible: [-20, 60]
    series: [proof, food]
  - {id: done, kind: end, outcome: done, say: That was it.}
"""


def test_a_known_reading_counts_in_a_series_by_the_time_it_was_taken() -> None:
    scene = Scene(book(PROOF)).open()
    scene.words("8")
    scene.words("done", after=240.0)
    assert scene.step == "next"
    scene.words("6", after=60.0)
    found = [(one.series, one.step, round(one.minute * 60), one.value) for one in scene.state.series]
    assert found == [
        ("food", "before", 1, 8.0), ("proof", "first", 1, 8.0), ("proof", "next", 301, 6.0), ("food", "next", 301, 6.0),
    ], "the first value of the proof was taken four minutes before it began; for the food it is there once"  # fmt: skip


def test_what_a_call_sheet_gives_is_no_value_of_a_series() -> None:
    scene = Scene(book(PROOF))
    scene.tell(Opened("v", "proof", "en", "", "", "", "t", "typed", known=(("inside", "8 degC"),)))
    assert (scene.step, scene.state.series) == ("before", ()), "nobody says when it was measured"


def test_a_correction_of_a_known_reading_leaves_nothing_of_it_in_a_series() -> None:
    """The proof would count a value that was taken back."""
    scene = Scene(book(PROOF)).open()
    scene.words("8")
    scene.words("done", after=60.0)
    scene.words("correction", "9", "done")
    assert [(one.series, one.value) for one in scene.state.series] == [("food", 9.0), ("proof", 9.0)]
    assert scene.state == scene.again()


# ---- readings --------------------------------------------------------------------------------------------------------


def test_only_what_is_implausible_or_near_a_limit_is_affirmed() -> None:
    assert talk("yes", "done", "70").step == "warn"
    near = talk("yes", "done", "46.5")
    assert near.state.awaiting is Awaiting.READING_AFFIRM
    assert talk("yes", "done", "170").state.awaiting is Awaiting.READING_AFFIRM


def test_a_number_said_where_one_is_to_be_affirmed_is_a_correction() -> None:
    scene = talk("yes", "done", "46.5", "70")
    assert scene.step == "warn"
    assert events(scene, ReadingTaken)[-1].value == 70  # type: ignore[attr-defined]  # of that kind


def test_yes_affirms_a_reading_and_the_same_number_again_does() -> None:
    for words in ("yes", "affirm", "46.5"):
        scene = talk("yes", "done", "46.5", words)
        assert scene.step == "warn"
        assert events(scene, ReadingTaken)[-1].affirmed  # type: ignore[attr-defined]  # of that kind


# ---- proposals -------------------------------------------------------------------------------------------------------


def test_what_is_likely_is_read_back_and_counts_once_it_is_affirmed() -> None:
    scene = talk()
    scene.tell(heard(Verdict.PROPOSED, "try", sense=Sense.PHRASE, text="dry"))
    assert (said(scene), scene.step) == (["Dry?"], "floor")
    assert scene.words("yes").step == "grille"
    number = talk("yes", "done")
    number.tell(heard(Verdict.PROPOSED, "fifty", sense=Sense.NUMBER, text="50", value=50.0))
    assert said(number) == ["Fifty degrees Fahrenheit, five zero?"]
    assert number.words("affirm").step == "warn"
    assert events(number, ReadingTaken)[-1].affirmed  # type: ignore[attr-defined]  # of that kind


def test_a_proposal_denied_or_answered_otherwise_is_not_taken() -> None:
    for words, step in (("no", "floor"), ("soaked", "mop")):
        scene = talk()
        scene.tell(heard(Verdict.PROPOSED, "try", sense=Sense.PHRASE, text="dry"))
        assert scene.words(words).step == step
        assert scene.state.overlay is Overlay.NONE


def test_nothing_is_proposed_at_a_gate() -> None:
    whole = Scene(book(data.WHOLE)).open().words("next step", "warm", "43.5")
    whole.tell(heard(Verdict.PROPOSED, "isolated", sense=Sense.GATE, text="isolated, lock four two"))
    assert (whole.power, whole.state.overlay) == ("ISOLATING", Overlay.NONE)
    assert not whole.state.interlock.held


# ---- never silence ---------------------------------------------------------------------------------------------------


def test_its_person_gets_the_question_in_short_and_a_bystander_nothing() -> None:
    scene = talk()
    scene.tell(PromptEnded(scene.state.said - 1), after=3.0)
    natural = heard(Verdict.NOT_FOR_ME, "bit damp at the outlet")
    scene.tell(replace(natural, started=scene.now + 1, ended=scene.now + 2), after=2.0)
    assert said(scene) == ["Dry or soaked?"]
    other = replace(natural, words="we are meeting her sister at the restaurant tonight")
    scene.tell(replace(other, started=scene.now + 1, ended=scene.now + 3), after=3.0)
    assert said(scene) == []
    scene.tell(replace(natural, voice="other", started=scene.now + 1, ended=scene.now + 2), after=2.0)
    assert said(scene) == []


EARLY = "said before the last answer was acted on"


def test_the_programs_own_voice_gets_no_answer() -> None:
    scene = talk()
    scene.tell(PromptEnded(scene.state.said - 1))
    scene.tell(Utterance(Verdict.NOT_FOR_ME, words="is it dry", reason="the program's own voice"))
    assert said(scene) == []


@pytest.mark.parametrize("unsure", [False, True])
def test_what_came_too_early_acts_never_and_is_asked_for_again_once_nothing_is_being_said(unsure: bool) -> None:
    """While the program speaks, its question is still to come. After it, silence would leave its person waiting."""
    scene = talk()
    early = replace(heard(Verdict.NOT_FOR_ME, "dry", sense=Sense.PHRASE, text="dry"), sure=0.98, reason=EARLY)
    if unsure:
        early = replace(heard(Verdict.NOT_FOR_ME, "bit damp"), reason=EARLY)
    scene.tell(early)
    assert said(scene) == []
    scene.tell(PromptEnded(scene.state.said - 1))
    scene.tell(early)
    assert (said(scene), scene.step) == (["Dry or soaked?"], "floor")


@pytest.mark.parametrize("over", ["stand by", "note"])
def test_what_came_too_early_is_not_asked_for_while_somebody_is_left_in_peace(over: str) -> None:
    scene = talk(over)
    scene.tell(PromptEnded(scene.state.said - 1))
    scene.tell(replace(heard(Verdict.NOT_FOR_ME, "dry", sense=Sense.PHRASE, text="dry"), sure=0.98, reason=EARLY))
    assert said(scene) == []


def test_a_denial_that_came_too_early_at_a_gate_is_answered() -> None:
    whole = Scene(book(data.WHOLE)).open().words("next step", "warm", "43.5")
    whole.tell(PromptEnded(whole.state.said - 1))
    denial = heard(Verdict.NOT_FOR_ME, "it is not isolated", sense=Sense.DENIAL, text="negation")
    whole.tell(replace(denial, reason=EARLY))
    assert said(whole)
    assert whole.power == "ISOLATING"


# ---- help, stop, alarms ----------------------------------------------------------------------------------------------


def test_help_says_what_is_asked_and_what_one_may_say() -> None:
    scene = talk("help")
    assert scene.said.startswith("Dry or soaked? You can say ")
    assert "I am hurt" in scene.said


def test_stop_means_be_quiet_and_the_visit_goes_on() -> None:
    scene = talk("stop")
    assert (said(scene), scene.state.overlay, scene.step) == ([], Overlay.NONE, "floor")
    assert talk("stop the visit").state.overlay is Overlay.STOP_ONCE


@pytest.mark.parametrize("kind", EMERGENCY)
@pytest.mark.parametrize("over", ["", "stand by", "stop the visit"])
def test_an_alarm_is_answered_at_once_whatever_is_laid_over_and_stays_in_the_record(kind: str, over: str) -> None:
    scene = talk(*filter(None, (over,)), kind)
    (alarm,) = events(scene, Alarm)
    assert (alarm.kind, alarm.isolation) == (kind, "LIVE")  # type: ignore[attr-defined]  # of that kind
    assert "Call the local emergency number." in scene.said
    assert "Not isolated." in scene.said
    assert scene.state.overlay is Overlay.STAND_BY
    assert scene.words("go ahead").step == "floor"


def test_an_alarm_leaves_the_isolation_as_it_stands() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "43.5", "isolated lock four two", "nothing runs")
    scene.tell(heard(Verdict.PROPOSED, "fire", sense=Sense.COMMAND, text="fire"))
    assert (scene.power, "Isolated." in scene.said) == ("ISOLATED", True)


# ---- pace ------------------------------------------------------------------------------------------------------------


def test_the_choices_are_read_in_the_full_form_and_when_asked_for() -> None:
    scene = talk()
    assert "Say dry or soaked." not in [entry.event.text for entry in scene.record if isinstance(entry.event, Say)][-1]
    assert "Say dry or soaked." in scene.words("say again").said
    scene.words("full form", "no", "done", "done", "50", "understood")
    assert scene.said == "Fifty" or scene.said.endswith("Say thin or thick.")


def test_the_short_form_says_the_name_and_the_whole_when_asked_again() -> None:
    scene = talk("short form", "no")
    assert said(scene) == ["Soaked. Mop."]
    assert said(scene.words("say again")) == ["Mop the floor."]
    assert said(scene.words("done")) == ["Grille."]


def test_a_caution_is_read_in_full_once_and_then_by_its_name() -> None:
    scene = through()
    assert said(scene)[-1] == "Thin. Warning. As before: Sharp fins."
    assert scene.step == "warn-again"
    assert "The fins are sharp." in scene.words("say again").said


def test_a_decision_that_only_branches_is_silent() -> None:
    assert "The temperature decides." not in " ".join(e.event.text for e in through().record if isinstance(e.event, Say))


# ---- what is not read back -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("written", "said_"), [
    ("Okay.", "Dry or soaked?"), ("It is dry.", "Dry or soaked?"), ("Soccer.", "Soaked?"), ("It is soaked.", "Soaked?"),
])  # fmt: skip
def test_plain_words_that_were_written_down_are_not_read_back_as_others(written: str, said_: str) -> None:
    scene = talk()
    scene.tell(heard(Verdict.PROPOSED, written, sense=Sense.PHRASE, text="soaked"))
    assert said(scene) == [said_]


def test_who_says_that_there_is_none_is_told_the_ways_round() -> None:
    scene = talk()
    scene.tell(PromptEnded(scene.state.said - 1))
    unsure = heard(Verdict.NOT_FOR_ME, "there is no floor here")
    scene.tell(replace(unsure, started=scene.now + 1, ended=scene.now + 2), after=2.0)
    assert said(scene) == ["Dry or soaked? Or say not fitted, or can't tell."]


# ---- taking back ------------------------------------------------------------------------------------------------------


def test_a_number_that_is_taken_back_in_the_same_breath_is_not_kept() -> None:
    """'No, seven three eight' at 'seven three nine?': an 'affirm' to the question said again would keep the wrong one."""
    scene = Scene(book(data.WHOLE)).open("").words("next step", "warm", "43", "seven three nine")
    assert scene.state.awaiting is Awaiting.LOCK_AFFIRM
    scene.words("no, seven three eight")
    assert (scene.state.awaiting, scene.state.lock_offered) == (Awaiting.LOCK_NUMBER, ())
    assert scene.said == ENGLISH.prompt("lock-again")
    scene = Scene(book(data.WHOLE)).open("").words("next step", "warm", "200", "no forty eight")
    assert (scene.state.awaiting, scene.state.pending) == (Awaiting.READING, None)
    assert scene.said == ENGLISH.prompt("reading-again")


def test_a_number_that_is_taken_back_too_late_is_told_how() -> None:
    """Where the next thing is asked already, the number is no answer, and 'correction' changes the one before."""
    pause = "  - {id: pause, kind: instruct, say: Wait.}\n  - id: isolate"
    scene = Scene(book(data.WHOLE.replace("  - id: isolate", pause))).open("")
    scene.words("next step", "warm", "43", "sorry forty eight")
    assert scene.said == f"{ENGLISH.prompt('need-done')} {ENGLISH.prompt('say-correction')}"
    scene.words("correction", "48")
    assert scene.step == "pause"


@pytest.mark.parametrize("line", ["seven", "seven three nine one two", "the red one"])
def test_what_is_no_lock_number_is_told_what_one_is(line: str) -> None:
    scene = Scene(book(data.WHOLE)).open("").words("next step", "warm", "43", line)
    assert scene.said == ENGLISH.prompt("lock-asked")


def test_help_offers_nothing_that_was_just_asked() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "43", "isolated lock four two", "help")
    assert "You can say" not in scene.said
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "43", "isolated lock four two", "nothing runs", "help")
    assert scene.said.startswith("Say understood. You can also say: say again or stand by.")


# ---- who is here, what else -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "line",
    ["where am i", "who is here", "whose lock is on", "is it safe now", "are we isolated", "Where was I?", "where were we"],
)
def test_where_am_i_says_whose_locks_are_on_and_no_number(line: str) -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "43", "isolated lock four two", "nothing runs")
    scene.words("understood", line)
    lock = ENGLISH.prompt("lock-left", owner="the first person", source="mains")
    assert scene.said == f"Whole visit, step 7. Isolated. {lock}"
    assert scene.step == "reach"


@pytest.mark.parametrize(
    "line",
    ["what did I say", "What did I say?", "what did you hear", "um, what did I just say", "what was my last answer"],
)
def test_what_did_i_say_gives_the_last_answer_as_it_was_taken(line: str) -> None:
    assert talk(line).said == ENGLISH.prompt("no-answer-yet")
    scene = talk("yes", line)
    assert (scene.said, scene.step) == ("I noted: dry.", "grille")
    scene = talk("yes", "done", "ten celsius", "understood", line)
    assert (scene.said, scene.step) == ("I noted: temperature, fifty degrees Fahrenheit.", "deep")


def test_what_did_i_say_tells_no_answer_that_was_known_or_taken_back() -> None:
    scene = through().words("understood", "what did i say")
    assert scene.said == "I noted: thin.", "the temperature and the floor were known"
    assert talk("can't tell", "what did i say").said == "I noted: cannot tell."
    assert talk("yes", "done", "50", "correction", "what did i say").said == ENGLISH.prompt("answer-taken-back")


def test_what_did_i_say_repeats_what_is_still_to_be_affirmed() -> None:
    near = talk("yes", "done", "46.5")
    asked = near.said
    near.words("what did i say")
    assert (near.said, near.state.awaiting) == (asked, Awaiting.READING_AFFIRM)


def test_what_did_i_say_tells_what_a_proof_was_answered_with() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "43", "isolated lock four two", "nothing runs")
    assert scene.words("understood", "what did i say").said == "I noted: nothing runs."


def test_what_did_i_say_of_an_older_record_breaks_nothing_off_and_speaks_the_language() -> None:
    """The step may be gone from the procedure; and 'cannot tell' is its name, not what anybody says in Spanish."""
    scene = talk("yes", "done", "50")
    newer = Scene(book(TALK.replace("id: shown\n", "id: shown-now\n").replace("when: shown <", "when: shown-now <")))
    newer.state, newer.now = rebuilt(newer.state, scene.record), scene.now
    newer.tell(Resumed("interrupted"))
    newer.words("understood", "what did i say")
    assert (newer.said, newer.state.outcome) == ("I noted: dry.", "")
    state = rebuilt(start(book(TALK), base.load("es")), talk("can't tell").record)
    assert result_words(state.language, state.remembered[("talk",), "floor"]) == state.language.commands["cannot tell"][0]


def test_forget_that_denies_what_is_read_back() -> None:
    near = talk("yes", "done", "46.5", "forget that")
    assert (near.state.awaiting, near.said) == (Awaiting.READING, ENGLISH.prompt("reading-again"))


def test_what_did_i_say_is_no_answer_at_a_gate() -> None:
    """There nobody's own words count."""
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "43", "what did i say")
    assert (scene.step, scene.state.awaiting) == ("isolate", Awaiting.GATE)
    assert "43" not in scene.said
    assert "forty" not in scene.said


def test_affirm_after_a_reading_that_needed_none_answers_no_question() -> None:
    """Out of habit, to 'forty three': it would be a yes to whatever was asked next."""
    text = "procedure: p\ntitle: P\nsteps:\n  - {id: how-warm, kind: read, say: How warm?, " \
        "quantity: air temperature, unit: degC, plausible: [-20, 60]}\n" \
        "  - {id: dry, kind: ask, say: Is it dry?, answers: {dry: {stands_for: yes}, damp: {stands_for: no}}}\n" \
        "  - {id: end, kind: end, outcome: done, say: Done.}\n"
    for habit in ("affirm", "negative"):
        scene = Scene(book(text)).open().words("43", habit)
        assert scene.step == "dry"
        assert scene.said
    assert scene.words("yes").state.outcome == "done"


@pytest.mark.parametrize("line", ["what else", "there is something else", "one more thing"])
def test_a_second_complaint_in_the_middle_is_told_when_it_is_asked_for(line: str) -> None:
    """The question alone left its person to think that nobody had listened."""
    from handsfree.procedure.load import load_book

    scene = Scene(load_book("service-call")).open("").words("the drinks are warm", "understood", line)
    assert scene.said.endswith(ENGLISH.prompt("else-later"))
    assert not scene.words("there is water on the floor").said.endswith(ENGLISH.prompt("else-later"))
    alone = Scene(load_book("condenser-cleaning")).open("").words(line)
    assert ENGLISH.prompt("else-later") not in alone.said


@pytest.mark.parametrize("line", ["what was that", "why is that", "what do I do now"])
def test_a_question_at_a_caution_hears_the_caution(line: str) -> None:
    """'Say understood' is no answer to whoever did not catch it."""
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "43", "isolated lock four two", "nothing runs")
    scene.tell(PromptEnded(scene.state.said - 1))
    scene.words(line)
    assert scene.said == "Warning. The fins are sharp. Say understood."
    assert scene.state.awaiting is Awaiting.UNDERSTOOD


def test_why_at_a_gate_says_what_the_isolation_is_for() -> None:
    """'Most likely the condenser is blocked: 33 percent' is no answer to why the plug comes out."""
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "43", "why")
    assert scene.said == f"Isolation comes now. {ENGLISH.prompt('isolate-need')}"
    assert scene.state.interlock.failures == 0


@pytest.mark.parametrize(("line", "said"), [
    ("I think it is thick as my arm", "Thick?"), ("quite thick at the back", "Thick?"), ("the layer there is thin", "Thin?"),
    ("thin here and thick over there", "Thin or thick?"), ("it is not thick", "Thin or thick?"),
    ("it is hardly thick there", "Thin or thick?"), ("is it thick there", "Thin or thick?"),
    ("it hasn't been thick", "Thin or thick?"), ("nope, it ain't thick", "Thin or thick?"),
    ("I wouldn't call it thick", "Thin or thick?"), ("without any thick layer", "Thin or thick?"),
])  # fmt: skip
def test_an_answer_among_other_words_is_read_back(line: str, said: str) -> None:
    """'Holds all the way round' at 'Holds fast or slips out?': it counts once it is affirmed; what denies, doubts or asks it
    does not."""
    scene = talk("dry", "next step", "40", "understood", line)
    assert scene.said.startswith(said)
    taken = [one for one in scene.record if isinstance(one.event, AnswerTaken) and one.event.step == "deep"]
    assert not taken
    if said == "Thick?":
        assert scene.words("yes").step == "shown-again" or scene.step == "warn-again"
        assert scene.record[-1] is not None


def test_another_way_to_say_the_answer_is_not_something_else() -> None:
    """'Snug' by its sound, and 'it sits snug' by its words: it was asked again, for the answer is called 'holds fast'."""
    asks = "{id: a, kind: ask, say: How does it hold?, answers: {holds fast: {also: [snug]}, slips out: }}"
    ends = "{id: done, kind: end, outcome: done, say: That was it.}"
    scene = Scene(book(f"procedure: p\ntitle: P\nsteps:\n  - {asks}\n  - {ends}\n")).open()
    scene.tell(PromptEnded(scene.state.said - 1))
    scene.tell(heard(Verdict.ASKED_AGAIN, "it sits snug all round", sense=Sense.PHRASE, text="snug"))
    assert scene.said == "Holds fast?"
    scene.tell(heard(Verdict.ASKED_AGAIN, "it sits snug all round", sense=Sense.PHRASE, text="slips out"))
    assert not [one for one in scene.record if isinstance(one.event, AnswerTaken)]


def test_a_proof_takes_no_answer_from_among_other_words() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "43", "isolated lock four two")
    scene.words("well nothing runs in there I guess")
    assert scene.state.overlay is Overlay.NONE
    assert scene.power != "ISOLATED"


@pytest.mark.parametrize(("line", "said"), [
    ("yeah all over the place", "Dry?"), ("no there is a puddle", "Soaked?"),
    ("yes but it is soaked there", "Dry or soaked?"), ("no it is dry", "Dry or soaked?"),
])  # fmt: skip
def test_yes_or_no_before_other_words_is_read_back_as_the_answer_it_stands_for(line: str, said: str) -> None:
    """'No, they were all fine' at "Was anything loose?"; not where the other words name another answer."""
    scene = talk()
    scene.tell(PromptEnded(scene.state.said - 1))
    assert scene.words(line).said.startswith(said)
    assert not [one for one in scene.record if isinstance(one.event, AnswerTaken)]
