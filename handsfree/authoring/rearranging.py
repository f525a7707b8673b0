"""Moving, deleting and choosing steps by voice; nothing is deleted without being affirmed twice."""

from __future__ import annotations

from collections.abc import Callable

from handsfree.authoring.draft import reference
from handsfree.authoring.slots import AGREE, EVER, SLOTS, hear_step, step_names
from handsfree.authoring.turn import RecorderRow, RecorderTurn, Reply, row
from handsfree.journal.events import AnswerTaken
from handsfree.language.meaning import NO, YES_NO, Listening


def _take_which(turn: RecorderTurn, reply: Reply) -> bool:
    uid = step_names(turn).get(reply.phrase)
    if uid is None:
        return False
    purpose = turn.state.purpose
    if purpose == "change":
        step = turn.state.draft.steps[turn.state.draft.place(uid)]
        turn.change(step=step, done=frozenset(SLOTS.get(step.kind, ())), partial={}, purpose="")
        turn.ask("review")
    else:
        turn.change(purpose=f"{purpose} {uid}")
        turn.ask("move-where" if purpose == "move" else "delete-once")
    return True


def _about(turn: RecorderTurn) -> int:
    return int(turn.state.purpose.split()[-1])


def _take_where(turn: RecorderTurn, reply: Reply) -> bool:
    before = step_names(turn).get(reply.phrase)
    if before is None:
        return False
    uid = _about(turn)
    turn.change(draft=turn.state.draft.moved(uid, before), purpose="")
    turn.effects.append(AnswerTaken((turn.state.draft.name,), reference(uid), "moved"))
    turn.save()
    turn.prompt("moved", number=turn.spoken(turn.state.draft.place(uid) + 1))
    turn.ask("idle")
    return True


def _ask_delete(key: str) -> Callable[[RecorderTurn], str]:
    def ask(turn: RecorderTurn) -> str:
        uid, draft = _about(turn), turn.state.draft
        kept = [step for step in draft.steps if step.uid == uid]
        step = turn.state.step or kept[0]
        number = draft.place(uid) + 1 if kept else len(draft.steps) + 1
        return turn.words.prompt(key, number=turn.spoken(number), text=step.text)

    return ask


def _take_delete(last: bool) -> Callable[[RecorderTurn, Reply], bool]:
    def take(turn: RecorderTurn, reply: Reply) -> bool:
        if reply.command not in YES_NO:
            return False
        if reply.command in NO:
            turn.prompt("not-deleted")
            turn.ask("review" if turn.state.step is not None else "idle")
        elif not last:
            turn.ask("delete-twice")
        else:
            uid = _about(turn)
            turn.change(draft=turn.state.draft.without(uid), step=None, done=frozenset(), partial={}, purpose="")
            turn.effects.append(AnswerTaken((turn.state.draft.name,), reference(uid), "deleted"))
            turn.save()
            turn.prompt("deleted")
            turn.ask("idle")
        return True

    return take


_AFFIRM = Listening(commands=(*EVER, "affirm", "negative"))
QUESTIONS: dict[str, RecorderRow] = {
    "which": row(lambda turn: turn.words.prompt(f"which-{turn.state.purpose}"), hear_step, _take_which),
    "move-where": row(lambda turn: turn.words.prompt("move-where"), hear_step, _take_where),
    "delete-once": row(_ask_delete("delete-once"), lambda turn: AGREE, _take_delete(False)),
    "delete-twice": row(_ask_delete("delete-twice"), lambda turn: _AFFIRM, _take_delete(True)),
}
