# ruff: noqa: E501 - tables
"""A sixth table: what was accused in place of something else in whole visits, as a site would meet it. Columns as in `scenarios`.

Each was seen to fail before its procedure was mended. What is so of a cabinet is common practice, no source, where none is named."""

from __future__ import annotations

from tests.trade.scenarios import COLD, F, Said, Scenario, inside
from tests.trade.scenarios_third import CIRCUIT, NO_DEAD_MOTOR

EVAPORATOR_FAN = ("evaporator-fan-failed", "evaporator-fan-motor-open")
FANS = ("condenser-fan-stopped", "condenser-fan-failed", "condenser-fan-motor-open", *EVAPORATOR_FAN)
CONTROLLER = ("controller-does-not-call", "controller-or-wiring")
PAUSED = {"air": 10.0, "sensed": 10.0, "stock": 9.5}
PAUSE: dict[str, tuple[Said, str]] = {
    "shown": (50.0, F), "beside the sensor": (50.0, F), "call for cooling": (["idle", "calls for cooling"], ""), "compressor": (["silent", "runs smoothly"], ""),
    "starts and stops": ("both seen", ""), **inside(49, 47, 46, 45, 44, 43, 43, 43)}
TWICE = {"starts and stops": ("both seen", "")}

SIXTH: tuple[Scenario, ...] = (
    Scenario("a second complaint behind a locked plug", "too_warm", "with its plug locked no fan turns and no air moves: that accuses nothing",
             {"winding": "open"}, {"more": (["runs all the time", "nothing else"], ""), "new part": ("order one", "")}, accept=("winding-open",), never=FANS, isolations=1, turns=120),
    Scenario("it started once with another start device", "too_warm", "a seized compressor that was heard to run, and hums two minutes later, is seized still",
             {"seized": True}, {"compressor": (["hums and clicks", "hums and clicks", "hums and clicks", "runs smoothly", "hums and clicks"], "")},
             accept=("compressor-seized-suspected",), never=("start-device-failed", *FANS, *COLD), turns=170, isolations=3),
    Scenario("stock before the opening, warm at the sensor", "runs_always", "between cold bottles it is colder than at a sensor in still air: that accuses no sensor",
             {"stock_blocks": True, "ice": 0.1, "humidity": 0.6, "stock_joules": 500e3}, {"shown": (58.0, F), "beside the sensor": (57.5, F), **inside(51, 48, 46, 45, 44, 43)}, accept=("stock-blocks-air",), never=("sensor-suspected", "sensor-wrong", *CIRCUIT), isolations=1),
    Scenario("filled yesterday, bottles warmer than the air", "too_warm", "bottles are warmer than the air that cools them: that accuses no sensor",
             {"stock": 14.0, "air": 7.0, "sensed": 7.0}, {"shown": (45.0, F), "beside the sensor": (45.0, F), "filled": ("long before", ""), **inside(55, 53, 51, 49, 47, 45, 43)}, never=("sensor-suspected", "sensor-wrong", *NO_DEAD_MOTOR, *CIRCUIT), isolations=1, hours=0.0),
    Scenario("said dark, and lit at the second look", "too_warm", "a display that is lit accuses no supply", {"mode_cooling": True, "dirt": 0.95},
             {"mode": (["dark", "cooling"], ""), "what it does": ("lit but idle", "")}, never=("display-blank", "no-supply-at-outlet", *CIRCUIT)),
    Scenario("its overload has opened as the fan is looked at", "runs_always", "a condenser fan goes with its compressor: it stands beside a silent one",
             {"dirt": 0.2, "charge": 0.5}, {"condenser fan": (["stopped", "silent compressor"], ""), "compressor": ("silent", "")}, never=("condenser-fan-stopped",), isolations=2),
    # ---- iced up: the cause is known where the air was put right
    Scenario("iced by a dead evaporator fan", "iced_up", "a fan that stands ices its coil: with another fan and cold proved, the cause is put right", {"evaporator_fan": 0.0, "ice": 0.98, "humidity": 0.6},
             TWICE, accept=EVAPORATOR_FAN, each=(("cold-again",),), never=("watch", *CIRCUIT), ends=("fixed",), isolations=3, turns=150),
    Scenario("iced by stock before the opening", "iced_up", "no air, and the coil ices: the stock is moved, and cold is proved", {"stock_blocks": True, "ice": 0.98, "humidity": 0.6},
             TWICE, accept=("stock-blocks-air",), each=(("cold-again",),), never=("watch", *EVAPORATOR_FAN), ends=("fixed",), isolations=3, turns=150),
    # ---- told by a reader who knows the decks, and written before the mending
    Scenario("in its defrost pause, and warm", "too_warm", "a timed pause is half an hour without a call: that accuses no controller", PAUSED,
             PAUSE, never=(*CONTROLLER, *NO_DEAD_MOTOR, "relay-does-not-close", *CIRCUIT), ends=("no fault found", "watch"), isolations=0, hours=0.0),
    Scenario("in its defrost pause, said to be dead", "dead", "the same, met by another way", PAUSED, {**PAUSE, "what it does": ("lit but idle", "")},
             never=(*CONTROLLER, *NO_DEAD_MOTOR, "relay-does-not-close", *CIRCUIT), ends=("no fault found", "watch"), isolations=0, hours=0.0),
)  # fmt: skip
