"""What an expert needs for each fault of `cabinets_faults`: isolations, and minutes of work on site without waiting.

Written from the trade before the program was counted by it; common practice, no source. Minutes count the arrival, the
talk with the site, the work with its part at hand, one look that it cools, and the close-out; not the hours of a pull-down.
"""

from __future__ import annotations

#: Fault -> (isolations, minutes of work).
EXPERT: dict[str, tuple[int, int]] = {
    "condenser_blocked": (1, 50), "condenser_fan": (1, 60), "evaporator_fan": (1, 60), "door_seal": (1, 60),
    "coil_iced": (1, 60), "defrost_heater": (1, 70), "drain": (1, 60), "sensor_reads_warm": (1, 50),
    "sensor_reads_cold": (1, 50), "set_too_cold": (0, 25), "set_too_warm": (0, 25), "not_in_cooling": (0, 25),
    "controller": (1, 50), "relay_open": (2, 70), "relay_welded": (1, 60), "connector_loose": (1, 45),
    "start_device": (1, 60), "capacitor": (1, 60), "overload_open": (1, 60), "compressor_winding": (1, 80),
    "compressor_seized": (2, 90), "low_charge": (1, 60), "restriction": (1, 60), "no_supply": (0, 25),
    "breaker_out": (1, 45), "earth_fault": (1, 70), "supply_low": (0, 35), "supply_low_at_start": (1, 60),
    "stock_blocks_air": (0, 30), "room_too_hot": (0, 30), "sun": (0, 30), "fresh_fill": (0, 35),
    "vents_covered": (0, 30), "sensor_offset": (0, 30), "sensor_out_of_place": (1, 40), "deck_seat": (1, 50),
    "defrost_no_start": (1, 60), "defrost_no_end": (0, 45),
    "drain_runs_over": (1, 45), "cabinet_leans": (1, 40), "damp_walls": (0, 30), "loose_panel": (1, 35),
    "none": (0, 30),
}  # fmt: skip
