"""Places in a visit: which step follows which, through calls and back out of them. No state is changed here."""

from __future__ import annotations

from dataclasses import replace

from handsfree.procedure.model import Book, End, Wait
from handsfree.visit.state import Frame, FrameStack


def first(book: Book, procedure: str) -> Frame:
    return Frame(procedure, book.procedures[procedure].steps[0].id)


def at_step(frames: FrameStack, step: str) -> FrameStack:
    """The same depth, another step."""
    return (*frames[:-1], replace(frames[-1], step=step))


def after(book: Book, frames: FrameStack, go: str | None = None) -> FrameStack:
    """Where the visit goes from `frames`: to `go`, else where the step says; out of a called procedure at its end; () at
    the end of everything."""
    while frames:
        procedure = book.procedures[frames[-1].procedure]
        following = go if go is not None else procedure.following(frames[-1].step)
        if following is not None and not (go is None and isinstance(procedure.step(frames[-1].step), End)):
            return at_step(frames, following)
        frames, go = frames[:-1], None
    return ()


def left(frames: FrameStack, onward: FrameStack) -> tuple[FrameStack, ...]:
    """The call steps whose called procedure ends on the way from `frames` to `onward`, the innermost first."""
    return tuple(frames[:depth] for depth in range(len(frames) - 1, max(len(onward), 1) - 1, -1))


def into(book: Book, frames: FrameStack, procedure: str) -> FrameStack:
    return (*frames, first(book, procedure))


def leaves_site(book: Book, frames: FrameStack) -> bool:
    step = book.at(frames[-1].procedure, frames[-1].step)
    return isinstance(step, Wait) and step.leaves_site


def number_of(book: Book, frames: FrameStack) -> int:
    """Which step of its procedure, counted from 1 in the order of the file."""
    return [step.id for step in book.procedures[frames[-1].procedure].steps].index(frames[-1].step) + 1
