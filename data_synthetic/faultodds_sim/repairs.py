"""Every repair as the parameters it puts back to those of the sound machine, and how often it comes off."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from .errors import pick
from .faults import MODES
from .machines import INDEX, Machines, Rows
from .psychro import Array


class Repair(NamedTuple):
    """Fields it restores; chance that it does; share of the way that it gets when it does not."""

    fields: tuple[str, ...]
    succeeds: float = 0.98
    otherwise: float = 0.0


_COILS = ("coil_two_ohm", "coil_mid_ohm", "coil_far_ohm", "coil_drop_c")

#: Chances are common practice, no source: cleaning can leave a plug in the wall, advice may not be taken.
REPAIRS: Mapping[str, Repair] = {
    "clean_duct": Repair(("duct_lint",), 0.94, 0.5),
    "shorten_duct": Repair(("duct_ft", "duct_friction", "duct_shared"), 0.85),
    "clear_hood": Repair(("hood_closed",), 0.97, 0.4),
    "new_transition": Repair(("transition_crush", "transition_gap"), 0.98),
    "refit_transition": Repair(("transition_crush", "transition_gap"), 0.85, 0.3),
    "lint_screen_wash": Repair(("screen_film",), 0.95, 0.5),
    "lint_screen_new": Repair(("screen_film", "screen_tear"), 1.0),
    "clean_lint_path": Repair(("path_lint",), 0.97, 0.5),
    "blower_wheel": Repair(("wheel_grip", "wheel_clean"), 0.98),
    "housing_seal": Repair(("housing_gap",), 0.94, 0.4),
    "coil_set": Repair(_COILS, 0.98),
    "igniter": Repair(("igniter_ohm",), 0.97),
    "flame_sensor": Repair(("sensor_ohm", "sensor_opens_c"), 0.98),
    "gas_valve": Repair((*_COILS, "valve_stick", "valve_open", "manifold_wc"), 0.98),
    "open_cock": Repair(("cock_open",), 1.0),
    "gas_supplier": Repair(("house_gas",), 0.92),
    "burner_clean": Repair(("burner_fouled",), 0.94, 0.6),
    "orifice_kit": Repair(("orifice_in", "manifold_wc"), 0.98),
    "high_limit_kit": Repair(("limit_open_c", "limit_ohm", "fuse_open_c", "fuse_ohm"), 0.98),
    "thermal_fuse": Repair(("fuse_open_c", "fuse_ohm"), 0.99),
    "motor_fuse": Repair(("motor_fuse_ohm",), 0.99),
    "cycling_thermostat": Repair(("cycling_open_c", "cycling_ohm"), 0.98),
    "thermistor": Repair(("thermistor_ratio",), 0.98),
    "board": Repair(("relay_ohm", "relay_welded"), 0.97),
    "timer": Repair(("timer_ohm",), 0.98),
    "motor": Repair(("motor_speed", "motor_run_min", "centrifugal_ohm"), 0.98),
    "electrician": Repair(("line_volts",), 0.94),
    "belt_idler": Repair(("drum_speed",), 0.99),
    "rollers": Repair(("drag",), 0.97),
    "drum_seals": Repair(("seal_leak",), 0.93, 0.5),
    "door_seal": Repair(("door_gap",), 0.96, 0.4),
    "sensor_clean": Repair(("bar_contact",), 0.92, 0.5),
    "sensor_bars": Repair(("bar_contact", "bar_short"), 0.97),
    "level": Repair(("tilt_deg",), 0.97),
    "connector": Repair(("connector_ohm", "connector_heat_c"), 0.96),
    "advise_use": Repair(("moisture", "load_kg", "low_heat"), 0.85),
    "louvred_door": Repair(("opening_sqin",), 0.85),
}

#: A cleaning that a part with a fault of its own withstands: sensor bars with a broken lead stay dead.
_CLEAN_ONLY: Mapping[str, str] = {"sensor_clean": "moisture_sensor.damaged"}

#: mode -> the repairs that put its parameters back, dearest part last.
CURES: Mapping[str, tuple[str, ...]] = {
    "duct.partly_blocked": ("clean_duct",),
    "duct.nearly_blocked": ("clean_duct",),
    "duct.too_long": ("shorten_duct",),
    "duct.shared": ("shorten_duct",),
    "hood.blocked": ("clear_hood",),
    "transition.crushed": ("refit_transition", "new_transition"),
    "transition.come_off": ("refit_transition", "new_transition"),
    "lint_screen.coated": ("lint_screen_wash", "lint_screen_new"),
    "lint_screen.torn": ("lint_screen_new",),
    "lint_path.packed": ("clean_lint_path",),
    "blower.hub_stripped": ("blower_wheel",),
    "blower.clogged": ("blower_wheel",),
    "housing_seal.leaks": ("housing_seal",),
    "coils.drop_out_hot": ("coil_set", "gas_valve"),
    "coils.open": ("coil_set", "gas_valve"),
    "igniter.open": ("igniter",),
    "igniter.weak": ("igniter",),
    "flame_sensor.stuck_closed": ("flame_sensor",),
    "flame_sensor.open": ("flame_sensor",),
    "gas_valve.sticking": ("gas_valve",),
    "gas_valve.overpressure": ("gas_valve",),
    "gas_valve.stuck_open": ("gas_valve",),
    "gas_supply.shut": ("open_cock",),
    "gas_supply.low_pressure": ("gas_supplier",),
    "burner.fouled": ("burner_clean",),
    "burner.wrong_orifice": ("orifice_kit",),
    "high_limit.trips_low": ("high_limit_kit",),
    "high_limit.open": ("high_limit_kit",),
    "thermal_fuse.open": ("thermal_fuse", "high_limit_kit"),
    "motor_fuse.open": ("motor_fuse",),
    "cycling_thermostat.opens_low": ("cycling_thermostat",),
    "cycling_thermostat.open": ("cycling_thermostat",),
    "cycling_thermostat.stuck_closed": ("cycling_thermostat",),
    "thermistor.drifted": ("thermistor",),
    "thermistor.reads_high": ("thermistor",),
    "thermistor.open_or_shorted": ("thermistor",),
    "board.heat_relay_open": ("board",),
    "board.heat_relay_stuck": ("board",),
    "timer.contacts_burnt": ("timer",),
    "motor.centrifugal_contacts": ("motor",),
    "motor.weak": ("motor",),
    "outlet.low_voltage": ("electrician",),
    "belt.slipping": ("belt_idler",),
    "belt.broken": ("belt_idler",),
    "rollers.dragging": ("rollers",),
    "drum_seals.worn": ("drum_seals",),
    "door_seal.worn": ("door_seal",),
    "moisture_sensor.coated": ("sensor_clean", "sensor_bars"),
    "moisture_sensor.damaged": ("sensor_bars",),
    "levelling.out_of_level": ("level",),
    "wiring.loose_connector": ("connector",),
    "washer.leaves_wet": ("advise_use",),
    "use.overloaded": ("advise_use",),
    "use.low_heat_cycle": ("advise_use",),
    "make_up_air.starved": ("louvred_door",),
}
assert set(CURES) <= set(MODES)


_ALL = slice(None)


def restore(m: Machines, sound: Machines, repair: str, share: float | Array = 1.0, columns: Rows = _ALL) -> None:
    """Move the repair's parameters of some machines `share` of the way to the sound machines', in place.

    A whole share gives the sound machine's very number, which the sum would miss by a rounding.
    """
    for field in REPAIRS[pick("repair", repair, REPAIRS)].fields:
        here, there = m.data[INDEX[field], columns], sound.data[INDEX[field], columns]
        m.data[INDEX[field], columns] = np.where(np.greater_equal(share, 1.0), there, here + share * (there - here))


def withstands(repair: str, modes: frozenset[str]) -> bool:
    """Whether a fault of the machine makes this repair useless although it touches the right parameter."""
    return repair in _CLEAN_ONLY and _CLEAN_ONLY[repair] in modes
