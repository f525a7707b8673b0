"""The dispatcher's call sheet: a YAML or JSON file that says where to go, to which cabinet, and what is wrong with it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from handsfree.procedure import sentences
from handsfree.procedure.load import FileProblems, file_bytes, shown_path
from handsfree.procedure.yamlfile import Problem, Unreadable, read_yaml

SheetLine = Annotated[str, Field(min_length=1, max_length=200)]


class CallSheet(BaseModel):
    """`cabinet`: its model or the number on it. `complaint`: in the caller's words."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    site: SheetLine
    cabinet: SheetLine
    complaint: SheetLine


def load_call_sheet(path: Path) -> CallSheet:
    """Trouble (FileProblems) with every fault of the file. JSON is YAML."""
    shown = shown_path(path)
    try:
        document = read_yaml(file_bytes(path, shown, "call sheet").decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise FileProblems([Problem(shown, 0, "it is not UTF-8 text; save it as UTF-8.")]) from None
    except Unreadable as error:
        sentence = error.sentence.replace("'procedure:', 'title:' and 'steps:'", "'site:', 'cabinet:' and 'complaint:'")
        raise FileProblems([Problem(shown, error.line, sentence)]) from None
    if not isinstance(document.data, dict):
        sentence = "a call sheet is fields and their values: 'site:', 'cabinet:' and 'complaint:'."
        raise FileProblems([Problem(shown, 1, sentence)])
    try:
        return CallSheet.model_validate(document.data)
    except ValidationError as error:
        found = sentences.found(error, "")
        raise FileProblems([
            Problem(shown, document.line(place), f"the call sheet {sentence.replace('a procedure', 'a call sheet')}.")
            for place, sentence in found
        ]) from None
