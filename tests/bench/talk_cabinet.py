"""What is so at the cabinets of `tests.bench.talk`: ten jobs, each a cabinet with one fault, and what work does to it.

Every number is invented. The cabinet knows nothing of procedures: it has facts, a temperature that follows them, and
answers to nobody. `tests.bench.talk_topics` turns its facts into what a technician says.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

COLD_RUN = 28.0  # degF: where a sound deck would settle without its controller; invented
PULL_MINUTES = 35.0  # time constant of the pull-down; invented
WARM_MINUTES = 900.0  # time constant of the drift to the room; invented
NORMAL_SETTING = 43.0
BAND = 1.5  # degF either side of the setting


@dataclass(frozen=True)
class Facts:
    """Temperatures in degF. `stock`: what the cabinet holds."""

    complaint: str
    inside: float = 51.0
    room: float = 77.0
    setting: float = NORMAL_SETTING
    mode: str = "cooling"
    lit: bool = True
    condenser_dirty: bool = False
    coil_iced: bool = False
    door_seals: bool = True
    connectors_home: bool = True
    fuse_blown: bool = False
    sensor_offset: float = 0.0  # shown less true, degF
    panel_loose: bool = False
    deck_good: bool = True
    grille_on: bool = True
    frozen: bool = False

    def feeds(self) -> bool:
        """Whether the controller can switch the compressor on."""
        return self.lit and not self.fuse_blown and self.mode == "cooling" and self.connectors_home and self.deck_good

    def rejects(self) -> bool:
        """Whether a running deck can cool the cabinet."""
        return not self.condenser_dirty and not self.coil_iced


JOBS: dict[str, Facts] = {
    "dirty-condenser": Facts("too warm", condenser_dirty=True),
    "wrong-mode": Facts("too warm", inside=60.0, mode="other"),
    "wrong-setting": Facts("too warm", inside=55.0, setting=55.0),
    "deck-exchange": Facts("exchange the deck", inside=64.0, deck_good=False),
    "dead-cabinet": Facts("dead", inside=66.0, lit=False, fuse_blown=True),
    "iced-up": Facts("ice", inside=52.0, coil_iced=True, door_seals=False),
    "noisy": Facts("noisy", inside=42.0, panel_loose=True),
    "relay-terminal-off": Facts("too warm", inside=63.0, connectors_home=False),
    "freezing-stock": Facts("freezing", inside=31.0, setting=31.0, frozen=True),
    "sensor-reads-low": Facts("too warm", inside=55.0, sensor_offset=-13.0),
}


@dataclass
class Cabinet:
    """The facts as they go: `minute` of the job, whether the plug is in, and since when the compressor could run."""

    facts: Facts
    minute: float = 0.0
    powered: bool = True
    on_since: float = -600.0
    off_since: float = 0.0
    cooling: bool = False

    @property
    def fahrenheit(self) -> float:
        return self.facts.inside

    def pass_to(self, minute: float) -> None:
        """The temperature goes where the facts drive it, five minutes at a time."""
        while self.minute < minute:
            gone = min(5.0, minute - self.minute)
            f, here = self.facts, self.facts.inside
            shown = here + f.sensor_offset
            self.cooling = self.powered and f.feeds() and shown > f.setting + (-BAND if self.cooling else BAND)
            towards, tau = (COLD_RUN, PULL_MINUTES) if self.cooling and f.rejects() else (f.room, WARM_MINUTES)
            here = towards + (here - towards) * math.exp(-gone / tau) if not self.cooling or f.rejects() else here
            iced = f.coil_iced and (self.powered or self.minute - self.off_since < 600)
            self.facts, self.minute = replace(f, inside=here, coil_iced=iced), self.minute + gone

    def power(self, on: bool) -> None:
        if on and not self.powered:
            self.on_since = self.minute
        self.powered = on

    def change(self, **fields: object) -> None:
        """Something is done to it. A compressor that can run from now on has not run before."""
        ran = self.runs
        self.facts = replace(self.facts, **fields)  # type: ignore[arg-type]  # fields by name
        if self.runs and not ran:
            self.on_since = self.minute

    @property
    def runs(self) -> bool:
        """The compressor, some minutes after power came."""
        return self.powered and self.facts.feeds()
