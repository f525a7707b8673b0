"""The expressions of decide steps: read, checked against the procedure, never run as code.

Rules of this file:

- The text is parsed to a tree and every node must be in a short list; nothing is ever compiled or called by name from it.
- Names are ids of read, ask and call steps of the same procedure, as they stand there: `supply-air - room-air > 5`. A minus
  has a blank on both sides. Names with '_' for '-', as older files have them, mean the same.
- Text may only be compared, by == or !=, with one of the answers of the step it is compared to; a call step with an outcome
  that the called procedure can end with.
- Numbers of two different units do not meet in a sum or a comparison. A difference of two temperatures has its own unit.
- `rows("proof")` stands for the timed readings of a series, last in a call that takes pairs.
- `taken(step)` says whether a reading or an answer is there. Other calls are to the table that the caller gives.

`check` says what is wrong. `evaluate`, in evaluation.py, computes."""

from __future__ import annotations

import ast
import re
import warnings
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import get_args

from handsfree.procedure.functions import BUILT_IN, Calls, Parameter, Signature, signature, usual_calls
from handsfree.procedure.model import Ask, Call, End, Read, Step

LIMIT_TEXT = 500
LIMIT_NODES = 120
LIMIT_DEPTH = 20
LIMIT_NUMBER = 1e12

#: Series that a visit brings from elsewhere: the proof that is running, what the stock read from the beginning on.
BROUGHT = frozenset({"proof", "food"})
#: Every outcome that a procedure can end with.
OUTCOMES: tuple[str, ...] = get_args(End.model_fields["outcome"].annotation)

COMPARE = (ast.Lt, ast.LtE, ast.Gt, ast.GtE, ast.Eq, ast.NotEq)
ARITHMETIC = (ast.Add, ast.Sub, ast.Mult, ast.Div)
_NODES: tuple[type[ast.AST], ...] = (
    ast.Expression, ast.BoolOp, ast.And, ast.Or, ast.UnaryOp, ast.Not, ast.USub, ast.BinOp, *ARITHMETIC,
    ast.Compare, *COMPARE, ast.Call, ast.Name, ast.Load, ast.Constant,
)


class Wrong(ValueError):
    """The text is not an expression that this program takes; the message is a sentence."""


@dataclass(frozen=True)
class Tables:
    """What names mean: `readings` name -> unit, `answers` name -> its answers, or the outcomes of a call step."""

    readings: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    series: frozenset[str] = BROUGHT

    @staticmethod
    def of(steps: Iterable[Step], outcomes: Mapping[str, tuple[str, ...]] | None = None) -> Tables:
        """`outcomes`: of each called procedure, by its name; any outcome there is where it is not known."""
        readings: dict[str, str] = {}
        answers: dict[str, tuple[str, ...]] = {}
        series = set(BROUGHT)
        for step in steps:
            if isinstance(step, Read):
                readings[name_of(step.id)] = step.unit
                series.update(step.series)
            elif isinstance(step, Ask):
                answers[name_of(step.id)] = tuple(answer.say for answer in step.answers)
            elif isinstance(step, Call):
                answers[name_of(step.id)] = (outcomes or {}).get(step.procedure, OUTCOMES)
        return Tables(readings, answers, frozenset(series))


def name_of(step_id: str) -> str:
    """The id of a step, as the names of a parsed expression have it."""
    return step_id.replace("-", "_")


#: Text in quotes, or a name with '-' in it.
_SPELLED = re.compile(r""" "[^"]*" | '[^']*' | (?<![\w.]) [a-z]\w* (?: -\w+ )+ """, re.VERBOSE)


def _joined(text: str) -> str:
    """With '_' for the '-' of names."""
    return _SPELLED.sub(lambda found: found[0] if found[0][0] in "\"'" else name_of(found[0]), text)


@lru_cache(maxsize=2048)
def parse_expression(text: str) -> ast.expr:
    """The tree, of allowed nodes only. Raises Wrong."""
    if len(text) > LIMIT_TEXT:
        raise Wrong(f"it is longer than {LIMIT_TEXT} characters; split it into two steps.")
    if "\n" in text.strip() or "#" in text:
        raise Wrong("it has more than one line or a '#'; write one expression.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            tree = ast.parse(_joined(text.strip()), mode="eval")
        _measured(tree)
    except (SyntaxError, ValueError, MemoryError, RecursionError) as error:
        if isinstance(error, Wrong):
            raise
        raise Wrong("it is not an expression; write it as 'supply-air > 5 and fan == \"stopped\"'.") from None
    return tree.body


def _measured(tree: ast.Expression) -> None:
    level: list[ast.AST] = [tree]
    nodes = depth = 0
    while level:
        depth += 1
        nodes += len(level)
        if depth > LIMIT_DEPTH or nodes > LIMIT_NODES:
            raise Wrong("it is too large; split it into two steps.")
        for node in level:
            _allowed(node)
        level = [child for node in level for child in ast.iter_child_nodes(node)]


def _allowed(node: ast.AST) -> None:
    if not isinstance(node, _NODES):
        raise Wrong(f"'{_shown(node)}' is not allowed; use comparisons, and, or, not, + - * / and named functions.")
    if isinstance(node, ast.Constant):
        if not isinstance(node.value, bool | int | float | str):
            raise Wrong(f"'{_shown(node)}' is not a number or text.")
        if isinstance(node.value, int | float) and not abs(node.value) <= LIMIT_NUMBER:
            raise Wrong(f"'{_shown(node)}' is too large a number.")
    if isinstance(node, ast.Call) and (not isinstance(node.func, ast.Name) or node.keywords):
        raise Wrong(f"'{_shown(node)}' is not allowed; call a named function with plain values.")


_SIGNS: dict[type[ast.AST], str] = {
    ast.Mod: "%", ast.Pow: "**", ast.FloorDiv: "//", ast.MatMult: "@", ast.LShift: "<<", ast.RShift: ">>", ast.BitOr: "|",
    ast.BitAnd: "&", ast.BitXor: "^", ast.Invert: "~", ast.UAdd: "+", ast.In: "in", ast.NotIn: "not in", ast.Is: "is",
    ast.IsNot: "is not",
}  # fmt: skip


def _shown(node: ast.AST) -> str:
    if type(node) in _SIGNS:
        return _SIGNS[type(node)]
    try:
        return ast.unparse(node)[:60] or type(node).__name__
    except Exception:  # a context has no text of its own
        return type(node).__name__


def names_used(text: str) -> tuple[str, ...]:
    """Names of steps that it uses, in order. Raises Wrong."""
    return tuple(dict.fromkeys(_names(parse_expression(text))))


def _names(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Name):
        yield node.id
    children = node.args if isinstance(node, ast.Call) else ast.iter_child_nodes(node)
    for child in children:
        yield from _names(child)


# ---- the static check -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Kind:
    """`what`: number, text, truth. `unit`: None fits any. `answers`: of the step that the text comes from."""

    what: str
    unit: str | None = None
    answers: tuple[str, ...] | None = None


def check(text: str, tables: Tables, calls: Calls | None = None) -> tuple[str, ...]:
    """Every problem, as sentences; () for an expression that holds or does not hold whenever its values are there."""
    try:
        kind = _kind(parse_expression(text), tables, calls)
        if kind.what != "truth":
            raise Wrong("it is not something that holds or does not hold; compare it with a limit.")
    except Wrong as error:
        return (str(error),)
    return ()


def _kind(node: ast.expr, tables: Tables, calls: Calls | None) -> _Kind:
    match node:
        case ast.Constant(value=bool()):
            return _Kind("truth")
        case ast.Constant(value=str()):
            return _Kind("text")
        case ast.Constant():
            return _Kind("number")
        case ast.Name():
            return _of_name(node.id, tables)
        case ast.BoolOp():
            for value in node.values:
                _must(value, "truth", tables, calls)
            return _Kind("truth")
        case ast.UnaryOp(op=ast.Not()):
            return _must(node.operand, "truth", tables, calls)
        case ast.UnaryOp():
            return _must(node.operand, "number", tables, calls)
        case ast.BinOp():
            left, right = (_must(side, "number", tables, calls) for side in (node.left, node.right))
            return _Kind("number", _unit_of(node, left, right))
        case ast.Compare():
            sides = [_kind(side, tables, calls) for side in (node.left, *node.comparators)]
            terms = [node.left, *node.comparators]
            for at, op in enumerate(node.ops):
                _comparison(op, sides[at], sides[at + 1], node)
                _answer(terms[at], sides[at + 1].answers, terms[at + 1])
                _answer(terms[at + 1], sides[at].answers, terms[at])
            return _Kind("truth")
        case ast.Call():
            return _of_call(node, tables, calls)
    raise Wrong(f"'{_shown(node)}' is not allowed.")


def _of_name(name: str, tables: Tables) -> _Kind:
    from handsfree.procedure.sentences import did_you_mean

    if name in tables.readings:
        return _Kind("number", tables.readings[name])
    if name in tables.answers:
        return _Kind("text", None, tables.answers[name])
    known = [*tables.readings, *tables.answers]
    raise Wrong(f"`{name}` is no reading or question, and no call, of this procedure{did_you_mean(name, known) or '.'}")


def _must(node: ast.expr, what: str, tables: Tables, calls: Calls | None) -> _Kind:
    kind = _kind(node, tables, calls)
    if kind.what != what:
        wanted = {"truth": "something that holds or not", "number": "a number", "text": "text"}[what]
        raise Wrong(f"'{_shown(node)}' is not {wanted}.")
    return kind


_DIFFERENCES = {"degC": "delta_degC", "degF": "delta_degF"}


def _unit_of(node: ast.BinOp, left: _Kind, right: _Kind) -> str | None:
    if isinstance(node.op, ast.Mult | ast.Div):
        scaled = [kind.unit for kind in (left, right) if kind.unit]
        return scaled[0] if len(scaled) == 1 and (left.unit or isinstance(node.op, ast.Mult)) else None
    moved = _DIFFERENCES.get(left.unit or "")
    if moved and right.unit == moved:
        return left.unit  # a temperature, and so many degrees more or less
    unit = _one_unit(left, right, node)
    both = left.unit is not None and right.unit is not None
    return _DIFFERENCES.get(unit or "", unit) if both and isinstance(node.op, ast.Sub) else unit


def _one_unit(left: _Kind, right: _Kind, node: ast.AST) -> str | None:
    if left.unit is not None and right.unit is not None and left.unit != right.unit:
        raise Wrong(f"'{_shown(node)}' puts '{left.unit}' and '{right.unit}' together; ask both in one unit.")
    return left.unit if left.unit is not None else right.unit


def _comparison(op: ast.cmpop, left: _Kind, right: _Kind, node: ast.AST) -> None:
    if left.what != right.what or left.what == "truth":
        raise Wrong(f"'{_shown(node)}' compares things of different kinds.")
    if left.what == "number":
        _one_unit(left, right, node)
        return
    if not isinstance(op, ast.Eq | ast.NotEq):
        raise Wrong(f"'{_shown(node)}' orders words; compare an answer with == or !=.")
    if (left.answers is None) == (right.answers is None):
        raise Wrong(f"'{_shown(node)}' must compare a question with one of its answers, or a call with one of its outcomes.")


def _answer(node: ast.expr, answers: tuple[str, ...] | None, of: ast.expr) -> None:
    from handsfree.procedure.sentences import did_you_mean

    if answers is not None and isinstance(node, ast.Constant) and node.value not in answers:
        raise Wrong(f"`{_shown(of)}` has no answer '{node.value!s}'{did_you_mean(str(node.value), list(answers)) or '.'}")


def rows_of(node: ast.expr) -> str | None:
    """The series that `rows("...")` names; None for anything else."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "rows" and len(node.args) == 1:
        name = node.args[0]
        return name.value if isinstance(name, ast.Constant) and isinstance(name.value, str) else None
    return None


def _without_rows(name: str, shape: Signature, node: ast.Call, known: frozenset[str]) -> list[ast.expr]:
    """The arguments before `rows`, which may only stand last, for the pairs that a function takes. Raises Wrong."""
    given = [rows_of(argument) for argument in node.args]
    if not any(given):
        return node.args
    if not shape.repeats or any(given[:-1]) or given[-1] not in known:
        named = ", ".join(sorted(known))
        raise Wrong(f"'rows' stands last, for the timed pairs of a function, and names one of: {named}.")
    fixed = sum(1 for one in shape.parameters if one.needed)
    if not fixed <= len(node.args) - 1 <= len(shape.parameters):
        named = ", ".join(one.name for one in shape.parameters)
        raise Wrong(f"`{name}` takes {named} before its rows; {len(node.args) - 1} were given.")
    return node.args[:-1]


def _of_call(node: ast.Call, tables: Tables, calls: Calls | None) -> _Kind:
    from handsfree.procedure.sentences import did_you_mean

    assert isinstance(node.func, ast.Name)
    name = node.func.id
    if name == "taken":
        if len(node.args) != 1 or not isinstance(node.args[0], ast.Name):
            raise Wrong("'taken' wants the name of one step.")
        _of_name(node.args[0].id, tables)
        return _Kind("truth")
    table = {**BUILT_IN, **(usual_calls() if calls is None else calls)}
    if name not in table:
        raise Wrong(f"there is no function `{name}`{did_you_mean(name, [*table, 'taken']) or '.'}")
    shape = signature(table[name])
    plain = _without_rows(name, shape, node, tables.series)
    given = [_kind(argument, tables, calls) for argument in plain]
    first = given[0].unit if given else None
    matched = shape.parameters[: len(given)] if plain is not node.args else _matched(name, shape, len(given))
    for kind, parameter, argument in zip(given, matched, plain, strict=True):
        _fits(name, kind, parameter, argument, first)
    return _Kind(shape.what, shape.unit, shape.words)


def _matched(name: str, shape: Signature, count: int) -> tuple[Parameter, ...]:
    """The parameter of each argument."""
    fixed, group = shape.parameters, shape.repeats
    least = sum(1 for one in fixed if one.needed) + shape.groups * len(group)
    extra = count - len(fixed)
    if count < least or (extra > 0 and (not group or extra % len(group))):
        named = ", ".join(one.name for one in fixed)
        named += " and then pairs of " + " and ".join(one.name for one in group) if group else ""
        raise Wrong(f"`{name}` takes {named or 'no values'}; {count} were given.")
    return (*fixed[:count], *(group * (extra // len(group)) if extra > 0 else ()))


def _fits(name: str, kind: _Kind, parameter: Parameter, argument: ast.expr, first: str | None) -> None:
    wanted = {"truth": "something that holds or not", "number": "a number", "text": "text"}[parameter.what]
    if kind.what != parameter.what:
        raise Wrong(f"'{_shown(argument)}' is not {wanted}, which `{name}` wants as its {parameter.name}.")
    unit = first if parameter.unit == "same" else parameter.unit
    if kind.unit is not None and unit is not None and kind.unit != unit:
        raise Wrong(f"'{_shown(argument)}' is in '{kind.unit}', but `{name}` wants its {parameter.name} in '{unit}'.")
