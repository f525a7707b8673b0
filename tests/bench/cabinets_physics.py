"""A refrigerated cabinet from physics: air, stock and wall, frost, a deck with its electrics, a controller. No procedure is
known here, nor the program's fault model.

Rules of this file:

- Every number of a cabinet is invented; the laws are heat balances (Fourier, Newton) and Ohm's, and what is marked
  "common practice". Temperatures in degrees Celsius, heat in watts, capacities in joules a kelvin, minutes of the visit.
- Two nodes exchange heat, the air with its liner and the stock, with a wall between them and the room. The coil's capacity
  and its temperature follow from the air that crosses it; frost on it takes the air away.
- The compressor starts where its torque (the square of the voltage at its terminals) allows, and its overload opens where
  its shell or its current is too hot; it closes again when the shell has cooled.
- The thermostat sees a sensor that lags and may be wrong, and switches with a differential.
"""

from __future__ import annotations

from dataclasses import dataclass

STEP = 0.5  # minutes
LONG_STEP = 1.0  # minutes, of hours in which nobody looks: the shortest time constant is three
HELD_BACK = 3.0  # minutes that a controller holds a compressor back: common practice, no source
HOT_SHELL, COOL_SHELL = 115.0, 70.0  # an overload in the shell opens and closes: common practice, no source


@dataclass
class Cabinet:
    """`nominal` of the supply system, `plate` on the cabinet (volts). `kind`: ptc, relay or capacitor start."""

    room: float = 24.0
    humidity: float = 0.5
    nominal: float = 230.0
    plate: float = 230.0
    volts: float = 231.0
    source_ohms: float = 0.4
    kind: str = "ptc"
    start_below_run: bool = False
    inner_overload: bool = True
    stock_joules: float = 500e3
    drinks: bool = True
    setting: float = 6.1
    differential: float = 3.0
    noted: float = 6.1  # the setting before the one that is tried
    sensor_error: float = 0.0
    sensor_broken: bool = False
    sensor_home: bool = True  # in its clip in the air; otherwise it lies on the coil
    offset: float = 0.0  # what the controller adds to its sensor
    mode_cooling: bool = True
    controller_calls: bool = True
    lit: bool = True
    relay: str = "good"
    terminals_home: bool = True
    start_good: bool = True
    capacitor: float = 1.0
    overload_good: bool = True
    winding: str = "good"
    seized: bool = False
    earth_leak: bool = False
    leak_in_deck: bool = True
    supply_on: bool = True
    breaker_out: bool = False
    dirt: float = 0.1
    vents_covered: bool = False
    condenser_fan: float = 1.0
    evaporator_fan: float = 1.0
    ec_fans: bool = False
    charge: float = 1.0
    restricted: bool = False
    gap: float = 0.1
    deck_gap: float = 0.0  # the same as `gap`, between the deck and its opening
    sun: float = 0.0
    stock_blocks: bool = False
    filled_warm: bool = False
    drain_free: bool = True
    heater_fitted: bool = False
    heater_good: bool = True
    defrost_starts: bool = True
    in_defrost: bool = False  # one that does not end
    tilted: bool = False
    wet_walls: bool = False  # damp has got into its insulation: its walls sweat
    panel_loose: bool = False
    oil: bool = False
    # what goes on
    minute: float = 0.0
    plug_in: bool = True
    air: float = 6.0
    stock: float = 6.0
    wall: float = 15.0
    ice: float = 0.05
    coil: float = 6.0
    shell: float = 40.0
    condensing: float = 30.0
    sensed: float = 6.0
    running: bool = False
    humming: bool = False
    stalled: bool = False  # whether its last try to start failed: what opens and closes then is heard as hum and click
    overload_open: bool = False
    off_for: float = 10.0
    on_for: float = 0.0
    powered_for: float = 60.0
    run_minutes: float = 0.0
    stopped_at: float = -1e9  # the minute of the last stop with the plug in

    # ---- electrics

    @property
    def live(self) -> bool:
        """Whether there is a supply at the plug."""
        return self.supply_on and not self.breaker_out and self.plug_in

    @property
    def display(self) -> bool:
        return self.live and self.lit and self.volts > 0.7 * self.nominal

    @property
    def calls(self) -> bool:
        """Whether the controller asks for cooling now."""
        ready = self.display and self.mode_cooling and self.controller_calls and not (self.sensor_broken or self.in_defrost)
        if not ready or (not self._fed_before() and self.powered_for < HELD_BACK):
            return False
        low, high = self.setting - self.differential / 2, self.setting + self.differential / 2
        return self.shown >= (low if self._fed_before() else high)

    @property
    def shown(self) -> float:
        """What the controller takes for the temperature, and shows."""
        return self.sensed + self.offset

    def _fed_before(self) -> bool:
        return self.running or self.humming

    @property
    def fed(self) -> bool:
        """Whether the compressor's terminals have voltage."""
        closed = self.relay == "welded" or (self.relay == "good" and self.calls)
        return self.live and closed and self.terminals_home

    @property
    def locked_amperes(self) -> float:
        return 12.0 * 230.0 / self.plate

    @property
    def start_volts(self) -> float:
        return self.volts - self.source_ohms * self.locked_amperes

    def can_start(self) -> bool:
        torque = (self.start_volts / self.plate) ** 2
        assisted = self.start_good and (self.kind != "capacitor" or self.capacitor > 0.75)
        needs = 0.66 if self.off_for > 3 else 1.3
        return assisted and self.winding == "good" and not self.seized and torque > needs

    # ---- heat

    @property
    def flow(self) -> float:
        """Air over the coil, one for a clean one."""
        moved = self.evaporator_fan * max(0.03, 1 - self.ice) * (0.04 if self.stock_blocks else 1.0)
        return moved if self.display and self.mode_cooling else 0.0

    @property
    def rejecting(self) -> float:
        return max(0.03, (1 - 0.97 * self.dirt) * (0.06 + 0.94 * self.condenser_fan) * (0.05 if self.vents_covered else 1.0))

    def pass_to(self, minute: float, step: float = STEP) -> None:
        """Let the time go on."""
        while self.minute < minute - 1e-9:
            self._step(min(step, minute - self.minute))

    def _step(self, dt: float) -> None:
        seconds = 60 * dt
        self._switch(dt)
        cooling = self._cooling() if self.running else 0.0
        gain = 3.0 * (self.gap + self.deck_gap) + 0.15  # of infiltrating air, watts a kelvin
        between = 22.0 * max(0.25, self.flow) * (0.2 if self.stock_blocks else 1.0)
        inward = 7.0 * (self.wall - self.air)
        lamp = 25.0 if self.display else 0.0
        to_air = inward + gain * (self.room - self.air) + between * (self.stock - self.air) + lamp + self.sun - cooling
        self.air += seconds * to_air / 45e3
        self.stock += seconds * between * (self.air - self.stock) / self.stock_joules
        self.wall += seconds * (7.0 * (self.room - self.wall) - inward) / 60e3
        felt = self.air if self.sensor_home else self.coil
        self.sensed += (felt + self.sensor_error - self.sensed) * min(1.0, dt / 3.0)
        aim = self.room + (1.35 * cooling / (30.0 * self.rejecting) if self.running else 0.0)
        self.condensing += (aim - self.condensing) * min(1.0, dt / 3.0)
        self._frost(dt)
        heat = 45 + 2.0 * max(0.0, self.condensing - 45) if self.running else 20.0 if self.humming else 0.0
        self.shell += (self.room + heat - self.shell) * min(1.0, dt / 12.0) + (18.0 * dt if self.humming else 0.0)
        self.minute += dt

    def _cooling(self) -> float:
        """Watts of the coil: what crosses it and what the compressor pumps are one (heat balance of the coil)."""
        charge = max(0.05, self.charge) ** 1.5 * (0.12 if self.restricted else 1.0)
        power = 300.0 * charge * max(0.1, 1 - 0.018 * (self.condensing - 40))
        crossing = 45.0 * max(0.03, self.flow)
        self.coil = (crossing * self.air - power * 1.3) / (crossing + power * 0.03)
        self.coil = max(self.coil, -35.0)
        return max(0.0, crossing * (self.air - self.coil))

    def _frost(self, dt: float) -> None:
        wet = (self.gap + self.deck_gap) * self.humidity * (1 + max(0.0, self.room - 20) / 10)
        if self.running and self.coil < -1:
            self.ice = min(1.0, self.ice + dt * (0.00012 + 0.0007 * wet))
        elif not self.running:
            warmed = self.heater_good and self.defrost_starts
            melt = 0.0015 * (1.02 - self.ice) * max(0.0, self.air - 1.0) * (1.0 if warmed else 0.15)
            self.ice = max(0.0, self.ice - dt * melt * (1.0 if self.drain_free else 0.3))
        if not self.running:
            self.coil += (self.air - self.coil) * min(1.0, dt / 6.0)

    def _switch(self, dt: float) -> None:
        self.powered_for = self.powered_for + dt if self.live else 0.0
        if self.earth_leak and self.live:
            self.breaker_out = True
        if self.overload_open and self.shell < COOL_SHELL and self.overload_good:
            self.overload_open = False
        if not self.overload_good:
            self.overload_open = True
        fed = self.fed and not self.overload_open
        self.stalled = self.stalled and self.fed
        if not fed:
            if self.running and self.plug_in:
                self.stopped_at = self.minute
            self.running = self.humming = False
            self.off_for, self.on_for = self.off_for + dt, 0.0
            return
        if not self.running:
            self.running = self.can_start()
            self.humming = not self.running and self.winding != "open"
            self.stalled = self.humming
        self.off_for, self.on_for = (0.0, self.on_for + dt) if self.running else (self.off_for, 0.0)
        self.run_minutes += dt if self.running else 0.0
        if self.humming or self.shell > HOT_SHELL or self.condensing > 78:
            hot = self.shell > HOT_SHELL or self.humming
            self.overload_open = hot
            self.shell = max(self.shell, HOT_SHELL if hot else 0.0)

    # ---- what is done

    def power(self, on: bool) -> None:
        self.plug_in = on
        if on:
            self.breaker_out = self.earth_leak
            self.powered_for = 0.0
        else:
            self.running = self.humming = False

    def settle(self, hours: float) -> None:
        """Left alone: so it stands when the site calls."""
        self.pass_to(self.minute + 60 * hours, LONG_STEP)


def is_well(cabinet: Cabinet, hours: float = 40.0) -> bool:
    """Whether a cabinet, left alone, keeps its stock near its setting, and rests now and then. It is not changed.

    Drinks and food must not freeze; frozen food (a setting below -5) must."""
    from copy import copy

    left = copy(cabinet)
    left.settle(hours)
    ran, samples = left.run_minutes, []
    for _ in range(24):
        left.settle(0.25)
        samples.append(left.stock)
    duty = (left.run_minutes - ran) / 360.0
    lowest = -0.5 if cabinet.setting > -5 else -40.0
    return max(samples) < min(9.5, cabinet.setting + 3.4) and min(samples) > lowest and duty < 0.98 and left.ice < 0.85
