"""What is asked about each kind of step, and how an answer becomes a field of it.

Rules of this file:

- `SLOTS` says which questions a kind has, in order; `QUESTIONS` how each is asked, heard and taken.
- A slot that the writer's words have filled is not asked for. Hazards are: after a first one there may be a second.
- Lists end with 'that is all'; a list in the writer's own words is dictated, and its end is heard within the dictation.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from handsfree.authoring.draft import FOLLOWING, LATER, reference, slug
from handsfree.authoring.said import TIMES, as_sentence, lasting
from handsfree.authoring.turn import RecorderRow, RecorderTurn, Reply, row
from handsfree.language.meaning import Listening, NumberAsked

SLOTS: dict[str, tuple[str, ...]] = {
    "instruct": ("hazards",),
    "caution": ("level", "hazards"),
    "ask": ("answers", "leads", "hazards"),
    "read": ("quantity", "unit", "plausible_low", "plausible_high", "expected_low", "expected_high", "hazards"),
    "isolate": ("do", "sources"),
    "prove": ("method",),
    "restore": ("checks", "power"),
    "wait": ("lasts", "because"),
    "evidence": ("what", "hazards"),
    "decide": ("case_step", "otherwise"),
    "call": ("procedure",),
    "finding": ("finding", "evidence"),
    "handover": ("to", "summary"),
    "end": ("outcome",),
}
#: The facets that a slot fills, if their names differ from the slot's.
FILLS = {
    "plausible_low": "plausible", "plausible_high": "plausible", "expected_low": "expected", "expected_high": "expected",
    "case_step": "cases",
}
#: What may be changed in a step of any kind, besides its own slots.
ALWAYS_CHANGED = ("say", "kind", "go")
_LEAST = {"answers": 2, "checks": 2}
EVER = ("say again", "what can i say", "help", "correction")
#: Yes and no, in whatever words: where nothing can be lost.
AGREE = Listening(commands=(*EVER, "affirm", "negative"), also=("yes", "no"))


def next_slot(turn: RecorderTurn) -> str:
    """The first slot of the step that is neither filled nor answered; '' if there is none."""
    step, done = turn.step, turn.state.done
    for slot in ("kind", *SLOTS.get(step.kind, ())):
        if slot in done or (slot == "kind" and step.kind):
            continue
        if slot == "leads":
            if any("go" not in answer for answer in step.facets.get("answers", ())):
                return slot
            continue
        begun = turn.state.partial.get("list") == slot
        if begun or slot in _ASKED_ANYWAY or not step.facets.get(FILLS.get(slot, slot)):
            return slot
    return ""


_ASKED_ANYWAY = frozenset({"hazards"})


def finish_slot(turn: RecorderTurn, slot: str) -> None:
    turn.change(done=turn.state.done | {slot}, partial={})


# ---- the shapes of questions ------------------------------------------------------------------------------------------


def _plain(key: str) -> Callable[[RecorderTurn], str]:
    return lambda turn: turn.words.prompt(key)


def hear(turn: RecorderTurn, *commands: str, phrases: Sequence[str] = (), **more: Any) -> Listening:
    """Among free words only the phrase that ends a list is listened for; 'stop recording' is found in their text."""
    also = () if more.get("note") else ("stop recording",)
    ways = [way for command in (*commands, *also) for way in turn.words.ways(command)]
    return Listening(phrases=tuple(dict.fromkeys((*phrases, *ways))), commands=EVER, **more)


def _choice(slot: str, rule: str) -> RecorderRow:
    """One of the choices of a rule."""

    def take(turn: RecorderTurn, reply: Reply) -> bool:
        value = turn.words.choice(rule).get(reply.phrase)
        if value is None:
            return False
        turn.facets(**{slot: value})
        finish_slot(turn, slot)
        return True

    return row(_plain(slot), lambda turn: hear(turn, phrases=tuple(turn.words.choice(rule))), take, rule)


def _so_far(slot: str, items: Callable[[RecorderTurn], list[str]]) -> Callable[[RecorderTurn], str]:
    def ask(turn: RecorderTurn) -> str:
        found = items(turn)
        return turn.words.prompt(f"{slot}-more", so_far=turn.words.listed(found)) if found else turn.words.prompt(slot)

    return ask


def _end_of_list(turn: RecorderTurn, slot: str) -> bool:
    """Close the list if it is long enough."""
    least = _LEAST.get(slot, 1)
    if len(turn.step.facets.get(slot, ())) < least:
        turn.prompt("too-few", n=turn.spoken(least))
        return True
    finish_slot(turn, slot)
    return True


def _hazards() -> RecorderRow:
    def items(turn: RecorderTurn) -> list[str]:
        return [turn.words.name_of("hazard", one) for one in turn.step.facets.get("hazards", ())]

    def take(turn: RecorderTurn, reply: Reply) -> bool:
        hazard = turn.words.choice("hazard").get(reply.phrase)
        if hazard is not None:
            turn.facets(hazards=list(dict.fromkeys([*turn.step.facets.get("hazards", ()), hazard])))
            return True
        if turn.words.says(reply.phrase, "nothing") or turn.words.says(reply.phrase, "that is all"):
            finish_slot(turn, "hazards")
            return True
        return False

    def hears(turn: RecorderTurn) -> Listening:
        return hear(turn, "nothing", "that is all", phrases=tuple(turn.words.choice("hazard")))

    return row(_so_far("hazards", items), hears, take, "hazard")


Wrap = Callable[[RecorderTurn, Reply], Any]


def _sentence(turn: RecorderTurn, reply: Reply) -> str:
    return as_sentence(reply.text or reply.phrase, turn.words, bool(reply.clip))


def _name(turn: RecorderTurn, reply: Reply) -> str:
    return plain_words(reply.text or reply.phrase)


def _dictated_list(slot: str, wrap: Wrap) -> RecorderRow:
    def items(turn: RecorderTurn) -> list[str]:
        return [str(one["say"] if isinstance(one, dict) else one) for one in turn.step.facets.get(slot, ())]

    def take(turn: RecorderTurn, reply: Reply) -> bool:
        words = reply.text or reply.phrase
        if turn.words.says(words, "that is all"):
            return _end_of_list(turn, slot)
        if not plain_words(words):
            return False
        if slot == "answers" and len(items(turn)) == 8:
            return _end_of_list(turn, slot)
        turn.facets(**{slot: [*turn.step.facets.get(slot, ()), wrap(turn, reply)]})
        turn.unsure(slot, reply.doubts)
        turn.change(partial={"list": slot})
        return True

    return row(_so_far(slot, items), lambda turn: hear(turn, "that is all", note=True), take)


def _dictated(slot: str, wrap: Wrap) -> RecorderRow:
    def take(turn: RecorderTurn, reply: Reply) -> bool:
        value = wrap(turn, reply)
        if not value:
            return False
        turn.facets(**{slot: value})
        turn.unsure(slot, reply.doubts)
        finish_slot(turn, slot)
        return True

    return row(_plain(slot), lambda turn: hear(turn, note=True), take)


def plain_words(text: str) -> str:
    return " ".join(text.strip(" .?!,").split())


# ---- readings ---------------------------------------------------------------------------------------------------------


def _unit() -> RecorderRow:
    def units(turn: RecorderTurn) -> dict[str, str]:
        named = {way: name for name, ways in turn.words.language.units.items() if name != "degree" for way in ways}
        return named | dict.fromkeys(turn.words.ways("no unit"), "")

    def take(turn: RecorderTurn, reply: Reply) -> bool:
        found = units(turn)
        if reply.phrase not in found:
            return False
        turn.facets(unit=found[reply.phrase])
        finish_slot(turn, "unit")
        return True

    return row(_plain("unit"), lambda turn: hear(turn, phrases=tuple(units(turn))), take)


def _limit(slot: str, may_skip: bool) -> RecorderRow:
    facet, _, end = slot.rpartition("_")

    def hears(turn: RecorderTurn) -> Listening:
        unit = str(turn.step.facets.get("unit", ""))
        return hear(turn, *(["skip"] if may_skip else []), number=NumberAsked(unit))

    def take(turn: RecorderTurn, reply: Reply) -> bool:
        if may_skip and turn.words.says(reply.phrase, "skip"):
            turn.change(done=turn.state.done | {f"{facet}_low", f"{facet}_high"}, partial={})
            return True
        value = in_unit(turn, reply)
        if value is None:
            return False
        if end == "low":
            turn.change(partial={slot: value}, done=turn.state.done | {slot})
            return True
        low = turn.state.partial.get(f"{facet}_low")
        if low is None or value <= low:
            turn.prompt("again-range")
            turn.change(done=turn.state.done - {f"{facet}_low"}, partial={})
            return True
        turn.facets(**{facet: [low, value]})
        finish_slot(turn, slot)
        return True

    return row(_plain(slot), hears, take)


def in_unit(turn: RecorderTurn, reply: Reply) -> float | None:
    """The number in the step's own unit; None if there is none, or if its unit contradicts."""
    from handsfree.language.quantities import convert, unit_fits

    unit = str(turn.step.facets.get("unit", ""))
    if reply.value is None:
        return None
    if not unit_fits(unit, reply.unit):
        turn.prompt("wrong-unit")
        return None
    return round(convert(reply.value, reply.unit, unit), 6)


def _lasts() -> RecorderRow:
    def take(turn: RecorderTurn, reply: Reply) -> bool:
        if reply.value is None or reply.value <= 0:
            return False
        unit = reply.unit or "minute"
        if unit not in TIMES:
            turn.prompt("wrong-unit")
            return False
        turn.facets(lasts=lasting(reply.value, unit))
        finish_slot(turn, "lasts")
        return True

    return row(_plain("lasts"), lambda turn: hear(turn, number=NumberAsked("minute", 0, 100_000)), take)


# ---- other steps ------------------------------------------------------------------------------------------------------


def step_names(turn: RecorderTurn, kinds: tuple[str, ...] = ()) -> dict[str, int]:
    """'step three' -> its uid, of every kept step (of these kinds)."""
    steps = enumerate(turn.state.draft.steps, 1)
    return {turn.words.step_name(at): step.uid for at, step in steps if not kinds or step.kind in kinds}


def hear_step(turn: RecorderTurn, *commands: str) -> Listening:
    """Numbers that no step has yet are heard too: the program says that there is no such step."""
    return hear(turn, *commands, phrases=(*step_names(turn), *to_come(turn)))


#: How far beyond the last step a number is understood.
_AHEAD = 12


def to_come(turn: RecorderTurn) -> tuple[str, ...]:
    """Names of steps that are not there yet."""
    count = len(turn.state.draft.steps)
    return tuple(turn.words.step_name(number) for number in range(count + 1, count + 1 + _AHEAD))


def target_of(turn: RecorderTurn, reply: Reply) -> tuple[bool, str | None]:
    """(understood, where to): None is the following step."""
    if turn.words.says(reply.phrase, "following"):
        return True, None
    if turn.words.says(reply.phrase, "later"):
        return True, LATER
    uid = step_names(turn).get(reply.phrase)
    if uid is None and reply.phrase in to_come(turn):
        turn.prompt("no-such-step", step=reply.phrase)
    return (False, None) if uid is None else (True, reference(uid))


def _target(slot: str) -> RecorderRow:
    def take(turn: RecorderTurn, reply: Reply) -> bool:
        understood, to = target_of(turn, reply)
        if understood:
            turn.facets(**{slot: to if slot == "go" else to or FOLLOWING})
            finish_slot(turn, slot)
        return understood

    return row(_plain(slot), lambda turn: hear_step(turn, "following", "later"), take)


def _leads() -> RecorderRow:
    def answer(turn: RecorderTurn) -> int:
        return next(at for at, one in enumerate(turn.step.facets["answers"]) if "go" not in one)

    def ask(turn: RecorderTurn) -> str:
        return turn.words.prompt("leads", answer=turn.step.facets["answers"][answer(turn)]["say"])

    def take(turn: RecorderTurn, reply: Reply) -> bool:
        understood, to = target_of(turn, reply)
        if understood:
            at, answers = answer(turn), list(turn.step.facets["answers"])
            answers[at] = {**answers[at], "go": to}
            turn.facets(answers=answers)
        return understood

    return row(ask, lambda turn: hear_step(turn, "following", "later"), take)


def _steps(slot: str, kinds: tuple[str, ...]) -> RecorderRow:
    def items(turn: RecorderTurn) -> list[str]:
        numbers = [turn.state.draft.number(one) for one in turn.step.facets.get(slot, ())]
        return [turn.words.step_name(one) for one in numbers if one is not None]

    def take(turn: RecorderTurn, reply: Reply) -> bool:
        if turn.words.says(reply.phrase, "that is all"):
            return _end_of_list(turn, slot)
        uid = step_names(turn).get(reply.phrase)
        if uid is None:
            return False
        if uid not in step_names(turn, kinds).values():
            turn.prompt("no-reading")
            return True
        named = [*turn.step.facets.get(slot, ()), reference(uid)]
        turn.facets(**{slot: list(dict.fromkeys(named))})
        turn.change(partial={"list": slot})
        return True

    return row(_so_far(slot, items), lambda turn: hear_step(turn, "that is all"), take)


def _procedure() -> RecorderRow:
    def names(turn: RecorderTurn) -> dict[str, str]:
        return {name.replace("-", " "): name for name in turn.state.procedures}

    def take(turn: RecorderTurn, reply: Reply) -> bool:
        name = names(turn).get(reply.phrase)
        if name is None:
            return False
        turn.facets(procedure=name)
        finish_slot(turn, "procedure")
        return True

    return row(_plain("procedure"), lambda turn: hear(turn, phrases=tuple(names(turn))), take)


def _quantity(turn: RecorderTurn, reply: Reply) -> str:
    return _name(turn, reply).lower()


def _finding_name(turn: RecorderTurn, reply: Reply) -> str:
    return slug(reply.text, frozenset())


def _answer(turn: RecorderTurn, reply: Reply) -> dict[str, Any]:
    name = _name(turn, reply)
    return {"say": name if name.isupper() else name.lower()}


QUESTIONS: dict[str, RecorderRow] = {
    "kind": _choice("kind", "kind"), "level": _choice("level", "level"), "hazards": _hazards(),
    "answers": _dictated_list("answers", _answer), "leads": _leads(), "go": _target("go"), "otherwise": _target("otherwise"),
    "quantity": _dictated("quantity", _quantity), "unit": _unit(),
    "plausible_low": _limit("plausible_low", False), "plausible_high": _limit("plausible_high", False),
    "expected_low": _limit("expected_low", True), "expected_high": _limit("expected_high", False),
    "lasts": _lasts(), "because": _dictated("because", _sentence), "do": _dictated_list("do", _sentence),
    "sources": _dictated_list("sources", _name), "method": _choice("method", "method"),
    "checks": _dictated_list("checks", _sentence), "power": _dictated("power", _sentence),
    "what": _choice("what", "evidence_kind"), "procedure": _procedure(), "finding": _dictated("finding", _finding_name),
    "evidence": _steps("evidence", ("ask", "read")), "to": _dictated("to", _name),
    "summary": _steps("summary", ("ask", "read")), "outcome": _choice("outcome", "outcome"),
}  # fmt: skip
