"""A resumed visit whose procedure is no longer safe to run: nobody is left with a lock on.

The rules of this file:

- No step of the procedure is read again. Only one restore is left, of everything that has a lock on, in the program's own
  sentences, and the end. A lock comes off there as at any restore: by its owner, or by (e)(3).
- The machine does not decide whether a procedure may run: `Resumed.barred` tells it.
"""

from __future__ import annotations

from dataclasses import replace

from handsfree.procedure import model
from handsfree.procedure.model import Book
from handsfree.procedure.parts import SourceOf
from handsfree.visit.state import Frame, State

#: Its name in the record: no file's.
NAME = "restore-only"
_LOCKS, _END = "locks", "over"


def only_restores(state: State) -> bool:
    """The visit is already in this state."""
    return state.book.main == NAME


def restoring(state: State) -> State:
    """The state at the beginning of that restore: every lock that is on must come off."""
    words = state.language.prompt
    on = {lock.source for lock in state.interlock.locks}
    names = tuple(name for name in state.interlock.sources if name in on) or tuple(sorted(on))
    kinds = {name: source.kind.name for name, source in state.interlock.sources.items()}
    steps: tuple[model.Step, ...] = (
        model.Restore(
            id=_LOCKS, kind="restore", sources=names, say=words("barred-restore"),
            checks=(words("barred-check-tools"), words("barred-check-covers")), power=words("barred-power"),
        ),
        model.End(id=_END, kind="end", outcome="made safe", say=words("barred-end")),
    )  # fmt: skip
    procedure = model.Procedure(
        procedure=NAME, title=words("barred-title"), language=state.language.code, steps=steps,
        sources=tuple(SourceOf(name=name, kind=kinds.get(name, "mains")) for name in names),
    )  # fmt: skip
    return replace(state, book=Book(NAME, {NAME: procedure}), frames=(Frame(NAME, _LOCKS),), trail=(), covering={},
                   return_to=(), pending=None)  # fmt: skip
