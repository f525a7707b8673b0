"""The verbs `stand-by` and `stand-by unit`."""

from __future__ import annotations

import os
import signal
import sys
from contextlib import suppress
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.outputs import save
from handsfree.settings import PREFIX, load_settings
from handsfree.standby.supervising import House, stand_by
from handsfree.standby.unit import NAME, unit_file
from handsfree.standby.watched import Watched


def run(sound_in: str | None, sound_out: str | None, visits: Path | None) -> int:
    """Stands by until a signal ends it. Exit status 0 for an interrupt, as from the keyboard, else 128 and the
    number of the signal. Trouble where visits cannot be kept, or where it could not hear or be heard."""
    if sound_in and Path(sound_in).is_file():
        raise Trouble("Stand-by listens to a microphone; name a device with --sound-in, not a file.")
    if sound_out == "-":
        raise Trouble("Stand-by speaks by a loudspeaker; name a device with --sound-out, not '-'.")
    settings = load_settings(visits=visits)
    try:
        settings.visits.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        sentence = f"The folder for visits {settings.visits} cannot be made ({error.strerror}); choose another."
        raise Trouble(sentence) from None
    devices = [*(("--sound-in", sound_in) if sound_in else ()), *(("--sound-out", sound_out) if sound_out else ())]
    house = House(
        settings.visits, (*devices, "--visits", str(settings.visits)), (*devices, "--language", settings.language),
        raw_sound=sound_in == "-",
    )  # fmt: skip
    watched = Watched()
    with watched.until_signalled():
        print("Standing by. Say 'start a visit'. Control-C ends it.", flush=True)
        stand_by(house, lambda sentence: print(sentence, flush=True), watched)
    with suppress(OSError):  # a terminal that was closed takes no sentence
        print("Stand-by has ended.", flush=True)
    return 0 if watched.ended_by == signal.SIGINT else 128 + watched.ended_by


def unit(out: Path | None) -> None:
    """Writes the unit and says what to do next. Trouble where it cannot be written."""
    place = out or Path.home() / ".config" / "systemd" / "user" / NAME
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Trouble(f"The folder {place.parent} cannot be made ({error.strerror}); name a file with --out.") from None
    command = (sys.executable, "-m", "handsfree", "stand-by")
    named = os.environ.get(f"{PREFIX}SETTINGS", "")
    content = unit_file(command, Path.cwd(), str(Path(named).resolve()) if named else "")
    save(place, content.encode)
    print(f"{place} is written. It begins to stand by at your next sign-in.")
    print(f"To begin now: systemctl --user enable --now {place.name}")
    print("To stand by even before anybody signs in: loginctl enable-linger")
