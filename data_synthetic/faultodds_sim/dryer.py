"""The dryer running: lumped heat, water and air balances of N machines in step.

Air enters the burner box, is heated, gives heat to the cloth and takes up its water (constant rate while the
cloth is wet, falling with its moisture below `CRITICAL`), is joined by what leaks past the drum seals, and
leaves through the blower. Air is quasi-steady; the cloth and drum are one heat store, solved implicitly so
that a step of tens of seconds stays stable and the balances close. Units: s, kg, kJ, kW, degrees C.
"""

from __future__ import annotations

import numpy as np

from . import psychro
from .airflow import working_point
from .gas import WATER_PER_MJ
from .ignition import glows, seconds_to_flame
from .machines import (
    NEVER,
    Machines,
    can_call,
    drum_turn,
    gas_input_kw,
    inlet_share,
    leak_share,
    motor_minutes,
    shaft_speed,
)
from .psychro import CP_DRY, CP_VAPOUR, CP_WATER, LATENT_0C, Array
from .runs import Scenario

CRITICAL = 0.20  # moisture below which the drying rate falls
BOX_LOSS, WALL_LOSS = 0.004, 0.005  # kW/K, burner box and drum to the room
CP_CLOTH, DRUM_KJ_K = 1.34, 4.5
NTU_RATED, RATED_CFM, RATED_KG = 2.9, 135.0, 3.833
KG_S_PER_CFM = 0.000471947 * 1.204
BETA_NTC = 3977.0
#: Lags (s) of the control sensor, high limit, coils and cabinet.
LAG_CONTROL, LAG_LIMIT, LAG_COIL, LAG_CABINET = 25.0, 60.0, 280.0, 400.0
COIL_RISE_K, LIMIT_RESET_K, COIL_RESET_K, LOW_HEAT_K = 50.0, 17.0, 12.0, 34.0
REST_MIN = 20.0  # the motor's protector lets it start again after this
FUSE_SHARE = 0.25  # of the burner box's heat above 85 C, felt at the fuse on the blower housing


def control_opens_c(m: Machines, low_heat: Array) -> Array:
    """True exhaust temperature (C) at which thermostat, or board with its thermistor, stops the heat."""
    seen = 1.0 / (m.board_open_c - LOW_HEAT_K * low_heat + 273.15)
    board = 1.0 / (seen - np.log(m.thermistor_ratio) / BETA_NTC) - 273.15
    board = np.where(m.relay_welded > 0.5, NEVER, board)
    return np.where(m.board > 0.5, board, m.cycling_open_c - LOW_HEAT_K * low_heat)


def transfer_units(m: Machines, load_kg: Array, cfm: Array) -> Array:
    """Heat-transfer units between air and cloth.

    More air lifts and opens the load, so it grows a little with flow.
    """
    crowd = (1.0 + (RATED_KG / 8.0) ** 4) / (1.0 + (load_kg / 8.0) ** 4)
    tumble = m.tumbling * (0.2 + 0.8 * np.clip(drum_turn(m), 0.0, 1.0)) * crowd
    return NTU_RATED * (load_kg / RATED_KG) ** 0.4 * tumble * (cfm / RATED_CFM) ** 0.12


class Dryer:
    """The moving state of N machines in one scenario; `step` advances it by `dt` seconds."""

    def __init__(self, m: Machines, scenario: Scenario, dt: float) -> None:
        n = len(m)
        self.m, self.s, self.dt, self.t = m, scenario, dt, 0.0
        self.turning = shaft_speed(m) > 0.0
        self.air = working_point(m)
        self.pressure = psychro.pressure_at(m.altitude_ft)
        self.room_w = psychro.humidity_ratio(m.room_c, m.room_rh, self.pressure)
        self._set_constants()
        self.cloth_c, self.exhaust_c, self.exhaust_w = m.room_c.copy(), m.room_c.copy(), self.room_w.copy()
        self.water = scenario.load_kg * scenario.moisture
        self.control_c, self.limit_c, self.coil_c, self.cabinet_c = (m.room_c.copy() for _ in range(4))
        self.control_on, self.limit_on = np.ones(n, bool), np.ones(n, bool)
        self.fuse_on, self.coils_on = m.fuse_ohm < 1e6, np.ones(n, bool)
        self.calling_s, self.flame = np.zeros(n), np.zeros(n)
        self.tries = m.quirk.copy()
        self.signal = np.ones(n)

    def _set_constants(self) -> None:
        m, s = self.m, self.s
        density = self.pressure / psychro.STANDARD_PA * KG_S_PER_CFM
        self.total_kg_s = self.air.cfm * density
        self.drum_kg_s = self.total_kg_s * (1.0 - leak_share(m))
        self.kw = gas_input_kw(m)
        self.delay = seconds_to_flame(m)
        self.glow = glows(m)
        self.opens_c = control_opens_c(m, s.low_heat)
        self.can_call = can_call(m)
        self.run_min, self.inlet_share = motor_minutes(m), inlet_share(m)
        self.take = 1.0 - np.exp(-transfer_units(m, s.load_kg, self.air.cfm))
        self.dry_kj_k = s.load_kg * CP_CLOTH + DRUM_KJ_K
        # A plunger that sticks on opening also lets go early.
        self.hold_s = 600.0 * (1.0 - m.valve_stick) / np.maximum(m.valve_stick, 1e-6)
        self.contact = m.bar_contact * np.clip(1.0 - m.tilt_deg / 6.0, 0.0, 1.0)

    def step(self) -> None:
        """Advance by one time step: control, burner, heat and water exchange, sensors."""
        clock = np.mod(self.t / 60.0, self.run_min + REST_MIN)
        self.running = np.where(self.turning & (clock < self.run_min), 1.0, 0.0)
        self._control()
        self._burner()
        self._exchange()
        self._sensors()
        self.t += self.dt

    def _control(self) -> None:
        """Open and close the control, the high limit, the coils and the fuse by their temperatures."""
        m = self.m
        was = self.control_on
        self.control_on = np.where(was, self.control_c < self.opens_c, self.control_c < self.opens_c - m.differential_k)
        burning = self.flame > 0
        cut = was & ~self.control_on & burning
        held = self.limit_on
        self.limit_on = np.where(held, self.limit_c < m.limit_open_c, self.limit_c < m.limit_open_c - LIMIT_RESET_K)
        self.tripped = held & ~self.limit_on
        self.cut_c = np.where(cut | (self.tripped & burning), self.exhaust_c, 0.0)
        self.coils_on = np.where(self.coils_on, self.coil_c < m.coil_drop_c, self.coil_c < m.coil_drop_c - COIL_RESET_K)
        self.fuse_c = self.control_c + FUSE_SHARE * np.maximum(self.limit_c - 85.0, 0.0)
        self.fuse_on = self.fuse_on & (self.fuse_c < m.fuse_open_c)
        circuit = self.can_call & self.control_on & self.limit_on & self.fuse_on & (self.cabinet_c < m.connector_heat_c)
        self.calls = circuit & (self.running > 0)

    def _burner(self) -> None:
        """Run the ignition sequence in the step: share of the step with flame, duds, glow."""
        before = np.where(self.calls, self.calling_s, 0.0)
        after = np.where(self.calls, before + self.dt, 0.0)
        due = self.calls & (after >= self.delay)
        fresh = due & (before < self.delay)
        stuck = np.mod(self.tries, 1.0) < self.m.valve_stick
        lit_before = self.flame > 0
        gas = (self.kw > 0.05) & self.coils_on
        holds = after - self.delay < self.hold_s
        opens = due & gas & np.where(lit_before & ~fresh, holds, ~stuck)
        opens |= lit_before & (self.m.valve_open > 0.5) & (self.kw > 0.05) & (self.running > 0)
        part = np.minimum((after - self.delay) / self.dt, 1.0)  # of the step; only read where the gas opens
        self.started = opens & ~lit_before
        self.flame = np.where(opens, np.where(lit_before, 1.0, np.maximum(part, 1e-9)), 0.0)
        self.dud = due & ~opens
        self.tries = np.where(self.dud | self.started, self.tries + 0.6180339887, self.tries)
        self.glowing = self.calls & self.glow & (~due | self.dud | self.started)
        # After a dud the sensor must cool and close before the igniter heats again.
        self.calling_s = np.where(self.dud, -20.0, after)

    def _inlet(self) -> tuple[Array, Array]:
        """Temperature and humidity ratio of the air that is drawn in, with what comes round again."""
        share = self.inlet_share
        return (
            self.m.room_c + share * (self.exhaust_c - self.m.room_c),
            self.room_w + share * (self.exhaust_w - self.room_w),
        )

    def _exchange(self) -> None:
        """Heat the air, give heat to the cloth, take its water, mix with the leak, and store the rest."""
        dt, moving = self.dt, np.maximum(self.running, 0.02)
        flow = self.drum_kg_s * moving
        in_c, in_w = self._inlet()
        gas = self.kw * self.flame
        burnt = gas * WATER_PER_MJ / 1000.0
        box_w = in_w + burnt / flow
        cp = CP_DRY + box_w * CP_VAPOUR
        sensible = gas - burnt * (LATENT_0C + CP_VAPOUR * in_c)
        box_c = in_c + sensible / (flow * cp + BOX_LOSS)
        take = self.take * flow
        wet = np.minimum(self.water / (self.s.load_kg * CRITICAL), 1.0)
        full = psychro.saturation_ratio(self.cloth_c, self.pressure)
        heat_k = take * cp
        heat = heat_k * (box_c - self.cloth_c)
        vapour_k = take * wet * psychro.saturation_slope(self.cloth_c, full)
        vapour = take * wet * (full - box_w)
        latent = LATENT_0C + CP_VAPOUR * self.cloth_c - CP_WATER * self.cloth_c
        store = (self.dry_kj_k + self.water * CP_WATER) / dt
        slope = store + heat_k + vapour_k * latent + WALL_LOSS
        rise = (heat - vapour * latent - WALL_LOSS * (self.cloth_c - self.m.room_c)) / slope
        evaporated = np.minimum(vapour + vapour_k * rise, self.water / dt)
        given = heat - heat_k * rise
        wall = WALL_LOSS * (self.cloth_c + rise - self.m.room_c)
        rise = (given - evaporated * latent - wall) / store  # the same, unless the water ran out in the step
        out_w = box_w + evaporated / flow
        out_h = psychro.enthalpy(box_c, box_w) + (evaporated * (LATENT_0C + CP_VAPOUR * self.cloth_c) - given) / flow
        leak = leak_share(self.m)
        self.exhaust_w = (1.0 - leak) * out_w + leak * in_w
        mixed = (1.0 - leak) * out_h + leak * psychro.enthalpy(in_c, in_w)
        self.exhaust_c = psychro.temperature(mixed, self.exhaust_w)
        self.box_c, self.in_c, self.in_w = box_c, in_c, in_w
        self.gas_kw, self.burnt_kg_s, self.flow_kg_s = gas, burnt, flow / (1.0 - leak)
        self.lost_kw = BOX_LOSS * (box_c - in_c) + wall
        self.cloth_c = self.cloth_c + rise
        self.water = self.water - evaporated * dt

    def _sensors(self) -> None:
        """Let the sensors follow their surroundings, each with its own lag."""
        dt, m = self.dt, self.m
        self.control_c += (self.exhaust_c - self.control_c) * -np.expm1(-dt / LAG_CONTROL)
        self.limit_c += (self.in_c + 0.88 * (self.box_c - self.in_c) - self.limit_c) * -np.expm1(-dt / LAG_LIMIT)
        self.cabinet_c += (m.room_c + 0.16 * (self.box_c - m.room_c) - self.cabinet_c) * -np.expm1(-dt / LAG_CABINET)
        self.coil_c += (self.cabinet_c + COIL_RISE_K * self.calls - self.coil_c) * -np.expm1(-dt / LAG_COIL)
        moisture = self.water / self.s.load_kg
        now = self.contact * moisture / (moisture + 0.12) + m.bar_short
        self.signal += (now - self.signal) * -np.expm1(-dt / 60.0)
