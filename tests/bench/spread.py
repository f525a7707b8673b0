"""A walk of `tests.bench.walk` over several processes of one machine: each owns the states that fall to it by their hash.

What falls to another is sent in parcels: the state itself the first time, its hash and the watchman's account after that.
The walk is at its end when nobody has anything to do and as many parcels came as went. Processes are forked, so that a
hash is the same in each.
"""

from __future__ import annotations

import gc
import io
import multiprocessing
import pickle
import queue
import time
from functools import lru_cache
from typing import Any

from handsfree.dialogue import question
from handsfree.isolation import interlock, people, rules
from handsfree.language import base
from handsfree.visit import machine
from tests.bench import folding, walk, watchman
from tests.bench.small_visits import BOOKS
from tests.bench.walk import TWINS_EACH, TWINS_EVERY, Digest, Todo, Walk, Walked
from tests.bench.watchman import ENGLISH

PARCEL, BETWEEN = 400, 200  # places in a parcel at most; places walked between two looks into the letter box


class Pack(pickle.Pickler):
    """A state without what every process has: the book, the language, the sources."""

    def __init__(self, file: Any, named: dict[int, str]) -> None:
        super().__init__(file, protocol=5)
        self.named = named

    def persistent_id(self, obj: Any) -> str | None:
        return self.named.get(id(obj))


class Unpack(pickle.Unpickler):
    def __init__(self, file: Any, things: dict[str, Any]) -> None:
        super().__init__(file)
        self.things = things

    def persistent_load(self, pid: str) -> Any:
        return self.things[pid]


class Part(Walk):
    """One process's part."""

    def __init__(self, name: str, me: int, boxes: list[Any], **how: Any) -> None:
        super().__init__(BOOKS[name], 10**9, elsewhere=self.sent, **how)
        self.me, self.boxes = me, boxes
        self.things = {"book": self.book, "language": ENGLISH, "sources": self.book.energy.sources}
        self.named = {id(thing): name for name, thing in self.things.items()}
        self.parcels: list[list[Todo]] = [[] for _ in boxes]
        self.states_sent: dict[Digest, int] = {}
        self.accounts_sent: set[tuple[Digest, int]] = set()
        self.went = self.came = 0

    def sent(self, todo: Todo) -> bool:
        digest, state, watch, way = todo
        whose = digest % len(self.boxes)
        if whose == self.me:
            return False
        if state is not None:
            times = self.states_sent.get(digest, 0)
            self.states_sent[digest] = times + 1
            if times > (TWINS_EACH if digest % TWINS_EVERY == 0 else 0):
                state = None
        if watch is not None:
            key = (digest, self._account(watch))
            if key in self.accounts_sent:
                watch = None
            self.accounts_sent.add(key)
        if state is not None or watch is not None:
            self.parcels[whose].append((digest, state, watch, way))
            if len(self.parcels[whose]) >= PARCEL:
                self.send(whose)
        return True

    def send(self, whose: int) -> None:
        if not self.parcels[whose]:
            return
        file = io.BytesIO()
        Pack(file, self.named).dump(self.parcels[whose])
        self.parcels[whose] = []
        self.boxes[whose].put(file.getvalue())
        self.went += 1

    def fetch(self, wait: float) -> bool:
        """Whether a parcel came."""
        try:
            data = self.boxes[self.me].get(timeout=wait) if wait else self.boxes[self.me].get_nowait()
        except queue.Empty:
            return False
        self.came += 1
        for todo in Unpack(io.BytesIO(data), self.things).load():
            self.add(todo)
        return True


def _work(name: str, me: int, boxes: list[Any], told: Any, end: Any, how: dict[str, Any]) -> None:
    gc.set_threshold(200_000, 50, 50)
    part = Part(name, me, boxes, **how)
    if me == 0:
        part.begin()
    reported: tuple[int, int] | None = None
    last = time.monotonic()
    while not end.is_set():
        while part.fetch(0.0):
            pass
        for _ in range(min(BETWEEN, len(part.todo))):
            part.take(part.todo.popleft())
        if part.todo:
            reported = None
            if time.monotonic() - last > 10:
                last = time.monotonic()
                told.put((me, None, _counts(part)))
            continue
        for whose in range(len(boxes)):
            part.send(whose)
        if (part.went, part.came) != reported:
            reported = (part.went, part.came)
            told.put((me, reported, _counts(part)))
        part.fetch(0.05)
    part.walked.machine = len(part.nodes)
    part.walked.left = len(part.todo)
    told.put((me, "end", part.walked))
    for box in boxes:
        box.cancel_join_thread()


def _counts(part: Part) -> tuple[int, int, int]:
    return part.walked.states, len(part.nodes), len(part.todo)


def walk_spread(name: str, processes: int, seconds: float, **how: Any) -> Walked:
    """The whole walk, or what of it `seconds` were enough for."""
    context = multiprocessing.get_context("fork")
    boxes, told, end = [context.Queue() for _ in range(processes)], context.Queue(), context.Event()
    workers = [context.Process(target=_work, args=(name, me, boxes, told, end, how)) for me in range(processes)]
    for worker in workers:
        worker.start()
    idle: dict[int, tuple[int, int] | None] = {}
    counts: dict[int, tuple[int, int, int]] = {}
    began = last = time.monotonic()
    whole = False
    while time.monotonic() - began < seconds:
        try:
            me, state, count = told.get(timeout=1.0)
            idle[me], counts[me] = state, count
        except queue.Empty:
            if not all(worker.is_alive() for worker in workers):
                break
        reports = [idle.get(me) for me in range(processes)]
        if all(reports) and sum(one[0] for one in reports if one) == sum(one[1] for one in reports if one):
            whole = True
            break
        if time.monotonic() - last > 20:
            last = time.monotonic()
            states, nodes, todo = (sum(part) for part in zip(*counts.values(), strict=True))
            print(f"  {name} {last - began:.0f} s: {states:,} of {nodes:,} of the machine, {todo:,} waiting", flush=True)
    end.set()
    found = Walked(whole=whole)
    ended = 0
    while ended < processes and any(worker.is_alive() for worker in workers):
        try:
            me, state, part = told.get(timeout=30.0)
        except queue.Empty:
            break
        if state == "end":
            ended += 1
            _add(found, part)
    found.whole = whole and ended == processes
    for worker in workers:
        worker.join(timeout=5)
        worker.kill()
    return found


def _add(found: Walked, part: Walked) -> None:
    for name in ("states", "machine", "steps", "judged", "isolated", "replayed", "twins", "left"):
        setattr(found, name, getattr(found, name) + getattr(part, name))
    found.entered |= part.entered
    found.unlike += part.unlike
    known = {why for why, _ in found.found}
    found.found += [one for one in part.found if one[0] not in known]


def quick(made: Any, /, **changes: Any) -> Any:
    """`dataclasses.replace` of a class that checks nothing when it is made: half the time of a walk goes into it."""
    new = object.__new__(type(made))
    new.__dict__.update(made.__dict__)
    new.__dict__.update(changes)
    return new


def _change(turn: Any, **changes: Any) -> None:
    turn.state = quick(turn.state, **changes)


def hurried() -> None:
    """For a walk of its own process: the same states, made without checking the names of their fields, and no sentence is
    put together twice."""
    question.Turn.change = _change  # type: ignore[method-assign,assignment]  # for this process alone
    for module in (interlock, rules, people, machine, folding, walk, watchman):
        module.replace = quick  # type: ignore[attr-defined]  # for this process alone
    base.Language.prompt = lru_cache(maxsize=100_000)(base.Language.prompt)  # type: ignore[method-assign]  # for this process alone
    watchman._whose = lru_cache(maxsize=100_000)(watchman._whose)
