"""Small random procedures, and a machine that tries everything in them.

`Walker` is written from the rules of the visit alone (a stack, an isolation state, a history for 'go back') and shares
nothing with the graph that the proofs are made on."""

from __future__ import annotations

from collections import deque
from typing import Any

from hypothesis import strategies as st

from handsfree.procedure.load import book_of
from handsfree.procedure.model import Book, Procedure
from handsfree.procedure.sentences import STEP


def procedure(name: str, *steps: dict[str, Any], **more: Any) -> Procedure:
    whole = Procedure.model_validate(
        {"procedure": name, "title": name, "steps": [{"id": "x", "kind": "end", "say": "x", "outcome": "done"}], **more}
    )
    return whole.model_copy(update={"steps": tuple(STEP.validate_python(step) for step in steps)})


def step(step_id: str, kind: str, **more: Any) -> dict[str, Any]:
    usual: dict[str, dict[str, Any]] = {
        "isolate": {"do": ["Pull the plug."], "sources": ["plug"]},
        "prove": {"method": "switch"},
        "restore": {"checks": ["Tools out.", "Covers on."], "power": "Switch on."},
        "wait": {"lasts": "5 min", "because": "It rests."},
        "caution": {"level": "warning"},
        "handover": {"to": "desk", "summary": [step_id]},
        "end": {"outcome": "done"},
    }
    return {"id": step_id, "kind": kind, "say": "x", **usual.get(kind, {}), **more}


HISTORY = 4
Spot = tuple[tuple[str, int], ...]  # the stack: (procedure, number of the step), innermost last


class Walker:
    """Visits every state of the rules. `live` etc. gather (procedure, step) where a rule was broken."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.broken: set[tuple[str, str, str]] = set()  # kind, procedure, step
        self.visited: set[Spot] = set()
        self.onward: dict[Spot, set[Spot | str]] = {}
        self._walk()

    def _walk(self) -> None:
        first: Any = (((self.book.main, 0),), "live", (), False)
        seen, waiting = {first}, deque([first])
        while waiting:
            for following in self._moves(*waiting.popleft()):
                if following not in seen:
                    seen.add(following)
                    waiting.append(following)

    def _moves(self, spot: Spot, iso: str, history: tuple[Spot, ...], warned: bool) -> list[Any]:
        procedure, here = self._here(spot)
        self.visited.add(spot)
        self._judge(spot, procedure.procedure, here, iso, warned)
        moves: list[Any] = []
        if history:
            moves.append((history[-1], iso, history[:-1], warned))
        warned = warned or (here.kind == "caution" and "sharp fins" in here.hazards)
        gate = here.kind in ("isolate", "prove", "restore", "handover") or (here.kind == "wait" and here.lasts == "24 h")
        then = {"isolate": "claimed", "restore": "live", "handover": "live"}.get(here.kind, iso)
        if here.kind == "prove" and iso != "live":
            then = "dead"
        if here.kind == "wait" and here.lasts == "24 h":
            then = "live"
        kept = () if gate else (*history, spot)[-HISTORY:]
        for to in self._next(spot):
            self.onward.setdefault(spot, set()).add(to)
            if to == "off":
                self.broken.add(("dead end", spot[0][0], self._here(spot[:1])[1].id))
            elif to != "finished":
                moves.append((to, then, kept, warned))
        return moves

    def _here(self, spot: Spot) -> tuple[Procedure, Any]:
        name, number = spot[-1]
        procedure = self.book.procedures[name]
        return procedure, procedure.steps[number]

    def _judge(self, spot: Spot, name: str, here: Any, iso: str, warned: bool) -> None:
        works = here.kind not in ("caution", "isolate", "prove", "restore", "handover")
        rules = {
            "hazard while live": works and "mains" in here.hazards and iso != "dead",
            "proof without isolation": here.kind == "prove" and iso == "live",
            "restore without isolation": here.kind == "restore" and iso == "live",
            "ends isolated": here.kind == "end" and len(spot) == 1 and iso != "live" and here.outcome != "made safe",
            "wait breaks isolation": here.kind == "wait" and here.lasts == "45 min" and iso != "live",
            "hazard without caution": here.kind != "caution" and "sharp fins" in here.hazards and not warned,
        }
        self.broken |= {(kind, name, here.id) for kind, is_broken in rules.items() if is_broken}

    def _next(self, spot: Spot) -> list[Any]:
        _, here = self._here(spot)
        if here.kind == "call":
            return [(*spot, (here.procedure, 0))]
        if here.kind == "end":
            return [self._return(spot, "finished")]
        names: list[str | None] = [here.go]
        if here.kind == "ask":
            names = [answer.go or here.go for answer in here.answers]
        if here.kind == "decide":
            names = [*(case.go for case in here.cases), here.otherwise]
        return [self._to(spot, name) for name in names]

    def _to(self, spot: Spot, name: str | None) -> Any:
        procedure, _ = self._here(spot)
        number = spot[-1][1] + 1 if name is None else next(at for at, one in enumerate(procedure.steps) if one.id == name)
        if number >= len(procedure.steps):
            return self._return(spot, "off")
        return (*spot[:-1], (spot[-1][0], number))

    def _return(self, spot: Spot, why: str) -> Any:
        if len(spot) == 1:
            return why
        _, call = self._here(spot[:-1])
        return self._to(spot[:-1], call.go)

    def unreached(self) -> set[tuple[str, str, str]]:
        reached = {(spot[-1][0], self._here(spot)[1].id) for spot in self.visited}
        called = {name for name, _ in reached}
        return {
            ("unreachable", name, one.id)
            for name in called
            for one in self.book.procedures[name].steps
            if (name, one.id) not in reached
        }

    def trapped(self) -> bool:
        """Some visited step can never come to an end (running off the end is a fault of its own)."""
        good: set[Any] = {"finished", "off"}
        while True:
            more = {spot for spot, to in self.onward.items() if spot not in good and to & good}
            if not more:
                return any(spot not in good for spot in self.visited)
            good |= more


PLAIN = ["instruct", "ask", "caution", "isolate", "prove", "restore", "wait", "handover", "decide", "end"]


@st.composite
def steps_of(draw: st.DrawFn, calls: tuple[str, ...], most: int) -> tuple[dict[str, Any], ...]:
    count = draw(st.integers(1, most))
    ids = [f"s{at}" for at in range(count)]
    target = st.sampled_from(ids)
    made = []
    for name in ids:
        kind = draw(st.sampled_from([*PLAIN, "isolate", "prove", *(["call"] if calls else [])]))
        more: dict[str, Any] = {}
        if kind in ("instruct", "ask", "caution", "isolate"):
            more["hazards"] = draw(st.sampled_from([[], [], ["mains"], ["sharp fins"]]))
        if kind == "caution":
            more["protects"] = None
        if kind == "ask":
            more["answers"] = [{"say": word, "go": draw(st.none() | target)} for word in ("a", "b")]
        if kind == "decide":
            more["cases"] = [{"when": "True", "go": draw(target)}]
            more["otherwise"] = draw(target)
        if kind == "wait":
            more["lasts"] = draw(st.sampled_from(["5 min", "45 min", "24 h", "24 h"]))
        if kind == "end":
            more["outcome"] = draw(st.sampled_from(["done", "made safe"]))
        if kind == "call":
            more["procedure"] = draw(st.sampled_from(calls))
        if kind not in ("ask", "end", "decide"):
            more["go"] = draw(st.sampled_from([None, None, None, *ids]))
        made.append(step(name, kind, **more))
    return tuple(made)


@st.composite
def books(draw: st.DrawFn) -> Book:
    inner = procedure("inner", *draw(steps_of((), 4)))
    middle = procedure("middle", *draw(steps_of(("inner",), 4)))
    return book_of(procedure("main", *draw(steps_of(("inner", "middle"), 7))), inner, middle)
