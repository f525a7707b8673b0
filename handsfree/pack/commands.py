"""The verbs `models pack` and `models unpack`: they make a pack or set one up, and say what was done."""

from __future__ import annotations

from pathlib import Path

from handsfree.errors import Trouble
from handsfree.settings import load_settings


def pack(to: Path, wheels: Path | None, procedures: Path | None) -> None:
    """Makes a pack. Trouble where it cannot be made."""
    from handsfree.pack.making import PackOptions, make

    own = procedures if procedures is not None else Path("procedures") if Path("procedures").is_dir() else None
    print("Collecting the wheels of what is installed here.", flush=True)
    made = make(to, PackOptions(wheels, load_settings().models, own))
    print(f"{to}: {made.files} files, {made.size / 1e6:.0f} MB.")
    for licence, names in made.licences:
        print(f"  {licence}: {len(names)}")
    print("Each package's licence is in its licences.txt. Anybody who passes the pack on must keep to them.")
    print(f"On the device, with no network: python3 {to.name} FOLDER")


def unpack(pack: Path, folder: Path) -> None:
    """Sets a pack up. Trouble where it cannot be set up; nothing is left behind then."""
    from handsfree.pack.setting_up import Refused, set_up

    try:
        program = set_up(pack, folder)
    except Refused as refused:
        raise Trouble(str(refused)) from None
    print(f"It works here. Start a visit with: HANDSFREE_SETTINGS={folder / 'settings.toml'} {program} visit")
