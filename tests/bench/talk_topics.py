"""What a question is about, and what is so about it: questions by the words a person would hear, answers by the facts.

Rules of this file:

- A question is known by its words, never by a step's id or by the answers that a procedure expects. A procedure may be
  written anew; the cabinet stays as it is.
- `says` gives what is so in a person's words, the most natural first; the technician says the first that is understood.
  Where the words of a question fit two topics, it is about the one that has an answer here.
- What was told stays told until `spoils` something, or until it is older than `lasts` minutes: asked meanwhile, it is
  counted as known.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from math import inf

from tests.bench.talk_cabinet import NORMAL_SETTING, Cabinet

Words = Callable[[Cabinet], tuple[str, ...]]
Number = Callable[[Cabinet], float]


@dataclass(frozen=True)
class Topic:
    """`about`: 'fault' for what tells what is wrong with the cabinet, else 'site', 'work' or 'stock'. `unit` of `value`."""

    name: str
    about: str
    pattern: str
    says: Words | None = None
    value: Number | None = None
    unit: str = ""
    lasts: float = inf
    live: bool = field(default=False)  # power off or on makes it stale

    def fits(self, text: str) -> bool:
        return re.search(self.pattern, text, re.IGNORECASE) is not None


def _always(*words: str) -> Words:
    return lambda c: words


def _if(true: Callable[[Cabinet], bool], yes: tuple[str, ...], no: tuple[str, ...]) -> Words:
    return lambda c: yes if true(c) else no


def _sound(c: Cabinet) -> tuple[str, ...]:
    if c.runs:
        return ("runs smoothly", "running", "it runs", "follows", "stops", "yes")
    return ("silent", "it is silent", "nothing", "no")


def _air(c: Cabinet) -> tuple[str, ...]:
    if c.facts.coil_iced:
        return ("faint", "weakly", "weak", "dead calm", "cool")
    if not c.runs:
        return ("warm", "strongly", "strong")
    return ("cool", "strongly", "strong", "moving")


def _does(c: Cabinet) -> tuple[str, ...]:
    if c.runs:
        return ("runs smoothly", "it runs")
    return ("stays dark", "dark", "dead") if not c.facts.lit or c.facts.fuse_blown else ("lit but idle",)


def _left(c: Cabinet) -> tuple[str, ...]:
    if not c.powered:
        return ("locked off", "locked")
    return ("running cold", "cold", "running") if c.fahrenheit < 46 else ("pulling down", "running")


ASKED: tuple[Topic, ...] = (
    # the site and its people
    Topic("people of the site", "site", r"person in charge|customer (here|present)",
          _always("customer present", "yes")),
    Topic("barrier", "site", r"barrier", _always("done")),
    Topic("floor", "site", r"floor and .*(outlet|cord)|floor.*dry", _always("dry", "all dry", "all sound", "yes")),
    Topic("cord", "site", r"supply cord\b.*plug|cord.*sound", _always("intact", "sound", "yes")),
    Topic("flame symbol", "site", r"flame symbol\?|carry the flame", _always("plain plate", "no flame", "no")),
    Topic("partner", "site", r"partner here|second person", _always("partner here", "yes")),
    # the stock
    Topic("stock moves", "stock", r"bottles? moves? freely|stock.*freely|bottles?.*(trapped|stuck)", _if(
        lambda c: c.facts.frozen, ("trapped", "frozen fast", "no"), ("moving freely", "free", "yes"))),
    Topic("where frozen", "fault", r"frozen stock|where .*(lie|frozen)", _always("everywhere", "all over")),
    Topic("stock kind", "stock", r"does the cabinet hold|kind of (stock|food)|what is in (it|the cabinet)",
          _always("sealed drinks", "drinks")),
    Topic("drinks whole", "stock", r"burst or swell|drinks.*whole", _always("all whole", "whole", "yes")),
    Topic("filled", "fault", r"when was .*filled|filled or serviced|filled today|freshly filled",
          _always("long before", "earlier", "no")),
    # the cabinet
    Topic("mode", "fault", r"\bmode\b", lambda c: (
        ("dark", "no") if not c.facts.lit else
        ("cooling", "yes") if c.facts.mode == "cooling" else ("something else", "another mode", "other", "no"))),
    # a controller that was switched off and on starts anew
    Topic("call for cooling", "fault", r"call for cooling|calls for cooling|controller do|does it call",
          _always("calls for cooling", "yes"), live=True),
    Topic("display", "fault", r"display.*(lit|dark)", _if(
        lambda c: c.facts.lit and not c.facts.fuse_blown, ("lit up", "lit", "yes"), ("blank", "dark", "no"))),
    Topic("what it does", "fault", r"what does (the cabinet|it) do|does the cabinet (stay|run)", _does, live=True),
    Topic("vents", "fault", r"before each vent", _always("room for air")),
    Topic("deck seat", "fault", r"tissue", _always("hangs still")),
    Topic("ran through", "fault", r"run through all", _always("ran through")),
    Topic("sensor place", "fault", r"in its clip", _always("in its clip")),
    Topic("door switch", "fault", r"closed door presses", _always("without switch")),
    Topic("water", "fault", r"does water stand", _always("all dry")),
    Topic("door strip", "fault", r"strip", _if(
        lambda c: c.facts.door_seals, ("holds fast", "holds", "yes"), ("slips out", "slips", "no"))),
    Topic("delivery air", "fault", r"(air|palm).*(feel|move)|delivery opening", _air, lasts=15, live=True),
    Topic("noise now", "fault", r"how does the cabinet sound|noise (gone|still|much better)", _if(
        lambda c: c.facts.panel_loose, ("as before", "no"), ("much better", "gone", "yes"))),
    Topic("noise", "fault", r"where does the noise|listen from outside", _always("outer panel", "panel")),
    Topic("stands", "fault", r"how does it stand|does it rock|stand.*firm", _always("standing firmly", "firm", "yes")),
    Topic("loose parts", "fault", r"tighten each|what did you find|anything loose", _always("loose parts", "loose", "yes")),
    Topic("tubes", "fault", r"touch another|tubes.*touch", _always("well apart", "apart", "no")),
    Topic("cycles", "fault", r"run and stop|ran and stopped", _if(
        lambda c: c.runs and c.fahrenheit < c.facts.setting + 3, ("both seen", "ran and stopped", "run and stop"),
        ("runs onward", "ran onward", "never ran")), lasts=10),
    Topic("capacitor", "work", r"capacitor (fitted|there)|have a capacitor", _always("none", "no")),
    Topic("compressor", "fault", r"compressor (do|follow)|listen at|does (it|the compressor) run|compressor.*\?$",
          _sound, lasts=15, live=True),
    Topic("condenser fan", "fault", r"condenser fan", _always("turning", "turns", "yes"), live=True),
    Topic("evaporator fan", "fault", r"evaporator fan", _always("freely", "turns", "turning", "yes")),
    Topic("coil", "fault", r"\bcoil\b|frost lie", lambda c: (
        ("iced over", "ice", "some ice", "yes") if c.facts.coil_iced
        else ("bare coil", "bare", "no ice", "no") if not c.runs or c.minute > 600 else ("even frost", "even", "no")),
        lasts=600),
    Topic("condenser", "fault", r"condenser", _if(
        lambda c: c.facts.condenser_dirty, ("dirty", "clogged", "yes"), ("clean", "no"))),
    Topic("compressor touch", "fault", r"touch it briefly|how (warm|hot) is the compressor", _if(
        lambda c: c.facts.feeds(), ("warm",), ("cool", "cold"))),
    Topic("terminals", "fault", r"terminals? home|terminals? .*(housing|back)|connectors? .*home", _if(
        lambda c: c.facts.connectors_home, ("all home", "home", "yes"), ("backed out", "no"))),
    Topic("water or burns", "fault", r"water, burns|burns and", _always("dry and sound", "dry", "no")),
    Topic("fuse", "fault", r"\bfuse\b", _if(
        lambda c: c.facts.fuse_blown, ("blown", "no"), ("conducting", "yes"))),
    Topic("outlet", "fault", r"outlet tester|(what )?does (the|its) lamp|outlet (live|dead)",
          _always("shines", "live", "yes")),
    Topic("start device", "fault", r"start device.*(how is it|rattle)", _always("sound")),
    Topic("start device kind", "fault", r"start device.*which kind|which kind is it", _always("without coil")),
    Topic("drain", "fault", r"drain", _always("running free", "free", "yes")),
    Topic("defrost by hand", "fault", r"defrost by hand|defrost begin now|does it begin", _always("it begins", "begins")),
    Topic("heater fitted", "fault", r"defrost heater\?", _always("timed pauses", "off cycle", "no heater", "no")),
    Topic("heater done", "work", r"heater was bad|what is done", _always("heater sound")),
    Topic("pins", "fault", r"as marked", _always("as marked", "yes")),
    # the work
    Topic("spare", "work", r"(same|spare|new) (part|relay|sensor|fan|cooling deck|deck).*\?|with you\?",
          _always("spare here", "deck here", "yes")),
    Topic("deck plate", "work", r"plates? .*(agree|new deck)", _always("plates agree", "they agree", "yes")),
    Topic("all free", "work", r"is each (one )?free|all free|deck.*free\?", _always("all free", "free", "yes")),
    Topic("grommet", "work", r"grommet in the wall|grommet.*(sit|seated)", _always("seated all round", "seated", "yes")),
    Topic("panels", "work", r"panels.*in place|panels,? .*(grille|grommet)|covers? .*(in place|fitted)",
          _always("everything fitted", "all in place", "yes")),
    Topic("tools", "work", r"tools", _always("all there", "yes", "done")),
    Topic("left how", "work", r"which state do you leave|how do you leave|plug locked\?", _left),
    Topic("stay", "work", r"\bstay|return tomorrow|coming back", _always("coming back", "tomorrow", "staying", "stay")),
    Topic("try", "work", r"which try", _always("repeated")),
    Topic("more", "work", r"what else|anything else|else (is )?wrong", _always("nothing else", "that is all", "no")),
)  # fmt: skip


def _shown(c: Cabinet) -> float:
    return c.fahrenheit + c.facts.sensor_offset


def _bend(c: Cabinet) -> float:
    return c.facts.room + (0.0 if not c.runs else 45.0 if c.facts.condenser_dirty else 20.0)


def _delivery(c: Cabinet) -> float:
    return c.fahrenheit - (0.0 if not c.runs else 2.0 if not c.facts.rejects() else 14.0)


def _sensor_ohms(fahrenheit: float) -> float:
    """A thermistor of 10 kilohm at 77 degF, beta 3435 K; invented."""
    from math import exp

    kelvin = (fahrenheit - 32) / 1.8 + 273.15
    return round(10_000 * exp(3435 * (1 / kelvin - 1 / 298.15)), -1)


READ: tuple[Topic, ...] = (
    Topic("setting", "fault", r"\bsetting\b", value=lambda c: c.facts.setting, unit="degF"),
    Topic("offset", "fault", r"offset", value=lambda c: 0.0),
    Topic("ice ohms", "fault", r"resistance of the sensor in ice water",
          value=lambda c: _sensor_ohms(32 + c.facts.sensor_offset), unit="ohm"),
    Topic("sensor ohms", "fault", r"resistance of the sensor|pins of the sensor",
          value=lambda c: _sensor_ohms(_shown(c)), unit="ohm"),
    Topic("table ohms", "fault", r"table", value=lambda c: _sensor_ohms(c.fahrenheit), unit="ohm"),
    Topic("room", "fault", r"\broom\b|around the cabinet|into the (condenser|grille)", value=lambda c: c.facts.room,
          unit="degF", lasts=120),
    Topic("condenser bend", "fault", r"\bbend\b|clipped probe", value=_bend, unit="degF", lasts=10, live=True),
    Topic("delivery temperature", "fault", r"delivery", value=_delivery, unit="degF", lasts=10, live=True),
    Topic("product", "stock", r"two packs|product", value=lambda c: c.fahrenheit, unit="degF", lasts=10),
    Topic("shown", "fault", r"cabinet shows|shown", value=_shown, unit="degF", lasts=10),
    Topic("at the sensor", "fault", r"at the sensor|after the work", value=lambda c: c.fahrenheit, unit="degF", lasts=10),
    Topic("inside", "fault", r"thermometer|temperature of the cabinet|back to the evaporator|middle bottles",
          value=lambda c: c.fahrenheit, unit="degF", lasts=10),
    Topic("stock mass", "stock", r"mass of the stock", value=lambda c: 40.0, unit="kilogram"),
    Topic("deck mass", "work", r"\bmass\b", value=lambda c: 18.0, unit="kilogram"),
    Topic("supply system", "fault", r"nominal", value=lambda c: 230.0, unit="volt"),
    Topic("plate voltage", "fault", r"voltage on the plate|voltage.*plate|plate.*volt", value=lambda c: 230.0, unit="volt"),
    Topic("charge left", "work", r"capacitors?", value=lambda c: 0.0, unit="volt", lasts=5, live=True),
    Topic("outlet voltage", "fault", r"outlet.*volt|volt.*outlet", value=lambda c: 231.0, unit="volt", lasts=60),
    Topic("voltage behind", "fault", r"volt", value=lambda c: 231.0 if c.runs else 0.0, unit="volt", lasts=10, live=True),
    Topic("earth wire", "fault", r"earth", value=lambda c: 0.1, unit="ohm"),
    Topic("cord wires", "fault", r"supply cord", value=lambda c: 0.3, unit="ohm"),
    Topic("insulation", "fault", r"megohms|insulation", value=lambda c: 200.0, unit="megaohm"),
    Topic("common to run", "fault", r"common to run|common pin to the run", value=lambda c: 8.0, unit="ohm"),
    Topic("common to start", "fault", r"common to start|common pin to the start", value=lambda c: 16.0, unit="ohm"),
    Topic("start to run", "fault", r"start to run|start pin to the run", value=lambda c: 24.0, unit="ohm"),
    Topic("start device ohms", "fault", r"start device", value=lambda c: 25.0, unit="ohm"),
    Topic("overload ohms", "fault", r"overload", value=lambda c: 0.4, unit="ohm"),
    Topic("relay contact", "fault", r"contact of the relay|relay contact", value=lambda c: inf, unit="ohm"),
    Topic("plate current", "fault", r"current on the plate", value=lambda c: 2.0, unit="ampere"),
    Topic("current", "fault", r"current", value=lambda c: 1.8, unit="ampere", lasts=10, live=True),
    Topic("minutes cold", "stock", r"how long is it since|minutes", value=lambda c: 20.0, unit="minute"),
)  # fmt: skip


@dataclass(frozen=True)
class Work:
    """What doing something makes of the facts. `tells`: topics that the doer knows afterwards; `spoils`: those that
    nobody knows any more."""

    pattern: str
    does: Callable[[Cabinet], None]
    tells: tuple[str, ...] = ()
    spoils: tuple[str, ...] = ()


def _set(**fields: object) -> Callable[[Cabinet], None]:
    return lambda c: c.change(**fields)


def _plugged_anew(c: Cabinet) -> None:
    """The plug was out for a moment: what was heard of the compressor before tells nothing of it now."""
    c.power(False)
    c.power(True)


def _setting(c: Cabinet, text: str) -> None:
    found = re.search(r"\b(\d\d)(\.\d)? ?°?F?\b", text)
    c.change(setting=float(found.group(1)) if found else NORMAL_SETTING)


WORK: tuple[Work, ...] = (
    Work(r"cooling mode|set .*(\bmode\b|to cooling)", _set(mode="cooling"), tells=("mode",),
         spoils=("compressor", "delivery air")),
    Work(r"brush|clean the condenser", _set(condenser_dirty=False), tells=("condenser",), spoils=("condenser bend",)),
    Work(r"meter between its plug", _plugged_anew, spoils=("compressor", "delivery air", "call for cooling")),
    Work(r"until it clicks|push (the|each) (terminal|connector)", _set(connectors_home=True),
         tells=("terminals",), spoils=("compressor", "voltage behind")),
    Work(r"(fit|put in) a fuse|new fuse", _set(fuse_blown=False, lit=True),
         tells=("fuse",), spoils=("display", "what it does")),
    Work(r"fit the new sensor|new sensor", _set(sensor_offset=0.0), spoils=("sensor ohms", "shown")),
    Work(r"clean the gasket|gasket", _set(door_seals=True), spoils=("door strip",)),
    Work(r"slide it in|slide the (new )?deck (in|home)|deck .*to its stop", _set(deck_good=True),
         spoils=("compressor", "deck mass", "all free")),
    Work(r"tighten each", _set(panel_loose=False), tells=("loose parts",), spoils=("noise now", "noise")),
)  # fmt: skip
GRILLE_OFF = r"take (off|away) the (lower )?grille|grille off"
GRILLE_ON = r"put the (lower )?grille back|grille (back )?on"


def topics_of(text: str, numbers: bool) -> list[Topic]:
    """Those that the question can be about, the likeliest first. AssertionError for none."""
    found = [topic for topic in (READ if numbers else ASKED) if topic.fits(text)]
    assert found, f"no fact of the cabinet answers: {text}"
    return found
