"""Paper by Typst: A4, black and white, with tags that a screen reader follows (PDF/UA-1, ISO 14289-1), which Typst proves.

What stands on the pages comes as data, never as markup, so no word of a person can be taken for a command. The narrow
letters (Roboto Condensed, Apache licence; here without the signs of far scripts) travel with the program, so every device
prints the same. Signs that they lack come from the letters inside Typst, then from the system's; where none has one either,
that page is made without the proof and shows a box in its place.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

HERE = Path(__file__).parent


def typeset(template: str, data: Mapping[str, Any]) -> bytes:
    """The PDF of `template`.typ with `data`; the same data give the same bytes."""
    import typst

    inputs = {"data": json.dumps(_printable(data), ensure_ascii=False)}

    def made(standards: list[Literal["ua-1"]]) -> bytes:
        return typst.compile(
            str(HERE / f"{template}.typ"), root=str(HERE), font_paths=[str(HERE / "fonts")], format="pdf", sys_inputs=inputs,
            timestamp=0, pdf_standards=[*standards],
        )  # fmt: skip

    try:
        return made(["ua-1"])
    except typst.TypstError as error:
        if "could not be displayed" not in str(error):
            raise
        return made([])


def pages_of(pdf: bytes) -> int:
    """Of a file that `typeset` made, which names its pages in plain text."""
    return len(re.findall(rb"/Type */Page\b", pdf))


def _printable(value: Any) -> Any:
    """Without what no letters have: control signs."""
    if isinstance(value, str):
        return "".join(c if c.isprintable() or c in "\n\N{NO-BREAK SPACE}" else "?" for c in value)
    if isinstance(value, Mapping):
        return {key: _printable(one) for key, one in value.items()}
    return [_printable(one) for one in value] if isinstance(value, list | tuple) else value
