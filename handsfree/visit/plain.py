"""The questions of plain steps: a step to do, a caution, an answer, a wait. One row each, in `ROWS`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from handsfree.dialogue.question import Consequence, Question
from handsfree.journal.events import AnswerTaken, CautionTaken, EvidenceTaken, Utterance
from handsfree.language.meaning import EMERGENCY, WAYS_OUT, YES_NO, Listening, Sense, beside
from handsfree.language.tokens import capital
from handsfree.procedure import model
from handsfree.visit import besides
from handsfree.visit.facts import learn
from handsfree.visit.flow import Flow
from handsfree.visit.movement import forward
from handsfree.visit.speaking import answer_words, choices, duration, not_taken, result_words
from handsfree.visit.state import Awaiting, Form, Overlay, Result
from handsfree.visit.steps import finding_words, present, results_here
from handsfree.visit.wishes import affirms, denies, done, is_command, onward, take, take_answer, way_out

#: Before the lock number is known there is no step to move on from.
BEFORE = (
    "say again", "stand by", "what can i say", "stop the visit", "power is on", "faster", "slower", "louder", "softer",
    "help", "stop", "short form", "usual form", "full form", *EMERGENCY,
)

QuestionRow = Question[Flow, Utterance]
QuestionRows = dict[Awaiting | Overlay, QuestionRow]


def always(flow: Flow) -> Listening:
    """The phrases that always work, and nothing else."""
    return Listening()


def commands(*names: str) -> Callable[[Flow], Listening]:
    """These and no others."""
    return lambda flow: Listening(commands=names)


def also(*names: str) -> Callable[[Flow], Listening]:
    """These besides the phrases that always work."""
    return lambda flow: Listening(also=names)


def asks(key: str) -> Callable[[Flow], str]:
    return lambda flow: flow.sentence(key)


def says(key: str, role: str = "question") -> Callable[[Flow], None]:
    return lambda flow: flow.prompt(key, role)


def called(*names: str) -> Callable[[Flow], tuple[str, ...]]:
    """Commands in their first wording: what one may say."""
    return lambda flow: tuple(flow.state.language.commands[name][0] for name in names)


def ways_of_yes(flow: Flow) -> tuple[str, ...]:
    """What else may be said if 'affirm' was not heard and a plain yes counts: some voices' 'affirm' is never heard."""
    return (*flow.state.language.commands["affirm"][1:2], *called("yes", "no")(flow))


# ---- a step to be done ----------------------------------------------------------------------------------------------


def _says_done(flow: Flow) -> None:
    step = flow.state.step
    assert step is not None
    if isinstance(step, model.Finding):
        flow.say(finding_words(flow, step), "step")
    elif isinstance(step, model.Handover):
        flow.prompt("handover", "step", to=step.to, text=step.say)
        flow.prompt("summary", "step")
        here = results_here(flow)
        for name in step.summary:  # the record has them all
            if name in here:
                flow.prompt("summary-line", "step", name=_called(flow, name), value=_brought(flow, name, here[name]))
        if not here.keys() >= set(step.summary):
            flow.prompt("summary-rest", "step")
    else:
        sound = _sound(flow, step)
        cue = flow.cue("taken") if isinstance(step, model.Evidence) and not sound else ""
        flow.say(f"{flow.step_words(step)}{cue}", "step", sound=sound)


def _sound(flow: Flow, step: model.Step) -> str:
    """The writer's recording speaks the whole sentence."""
    return step.own_sound if flow.step_words(step) == step.say else ""


def _called(flow: Flow, name: str) -> str:
    step = flow.state.procedure.step(name)
    return step.quantity if isinstance(step, model.Read) else name.replace("-", " ")


def _brought(flow: Flow, name: str, result: Result) -> str:
    if isinstance(flow.state.procedure.step(name), model.Call):
        return flow.sentence(f"outcome-{result.text.replace(' ', '-')}")
    return result_words(flow.state.language, result)


def _takes_done(flow: Flow, utterance: Utterance) -> bool:
    step = flow.state.step
    if not done(utterance):
        return False
    if isinstance(step, model.Evidence):
        taken = is_command(utterance, "done") or flow.state.arrived == step.id
        flow.emit(EvidenceTaken(flow.state.path, step.id, step.what, taken))
        take(flow, Result(step.what) if taken else not_taken(flow.state.language))
        flow.heard(flow.sentence("evidence-taken" if taken else "evidence-left"))
    forward(flow)
    return True


def _asks_done(flow: Flow) -> str:
    return flow.sentence("need-evidence" if isinstance(flow.state.step, model.Evidence) else "need-done")


def _may_be_done(flow: Flow) -> tuple[str, ...]:
    photo = isinstance(flow.state.step, model.Evidence)
    return called(*(("done", "next step", "say again") if photo else ("next step", "say again", "go back")))(flow)


# ---- a caution ------------------------------------------------------------------------------------------------------


def _says_caution(flow: Flow) -> None:
    """In full once per visit, then by its name; in full again for anybody who asks for it."""
    step, cuttable = flow.state.step, flow.may_cut
    assert isinstance(step, model.Caution)
    known = step.say in flow.state.warned and not flow.again
    name = step.short or step.id.replace("-", " ")
    text = flow.sentence("signal-again", name=name.rstrip(".")) if known else step.say
    signal = flow.sentence(f"signal-{step.level}", text=text)
    flow.say(f"{signal}{flow.cue('understood')}", "caution", cuttable=cuttable)


def _takes_understood(flow: Flow, utterance: Utterance) -> bool:
    step = flow.state.step
    assert isinstance(step, model.Caution)
    if not is_command(utterance, "understood"):
        return False
    flow.emit(CautionTaken(flow.state.path, step.id, step.level))
    flow.change(warned=flow.state.warned | {step.say})
    forward(flow)
    return True


# ---- an answer ------------------------------------------------------------------------------------------------------


def _ask(flow: Flow) -> model.Ask:
    assert isinstance(flow.state.step, model.Ask)
    return flow.state.step


def _says_answer(flow: Flow) -> None:
    """The choices are read in the full form and on a repeat; otherwise only after a miss or on request."""
    step = _ask(flow)
    text, sound = flow.step_words(step), _sound(flow, step)
    if not sound and (flow.state.form is Form.FULL or flow.again):
        text = f"{text} {flow.sentence('choices', choices=choices(flow.state.language, answer_words(step)))}"
    flow.say(text, "step", sound=sound)


def _hears_answer(flow: Flow) -> Listening:
    answers = _ask(flow).answers
    phrases = tuple(words for answer in answers for words in (answer.say, *answer.also))
    yes_no = tuple(dict.fromkeys(answer.stands_for for answer in answers if answer.stands_for))
    named = beside(phrases, flow.state.language.commands)
    return Listening(phrases=phrases, commands=named, also=(*yes_no, *WAYS_OUT), gist=_ask(flow).gist)


def _takes_answer(flow: Flow, utterance: Utterance) -> bool:
    step = _ask(flow)
    if out := way_out(utterance):
        return _takes_way_out(flow, step, out)
    answer = next((each for each in step.answers if _meant(each, utterance)), None)
    if answer is None:
        return False
    flow.emit(AnswerTaken(flow.state.path, step.id, answer.say))
    take_answer(flow, Result(answer.say))
    if step.fact is not None:
        learn(flow, step.fact, Result(answer.say), step.lasting)
    besides.keeps_both(flow, utterance)
    besides.taken_up(flow, answer)
    flow.tells(answer.tells)
    # what was just affirmed is not called something else: 'Stops?', 'yes', 'Silent.'
    said = utterance.text if flow.affirmed and utterance.sense == Sense.PHRASE else answer.say
    flow.heard(flow.sentence("answer-taken", answer=said.capitalize()))
    forward(flow, answer.go, answer.makes)
    return True


def _meant(answer: model.Answer, utterance: Utterance) -> bool:
    if utterance.sense == Sense.PHRASE:
        return utterance.text in (answer.say, *answer.also)
    return answer.stands_for is not None and is_command(utterance, answer.stands_for)


def _takes_way_out(flow: Flow, step: model.Ask, out: str) -> bool:
    """Goes where the procedure says; if it does not say, to what follows, if any answer leads there."""
    there, go = model.way_out_of(step, out)
    if not there:
        flow.prompt("no-way-out", "refusal", asks=_asks_answer(flow))
        return True
    flow.emit(AnswerTaken(flow.state.path, step.id, out))
    take_answer(flow, Result(out, state=out))
    flow.heard(flow.sentence(f"way-{out.replace(' ', '-')}"))
    forward(flow, go)
    return True


#: With more answers than this nobody remembers the first; a question for one's own words needs only examples.
MOST_READ, EXAMPLES = 5, 3


def _in_own_words(step: model.Ask) -> bool:
    return bool(step.gist) and len(step.answers) > MOST_READ


def _asks_answer(flow: Flow) -> str:
    """'Dry or soaked?'"""
    step, language = _ask(flow), flow.state.language
    words = answer_words(step)
    if _in_own_words(step):
        asks = flow.sentence("short-own-words", choices=choices(language, words[:EXAMPLES]))
        return f"{step.short or step.say} {asks}"
    return flow.sentence("short-choices", choices=capital(choices(language, words)))


def _may_answer(flow: Flow) -> tuple[str, ...]:
    own = _in_own_words(_ask(flow))
    return called("cannot tell", "what can i say" if own else "not fitted", "say again")(flow)


# ---- a complaint that was kept ------------------------------------------------------------------------------------------


def _offers(flow: Flow) -> str:
    return flow.sentence("also-said", what=flow.state.besides[0][0])


def _hears_offer(flow: Flow) -> Listening:
    """Yes, no, or another answer of the step."""
    now = _hears_answer(flow)
    return replace(now, also=tuple(dict.fromkeys((*now.also, *YES_NO))))


def _takes_offer(flow: Flow, utterance: Utterance) -> bool:
    if denies(utterance) or way_out(utterance):
        besides.left(flow)
        flow.change(awaiting=besides.asked_first(flow, _ask(flow)))
        present(flow)
        return True
    if affirms(utterance):
        utterance = replace(utterance, sense=Sense.PHRASE, text=flow.state.besides[0][0])
    return _takes_answer(flow, utterance)


# ---- waits ----------------------------------------------------------------------------------------------------------


def wait_left(flow: Flow) -> str:
    """The rest of the wait, aloud: to the minute while there are more than two, then to five seconds."""
    seconds = max(flow.state.wait_ends - flow.now, 0.0)
    whole = 60.0 if seconds > 120 else 5.0
    return duration(flow.state.language, max(round(seconds / whole), 1) * whole if seconds > 0 else 0.0)


def _takes_wait(flow: Flow, utterance: Utterance) -> bool:
    step = flow.state.step
    assert isinstance(step, model.Wait)
    if not onward(utterance):
        return False
    if step.firm:
        flow.prompt("wait-firm", "refusal", time=wait_left(flow))
    else:
        flow.change(awaiting=Awaiting.CUT_WAIT)
        present(flow)
    return True


def _takes_cut_wait(flow: Flow, utterance: Utterance) -> bool:
    if affirms(utterance):
        seconds = max(flow.state.wait_ends - flow.now, 0.0)
        take(flow, Result(f"cut short, {seconds:.0f} s left", seconds, "second", "cut short"))
        forward(flow)
    elif denies(utterance):
        flow.change(awaiting=Awaiting.WAIT)
        present(flow)
    else:
        return False
    return True


def _nothing(flow: Flow, *_: Any) -> bool:
    return True


ROWS: QuestionRows = {
    Awaiting.NOTHING: Question(lambda flow: None, always, _nothing, lambda flow: ""),
    Awaiting.DONE: Question(
        _says_done, also("done"), _takes_done, _asks_done, _may_be_done
    ),
    Awaiting.UNDERSTOOD: Question(
        _says_caution, also("understood"), _takes_understood, asks("need-understood"),
        called("understood", "say again", "stand by"), Consequence.GUARDED,
    ),
    Awaiting.ANSWER: Question(
        _says_answer, _hears_answer, _takes_answer, _asks_answer, _may_answer, Consequence.ANSWER,
    ),
    Awaiting.ALSO_SAID: Question(
        lambda flow: flow.say(_offers(flow), "question"), _hears_offer, _takes_offer, _offers,
        called("yes", "no", "say again"), Consequence.ANSWER,
    ),
    Awaiting.WAIT: Question(
        lambda flow: flow.prompt("wait-left", "step", time=wait_left(flow)), also("done"), _takes_wait,
        lambda flow: flow.sentence("wait-left", time=wait_left(flow)), called("how long", "next step", "note"),
    ),
    Awaiting.CUT_WAIT: Question(
        lambda flow: flow.prompt("wait-cut", "question", time=wait_left(flow), cue=flow.cue("affirm")), also(*YES_NO),
        _takes_cut_wait, asks("need-affirm"), ways_of_yes, Consequence.ANSWER,
    ),
}  # fmt: skip
