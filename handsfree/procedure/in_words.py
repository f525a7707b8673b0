"""The expression of a decision in the words of a person with paper: lines by their numbers, tables by theirs.

Nothing is replaced inside text: the tree of the expression is said, word by word."""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import dataclass

from handsfree.language.quantities import symbol
from handsfree.procedure.expressions import Tables, parse_expression
from handsfree.procedure.functions import BUILT_IN

_COMPARED: dict[type[ast.cmpop], str] = {
    ast.Lt: "below", ast.LtE: "at-most", ast.Gt: "above", ast.GtE: "at-least", ast.Eq: "is", ast.NotEq: "is-not",
}  # fmt: skip
_TURNED = {"below": "above", "above": "below", "at-most": "at-least", "at-least": "at-most"}
_WORKED: dict[type[ast.operator], str] = {ast.Add: "plus", ast.Sub: "less", ast.Mult: "times", ast.Div: "by"}


@dataclass(frozen=True)
class Worded:
    """`words`: a sentence of the printed copy by key. `line`: how the line of a step is called, by its name in an
    expression. `table`: how the table of a call is called. `tables`: the units of the readings."""

    words: Callable[..., str]
    line: Callable[[str], str]
    table: Callable[[ast.Call], str]
    tables: Tables

    def condition(self, when: str) -> str:
        return self.said(parse_expression(when))

    def said(self, node: ast.expr, inner: bool = False) -> str:
        match node:
            case ast.BoolOp():
                joined = self.words("all-of" if isinstance(node.op, ast.And) else "one-of")
                text = f" {joined} ".join(self.said(one, True) for one in node.values)
                return f"({text})" if inner else text
            case ast.UnaryOp(op=ast.Not(), operand=ast.Call(func=ast.Name(id="taken"), args=[ast.Name(id=name)])):
                return self.words("no-entry", line=self.line(name))
            case ast.UnaryOp(op=ast.Not(), operand=ast.Call() as call):
                return self.words("table-says", table=self.table(call), result=self.words("no"))
            case ast.UnaryOp(op=ast.Not()):
                return self.words("not-so", condition=self.said(node.operand, True))
            case ast.UnaryOp():
                return f"-{self.said(node.operand, True)}"
            case ast.BinOp():
                left, right = self.said(node.left, True), self.said(node.right, True)
                text = self.words(f"work-{_WORKED[type(node.op)]}", left=left, right=right)
                return f"({text})" if inner else text
            case ast.Compare():
                return self._compared(node)
            case ast.Call(func=ast.Name(id="taken"), args=[ast.Name(id=name)]):
                return self.words("an-entry", line=self.line(name))
            case ast.Call(func=ast.Name(id=name)) if name in BUILT_IN and len(node.args) == 1:
                return self.words("converted", value=self.said(node.args[0], True), unit=_unit_of(name))
            case ast.Call():
                return self.words("table-says", table=self.table(node), result=self.words("yes"))
            case ast.Name():
                return self.line(node.id)
            case ast.Constant(value=bool() as truth):
                return self.words("yes" if truth else "no")
            case ast.Constant(value=str() as text):
                return f'"{text}"'
            case ast.Constant():
                return f"{node.value:g}" if isinstance(node.value, int | float) else str(node.value)
        return ast.unparse(node)

    def _compared(self, node: ast.Compare) -> str:
        sides = [node.left, *node.comparators]
        parts = []
        for at, op in enumerate(node.ops):
            left, right, how = sides[at], sides[at + 1], _COMPARED[type(op)]
            if isinstance(left, ast.Constant) and not isinstance(right, ast.Constant):
                left, right, how = right, left, _TURNED.get(how, how)
            parts.append(self._pair(left, how, right))
        return f" {self.words('all-of')} ".join(parts)

    def _pair(self, left: ast.expr, how: str, right: ast.expr) -> str:
        value = self.said(right, True)
        if isinstance(right, ast.Constant) and not isinstance(right.value, str):
            unit = next((self.tables.readings[name] for name in _names(left) if name in self.tables.readings), "")
            value += symbol(unit) if unit and not isinstance(left, ast.Call) else ""
        if isinstance(left, ast.Call) and _is_table(left):
            key = "table-says" if how == "is" else "table-says-not" if how == "is-not" else f"table-{how}"
            return self.words(key, table=self.table(left), result=value)
        return self.words(f"cond-{how}", left=self.said(left), right=value)


def _is_table(call: ast.Call) -> bool:
    name = call.func.id if isinstance(call.func, ast.Name) else ""
    return name not in BUILT_IN and name != "taken"


def _names(node: ast.AST) -> list[str]:
    return [one.id for one in ast.walk(node) if isinstance(one, ast.Name)]


def _unit_of(conversion: str) -> str:
    return symbol(str(BUILT_IN[conversion].result)).strip()
