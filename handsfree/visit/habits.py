"""How much a person wants to hear, remembered from one visit to the next: a small file beside the settings.

If the file cannot be read or written, the visit does not stop: it begins in the usual form.
"""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

from platformdirs import user_data_path

from handsfree.visit.state import Form


def file() -> Path:
    return user_data_path("handsfree") / "forms.json"


def form_of(person: str, kept: Path | None = None) -> str:
    """'' if nothing is remembered."""
    found = _read(kept or file()).get(person, "")
    return found if found in set(Form) else ""


def remember(person: str, form: Form, kept: Path | None = None) -> None:
    place = kept or file()
    with contextlib.suppress(OSError):
        place.parent.mkdir(parents=True, exist_ok=True)
        new = place.with_suffix(".new")
        new.write_text(json.dumps({**_read(place), person: str(form)}, ensure_ascii=False), encoding="utf-8")
        new.replace(place)


def _read(place: Path) -> dict[str, str]:
    try:
        data = json.loads(place.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(name): str(form) for name, form in data.items()} if isinstance(data, dict) else {}
