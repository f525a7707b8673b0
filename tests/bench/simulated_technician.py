"""A technician at a simulated cabinet: what every question and reading of the shipped procedures gets for an answer.

Looks, touches and meters go through `tests.bench.mirror.simulated` (meter noise, and now and then a slip of the eye). What
is mended changes the cabinet, so that the proof at the end is a proof. Steps are known by their id, which the shipped
procedures use for one and the same thing. Every number is invented."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from random import Random
from typing import Any

from handsfree.procedure.model import Ask, Read
from tests.bench.mirror import answers
from tests.bench.mirror.simulated import Condition
from tests.bench.mirror.simulator import DEFROST_MINUTES, DIFFERENTIAL, Event, SimulatedCabinet, State, _law, settled

SLIP = answers.SLIP
OFF_SCALE, UNSTEADY = "off scale", "unsteady"
WORKS_SETTING = 6.1  # degrees Celsius: the 43 degF of the procedures
HAS_SPARE = 0.8


@dataclass
class Technician:
    """`minute`: of the cabinet's time. `on`: the plug is in. `found`: findings made so far, the last last."""

    cabinet: SimulatedCabinet
    rng: Random
    minute: float = 0.0
    base: float = 0.0
    on: bool = True
    off_since: float = 0.0
    found: list[str] = field(default_factory=list)
    cut: int = 0

    # ---- the cabinet

    @property
    def now(self) -> State:
        state = self.cabinet.state(self.minute - self.base)
        return state if self.on else replace(state, condition=self._thawed(state.condition))

    @property
    def condition(self) -> Condition:
        return self.now.condition

    def _thawed(self, condition: Condition) -> Condition:
        return replace(condition, ice=max(0.0, condition.ice - (self.minute - self.off_since) / DEFROST_MINUTES))

    def meter(self, quantity: str) -> float:
        return answers.reading(self.cabinet, quantity, self.minute - self.base)

    def look(self, check: str) -> str:
        """A check of the fault model, seen as it is, with the noise of its meters."""
        return answers.CHECKS[check](self.now, self.meter)

    def power(self, on: bool) -> None:
        if on == self.on:
            return
        if not on:
            self.off_since, self.cut = self.minute, self.cut + 1
        self.cabinet = self.cabinet.after(Event(self.minute - self.base, "on" if on else "off"))
        self.on = on

    def change(self, **fields: Any) -> None:
        """Something is mended or set: the cabinet goes on from here in its new condition."""
        state = self.now
        fresh = replace(self.cabinet, condition=replace(state.condition, **fields), celsius=state.celsius, history=())
        self.base = self.minute
        self.cabinet = fresh if self.on else fresh.after(Event(0.0, "off"))
        self.off_since = self.minute

    # ---- what he says

    def answer(self, step: Ask, procedure: str) -> str:
        """The words of one of the step's answers. KeyError for a question that no table here knows."""
        say = [one.say for one in step.answers]
        told = ASKED[procedure, step.id](self) if (procedure, step.id) in ASKED else ASKED["", step.id](self)
        if told not in say:
            told = {"faint": "cool" if "cool" in say else "weakly"}.get(told, told)
        if told not in say:
            raise KeyError(f"{procedure}/{step.id} has no answer '{told}'; it has {', '.join(say)}")
        if step.id in SEEN and self.rng.random() < SLIP:
            return self.rng.choice(say)
        return told

    def reading(self, step: Read) -> float | str:
        """In the step's unit, or 'off scale' or 'unsteady'. KeyError for a reading that no table here knows."""
        value = MEASURED[step.id](self)
        if isinstance(value, str):
            return value
        if math.isinf(value):
            return OFF_SCALE
        if step.unit == "degF":
            value = value * 1.8 + 32
        return round(value, 1) if abs(value) < 1000 else float(f"{value:.3g}")

    def does(self, step_id: str) -> None:
        """The work of a step that is done."""
        if step_id in WORK:
            WORK[step_id](self)

    def spare(self, yes: str, no: str) -> str:
        return yes if self.rng.random() < HAS_SPARE else no


# ---- looks ----------------------------------------------------------------------------------------------------------


def _calls(t: Technician) -> bool:
    state = t.now
    sensed = state.celsius + state.condition.sensor_error
    return state.condition.mode_cooling and state.condition.display_lit() and sensed > state.condition.setting - DIFFERENTIAL


def _sound(t: Technician) -> str:
    c = t.condition
    if c.tries() and _calls(t):
        return "hums and clicks"
    return "runs smoothly" if c.can_run() and (_calls(t) or c.relay == "welded") else "silent"


def _air(t: Technician) -> str:
    flow = {"none": "dead calm", "weak": "faint"}.get(t.look("air_flow"))
    return flow or {"cold": "cool"}.get(t.look("air_cold"), "warm")


def _fans_air(t: Technician) -> str:
    air = _air(t)
    return {"cold": "cool"}.get(t.look("air_cold"), "warm") if air == "faint" else air


def _flow(t: Technician) -> str:
    return {"none": "dead calm", "weak": "weakly"}.get(t.look("air_flow"), "strongly")


def _spin(speed: float, ice: float) -> str:
    return "iced over" if ice > 0.6 else "drags" if 0.0 < speed < 0.8 else "freely"


def _door_work(t: Technician) -> str:
    if t.rng.random() < HAS_SPARE:
        t.change(door_gap=0.1)
        return "holds fast"
    return "slips out"


def _heater(t: Technician) -> str:
    if t.condition.heater_good:
        return "heater sound"
    if t.rng.random() < HAS_SPARE:
        t.change(heater_good=True)
        return "heater exchanged"
    return "part missing"


def _what_it_does(t: Technician) -> str:
    c = t.condition
    return "trips the breaker" if c.tripped() else "lit but idle" if c.display_lit() else "stays dark"


def _after_power(t: Technician) -> str:
    c = t.condition
    if c.tripped():
        return "trips at once"
    return "runs smoothly" if c.can_run() else "stays dark"


def _cabinet_state(t: Technician) -> str:
    return "locked off" if not t.on else "running cold" if t.now.celsius < 8 else "pulling down"


def _try(t: Technician) -> str:
    """He measures again, but not for ever."""
    return t.rng.choice(("first try", "repeated"))


def _mode_or_dark(t: Technician) -> str:
    """A dark display shows no mode."""
    if t.look("display") == "dark":
        return "dark"
    return {"cooling": "cooling", "other": "something else"}[t.look("mode")]


def _always(words: str) -> Callable[[Technician], str]:
    return lambda t: words


def _seen(check: str, **words: str) -> Callable[[Technician], str]:
    return lambda t: words[t.look(check)]


def _spare(t: Technician) -> str:
    return t.spare("spare here", "order one")


def _spare_deck(t: Technician) -> str:
    return t.spare("deck here", "order one")


_COIL = _seen("coil_look", clear="bare coil", even="even frost", part="part frosted", blocked="iced over")
_TERMINALS = _seen("connectors", home="all home", not_home="backed out")
_TURNS = _seen("condenser_fan_turns", turning="turning", still="stopped")

#: By (procedure, step); under '' where the id means the same everywhere.
ASKED: dict[tuple[str, str], Callable[[Technician], str]] = {
    **{("", name): _always(words) for name, words in {
        "site": "dry and sound", "wet-or-damaged": "wet", "what-else": "nothing else", "locked-or-not": "running",
        "dead-or-warm": "too warm", "first-of-them": "too warm",
        "floor": "dry", "drying": "mopped up", "cord": "intact", "trapped-stock": "moving freely",
        "gas-detector": "stays calm",
        "plate-symbol": "plain plate", "panels": "everything fitted", "customer": "customer present", "pins": "as marked",
        "moisture": "dry and sound", "fuse": "conducting", "deck-plate": "plates agree", "people": "partner here",
        "fetch-partner": "partner here", "grommet-in": "seated all round", "divider-out": "all free",
        "drain-look": "running free", "drain-again": "running free", "water-look": "all dry", "level-look": "stands level",
        "vents": "room for air", "deck-seat": "hangs still", "ice-seat": "hangs still", "seat-again": "hangs still",
        "defrost-begins": "it begins", "begins-again": "it begins", "who-looks-on": "second look",
        "gasket-look": "whole gasket", "sensor-seat": "in its clip", "door-switch": "without switch",
        "stock-look": "clear", "ran-through": "ran through",
        "heater-fitted": "heater fitted", "stock-kind": "sealed drinks", "kind-first": "sealed drinks",
        "drinks-look": "all whole", "filled": "earlier",
        "plate-hertz": "it fits", "lay-down": "stood upright", "capacitor-again": "none",
        "frozen-where": "everywhere", "level": "standing firmly", "tubes-apart": "well apart",
    }.items()},
    **dict.fromkeys((
        ("", "new-part"), ("", "new-switch"), ("", "try-overload"), ("", "new-relay"), ("", "new-sensor"), ("", "new-fan"),
        ("", "other-relay")), _spare),
    **dict.fromkeys((("", "spare-deck"), ("", "condemned")), _spare_deck),
    ("", "display"): _seen("display", lit="lit up", dark="blank"),
    ("", "controller-mode"): _seen("mode", cooling="cooling", other="something else"),
    ("too-warm", "controller-mode"): lambda t: _mode_or_dark(t),
    ("service-call", "complaint"): _always("too warm"),
    ("", "load"): _seen("load", heavy="freshly filled", ordinary="long before"),
    ("", "door-strip"): _seen("door_strip", holds="holds fast", slips="slips out"),
    ("", "ice-door"): _seen("door_strip", holds="holds fast", slips="slips out"),
    ("", "door-with-it"): _seen("door_strip", holds="holds fast", slips="slips out"),
    ("", "door-work"): _door_work,
    ("", "delivery-air"): _air,
    ("fans-check-and-exchange", "delivery-air"): _fans_air,
    ("iced-up", "delivery-air"): _fans_air,
    **dict.fromkeys((("", "delivery-flow"), ("", "air-now")), _flow),
    ("defrost", "air-after"): _flow,
    ("fans-check-and-exchange", "air-after"): lambda t: "dead calm" if t.look("air_flow") == "none" else "moving",
    ("", "coil-look"): _COIL,
    ("", "coil-pattern"): _COIL,
    ("", "coil-after"): lambda t: "some ice" if t.condition.ice > 0.1 else "bare coil",
    ("", "condenser-look"): _seen("condenser_look", clean="clean", dirty="dirty"),
    ("", "condenser-with-it"): _seen("condenser_look", clean="clean", dirty="dirty"),
    ("", "condenser-then"): _seen("condenser_look", clean="clean", dirty="dirty"),
    ("", "condenser-fan-look"): _TURNS,
    ("", "condenser-fan-again"): lambda t: "silent compressor" if _sound(t) == "silent" else _TURNS(t),
    ("", "air-again"): lambda t: "dead calm" if t.look("air_flow") == "none" else "moving",
    ("", "try-fan"): lambda t: t.spare("spare here", "order one"),
    **dict.fromkeys((("", "sun"), ("", "sun-after")), _always("in the shade")),
    **dict.fromkeys((("", "voltage-again"), ("", "volts-again"), ("", "ohms-again"), ("", "box-again")), _try),
    ("", "new-deck-calls"): lambda t: "calls for cooling" if _calls(t) else "idle",
    **dict.fromkeys((("", "second-start"), ("", "fan-or-both"), ("", "heard-or-not"), ("", "sound-cool")), _sound),
    ("", "try-result"): lambda t: {"runs smoothly": "it starts"}.get(_sound(t), _sound(t)),
    ("", "fan-with-it"): _TURNS,
    ("", "stops-now"): lambda t: "runs onward" if t.condition.relay == "welded" else "silent",
    ("", "stops-then"): lambda t: "runs onward" if t.condition.relay == "welded" else "stops",
    ("", "fan-after"): _TURNS,
    ("", "compressor-sound"): _sound,
    ("", "compressor-start"): _sound,
    ("", "sound-after"): _sound,
    ("", "runs-on"): _sound,
    ("", "sound-again"): _sound,
    ("noisy-or-vibrating", "compressor-sound"): lambda t: "hums and clicks" if t.condition.tries() else "knocks inside",
    ("", "compressor-touch"): _seen("compressor_touch", cool="cool", warm="warm", very_hot="very hot"),
    ("", "compressor-stops"): lambda t: "runs onward" if t.condition.relay == "welded" else "stops",
    ("", "compressor-after"): lambda t: (
        "never stops" if t.condition.relay == "welded" else "follows" if t.condition.can_run() else "silent"),
    **dict.fromkeys(
        (("", "call-for-cooling"), ("", "call-again"), ("", "defrost-over")),
        lambda t: "calls for cooling" if _calls(t) else "idle",
    ),
    ("", "called-or-not"): lambda t: "calls for cooling" if _calls(t) else "idle",
    ("", "noise-place"): _seen("noise", panel="outer panel", fan="fan motor", compressor="compressor", none="silence"),
    **dict.fromkeys(
        (("", "noise-then"), ("", "noise-after")), lambda t: "much better" if t.look("noise") == "none" else "as before"),
    ("", "tighten"): _seen("panels", loose="loose parts", tight="everything tight"),
    ("", "complaint"): _what_it_does,
    ("", "outlet-lamp"): lambda t: "shines" if t.condition.volts > 100 else "stays off",
    ("", "after-power"): _after_power,
    ("", "terminals"): _TERMINALS,
    ("fans-check-and-exchange", "terminals"): _always("all home"),
    ("", "start-device-look"): lambda t: "sound" if t.condition.start_good or t.rng.random() < 0.5 else "rattles",
    ("", "start-device-kind"): _always("without coil"),
    ("", "start-relay-look"): lambda t: "undamaged" if t.condition.start_good else "burnt",
    ("", "winding-again"): _try,
    ("", "insulation-again"): _try,
    ("", "deck-insulation-again"): _try,
    ("", "heater-exchange"): _heater,
    ("", "evaporator-spin"): lambda t: _spin(t.condition.evaporator_fan, t.condition.ice),
    ("", "condenser-spin"): lambda t: _spin(t.condition.condenser_fan, 0.0),
    ("", "oil-traces"): lambda t: "oily joint" if t.condition.charge < 0.7 and t.rng.random() < 0.7 else "clean and dry",
    **dict.fromkeys(
        (("", "stay-two"), ("", "stay-four"), ("", "stay-eight"), ("", "stay-night")),
        lambda t: "tomorrow" if t.now.celsius > 10 else "staying",
    ),
    **dict.fromkeys((("", "cycles"), ("", "cycles-again")), lambda t: {
        "never": "never ran", "always": "runs onward", "cycles": "ran and stopped"}[settled(t.condition)[1]]),
    ("", "frozen-look"): _always("frozen hard"),
    ("", "breaker"): lambda t: "one tripped" if t.condition.tripped() else "all on",
    ("", "capacitor-fitted"): _always("none"),
    ("", "try-known"): lambda t: t.spare("spare here", "order one"),
    ("", "split-again"): _try,
    ("", "compare-again"): _try,
    ("", "load-first"): _seen("load", heavy="freshly filled", ordinary="long before"),
    ("", "stock-look"): _always("clear"),
    ("", "fan-kind"): _always("plain motor"),
    ("", "cabinet-state"): _cabinet_state,
}  # fmt: skip

#: Where an eye can slip.
SEEN = frozenset({
    "display", "controller-mode", "load", "door-strip", "door-with-it", "ice-door", "delivery-air", "delivery-flow",
    "coil-look", "coil-pattern", "condenser-look", "condenser-with-it", "condenser-then", "condenser-fan-look",
    "compressor-sound", "compressor-touch", "compressor-stops", "noise-place", "terminals", "start-device-look",
    "evaporator-spin", "condenser-spin", "oil-traces", "call-for-cooling", "called-or-not", "tighten",
})  # fmt: skip


# ---- meters ---------------------------------------------------------------------------------------------------------


def _cycle(running: bool) -> Callable[[Technician], float | str]:
    """Minutes from one switching to the next, by the simulator's law."""

    def minutes(t: Technician) -> float | str:
        c = t.condition
        if settled(c)[1] != "cycles":
            return OFF_SCALE
        low, high = (c.setting - c.sensor_error + side for side in (-DIFFERENTIAL, DIFFERENTIAL))
        rest, tau = _law(c, running)
        first, last = (high, low) if running else (low, high)
        return min(240.0, tau * math.log((first - rest) / (last - rest)))

    return minutes


def _shown(t: Technician) -> float | str:
    return t.meter("shown_temperature") if t.condition.display_lit() else UNSTEADY


def _fed(t: Technician, quantity: str = "supply_voltage") -> float:
    c = t.condition
    return t.meter(quantity) if t.on and c.switched_on() and _calls(t) else 0.0


def _across_contact(t: Technician) -> float:
    c = t.condition
    closed = c.display_lit() and (c.relay == "welded" or (c.relay == "good" and _calls(t)))
    return 0.3 if closed or not t.on else t.meter("supply_voltage")


def _fan_ohms(speed: float, rng: Random) -> float:
    return rng.choice((math.inf, 2.0)) if speed == 0 else rng.uniform(150, 300)


def _insulation(t: Technician) -> float:
    return t.meter("insulation")


def _deck_insulation(t: Technician) -> float:
    """A leak lies in the deck or in the rest of the cabinet, by the seed."""
    leaks = t.condition.leak_megohms < 1
    return 300.0 if leaks and Random(t.cabinet.seed).random() < 0.4 else t.meter("insulation")


MEASURED: dict[str, Callable[[Technician], float | str]] = {
    **dict.fromkeys(("setting", "final-setting"), lambda t: t.meter("setting")),
    **dict.fromkeys(("shown-temperature", "shown-after", "shown-cleared", "shown-now", "final-shown"), _shown),
    **dict.fromkeys((
        "cabinet-temperature", "cabinet-first", "thermometer-after", "sensor-place-temperature", "place-cleared",
        "product-temperature",
        "first-temperature", "next-temperature",
        "morning-temperature", "silent-temperature", "at-sensor",
        "return-temperature"), lambda t: t.meter("cabinet_temperature")),
    "room-temperature": lambda t: t.meter("room_temperature"),
    "condenser-air": lambda t: t.meter("condenser_air"),
    "condenser-bend": lambda t: t.meter("condenser_bend"),
    "delivery-temperature": lambda t: t.meter("delivery_air"),
    "plate-voltage": lambda t: 230.0,
    "supply-voltage": lambda t: t.meter("supply_voltage"),
    "terminal-voltage": _fed,
    "start-voltage": lambda t: _fed(t, "start_voltage"),
    "contact-drop": _across_contact,
    "outlet-voltage": lambda t: t.meter("supply_voltage"),
    "contact-ohms": lambda t: 0.3 if t.condition.relay == "welded" else OFF_SCALE,
    "sensor-resistance": lambda t: t.meter("sensor_resistance"),
    "table-resistance": lambda t: answers.SENSOR.ohms(t.meter("cabinet_temperature")),
    "ice-ohms": lambda t: answers.SENSOR.ohms(t.condition.sensor_error),
    "ice-table": lambda t: answers.SENSOR.ohms(0.0),
    "capacitor-volts": lambda t: 0.0, "offset": lambda t: 0.0, "switch-ohms": lambda t: 0.2,
    "start-device-ohms": lambda t: t.rng.uniform(10, 40) if t.condition.start_good else OFF_SCALE,
    "overload-ohms": lambda t: 0.4 if t.condition.overload_closed else OFF_SCALE,
    "overload-cold-ohms": lambda t: 0.4 if t.condition.overload_closed else OFF_SCALE,
    "common-to-run": lambda t: t.meter("common_to_run"),
    "common-to-start": lambda t: t.meter("common_to_start"),
    "start-to-run": lambda t: t.meter("start_to_run"),
    "winding-to-frame": _insulation,
    "insulation": _insulation,
    "deck-insulation": _deck_insulation,
    "cord-ohms": lambda t: 0.2,
    "earth-ohms": lambda t: 0.1,
    "plate-current": lambda t: 2.0,
    "running-current": lambda t: t.meter("running_current"),
    "evaporator-ohms": lambda t: _fan_ohms(t.condition.evaporator_fan, t.rng),
    "condenser-ohms": lambda t: _fan_ohms(t.condition.condenser_fan, t.rng),
    "heater-watts": lambda t: 200.0,
    "heater-volts": lambda t: 230.0,
    "heater-resistance": lambda t: t.rng.gauss(264.5, 3.0) if t.condition.heater_good else OFF_SCALE,
    "minutes-on": _cycle(True),
    "minutes-off": _cycle(False),
    "minutes-since-cold": lambda t: 60.0,
    "deck-mass": lambda t: 20.0,
    "supply-system": lambda t: 230.0,
    "capacitor-plate": lambda t: 60.0,
    "box-charge": lambda t: 0.0,
    "capacitance": lambda t: 60.0,
    "past-common": lambda t: t.meter("start_to_run"),
}


# ---- work -----------------------------------------------------------------------------------------------------------


def _fit_fan(t: Technician) -> None:
    last = t.found[-1] if t.found else ""
    t.change(**({"evaporator_fan": 1.0} if last.startswith("evaporator") else {"condenser_fan": 1.0}))


def _fit_part(t: Technician) -> None:
    t.change(**({"overload_closed": True} if t.found and t.found[-1] == "overload-open" else {"start_good": True}))


def _new_deck(t: Technician) -> None:
    """Compressor, its start, its relay, both fans and the circuit come with the deck."""
    c, new = t.condition, Condition()
    leak = c.leak_megohms if "cabinet-leaks-to-frame" in t.found else new.leak_megohms
    t.change(
        start_good=True, overload_closed=True, run_ohms=new.run_ohms, start_ohms=new.start_ohms, seized=False, charge=1.0,
        evaporator_fan=1.0, condenser_fan=1.0, dirt=0.05, ice=0.0, leak_megohms=leak, connectors_home=True,
    )  # fmt: skip


def _setting(celsius: float) -> Callable[[Technician], None]:
    return lambda t: t.change(setting=celsius)


WORK: dict[str, Callable[[Technician], None]] = {
    "ice-door-work": lambda t: t.change(door_gap=0.1),
    "set-mode": lambda t: t.change(mode_cooling=True),
    "set-setting": _setting(WORKS_SETTING),
    "set-back": _setting(WORKS_SETTING),
    "lower-setting": _setting(WORKS_SETTING),
    "raise-setting": _setting(15.5),
    "brush": lambda t: t.change(dirt=0.05),
    "push-home": lambda t: t.change(connectors_home=True),
    "fit-relay": lambda t: t.change(relay="good"),
    "fit-sensor": lambda t: t.change(sensor_error=0.0),
    "fit-fan": _fit_fan,
    "fit-part": _fit_part,
    "fit-known": lambda t: t.change(start_good=True),
    "slide-in": _new_deck,
    "tighten": lambda t: t.change(panel_loose=False),
}
