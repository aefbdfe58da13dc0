"""How often each fault comes to a household in a year, from age, use and neglect; and how bad it is when it
is noticed.

Rates are our own guesses for an invented town, per year, for a machine of 8 years and 5 loads a week with an
18 ft duct cleaned 18 months ago. What share of the shop's calls each fault makes is an outcome of these, not
an input.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.random import Generator

from .errors import SimError
from .faults import ABRUPT, MODE_NEEDS, MODES
from .households import Houses
from .names import NOTHING, UNLISTED
from .psychro import Array

MODE_NAMES: tuple[str, ...] = tuple(MODES)
CODE: Mapping[str, int] = {name: i for i, name in enumerate(MODE_NAMES)}

#: Severity at which a fault starts to be noticed; drawn from here to 1, more often near here.
NOTICED: Mapping[str, float] = {
    "duct.partly_blocked": 0.66,
    "duct.nearly_blocked": 0.02,
    "duct.too_long": 0.55,
    "duct.shared": 0.5,
    "hood.blocked": 0.42,
    "transition.crushed": 0.45,
    "transition.come_off": 0.35,
    "lint_screen.coated": 0.48,
    "lint_screen.torn": 0.3,
    "lint_path.packed": 0.5,
    "blower.hub_stripped": 0.4,
    "blower.clogged": 0.42,
    "housing_seal.leaks": 0.55,
    "igniter.weak": 0.72,
    "coils.drop_out_hot": 0.71,
    "flame_sensor.stuck_closed": 0.6,
    "gas_valve.sticking": 0.6,
    "gas_valve.overpressure": 0.4,
    "gas_supply.low_pressure": 0.4,
    "burner.fouled": 0.3,
    "high_limit.trips_low": 0.55,
    "cycling_thermostat.opens_low": 0.66,
    "cycling_thermostat.stuck_closed": 0.3,
    "thermistor.drifted": 0.45,
    "thermistor.reads_high": 0.45,
    "outlet.low_voltage": 0.45,
    "motor.weak": 0.7,
    "belt.slipping": 0.5,
    "rollers.dragging": 0.6,
    "drum_seals.worn": 0.5,
    "door_seal.worn": 0.55,
    "moisture_sensor.coated": 0.45,
    "moisture_sensor.damaged": 0.6,
    "levelling.out_of_level": 0.4,
    "wiring.loose_connector": 0.55,
    "washer.leaves_wet": 0.25,
    "use.overloaded": 0.25,
    "use.low_heat_cycle": 0.85,
    "make_up_air.starved": 0.9,
    UNLISTED: 0.45,
    NOTHING: 1.0,
}


def _ducting(h: Houses) -> Mapping[str, Array]:
    """Air path outside the machine: lint builds up with loads, length, rough material and time since it was
    cleaned.
    """
    build = h.lint * (h.loads / 5.0) * np.sqrt(h.duct_ft / 18.0) * np.array([1.0, 1.35, 1.9])[h.material]
    since, spring = h.months_since_clean / 18.0, np.where((h.month >= 2) & (h.month <= 5), 1.9, 0.75)
    moved, served = np.where(h.after == 1, 7.0, 1.0), np.where(h.after == 2, 6.0, 1.0)
    foil = np.where(h.material == 2, 1.9, 1.0)
    return {
        "duct.partly_blocked": 0.026 * build * since**0.7,
        "duct.nearly_blocked": 0.0075 * build * since**1.2,
        "duct.too_long": 0.002 * (h.duct_ft / 18.0) ** 2.2 * foil * np.sqrt(moved),
        "duct.shared": 0.0007 * np.sqrt(moved),
        "hood.blocked": 0.0115 * spring * np.sqrt(build),
        "transition.crushed": 0.011 * foil * moved**0.7 * served**0.6 * np.where(h.closet, 1.5, 1.0),
        "transition.come_off": 0.0013 * foil * moved**0.6 * served**0.5,
        "make_up_air.starved": np.where(h.closet, 0.012, 0.0) * np.where(h.month < 3, 1.6, 1.0),
    }


def _air_inside(h: Houses) -> Mapping[str, Array]:
    """Lint screen, lint path and blower."""
    old, use = h.age / 8.0, h.loads / 5.0
    return {
        "lint_screen.coated": 0.0105 * use * np.where(h.sheets, 1.7, 0.5),
        "lint_screen.torn": 0.0022 * old * use,
        "lint_path.packed": 0.0085 * h.lint * use * old**0.8,
        "blower.hub_stripped": 0.0055 * old**1.4,
        "blower.clogged": 0.0042 * h.lint * use * old,
        "housing_seal.leaks": 0.0007 * np.where(h.opened, 2.2, 0.6) * old,
    }


def _heat(h: Houses) -> Mapping[str, Array]:
    """Burner, ignition and the heat circuit."""
    old, use = h.age / 8.0, h.loads / 5.0
    moved, served = np.where(h.after == 1, 9.0, 1.0), np.where(h.after == 2, 7.0, 1.0)
    handled = np.where(h.opened, 1.6, 0.85)
    return {
        "coils.drop_out_hot": 0.026 * old**1.1 * use**0.6,
        "coils.open": 0.0052 * old,
        "igniter.open": 0.0135 * use * old**0.5,
        "igniter.weak": 0.0017 * use * old,
        "flame_sensor.stuck_closed": 0.0042 * old * use**0.5,
        "flame_sensor.open": 0.003 * old * use**0.5,
        "gas_valve.sticking": 0.002 * old,
        "gas_valve.overpressure": 0.0008 * old * np.sqrt(moved * served),
        "gas_valve.stuck_open": 0.00025 * old,
        "gas_supply.shut": 0.0009 * moved * served,
        "gas_supply.low_pressure": 0.0019 * np.where(h.month < 3, 1.8, 1.0) * np.where(h.propane, 2.2, 1.0),
        "burner.fouled": 0.0026 * h.lint * old,
        "burner.wrong_orifice": 0.00045 * moved * np.where(h.propane, 2.0, 1.0),
        "high_limit.trips_low": 0.0026 * old,
        "high_limit.open": 0.002 * old,
        "thermal_fuse.open": 0.0052 * old,
        "motor_fuse.open": 0.0009 * old,
        "cycling_thermostat.opens_low": 0.0042 * old,
        "cycling_thermostat.open": 0.0034 * old,
        "cycling_thermostat.stuck_closed": 0.0019 * old,
        "thermistor.drifted": 0.005 * old,
        "thermistor.reads_high": 0.0012 * old,
        "thermistor.open_or_shorted": 0.0026 * old,
        "board.heat_relay_open": 0.0085 * old**0.6 * use,
        "board.heat_relay_stuck": 0.0014 * old**0.6 * use,
        "timer.contacts_burnt": 0.0048 * old * use,
        "wiring.loose_connector": 0.0031 * handled * served**0.5 * old**0.6,
    }


def _drum_and_use(h: Houses) -> Mapping[str, Array]:
    """Drum, motor, sensing, laundry and what nobody has listed."""
    old, use = h.age / 8.0, h.loads / 5.0
    moved, filmy = np.where(h.after == 1, 6.0, 1.0), np.where(h.sheets, 1.6, 0.6)
    return {
        "motor.centrifugal_contacts": 0.0021 * old * use,
        "motor.weak": 0.0021 * old**1.2 * use,
        "outlet.low_voltage": 0.0005 * moved**0.5,
        "belt.slipping": 0.0021 * old * use,
        "belt.broken": 0.0029 * old * use,
        "rollers.dragging": 0.0019 * old**1.2 * use,
        "drum_seals.worn": 0.0068 * old**1.2 * use**0.6,
        "door_seal.worn": 0.0016 * old * use**0.5,
        "moisture_sensor.coated": 0.0135 * filmy * use**0.7,
        "moisture_sensor.damaged": 0.0031 * old,
        "levelling.out_of_level": 0.0013 * moved,
        "washer.leaves_wet": 0.0085 * np.sqrt(old),
        "use.overloaded": 0.0016 * h.loads,
        "use.low_heat_cycle": 0.0085 * np.where(h.board, 1.5, 0.6),
        UNLISTED: 0.0048 + 0.0 * old,
        NOTHING: 0.0041 + 0.0 * old,
    }


#: How far other towns' rates lie from this one's: spread of their logarithms, about a factor of two.
TOWN_SPREAD = 0.8


def town_factors(town: int) -> Array:
    """Return what the yearly rate of every mode is multiplied by in another town, shape (modes,); town 0 is
    this one. Other numbers are as many other invented towns. Raises SimError for a negative one.
    """
    if town < 0:
        raise SimError(f"there is no town {town}; give a number of 0 or more")
    if town == 0:
        return np.ones(len(MODE_NAMES))
    return np.asarray(np.exp(TOWN_SPREAD * np.random.default_rng(town).standard_normal(len(MODE_NAMES))))


def yearly_rates(h: Houses, town: int = 0) -> Array:
    """Return the yearly rate of every mode at every household of a town, shape (modes, N); 0 for parts a
    machine lacks.
    """
    table = {**_ducting(h), **_air_inside(h), **_heat(h), **_drum_and_use(h)}
    rates = np.stack([np.broadcast_to(table[name], (len(h),)) for name in MODE_NAMES]).copy()
    has = {"board": h.board, "auto": h.auto}
    for mode, (field, value) in MODE_NEEDS.items():
        rates[CODE[mode]] *= has[field] == (value > 0.5)
    return rates * town_factors(town)[:, None]


def draw_severity(mode: str, n: int, rng: Generator) -> Array:
    """Draw how bad a fault is when the customer has had enough: mostly not long after it can be noticed."""
    if mode in ABRUPT:
        return rng.uniform(0.9, 1.0, n)
    low = NOTICED[mode]
    return low + (1.0 - low) * rng.beta(1.3, 2.4, n)
