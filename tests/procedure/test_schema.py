"""The JSON Schema for editors: what loads fits it, and what has a wrong shape does not."""

from __future__ import annotations

from pathlib import Path

import jsonschema
import pytest

from handsfree.procedure.load import FileProblems, parse_procedure, procedure_files
from handsfree.procedure.schema import procedure_schema
from handsfree.procedure.yamlfile import read_yaml
from handsfree.resources import shipped_folder

DATA = Path(__file__).parent / "data"
VALIDATOR = jsonschema.Draft202012Validator(procedure_schema())


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(procedure_schema())


@pytest.mark.parametrize(
    "path", [*procedure_files(DATA), *procedure_files(shipped_folder("procedures"))], ids=lambda path: path.stem
)
def test_every_procedure_fits(path: Path) -> None:
    VALIDATOR.validate(read_yaml(path.read_text(encoding="utf-8")).data)


SHAPES = [
    ("{id: a, kind: ask, say: x, answers: {one: over, two: null}}", True),
    ("{id: a, kind: ask, say: x, answers: {one: {also: [uno]}, two: over}}", True),
    ("{id: a, kind: ask, say: x, answers: [one, {say: two, go: over}]}", True),
    ("{id: a, kind: ask, say: x, answers: {one: {say: uno}, two: over}}", False),
    ("{id: a, kind: ask, say: x, answers: [one]}", False),
    ("{id: a, kind: ask, say: x, answers: {one: over}}", False),
    ("{id: a, kind: instruct, say: x, hazards: [mains]}", True),
    ("{id: a, kind: instruct, say: x, hazards: [main]}", False),
    ("{id: A, kind: instruct, say: x}", False),
    ("{id: a, kind: instruct, say: x, minutes: 0}", False),
    ("{id: a, kind: wait, say: x, lasts: 5 min, because: x}", True),
    ("{id: a, kind: wait, say: x, lasts: soon, because: x}", False),
    ("{id: a, kind: read, say: x, quantity: q, unit: volt, plausible: [0, 9]}", True),
    ("{id: a, kind: read, say: x, quantity: q, unit: volt, plausible: [0]}", False),
    ("{id: a, kind: spoon, say: x}", False),
    ("{id: a, kind: instruct, say: x, spoon: 1}", False),
]


@pytest.mark.parametrize(("step", "fits"), SHAPES)
def test_the_schema_and_the_loader_agree_on_shapes(step: str, fits: bool) -> None:
    text = f"procedure: x\ntitle: X\nsteps:\n  - {step}\n  - {{id: over, kind: end, say: x, outcome: done}}\n"
    assert VALIDATOR.is_valid(read_yaml(text).data) is fits
    if fits:
        parse_procedure(text)
    else:
        with pytest.raises(FileProblems):
            parse_procedure(text)
