"""Many dryers at once: one physical parameter a row, one machine a column.

`FIELDS` is the whole list of what a simulated dryer, its house and its laundry are. A fault (`faults.py`)
changes some of these numbers, a repair (`repairs.py`) puts them back; nothing else says what is wrong with a
machine.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from .gas import burner_kw, orifice_for
from .psychro import Array, Codes, Flags

OPEN = 1e9  # ohms of an open circuit
NEVER = 1e6  # minutes or degrees that are never reached

#: name -> (unit, value of a typical sound machine, meaning)
FIELDS: Mapping[str, tuple[str, float, str]] = {
    # air
    "blower_wc": ("in w.c.", 2.0, "shut-off pressure of the blower"),
    "blower_cfm": ("cfm", 265.0, "free delivery of the blower"),
    "wheel_grip": ("-", 1.0, "wheel speed over shaft speed"),
    "wheel_clean": ("-", 1.0, "blade passage left open by lint"),
    "motor_speed": ("-", 1.0, "motor speed over rated speed"),
    "motor_run_min": ("min", NEVER, "running time until the motor's own protector opens"),
    "drum_r": ("in w.c. at 100 cfm", 0.42, "resistance of burner funnel, drum and grilles"),
    "screen_film": ("-", 0.05, "part of the lint screen closed by film or lint"),
    "screen_tear": ("-", 0.0, "part of the lint screen that is missing"),
    "path_lint": ("-", 0.05, "part of the lint path and housing filled with lint"),
    "transition_crush": ("-", 0.1, "part of the transition duct's area lost to a kink"),
    "transition_gap": ("-", 0.0, "gap at the transition duct's joint, 1 = off"),
    "duct_ft": ("ft", 18.0, "equivalent length, wall to outside"),
    "duct_friction": ("-", 0.021, "Darcy friction factor of the lint-free duct"),
    "duct_lint": ("-", 0.05, "part of the duct's area closed by lint"),
    "hood_closed": ("-", 0.05, "part of the hood closed"),
    "duct_shared": ("-", 0.0, "how much of another fan's air comes down the same duct"),
    "opening_sqin": ("sq in", 400.0, "free opening for make-up air"),
    "flap_loose": ("-", 1.0, "how freely the hood flap shows the draught (wind, weight)"),
    # gas and burner
    "fuel": ("0 natural 1 propane", 0.0, "fuel"),
    "orifice_in": ("in", orifice_for(22000.0, 0), "burner orifice diameter"),
    "manifold_wc": ("in w.c.", 3.5, "manifold pressure"),
    "cock_open": ("-", 1.0, "gas cock"),
    "house_gas": ("-", 1.0, "pressure in the house over its normal value"),
    "altitude_ft": ("ft", 600.0, "altitude above sea level"),
    "burner_fouled": ("-", 0.0, "part of the burner's air way closed by lint"),
    "valve_open": ("0/1", 0.0, "the valve does not close any more"),
    "valve_stick": ("-", 0.0, "share of attempts on which the valve body does not open"),
    # ignition and the heat circuit
    "igniter_ohm": ("ohm", 140.0, "igniter resistance, cold"),
    "igniter_rated_ohm": ("ohm", 140.0, "what it was when whole"),
    "sensor_ohm": ("ohm", 0.2, "flame sensor, cold"),
    "sensor_opens_c": ("C", 850.0, "igniter temperature at which the flame sensor opens"),
    "coil_two_ohm": ("ohm", 1150.0, "two-terminal coil at 20 C"),
    "coil_mid_ohm": ("ohm", 1350.0, "three-terminal coil, common to middle, at 20 C"),
    "coil_far_ohm": ("ohm", 550.0, "three-terminal coil, common to far terminal, at 20 C"),
    "coil_drop_c": ("C", 170.0, "coil temperature at which a winding lets the valve fall shut"),
    "timer_ohm": ("ohm", 0.2, "heat contacts of the timer"),
    "relay_ohm": ("ohm", 0.2, "heat relay of the board, closed"),
    "relay_welded": ("0/1", 0.0, "the heat relay does not open any more"),
    "line_volts": ("V", 120.0, "voltage at the outlet under load"),
    "centrifugal_ohm": ("ohm", 0.2, "centrifugal contacts of the motor, up to speed"),
    "connector_ohm": ("ohm", 0.2, "worst connector of the heat circuit"),
    "connector_heat_c": ("C", NEVER, "cabinet temperature above which that connector opens"),
    # temperature control
    "cycling_open_c": ("C", 68.3, "cycling thermostat opens (rated 155 F)"),
    "cycling_rated_c": ("C", 68.3, "what is stamped on it"),
    "cycling_ohm": ("ohm", 0.2, "cycling thermostat, cold"),
    "differential_k": ("K", 7.0, "fall before heat is called again"),
    "board_open_c": ("C", 66.0, "indicated temperature at which the board stops the heat"),
    "thermistor_ratio": ("-", 1.0, "thermistor resistance over its chart"),
    "thermistor_ohm": ("ohm", 10000.0, "thermistor at 25 C by its chart"),
    "limit_open_c": ("C", 121.0, "high limit opens (250 F)"),
    "limit_ohm": ("ohm", 0.2, "high limit, cold"),
    "fuse_open_c": ("C", 91.0, "thermal fuse opens for good (196 F)"),
    "fuse_ohm": ("ohm", 0.2, "thermal fuse"),
    "motor_fuse_ohm": ("ohm", 0.2, "thermal fuse in the motor's circuit"),
    # drum
    "drum_speed": ("-", 1.0, "drum speed over rated speed"),
    "drag": ("-", 0.0, "extra friction of rollers and bearings, 1 = the motor only just turns the drum"),
    "seal_leak": ("-", 0.06, "part of the blower's air that passes the drum by at its seals"),
    "door_gap": ("-", 0.0, "part of the blower's air that comes in at the door"),
    "housing_gap": ("-", 0.0, "part of the blower's air that comes in at its housing"),
    "tumbling": ("-", 1.0, "how well the drum lifts and spreads the load"),
    "belt_switch": ("0/1", 1.0, "a broken belt stops the motor"),
    # sensing the end
    "bar_contact": ("-", 1.0, "conductance of clean bars = 1"),
    "bar_short": ("-", 0.0, "leak across bars or harness"),
    "tilt_deg": ("deg", 0.2, "how far out of level"),
    # equipment
    "board": ("0/1", 0.0, "control by board and thermistor, else by timer and cycling thermostat"),
    "auto": ("0/1", 1.0, "has an auto-dry sensor"),
    "two_coils": ("0/1", 1.0, "coil layout, two coils of two and three terminals, else a single block"),
    "quirk": ("0 to 1", 0.3, "which of several ways a fault of this machine shows"),
    # laundry and room
    "load_kg": ("kg", 3.833, "dry mass of the usual load"),
    "moisture": ("kg/kg", 0.575, "water in the load as it arrives"),
    "low_heat": ("0/1", 0.0, "the customer runs a low-heat cycle"),
    "uses_auto": ("0/1", 1.0, "the customer runs auto cycles, else timed ones"),
    "timed_min": ("min", 60.0, "the customer's timed cycle"),
    "room_c": ("C", 23.9, "room temperature"),
    "room_rh": ("-", 0.5, "room relative humidity"),
}
INDEX: Mapping[str, int] = {name: i for i, name in enumerate(FIELDS)}
Rows = Codes | Flags | slice


#: The least motor speed (share of rated) at which the centrifugal contacts close.
UP_TO_SPEED = 0.72


class Machines:
    """N machines as one array `data` of shape (fields, N); `machines.duct_ft` is a writable view of N
    values.
    """

    def __init__(self, data: Array) -> None:
        self.data = data

    def __getattr__(self, name: str) -> Array:
        """Return the row of a field as a view; AttributeError for any other name."""
        try:
            row = INDEX[name]
        except KeyError:
            raise AttributeError(name) from None
        return np.asarray(self.data[row])

    def __len__(self) -> int:
        return int(self.data.shape[1])

    def take(self, rows: Rows) -> Machines:
        """Return a copy of some machines."""
        return Machines(self.data[:, rows].copy())

    def copy(self) -> Machines:
        """Return a copy of all machines."""
        return Machines(self.data.copy())


def typical(n: int) -> Machines:
    """Return `n` identical sound machines with the typical values of `FIELDS`."""
    column = np.array([value for _, value, _ in FIELDS.values()])
    return Machines(np.repeat(column[:, None], n, axis=1))


def stack(parts: list[Machines]) -> Machines:
    """Join batches of machines side by side."""
    return Machines(np.concatenate([p.data for p in parts], axis=1))


def shaft_speed(m: Machines) -> Array:
    """Motor speed over rated speed once the drag of the drum is on it and the voltage has sagged; 0 when a
    belt switch or its own fuse has stopped it.
    """
    stopped = ((m.drum_speed < 0.05) & (m.belt_switch > 0.5)) | (m.motor_fuse_ohm > 1e6)
    sag = 1.0 - 0.5 * (1.0 - m.line_volts / 120.0)
    return np.where(stopped, 0.0, m.motor_speed * sag * (1.0 - 0.22 * m.drag))


def can_call(m: Machines) -> Flags:
    """Whether control and motor would ever call for heat: motor up to speed, board content with its
    thermistor.
    """
    code = (m.board > 0.5) & thermistor_dead(m)
    return (shaft_speed(m) > UP_TO_SPEED) & ~code


def thermistor_dead(m: Machines) -> Flags:
    """Whether the thermistor is so far off its chart that a board takes it for open or shorted."""
    return np.abs(np.log(m.thermistor_ratio)) > 3.0


def gas_at_manifold(m: Machines) -> Array:
    """Gas pressure (in w.c.) at the manifold, after what house and cock take away."""
    return m.manifold_wc * m.cock_open * m.house_gas


def gas_input_kw(m: Machines) -> Array:
    """Gross heat input (kW) while the burner burns."""
    return burner_kw(m.orifice_in, gas_at_manifold(m), m.fuel, m.altitude_ft, m.burner_fouled)


def drum_turn(m: Machines) -> Array:
    """Drum speed over rated speed, after belt slip, drag and motor speed."""
    return m.drum_speed * (1.0 - 0.55 * m.drag) * shaft_speed(m)


def motor_minutes(m: Machines) -> Array:
    """Running time (min) until the motor's protector opens; heavy drag overheats a good motor as well."""
    return np.where(m.drag > 0.6, np.minimum(m.motor_run_min, 90.0 - 70.0 * m.drag), m.motor_run_min)


def leak_share(m: Machines) -> Array:
    """Part of the blower's air that has not been through burner and drum: seals, door, blower housing."""
    return np.asarray(np.minimum(m.seal_leak + m.door_gap + m.housing_gap, 0.85))


def inlet_share(m: Machines) -> Array:
    """Part of the inlet air that has just been through the dryer: a loose transition duct, or a starved
    closet.
    """
    closet = 0.35 * np.clip(1.0 - m.opening_sqin / 60.0, 0.0, 1.0)
    return np.asarray(np.minimum(0.75 * m.transition_gap + closet, 0.8))
