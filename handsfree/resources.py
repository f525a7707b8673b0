"""Where the grammar and the procedures that ship are: inside the wheel, or beside the package in a checkout."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

#: The arithmetic and the fault model of refrigeration: one package, which an installation for another trade may leave out.
TRADE = "handsfree.trade"


def of_trade(module: str) -> Any:
    """A module of the trade's package; None where that is left out."""
    try:
        return import_module(f"{TRADE}.{module}")
    except ModuleNotFoundError as error:
        if (error.name or "").startswith(TRADE):
            return None
        raise


def shipped_folder(name: str) -> Path:
    """'grammar', 'procedures' or 'audio_fixtures'. Trouble where the installation lacks it."""
    from handsfree.errors import Trouble

    here = Path(__file__).resolve().parent
    for place in (here / "_data" / name, here.parent / name):
        if place.is_dir():
            return place
    raise Trouble(f"This installation lacks its '{name}' folder; install handsfree again.")
