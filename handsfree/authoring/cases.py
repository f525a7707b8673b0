"""A decision by voice: which step it depends on, below or above what, or which answer, and where it then leads.

Only the plain comparison of one reading or one answer can be spoken; longer expressions are for the keyboard."""

from __future__ import annotations

from handsfree.authoring.draft import FOLLOWING, DraftStep
from handsfree.authoring.slots import AGREE, finish_slot, hear, hear_step, in_unit, step_names, target_of
from handsfree.authoring.turn import RecorderRow, RecorderTurn, Reply, row
from handsfree.language.meaning import NO, YES, Listening, NumberAsked
from handsfree.procedure.expressions import name_of


def _about(turn: RecorderTurn) -> DraftStep:
    steps = turn.state.draft.steps
    return steps[turn.state.draft.place(int(turn.state.partial["uid"]))]


def _take_step(turn: RecorderTurn, reply: Reply) -> bool:
    uid = step_names(turn).get(reply.phrase)
    if uid is None:
        return False
    turn.change(partial={"uid": uid})
    kind = _about(turn).kind
    if kind not in ("ask", "read"):
        turn.change(partial={})
        turn.prompt("no-reading")
        return True
    turn.ask("case_relation" if kind == "read" else "case_answer")
    return True


def _take_relation(turn: RecorderTurn, reply: Reply) -> bool:
    relation = turn.words.choice("relation").get(reply.phrase)
    if relation is None:
        return False
    turn.change(partial={**turn.state.partial, "relation": relation})
    turn.ask("case_value")
    return True


def _hear_value(turn: RecorderTurn) -> Listening:
    return hear(turn, number=NumberAsked(str(_about(turn).facets.get("unit", ""))))


def _take_value(turn: RecorderTurn, reply: Reply) -> bool:
    step = turn.step
    turn.change(step=_about(turn))
    value = in_unit(turn, reply)
    turn.change(step=step)
    if value is None:
        return False
    name, relation = name_of(_about(turn).id), turn.state.partial["relation"]
    turn.change(partial={"when": f"{name} {relation} {value:g}"})
    turn.ask("case_go")
    return True


def _answers(turn: RecorderTurn) -> tuple[str, ...]:
    return tuple(str(answer["say"]) for answer in _about(turn).facets.get("answers", ()))


def _take_answer(turn: RecorderTurn, reply: Reply) -> bool:
    if reply.phrase not in _answers(turn):
        return False
    turn.change(partial={"when": f'{name_of(_about(turn).id)} == "{reply.phrase}"'})
    turn.ask("case_go")
    return True


def _take_go(turn: RecorderTurn, reply: Reply) -> bool:
    understood, to = target_of(turn, reply)
    if understood:
        case = {"when": turn.state.partial["when"], "go": to or FOLLOWING}
        turn.facets(cases=[*turn.step.facets.get("cases", ()), case])
        turn.change(partial={})
        turn.ask("case_more")
    return understood


def _take_more(turn: RecorderTurn, reply: Reply) -> bool:
    if reply.command in YES:
        turn.ask("case_step")
    elif reply.command in NO:
        finish_slot(turn, "case_step")
        turn.ask("")
    else:
        return False
    return True


QUESTIONS: dict[str, RecorderRow] = {
    "case_step": row(lambda turn: turn.words.prompt("case_step"), hear_step, _take_step),
    "case_relation": row(
        lambda turn: turn.words.prompt("case_relation"),
        lambda turn: hear(turn, phrases=tuple(turn.words.choice("relation"))), _take_relation,
    ),
    "case_value": row(lambda turn: turn.words.prompt("case_value"), _hear_value, _take_value),
    "case_answer": row(
        lambda turn: turn.words.prompt("case_answer"), lambda turn: hear(turn, phrases=_answers(turn)), _take_answer
    ),
    "case_go": row(
        lambda turn: turn.words.prompt("case_go"), lambda turn: hear_step(turn, "following", "later"), _take_go
    ),
    "case_more": row(
        lambda turn: turn.words.prompt("case_more"),
        lambda turn: AGREE, _take_more,
    ),
}  # fmt: skip
