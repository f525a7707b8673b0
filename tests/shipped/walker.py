"""Walks a shipped procedure through the real machine, every way there is, by accepted utterances.

The rules of this file:

- From each state every answer, every boundary reading, off scale and unsteady are tried. States are frozen, so the walk
  branches without starting again.
- Two states that cannot be told apart by anything still to come are one: same place, same power, same choice of every
  decision of the procedures under way, and the same readings for a decision that is not complete yet. So loops end.
- Nothing is believed of the machine: what holds is asserted over its effects, `StepEntered` and `Gate` above all.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache
from itertools import chain
from random import Random
from typing import Any

import pytest

from handsfree.journal.events import (
    Closed,
    Decided,
    Effect,
    FindingMade,
    Gate,
    HandedOver,
    Opened,
    Resumed,
    Say,
    Stamped,
    StepEntered,
    TimerRang,
    Utterance,
)
from handsfree.language import base
from handsfree.language.meaning import Sense, Verdict, gate_text
from handsfree.procedure import expressions
from handsfree.procedure.evaluation import evaluate, near_a_limit, widths_of
from handsfree.procedure.graph import ways
from handsfree.procedure.model import Ask, Book, Decide, Procedure, Read, Step
from handsfree.visit import advice
from handsfree.visit.machine import advance, start
from handsfree.visit.state import Awaiting, FrameStack, Result, State

LOCK, SECOND = ("four", "two"), ("five", "six")
WALL = "2026-03-02T08:00:00+00:00"

#: Readings worth trying, by step; those of one decision together reach each of its cases. The boundaries that stand as
#: plain numbers in the decisions are added by `boundaries`.
WORTH_TRYING: Mapping[str, tuple[float, ...]] = {
    "cabinet-temperature": (41.0, 34.0, 48.0, 51.5, 60.0),
    "setting": (43.0,),
    "shown-temperature": (41.0, 34.0, 44.5, 48.0, 60.0, 90.0),
    "room-temperature": (70.0, 110.0),
    "delivery-temperature": (35.0, 20.0, 39.6, 44.0, 70.0),
    "return-temperature": (45.0,),
    "condenser-air": (70.0,),
    "condenser-bend": (90.0, 72.0, 103.0, 130.0),
    "first-temperature": (43.0, 90.0),
    "next-temperature": (43.0, 84.0),
    "silent-temperature": (38.0, 60.0),
    "supply-system": (230.0,),
    "capacitor-plate": (60.0,),
    "capacitance": (60.0, 20.0, 80.0),
    "past-common": (35.0,),
    "shown-now": (41.0, 84.0),
    "at-sensor": (41.0, 60.0),
    "morning-temperature": (42.0, 46.0, 60.0),
    "sensor-place-temperature": (41.0, 60.0),
    "offset": (0.0, 8.0),
    "shown-cleared": (41.0, 60.0),
    "place-cleared": (41.0,),
    "switch-ohms": (0.5, 5000.0),
    "sensor-resistance": (10000.0, 12000.0, 10700.0),
    "table-resistance": (10000.0,),
    "ice-ohms": (28000.0, 33000.0, 29400.0),
    "ice-table": (28000.0,),
    "shown-after": (41.0, 60.0),
    "thermometer-after": (41.0,),
    "plate-voltage": (230.0,),
    "supply-voltage": (230.0, 190.0, 260.0, 20.0),
    "terminal-voltage": (220.0, 100.0),
    "start-voltage": (230.0, 172.0),
    "contact-drop": (0.5, 220.0, 60.0, 3.0),
    "outlet-voltage": (230.0, 185.0, 258.0),
    "plate-current": (2.0,),
    "running-current": (1.6, 0.3, 2.3),
    "common-to-run": (5.0,),
    "common-to-start": (12.0,),
    "start-to-run": (17.0, 30.0, 0.1),
    "winding-to-frame": (100.0, 1.0, 0.5),
    "insulation": (100.0, 1.0, 0.5, 0.1),
    "deck-insulation": (100.0, 1.0, 0.5, 0.1),
    "evaporator-ohms": (200.0, 5.0, 10.0),
    "condenser-ohms": (200.0, 5.0),
    "heater-watts": (100.0,),
    "heater-volts": (120.0,),
    "heater-resistance": (144.0, 300.0),
    "product-temperature": (38.0, 50.0),
    "minutes-since-cold": (10.0, 100.0, 300.0),
    "deck-mass": (20.0, 40.0),
    "minutes-on": (10.0, 60.0),
    "minutes-off": (10.0, 1.0),
    "temperatura-del-mueble": (6.0, 12.5),
    "temperatura-de-salida": (3.0, 12.0),
}

Edge = tuple[str, str]  # (step, what was said or decided there)
Move = tuple[str, tuple[Any, ...]]  # (name of the way, happenings)


def said(sense: Sense, text: str, value: float | None = None, unit: str | None = None) -> Utterance:
    return Utterance(Verdict.ACCEPTED, sense, text, value, unit, spoken=text, sure=1.0, words=text)


def command(name: str) -> Utterance:
    return said(Sense.COMMAND, name)


NEXT, AFFIRM = command("next step"), command("affirm")


@dataclass
class Walk:
    """What a walk found. `edges`: of the main procedure. `closed`: outcomes, and the power the visit ended in."""

    book: Book
    states: int = 0
    worded: set[str] = field(default_factory=set)  # questions whose other wordings were tried
    edges: set[Edge] = field(default_factory=set)
    entered: set[tuple[str, str]] = field(default_factory=set)
    hazards: int = 0
    closed: set[tuple[str, str]] = field(default_factory=set)
    findings: set[str] = field(default_factory=set)
    handed_over: set[str] = field(default_factory=set)


# ---- the way through one book ---------------------------------------------------------------------------------------


def _as_written(walks: Callable[..., Walk]) -> Callable[..., Walk]:
    """Checks come as written, and none is left out: so that answers alone tell states apart. What the fault model's own
    order leads to is not walked to its end; `wander` goes some ways of it."""

    def walked(*given: Any) -> Walk:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(advice, "told", lambda flow: None)
            return walks(*given)

    return walked


@_as_written
def walk(book: Book, most: int = 40_000) -> Walk:
    """Every way through. AssertionError where a hazard step is entered while not isolated, or a way does not end."""
    found = Walk(book)
    waiting, seen = [_opened(found)], set[Any]()
    while waiting:
        state = waiting.pop()
        for name, happenings in _moves(found, state):
            after = state
            for happening in happenings:
                after = _tell(found, after, happening)
            step = state.step
            if step is not None and len(state.frames) == 1:
                found.edges.add((step.id, name))
            if after.closed and after.not_before is None:
                continue
            key = _key(after)
            if key not in seen:
                seen.add(key)
                waiting.append(after)
        found.states += 1
        assert found.states <= most, f"{book.main}: more than {most} states"
        assert _moves_exist(found, state), f"{book.main}: nothing can be said at {state.frames}"
    return found


def wander(book: Book, seed: int, most: int = 600) -> Walk:
    """One way through, drawn at random, with checks in the fault model's own order. Asserts as `walk` does, and that it
    ends."""
    found, chance = Walk(book), Random(seed)
    state = _opened(found)
    while not state.closed or state.not_before is not None:
        moves = list(_moves(found, state))
        assert moves, f"{book.main}: nothing can be said at {state.frames}"
        for happening in chance.choice(moves)[1]:
            state = _tell(found, state, happening)
        found.states += 1
        assert found.states <= most, f"{book.main}: no end after {most} sayings"
    return found


def _opened(found: Walk) -> State:
    book, language = found.book, found.book.procedures[found.book.main].language
    return _tell(found, start(book, base.load(language)), Opened("v", book.main, language, "", "", "", "t", "typed"))


def _moves_exist(found: Walk, state: State) -> bool:
    return next(iter(_moves(found, state)), None) is not None


def _tell(found: Walk, state: State, event: Any) -> State:
    mono = state.now + 1.0
    if isinstance(event, TimerRang):
        mono = max(mono, state.wait_ends)
    if isinstance(event, Resumed):
        mono = max(mono, state.not_before or 0.0)
    if isinstance(event, Utterance):
        event = replace(event, started=mono, ended=mono)
    after, effects = advance(state, Stamped(0, WALL, mono, event))
    powers = {name: str(state.interlock.hold(name).power) for name in state.book.energy.sources}
    for effect in effects:
        _watch(found, state, effect, powers)
    assert after is not state or isinstance(event, TimerRang), f"{event} did nothing at {state.frames}"
    return after


#: What these hazards ask for besides the mains, by the names that the procedures that ship give.
MAINS, CHARGE = ("mains by cord and plug", "red por cable y clavija"), "capacitors"


def _needed(step: Step, powers: dict[str, str]) -> set[str]:
    """Written from the hazards alone, apart from the program's own account."""
    return {name for name in MAINS if name in powers} | ({CHARGE} if "stored charge" in step.hazards else set())


def _watch(found: Walk, before: State, effect: Effect, powers: dict[str, str]) -> None:
    """`powers` after this effect. An account of its own: it follows the gates, never the machine's state."""
    match effect:
        case Gate():
            (source,) = [effect.source] if effect.source else powers
            assert effect.was == powers[source], "the gates follow each other"
            if effect.now == "ISOLATED" and effect.was != "ISOLATED":
                assert effect.how == "proof"
                assert before.interlock.hold(source).claimed
            powers[source] = str(effect.now)
        case StepEntered():
            step = found.book.at(effect.path[-1], effect.step)
            found.entered.add((effect.path[-1], effect.step))
            if step.behind_gate:
                found.hazards += 1
                assert {powers.get(name) for name in _needed(step, powers)} == {"ISOLATED"}, f"{effect.step}: {powers}"
        case Decided() if len(effect.path) == 1:
            found.edges.add((effect.step, "otherwise" if effect.case.startswith("otherwise") else effect.case))
        case FindingMade():
            assert effect.evidence, f"{effect.step}: a finding without evidence"
            found.findings.add(effect.finding)
        case HandedOver():
            assert effect.summary
            found.handed_over.add(effect.to)
        case Say():
            assert "goes in circles" not in effect.text
            assert "has none" not in effect.text
        case Closed():
            found.closed.add((effect.outcome, _worst(powers)))


def _worst(powers: dict[str, str]) -> str:
    return next((one for one in ("RESTORING", "ISOLATING", "ISOLATED") if one in powers.values()), "LIVE")


# ---- what can be said at a state ------------------------------------------------------------------------------------


def _moves(found: Walk, state: State) -> Iterator[Move]:
    if state.closed:
        yield "return", (Resumed("return visit"),)
        return
    match state.awaiting:
        case Awaiting.LOCK_NUMBER:
            yield "lock", (said(Sense.DIGITS, " ".join(SECOND if state.joining else LOCK)),)
        case (
            Awaiting.LOCK_AFFIRM | Awaiting.TESTER_BEFORE | Awaiting.TESTER_AFTER | Awaiting.SEEN | Awaiting.OFF_AGAIN
            | Awaiting.READING_AFFIRM | Awaiting.DEAD_AFFIRM
        ):
            yield "affirm", (AFFIRM,)
        case Awaiting.DONE | Awaiting.RESTORE_CHECK | Awaiting.RESTORE_POWER | Awaiting.RELIEVED:
            yield "", (NEXT,)
        case Awaiting.UNDERSTOOD:
            yield "", (command("understood"),)
        case Awaiting.ANSWER:
            yield from _answers(found, state)
        case Awaiting.READING:
            yield from _readings(state)
        case Awaiting.GATE:
            yield "", (NEXT, command("go ahead"), said(Sense.GATE, gate_text("isolated", state.interlock.lock)))
        case Awaiting.JOIN_GATE:
            yield "", (said(Sense.GATE, gate_text("isolated", state.interlock.lock)),)
        case Awaiting.RESTORE_GATE:
            yield "", (NEXT, said(Sense.GATE, gate_text("clear", state.interlock.lock)))
        case Awaiting.SWITCH_TRIED:
            yield "dead", (said(Sense.PHRASE, state.language.prompt("answer-nothing-runs")),)
            yield "live", (said(Sense.PHRASE, state.language.prompt("answer-it-runs")),)
        case Awaiting.DEAD_READING:
            yield "dead", (said(Sense.NUMBER, "0", 0.2, "volt"),)
            yield "live", (said(Sense.NUMBER, "118", 118.0, "volt"),)
        case Awaiting.WAIT:
            yield "", (TimerRang("wait"),)


def _answers(found: Walk, state: State) -> Iterator[Move]:
    """An answer's other wordings are tried where its question is met first; what they leave behind is a state of its own if
    it differs."""
    step = state.step
    assert isinstance(step, Ask)
    here = f"{state.frames[-1].procedure}/{step.id}"
    for answer in step.answers:
        for words in (answer.say, *(answer.also if here not in found.worded else ())):
            yield answer.say, (said(Sense.PHRASE, words),)
    found.worded.add(here)
    yield from _ways_out(step)


def _ways_out(step: Ask | Read) -> Iterator[Move]:
    for name, to in (("cannot tell", step.unknown), ("not fitted", step.absent), ("skip it", step.skip)):
        if to is not None:
            yield name, (command(name),)


def _readings(state: State) -> Iterator[Move]:
    step = state.step
    assert isinstance(step, Read)
    for value in values_of(state.procedure, step):
        heard = said(Sense.NUMBER, f"{value:g}", value, step.unit)
        yield "number", (heard, AFFIRM) if _asks_back(state, step, value) else (heard,)
    if step.over_range is not None:
        yield "over range", (said(Sense.STATE, "over range"),)
    if step.unsteady is not None:
        yield "unsteady", (said(Sense.STATE, "unsteady"),)
    yield from _ways_out(step)


def _asks_back(state: State, step: Read, value: float) -> bool:
    """What is implausible, or so near to a limit that it may be on the other side of it, is affirmed."""
    return step.decides or near_a_limit(state.procedure, step, value) or not step.plausible[0] <= value <= step.plausible[1]



@cache
def values_of(procedure: Procedure, step: Read) -> tuple[float, ...]:
    """The values worth trying of a reading, inside its plausible range, and the boundaries of its decisions."""
    low, high = step.plausible
    middle = step.expected or step.plausible
    usual = WORTH_TRYING.get(step.id, ((middle[0] + middle[1]) / 2,))
    return tuple(dict.fromkeys(value for value in (*usual, *boundaries(procedure, step)) if low <= value <= high))


def boundaries(procedure: Procedure, step: Read) -> Iterator[float]:
    """Each plain number that a decision compares this reading with, and a tenth and one to either side."""
    for decision in decisions(procedure):
        for case in decision.cases:
            for node in ast.walk(expressions.parse_expression(case.when)):
                if not isinstance(node, ast.Compare) or not _is(node.left, step.id):
                    continue
                if isinstance(node.comparators[0], ast.Constant):
                    limit = float(node.comparators[0].value)  # type: ignore[arg-type]  # a number
                    beyond = max(2.0, abs(limit) * 0.05)
                    yield from (limit, limit - beyond, limit + beyond)


def _is(node: ast.expr, step_id: str) -> bool:
    return isinstance(node, ast.Name) and node.id == expressions.name_of(step_id)


# ---- which states are one -------------------------------------------------------------------------------------------


@cache
def decisions(procedure: Procedure) -> tuple[Decide, ...]:
    return tuple(step for step in procedure.steps if isinstance(step, Decide))


@cache
def _names(when: str) -> tuple[str, ...]:
    return expressions.names_used(when)


Given = tuple[tuple[str, Any], ...]  # name -> value, of one procedure
Ahead = tuple[Procedure, frozenset[str]]


def _key(state: State) -> Any:
    lock, check = state.interlock, state.check if state.awaiting is Awaiting.RESTORE_CHECK else 0  # set where it begins
    given = tuple(_given(state, state.frames[: depth + 1]) for depth in range(len(state.frames)))
    places = [(state.book.procedures[frame.procedure], frame.step) for frame in state.frames]
    ahead = tuple((one, _ahead(one, here, _taken(one, then))) for (one, here), then in zip(places, given, strict=True))
    held = tuple(
        _held(*each, here, then, depth == 0)
        for depth, (each, (_, here), then) in enumerate(zip(ahead, places, given, strict=True))
    )
    return (
        state.frames, state.awaiting, check, state.point, tuple(sorted(lock.holds.items())), lock.given, lock.locks,
        state.closed, held, tuple(sorted(state.covering.items())), state.return_to, _series(state), _passing(state, ahead),
    )  # fmt: skip


def _passing(state: State, ahead: tuple[Ahead, ...]) -> frozenset[tuple[str, str]]:
    """What is known of all that would make a step still ahead needless."""
    asked = chain.from_iterable(_unless(*one) for one in ahead)
    return frozenset((name, value) for name, value in asked if (f := state.facts.get(name)) and f.result.text == value)


@cache
def _unless(procedure: Procedure, ahead: frozenset[str]) -> frozenset[tuple[str, str]]:
    return frozenset(told for step in ahead for told in getattr(procedure.step(step), "unless", ()))


def _series(state: State) -> Any:
    """Of the series that decisions judge, what they would say of it now; readings that lead the same ways are one. Where no
    procedure that may come judges any, nothing to come can tell by it."""
    if not state.frames or not state.series or not any(map(_judged, state.book.procedures.values())):
        return ()
    series: dict[str, tuple[tuple[float, float], ...]] = {}
    for one in state.series:
        if one.series != "proof" or one.path == state.path:
            series[one.series] = (*series.get(one.series, ()), (one.minute, one.value))
    here = ((step, result) for (where, step), result in state.remembered.items() if where == state.path)
    values = {expressions.name_of(step): _value(result) for step, result in here}
    judged = _judged(state.procedure)
    named = {name for cases in judged for when in cases for name in _names(when)}
    told = tuple(sorted((name, value) for name, value in values.items() if name in named))
    lately = tuple(round(value) for _, value in series.get("proof", ())[-3:])
    return (_ways(judged, told, tuple(sorted(series.items()))), lately) if any(series) else ()


@cache
def _judged(procedure: Procedure) -> tuple[tuple[str, ...], ...]:
    """The cases of each decision that judges a series."""
    cases = (tuple(case.when for case in step.cases) for step in decisions(procedure))
    return tuple(whens for whens in cases if any("rows(" in when for when in whens))


@lru_cache(maxsize=100_000)
def _ways(
    judged: tuple[tuple[str, ...], ...], told: tuple[tuple[str, Any], ...], series: tuple[tuple[str, Any], ...]
) -> Any:
    """The same readings are met in many states."""
    values, rows = dict(told), dict(series)
    return tuple(tuple(evaluate(when, values, series=rows).holds for when in cases) for cases in judged)


def _given(state: State, frames: FrameStack) -> Given:
    path = tuple(frame.procedure for frame in frames)
    results = state.remembered.items()
    return tuple((expressions.name_of(step), _value(result)) for (where, step), result in results if where == path)


def _held(procedure: Procedure, ahead: frozenset[str], here: str, given: Given, main: bool) -> Any:
    """What a procedure under way still needs of its results."""
    results = dict(given)
    return tuple(
        _choice(procedure, step, tuple((name, results[name]) for name in names if name in results), main, ahead)
        for step, names in _asked(procedure, ahead, here)
    )


@cache
def _asked(procedure: Procedure, ahead: frozenset[str], here: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Each decision that can still come, with the names that count for it from here on."""
    counts, asked = _counts(procedure), [step for step in decisions(procedure) if step.id in ahead]
    return tuple((one.id, tuple(name for name in _asks(one) if (here, one.id, name) in counts)) for one in asked)


def _asks(decision: Decide) -> tuple[str, ...]:
    """The names that a decision hangs on, those of its checks among them."""
    checks = (expressions.name_of(case.go) for case in decision.cases if case.check is not None)
    return tuple(dict.fromkeys(chain(chain.from_iterable(_names(case.when) for case in decision.cases), checks)))


@cache
def _counts(procedure: Procedure) -> frozenset[tuple[str, str, str]]:
    """(step, decision, name): from this step a way leads to the decision on which the name is not taken anew. What is kept
    as a fact is not asked twice, so it counts always."""
    import networkx as nx

    graph = nx.DiGraph()
    for step in procedure.steps:
        graph.add_node(step.id)
        graph.add_edges_from((step.id, way.to) for way in ways(procedure, step) if way.to is not None)
    takes = {expressions.name_of(step.id): step for step in procedure.steps}
    found: set[tuple[str, str, str]] = set()
    for decision in decisions(procedure):
        for name in _asks(decision):
            taker = takes.get(name)
            anew = taker is not None and taker is not decision and not getattr(taker, "fact", None)
            less = nx.restricted_view(graph, [taker.id], []) if taker is not None and anew else graph
            found |= {(step, decision.id, name) for step in nx.ancestors(less, decision.id) | {decision.id}}
    return frozenset(found)


def _taken(procedure: Procedure, given: Given) -> frozenset[str]:
    """Of what was taken, that which a case wants not to be."""
    wanted = _wanted(procedure)
    return frozenset(name for name, value in given if value is not None and name in wanted)


@cache
def _wanted(procedure: Procedure) -> frozenset[str]:
    return frozenset(name for them in _wants(procedure).values() for _, names in them for name in names)


@cache
def _wants(procedure: Procedure) -> dict[str, tuple[tuple[str, frozenset[str]], ...]]:
    """Every way from step to step, with what must not be taken where it goes on."""
    return {
        step.id: tuple(
            (way.to, _untaken(way.name) if isinstance(step, Decide) and way.name != "otherwise" else frozenset())
            for way in ways(procedure, step) if way.to is not None
        )
        for step in procedure.steps
    }  # fmt: skip


def _untaken(when: str) -> frozenset[str]:
    """The names of which the whole condition wants that they are not taken."""
    node = expressions.parse_expression(when)
    parts = node.values if isinstance(node, ast.BoolOp) and isinstance(node.op, ast.And) else [node]
    wants = [ast.unparse(part) for part in parts if isinstance(part, ast.UnaryOp) and isinstance(part.op, ast.Not)]
    return frozenset(name for want in wants for name in _names(when) if want == f"not taken({name})")


@cache
def _ahead(procedure: Procedure, here: str, taken: frozenset[str]) -> frozenset[str]:
    """Every step that can still come. Nothing comes through a case that wants something not taken which was, and which
    nothing that can come takes anew."""
    found, waiting = {here}, [here]
    while waiting:
        at = waiting.pop()
        new = {to for to, wants in _wants(procedure)[at] if not wants & taken} - found
        found |= new
        waiting.extend(new)
    anew = taken & {expressions.name_of(step) for step in found}
    return _ahead(procedure, here, taken - anew) if anew else frozenset(found)


@cache
def _choice(procedure: Procedure, decision: str, given: Given, main: bool, ahead: frozenset[str]) -> Any:
    """Its cases, less those whose check was made, which the machine passes over; the one it would take now. While others of
    its readings are missing, what is left of each case."""
    step, made = procedure.step(decision), {name for name, _ in given}
    assert isinstance(step, Decide)
    cases = tuple(case.when for case in step.cases if case.check is None or expressions.name_of(case.go) not in made)
    names = tuple(dict.fromkeys(chain.from_iterable(_names(when) for when in cases)))
    given = tuple((name, value) for name, value in given if name in names)
    if main and len(given) < len(names):
        if any("rows(" in when for when in cases):
            return cases, given  # what a series says hangs on every value
        return _left(procedure, cases, frozenset(names) - _to_come(ahead), given)
    return cases, _case(procedure, cases, given)


@cache
def _to_come(ahead: frozenset[str]) -> frozenset[str]:
    """Names of what may be taken yet, or anew."""
    return frozenset(map(expressions.name_of, ahead))


@cache
def _left(
    procedure: Procedure, cases: tuple[str, ...], settled: frozenset[str], given: Given
) -> tuple[Any, ...]:
    """What is left of each case once all that can no longer change is put in; up to the first that decides."""
    found: list[Any] = []
    for when in cases:
        left = _rest(expressions.parse_expression(when), procedure, settled, dict(given))
        if left != (False, False):
            found.append((when, left))
        if isinstance(left, tuple) and left[0] in (True, None):
            break
    return tuple(found)


def _rest(node: ast.expr, procedure: Procedure, settled: frozenset[str], values: Mapping[str, Any]) -> Any:
    """(holds, borderline) of what is settled, in text what is not: what it says of a name that stands alone, else values."""
    match node:
        case ast.BoolOp():
            settles = isinstance(node.op, ast.Or)
            parts = [_rest(one, procedure, settled, values) for one in node.values]
            if (settles, False) in parts:
                return (settles, False)
            parts = [part for part in parts if part != (not settles, False)]
            if not parts:
                return (not settles, False)
            return parts[0] if len(parts) == 1 else f"{type(node.op).__name__} {parts}"
        case ast.UnaryOp(op=ast.Not()):
            part = _rest(node.operand, procedure, settled, values)
            return (None if part[0] is None else not part[0], part[1]) if isinstance(part, tuple) else f"not {part}"
    text = ast.unparse(node)
    names = _names(text)
    here = {name: values[name] for name in names if name in values}
    if len(names) > 1 and not settled.issuperset(names):
        return f"{text} {here}"
    outcome = evaluate(text, here, widths=widths_of(procedure, here))
    told = (outcome.holds, outcome.borderline)
    return told if settled.issuperset(names) else f"{text} {told} {bool(here)}"


def _value(result: Result) -> float | str | None:
    return result.value if result.value is not None else None if result.state else result.text


@cache
def _case(procedure: Procedure, cases: tuple[str, ...], given: Given) -> int:
    """-1: otherwise. The same rule as the machine's, for merging states only; the machine decides by itself."""
    values = dict(given)
    widths = widths_of(procedure, values)
    for at, when in enumerate(cases):
        outcome = evaluate(when, values, widths=widths)
        if outcome.sure:
            return at
        if outcome.borderline or outcome.holds is None:
            return -1
    return -1


def all_edges(procedure: Procedure) -> set[Edge]:
    """Every way on that the file names."""
    edges: set[Edge] = set()
    for step in procedure.steps:
        match step:
            case Ask():
                edges |= {(step.id, answer.say) for answer in step.answers}
            case Read():
                edges.add((step.id, "number"))
                edges |= {(step.id, "over range")} if step.over_range else set()
                edges |= {(step.id, "unsteady")} if step.unsteady else set()
            case Decide():
                # What judges a whole series is tried with series of its own, in test_facts.
                edges |= {(step.id, case.when) for case in step.cases if "rows(" not in case.when} | {(step.id, "otherwise")}
    return edges
