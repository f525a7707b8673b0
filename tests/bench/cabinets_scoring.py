# ruff: noqa: E501 - tables
"""Which faults of `cabinets_faults` a finding of a procedure accuses, and which parts it condemns (a part that is ordered or
exchanged because of it). A finding that is in neither accuses nobody."""

from __future__ import annotations

F = frozenset
_SENSOR = F({"sensor_reads_warm", "sensor_reads_cold"})
_CIRCUIT = F({"low_charge", "restriction"})
_ICE = F({"coil_iced", "door_seal", "deck_seat", "defrost_heater", "drain", "evaporator_fan", "stock_blocks_air", "defrost_no_start"})
_SUPPLY = F({"no_supply", "breaker_out", "supply_low", "supply_low_at_start"})

#: Finding -> the faults of which any is accused.
ACCUSES: dict[str, frozenset[str]] = {
    **dict.fromkeys(("sensor-wrong", "sensor-open", "sensor-unsteady"), _SENSOR),
    "sensor-suspected": F({*_SENSOR, "sensor_offset", "sensor_out_of_place"}),
    **dict.fromkeys(("evaporator-fan-failed", "evaporator-fan-motor-open"), F({"evaporator_fan"})),
    **dict.fromkeys(("condenser-fan-failed", "condenser-fan-motor-open", "condenser-fan-stopped"), F({"condenser_fan"})),
    **dict.fromkeys(("relay-does-not-close", "relay-voltage-low"), F({"relay_open"})),
    "relay-contact-poor": F({"relay_open", "relay_welded"}),
    "relay-welded": F({"relay_welded"}),
    "compressor-not-switched-off": F({"relay_welded"}),
    "controller-does-not-call": F({"controller", "not_in_cooling"}),
    "controller-or-wiring": F({"controller", *_SENSOR}),
    **dict.fromkeys(("winding-open", "winding-shorted", "winding-to-frame", "windings-do-not-add-up"), F({"compressor_winding"})),
    "compressor-seized-suspected": F({"compressor_seized"}),
    "supply-low-or-drops": F({"supply_low", "supply_low_at_start"}),
    "supply-out-of-band": F({"supply_low"}),
    "no-supply-at-outlet": F({"no_supply", "breaker_out", "earth_fault"}),
    "breaker-out": F({"breaker_out", "earth_fault"}),
    **dict.fromkeys(("deck-leaks-to-frame", "cabinet-leaks-to-frame"), F({"earth_fault"})),
    **dict.fromkeys(("sealed-circuit-suspected", "coil-part-frosted"), _CIRCUIT),
    "not-in-cooling-mode": F({"not_in_cooling"}),
    "setting-too-warm": F({"set_too_warm"}),
    "setting-too-cold": F({"set_too_cold"}),
    "fresh-fill": F({"fresh_fill"}),
    "door-does-not-seal": F({"door_seal", "coil_iced"}),
    "coil-iced-over": _ICE,
    "drain-blocked": F({"drain", "drain_runs_over"}),
    "vents-covered": F({"vents_covered"}),
    "sensor-offset-wrong": F({"sensor_offset"}),
    "sensor-out-of-place": F({"sensor_out_of_place"}),
    **dict.fromkeys(("deck-does-not-seal", "deck-gasket-torn"), F({"deck_seat"})),
    "door-switch-open": F(),
    "defrost-does-not-begin": F({"defrost_no_start"}),
    "defrost-does-not-end": F({"defrost_no_end"}),
    "cabinet-not-level": F({"cabinet_leans"}),
    "outside-sweats": F({"damp_walls"}),
    "defrost-heater-bad": F({"defrost_heater"}),
    "condenser-restricted": F({"condenser_blocked"}),
    **dict.fromkeys(("terminal-not-home", "fan-terminal-not-home"), F({"connector_loose"})),
    "start-device-failed": F({"start_device"}),
    "capacitor-failed": F({"capacitor"}),
    "overload-open": F({"overload_open"}),
    "loose-panel-or-clip": F({"loose_panel"}),
    "stock-blocks-air": F({"stock_blocks_air"}),
    "stock-at-delivery-opening": F({"stock_blocks_air"}),
    "room-too-hot": F({"room_too_hot"}),
    "in-the-sun": F({"sun"}),
    "temperature-in-range": F({"none"}),
}  # fmt: skip

#: Finding -> the faults under which the part that it condemns is really bad. Overload, start device and deck are judged here
#: as parts: a deck condemned for its circuit is rightly condemned for any fault of the circuit.
PARTS: dict[str, frozenset[str]] = {
    **dict.fromkeys(("sensor-wrong", "sensor-open", "sensor-unsteady"), _SENSOR),
    **dict.fromkeys(("evaporator-fan-failed", "evaporator-fan-motor-open"), F({"evaporator_fan"})),
    **dict.fromkeys(("condenser-fan-failed", "condenser-fan-motor-open"), F({"condenser_fan"})),
    **dict.fromkeys(("relay-does-not-close", "relay-voltage-low"), F({"relay_open"})),
    "relay-contact-poor": F({"relay_open", "relay_welded"}),
    "relay-welded": F({"relay_welded"}),
    **dict.fromkeys(("winding-open", "winding-shorted", "winding-to-frame", "windings-do-not-add-up"), F({"compressor_winding"})),
    "compressor-seized-suspected": F({"compressor_seized"}),
    "sealed-circuit-suspected": _CIRCUIT,
    "deck-leaks-to-frame": F({"earth_fault"}),
    "defrost-heater-bad": F({"defrost_heater"}),
    "start-device-failed": F({"start_device"}),
    "capacitor-failed": F({"capacitor"}),
    "overload-open": F({"overload_open"}),
    "supply-out-of-band": F({"supply_low"}),
    "no-supply-at-outlet": F({"no_supply", "breaker_out", "earth_fault"}),
    "cord-open": F(),
    "door-switch-open": F(),
    "deck-gasket-torn": F({"deck_seat"}),
}  # fmt: skip
