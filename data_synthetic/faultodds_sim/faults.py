"""Every failure mode as a change of physical parameters, continuous in its severity (0 none, 1 complete).

`nearly_blocked` starts where `partly_blocked` ends. What a fault does to heat, flow or sound is left to the
physics.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from .errors import pick
from .gas import orifice_for
from .machines import NEVER, OPEN, Machines
from .names import NOTHING, UNLISTED
from .psychro import Array, Codes

Severity = Array
Change = Callable[[Machines, Severity], Mapping[str, Array]]
_SPAN_OHM = 9.5  # decades from a good contact to an open circuit


def _toward(field: str, worst: float) -> Change:
    """Move a parameter in a straight line from its value now to `worst`."""
    return lambda m, s: {field: getattr(m, field) + s * (worst - getattr(m, field))}


def _shut(field: str) -> Change:
    """Take a parameter to zero, which it reaches at severity 0.9."""
    return lambda m, s: {field: getattr(m, field) * np.maximum(1.0 - s / 0.9, 0.0)}


def _choke(field: str, worst: float) -> Change:
    """Close a passage toward `worst`, fast at first: the last part closed matters most to the flow."""
    return lambda m, s: {field: getattr(m, field) + (1.0 - np.square(1.0 - s)) * (worst - getattr(m, field))}


def _add(field: str, most: float) -> Change:
    """Add up to `most` to a parameter."""
    return lambda m, s: {field: getattr(m, field) + s * most}


def _contact(field: str) -> Change:
    """Raise the resistance of a contact, decade by decade, to an open circuit."""
    return lambda m, s: {field: np.minimum(getattr(m, field) * 10.0 ** (_SPAN_OHM * s), OPEN)}


def _nearly_blocked(m: Machines, s: Severity) -> Mapping[str, Array]:
    return {"duct_lint": 0.78 + 0.16 * s}


def _too_long(m: Machines, s: Severity) -> Mapping[str, Array]:
    return {
        "duct_ft": m.duct_ft + s * (170.0 - m.duct_ft),
        "duct_friction": m.duct_friction + s * (0.05 - m.duct_friction),
    }


def _coils_open(m: Machines, s: Severity) -> Mapping[str, Array]:
    """One winding, by the machine's quirk, goes open; a valve with an open winding does not pull in."""
    factor = 10.0 ** (6.0 * s)
    parts = {
        "coil_two_ohm": m.quirk < 0.5,
        "coil_mid_ohm": (m.quirk >= 0.5) & (m.quirk < 0.75),
        "coil_far_ohm": m.quirk >= 0.75,
    }
    out = {name: np.where(rows, getattr(m, name) * factor, getattr(m, name)) for name, rows in parts.items()}
    return {**out, "coil_drop_c": np.where(s > 0.05, -NEVER, m.coil_drop_c)}


def _wrong_orifice(m: Machines, s: Severity) -> Mapping[str, Array]:
    """The orifice of the other fuel."""
    other = np.where(m.fuel > 0.5, orifice_for(22000.0, 0), orifice_for(22000.0, 1))
    return {"orifice_in": m.orifice_in + s * (other - m.orifice_in)}


def _drifted(m: Machines, s: Severity) -> Mapping[str, Array]:
    """Less resistance: it seems warmer than it is, and the heat stops early."""
    return {"thermistor_ratio": np.exp(-1.3 * s) * m.thermistor_ratio}


def _reads_high(m: Machines, s: Severity) -> Mapping[str, Array]:
    """More resistance: it seems colder than it is, and the heat stops late."""
    return {"thermistor_ratio": np.exp(0.7 * s) * m.thermistor_ratio}


def _thermistor_dead(m: Machines, s: Severity) -> Mapping[str, Array]:
    return {"thermistor_ratio": m.thermistor_ratio * 10.0 ** (np.where(m.quirk < 0.6, 5.0, -4.0) * s)}


def _weak_motor(m: Machines, s: Severity) -> Mapping[str, Array]:
    run = np.where(s > 0.3, 50.0 - 40.0 * s, m.motor_run_min)
    return {"motor_speed": m.motor_speed * (1.0 - 0.2 * s), "motor_run_min": np.minimum(run, m.motor_run_min)}


def _bars_damaged(m: Machines, s: Severity) -> Mapping[str, Array]:
    """A broken lead (never sees water) or, on the others, a leak to the frame (never sees dry)."""
    broken = m.quirk < 0.6
    return {
        "bar_contact": np.where(broken, m.bar_contact * (1.0 - s), m.bar_contact),
        "bar_short": np.where(broken, m.bar_short, m.bar_short + s),
    }


def _loose_connector(m: Machines, s: Severity) -> Mapping[str, Array]:
    """Resistance rises, and the joint opens at a lower and lower cabinet temperature."""
    heat = np.where(s > 0.0, 52.0 - 34.0 * s, m.connector_heat_c)
    return {"connector_ohm": m.connector_ohm * 10.0 ** (2.0 * s), "connector_heat_c": heat}


def _starved(m: Machines, s: Severity) -> Mapping[str, Array]:
    return {"opening_sqin": m.opening_sqin * (4.5 / m.opening_sqin) ** s}


def _unlisted(m: Machines, s: Severity) -> Mapping[str, Array]:
    """Causes that no list of parts has: a drum baffle gone, or a burner funnel that has come adrift."""
    baffle = m.quirk < 0.5
    return {
        "tumbling": np.where(baffle, m.tumbling * (1.0 - 0.8 * s), m.tumbling),
        "drum_r": np.where(baffle, m.drum_r, m.drum_r + 3.0 * s),
    }


def _shared(m: Machines, s: Severity) -> Mapping[str, Array]:
    """Another fan pushes into the same run, which acts like so many more feet of a rougher one."""
    return {
        "duct_shared": m.duct_shared + s,
        "duct_ft": m.duct_ft + 200.0 * s,
        "duct_friction": m.duct_friction + s * (0.045 - m.duct_friction),
    }


def _weak_igniter(m: Machines, s: Severity) -> Mapping[str, Array]:
    """An aged element: more ohms, less heat."""
    return {"igniter_ohm": m.igniter_ohm * (1.0 + 0.6 * s)}


def _stays(field: str) -> Change:
    """Turn a flag on once the fault is more than a trace."""
    return lambda m, s: {field: np.where(s > 0.3, 1.0, getattr(m, field))}


def _low_pressure(m: Machines, s: Severity) -> Mapping[str, Array]:
    return {"house_gas": m.house_gas * (1.0 - 0.9 * s)}


def _overpressure(m: Machines, s: Severity) -> Mapping[str, Array]:
    """A regulator that passes more and more of the pressure in the house."""
    return {"manifold_wc": m.manifold_wc * (1.0 + 2.6 * s)}


MODES: Mapping[str, Change] = {
    "duct.partly_blocked": _choke("duct_lint", 0.78),
    "duct.nearly_blocked": _nearly_blocked,
    "duct.too_long": _too_long,
    "duct.shared": _shared,
    "hood.blocked": _choke("hood_closed", 0.93),
    "transition.crushed": _choke("transition_crush", 0.95),
    "transition.come_off": _toward("transition_gap", 1.0),
    "lint_screen.coated": _choke("screen_film", 0.93),
    "lint_screen.torn": _toward("screen_tear", 1.0),
    "lint_path.packed": _choke("path_lint", 0.93),
    "blower.hub_stripped": _toward("wheel_grip", 0.15),
    "blower.clogged": _toward("wheel_clean", 0.12),
    "housing_seal.leaks": _toward("housing_gap", 0.62),
    "coils.drop_out_hot": _toward("coil_drop_c", 50.0),
    "coils.open": _coils_open,
    "igniter.open": _contact("igniter_ohm"),
    "igniter.weak": _weak_igniter,
    "flame_sensor.stuck_closed": _add("sensor_opens_c", 700.0),
    "flame_sensor.open": _contact("sensor_ohm"),
    "gas_valve.sticking": _toward("valve_stick", 1.0),
    "gas_valve.overpressure": _overpressure,
    "gas_valve.stuck_open": _stays("valve_open"),
    "gas_supply.shut": _shut("cock_open"),
    "gas_supply.low_pressure": _low_pressure,
    "burner.fouled": _toward("burner_fouled", 1.0),
    "burner.wrong_orifice": _wrong_orifice,
    "high_limit.trips_low": _toward("limit_open_c", 52.0),
    "high_limit.open": _contact("limit_ohm"),
    "thermal_fuse.open": _contact("fuse_ohm"),
    "motor_fuse.open": _contact("motor_fuse_ohm"),
    "cycling_thermostat.opens_low": _add("cycling_open_c", -36.0),
    "cycling_thermostat.open": _contact("cycling_ohm"),
    "cycling_thermostat.stuck_closed": _add("cycling_open_c", 80.0),
    "thermistor.drifted": _drifted,
    "thermistor.reads_high": _reads_high,
    "thermistor.open_or_shorted": _thermistor_dead,
    "board.heat_relay_open": _contact("relay_ohm"),
    "board.heat_relay_stuck": _stays("relay_welded"),
    "timer.contacts_burnt": _contact("timer_ohm"),
    "motor.centrifugal_contacts": _contact("centrifugal_ohm"),
    "motor.weak": _weak_motor,
    "outlet.low_voltage": _toward("line_volts", 78.0),
    "belt.slipping": _toward("drum_speed", 0.12),
    "belt.broken": _shut("drum_speed"),
    "rollers.dragging": _toward("drag", 1.0),
    "drum_seals.worn": _toward("seal_leak", 0.70),
    "door_seal.worn": _toward("door_gap", 0.6),
    "moisture_sensor.coated": _toward("bar_contact", 0.02),
    "moisture_sensor.damaged": _bars_damaged,
    "levelling.out_of_level": _add("tilt_deg", 6.5),
    "wiring.loose_connector": _loose_connector,
    "washer.leaves_wet": _add("moisture", 0.9),
    "use.overloaded": _add("load_kg", 6.0),
    "use.low_heat_cycle": _toward("low_heat", 1.0),
    "make_up_air.starved": _starved,
    UNLISTED: _unlisted,
    NOTHING: lambda m, s: {},
}

#: A mode that only machines with this equipment can have: field and value.
MODE_NEEDS: Mapping[str, tuple[str, float]] = {
    "cycling_thermostat.opens_low": ("board", 0.0),
    "cycling_thermostat.open": ("board", 0.0),
    "cycling_thermostat.stuck_closed": ("board", 0.0),
    "timer.contacts_burnt": ("board", 0.0),
    "thermistor.drifted": ("board", 1.0),
    "thermistor.reads_high": ("board", 1.0),
    "thermistor.open_or_shorted": ("board", 1.0),
    "board.heat_relay_open": ("board", 1.0),
    "board.heat_relay_stuck": ("board", 1.0),
    "moisture_sensor.coated": ("auto", 1.0),
    "moisture_sensor.damaged": ("auto", 1.0),
    "levelling.out_of_level": ("auto", 1.0),
}

#: Modes that are there or not: a switch has welded, a part has gone open, a cock is shut.
ABRUPT = frozenset(
    {
        "igniter.open",
        "coils.open",
        "flame_sensor.open",
        "high_limit.open",
        "thermal_fuse.open",
        "motor_fuse.open",
        "gas_valve.stuck_open",
        "board.heat_relay_stuck",
        "cycling_thermostat.open",
        "board.heat_relay_open",
        "belt.broken",
        "gas_supply.shut",
        "thermistor.open_or_shorted",
        "burner.wrong_orifice",
        "timer.contacts_burnt",
        "motor.centrifugal_contacts",
    }
)


def apply(m: Machines, mode: str, severity: float | Array, rows: Codes | None = None) -> None:
    """Give some machines a fault, in place.

    `severity` is one number or one a row; `rows` are column numbers of `m` (all of them by default).
    Raises `UnknownNameError` for a mode that does not exist.
    """
    change = MODES[pick("failure mode", mode, MODES)]
    where = np.arange(len(m)) if rows is None else rows
    part = m.take(where)
    level = np.broadcast_to(np.asarray(severity, dtype=float), (len(where),))
    for field, values in change(part, level).items():
        getattr(m, field)[where] = values


def make(sound: Machines, mode: str, severity: float | Array) -> Machines:
    """Return a copy of sound machines with one fault, fitted with the equipment the fault needs."""
    m = sound.copy()
    if mode in MODE_NEEDS:
        field, value = MODE_NEEDS[mode]
        getattr(m, field)[:] = value
    apply(m, mode, severity)
    return m
