"""Where the grammar and the procedures that ship are: inside the wheel, or beside the package in a checkout."""

from __future__ import annotations

from pathlib import Path


def folder(name: str) -> Path:
    """'grammar', 'procedures' or 'audio_fixtures'. Trouble where the installation lacks it."""
    from handsfree.errors import Trouble

    here = Path(__file__).resolve().parent
    for place in (here / "_data" / name, here.parent / name):
        if place.is_dir():
            return place
    raise Trouble(f"This installation lacks its '{name}' folder; install handsfree again.")
