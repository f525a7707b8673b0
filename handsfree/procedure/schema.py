"""JSON Schema (draft 2020-12) of a procedure file, for editors: from the model, with the short forms that files may use."""

from __future__ import annotations

from typing import Any

from handsfree.procedure.model import Procedure


def procedure_schema() -> dict[str, Any]:
    made = Procedure.model_json_schema()
    made = {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}
    definitions = made["$defs"]
    long = definitions["Ask"]["properties"]["answers"]
    answer = definitions["Answer"]
    rest = {name: value for name, value in answer["properties"].items() if name != "say"}
    short = {"type": "object", "properties": rest, "additionalProperties": False}
    most, least = long["maxItems"], long["minItems"]
    definitions["Ask"]["properties"]["answers"] = {
        "title": long.get("title", "Answers"),
        "description": "a list of answers, or answers with where each leads",
        "anyOf": [
            {**long, "items": {"anyOf": [answer["properties"]["say"], long["items"]]}},
            {
                "type": "object", "minProperties": least, "maxProperties": most,
                "additionalProperties": {"anyOf": [rest["go"], short]},
            },
        ],
    }  # fmt: skip
    reading = definitions["Read"]
    shared = set(definitions["Instrument"]["properties"])
    reading["required"] = [name for name in reading["required"] if name not in shared]
    for part, name in (("SourceOf", "sources"), ("Instrument", "instruments")):
        _by_name(made["properties"][name], definitions[part])
    return made


def _by_name(field: dict[str, Any], part: dict[str, Any]) -> None:
    """Names, each with what is true of it, as `parts.by_name` reads them; a word alone is a source's kind."""
    rest = {name: value for name, value in part["properties"].items() if name != "name"}
    one: dict[str, Any] = {"type": "object", "properties": rest, "additionalProperties": False}
    if "kind" in rest:
        one = {"anyOf": [rest["kind"], one]}
    listed = {key: field.pop(key) for key in ("type", "items") if key in field}
    field["anyOf"] = [listed, {"type": "object", "additionalProperties": one}]
