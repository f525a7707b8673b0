"""Changes a procedure file only where the procedure changed: comments, order and style stay.

Rules of this file:

- A step is a piece of the text with the comments above it. A piece whose step says the same stays as it is, letter by
  letter; one that moved is moved as a whole.
- In a piece that changed, only the changed fields are rewritten (ruamel.yaml keeps the rest).
- The version goes up by one if anything changed."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from handsfree.authoring.draft import UNSURE, answers_of
from handsfree.procedure import yamlfile

_STEP = re.compile(r"^( *)- ")


@dataclass(frozen=True)
class _Piece:
    """`above`: comments and empty lines before the step; `body`: its own lines."""

    above: tuple[str, ...]
    body: tuple[str, ...]


def rewritten(before: str, data: Mapping[str, Any], remarks: Mapping[str, Sequence[str]]) -> str:
    """The text of `before` saying `data`. `remarks`: by the id of a step, '' for the title, the lines above it."""
    old = yamlfile.read_yaml(before).data
    header, pieces, tail = _parts(before)
    steps = {str(one["id"]): one for one in old.get("steps") or ()}
    by_id = dict(zip(steps, pieces, strict=True))
    indent = _STEP.match(pieces[0].body[0])[1] if pieces else "  "  # type: ignore[index]  # a piece begins with one
    lines = list(header)
    fields = {key: value for key, value in data.items() if key != "steps"}
    if changed(old, data):
        fields["version"] = int(old.get("version", 1)) + 1
    lines = _marked(_edited_header(lines, old, fields), remarks.get("", ()), 0)
    for at, step in enumerate(data["steps"]):
        name = str(step["id"])
        piece = by_id.get(name)
        if piece is None:
            above, body = ([] if at == 0 or not lines[-1].strip() else [""]), _fresh(step, indent)
        else:
            above = [line for line in piece.above if not line.strip().startswith(UNSURE)]
            body = list(piece.body)
            if _plain(steps[name]) != _plain(step):
                body = _edited(body, steps[name], step, indent)
        lines += [*above, *(f"{indent}{remark}" for remark in remarks.get(name, ())), *body]
    return "\n".join([*lines, *tail]).rstrip("\n") + "\n"


def changed(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    """Whether the two say different things, apart from the version and the form of the answers."""

    def told(data: Mapping[str, Any]) -> dict[str, Any]:
        plain = {key: value for key, value in data.items() if key not in ("version", "steps")}
        return plain | {"steps": [_plain(step) for step in data.get("steps") or ()]}

    return told(old) != told(new)


def _plain(step: Mapping[str, Any]) -> dict[str, Any]:
    """With answers in their long form and without the writer's sound, which is not part of what a step says."""
    plain = {key: value for key, value in step.items() if key not in ("sound", "sound_of")}
    if "answers" in plain:
        plain["answers"] = [{k: v for k, v in one.items() if v is not None} for one in answers_of(plain["answers"])]
    return plain | {key: step[key] for key in ("sound", "sound_of") if key in step}


def _parts(text: str) -> tuple[list[str], list[_Piece], list[str]]:
    """The lines before the first step, each step, what stands behind the last one's own lines."""
    rows = text.rstrip("\n").split("\n")
    starts = _starts(text)
    if not starts:
        return [*(row for row in rows if row.strip() != "steps: []"), "steps:"], [], []
    firsts = [_above(rows, at) for at in starts]
    pieces = []
    for at, (first, start) in enumerate(zip(firsts, starts, strict=True)):
        end = firsts[at + 1] if at + 1 < len(firsts) else len(rows)
        pieces.append(_Piece(tuple(rows[first:start]), tuple(rows[start:end])))
    return rows[: firsts[0]], pieces, []


def _starts(text: str) -> list[int]:
    """The row (from 0) on which each step begins."""
    document = yamlfile.read_yaml(text)
    count = len(document.data.get("steps") or ())
    return [document.line(("steps", at)) - 1 for at in range(count)]


def _above(rows: list[str], at: int) -> int:
    """The first row of what belongs to the step on row `at`: comments and empty rows above it."""
    while at and (not rows[at - 1].strip() or rows[at - 1].strip().startswith("#")):
        at -= 1
    return at


def _marked(lines: list[str], remarks: Sequence[str], at: int) -> list[str]:
    kept = [line for line in lines if not line.startswith(UNSURE)]
    return [*kept[:at], *remarks, *kept[at:]]


def _edited_header(lines: list[str], old: Mapping[str, Any], fields: Mapping[str, Any]) -> list[str]:
    before = {key: value for key, value in old.items() if key != "steps"}
    if before == dict(fields):
        return lines
    at = next(n for n, line in enumerate(lines) if line.startswith("steps:"))
    return [*_round_trip("\n".join(lines[:at]) + "\n", before, fields).split("\n")[:-1], *lines[at:]]


def _edited(body: list[str], old: Mapping[str, Any], new: Mapping[str, Any], indent: str) -> list[str]:
    inner = len(indent) + 2
    text = "\n".join([body[0][inner:], *(line[inner:] for line in body[1:])]) + "\n"
    rows = _round_trip(text, old, new).rstrip("\n").split("\n")
    return [f"{indent}- {rows[0]}", *(f"{' ' * inner}{row}" if row else "" for row in rows[1:])]


def _fresh(step: Mapping[str, Any], indent: str) -> list[str]:
    from handsfree.authoring.draft import dumped

    first, *rest = dumped(step).splitlines()
    return [f"{indent}- {first}", *(f"{indent}  {line}" if line else "" for line in rest)]


def _round_trip(text: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    """The text of one mapping, with the fields that differ rewritten."""
    from ruamel.yaml import YAML

    yaml = YAML(typ="rt")
    yaml.preserve_quotes, yaml.width = True, 4096
    yaml.indent(mapping=2, sequence=4, offset=2)
    tree = yaml.load(text)
    _update(tree, old, new)
    out = io.StringIO()
    yaml.dump(tree, out)
    return out.getvalue()


def _update(tree: Any, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
    for key in [key for key in old if key not in new]:
        del tree[key]
    for key, value in new.items():
        if key == "answers" and key in old:
            if list(answers_of(old[key])) != list(answers_of(value)):
                _answers(tree, old[key], list(answers_of(value)))
        elif key not in old:
            tree[key] = _flowing(value)
        elif old[key] != value:
            if isinstance(value, Mapping) and isinstance(old[key], Mapping):
                _update(tree[key], old[key], value)
            else:
                tree[key] = _flowing(value)


def _answers(tree: Any, old: Any, new: list[Mapping[str, Any]]) -> None:
    """In their old form: by what is said, if they were written so."""
    if not isinstance(old, Mapping):
        tree["answers"] = _flowing(new)
        return
    was = {str(one["say"]): dict(one) for one in answers_of(old)}
    given = tree["answers"]
    for say in [say for say in list(given) if say not in {str(one["say"]) for one in new}]:
        del given[say]
    for one in new:
        say = str(one["say"])
        if was.get(say) != dict(one):
            given[say] = _flowing({key: value for key, value in one.items() if key != "say"})


def _flowing(value: Any) -> Any:
    """Lists of plain values and answers on one line, as the recorder writes them."""
    from ruamel.yaml.comments import CommentedMap, CommentedSeq

    if isinstance(value, Mapping):
        made = CommentedMap({key: _flowing(one) for key, one in value.items()})
        made.fa.set_flow_style()
        return made
    if isinstance(value, list | tuple):
        listed = CommentedSeq([_flowing(one) for one in value])
        if all(isinstance(one, int | float) or (isinstance(one, str) and len(one) < 40) for one in value):
            listed.fa.set_flow_style()
        return listed
    return int(value) if isinstance(value, float) and value == int(value) else value
