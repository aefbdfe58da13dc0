"""What goes into a simulated run of the dryer, and what comes out of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from .machines import Machines, Rows
from .psychro import Array

#: Dry enough that a person says "dry" (water over dry mass).
DRY = 0.04


@dataclass(frozen=True)
class Scenario:
    """One run of N machines: laundry, setting, and for how long (min)."""

    load_kg: Array
    moisture: Array
    low_heat: Array
    minutes: float
    dry_at: float = DRY


def as_used(m: Machines, minutes: float = 90.0) -> Scenario:
    """The customer's own load and setting, kept running until everything that can get dry is dry."""
    return Scenario(m.load_kg, m.moisture, m.low_heat, minutes)


def bench(m: Machines, minutes: float = 14.0) -> Scenario:
    """The technician's run: a few damp towels, high heat, the duct on."""
    n = len(m)
    return Scenario(np.full(n, 1.2), np.full(n, 0.25), np.zeros(n), minutes)


def verification(m: Machines, minutes: float = 25.0) -> Scenario:
    """The timed wet load after a repair: 3 kg of towels wetted and spun, high heat, duct on."""
    n = len(m)
    return Scenario(np.full(n, 3.0), np.full(n, 0.6), np.zeros(n), minutes)


def federal_test(m: Machines, minutes: float = 110.0) -> Scenario:
    """The federal test load: 8.45 lb, 57.5 % to 2 % (10 CFR 430 App.

    D2; the moisture figures from memory).
    """
    n = len(m)
    return Scenario(np.full(n, 8.45 * 0.45359237), np.full(n, 0.575), np.zeros(n), minutes, dry_at=0.02)


@dataclass
class Ledger:
    """Energy (kJ) and water (kg) that went in, out and into store, each an array of N."""

    gas_kj: Array
    air_in_kj: Array
    air_out_kj: Array
    lost_kj: Array
    water_in_kg: Array
    water_burnt_kg: Array
    water_out_kg: Array


@dataclass
class Run:
    """Summary of one run, each an array of N.

    dry_min is infinite when the load never got dry; auto_stop_min when the sensor never ended the cycle.
    Temperatures are degrees C, `cutoff_c` the mean exhaust temperature when control or high limit stopped the
    heat (NaN when they never did), duties are shares of time with flame, `early_trips` the high limit's in
    the first 24 min.
    """

    cfm: Array
    hood_cfm: Array
    outlet_wc: Array
    dry_min: Array
    auto_stop_min: Array
    auto_moisture: Array
    timed_moisture: Array
    timed_cloth_c: Array
    end_moisture: Array
    flame_min: Array
    early_duty: Array
    late_duty: Array
    starts: Array
    duds: Array
    first_dud_min: Array
    glow_s: Array
    limit_trips: Array
    early_trips: Array
    cutoff_c: Array
    peak_exhaust_c: Array
    peak_limit_c: Array
    peak_fuse_c: Array
    fuse_blew: Array
    peak_coil_c: Array
    cabinet_c: Array
    gas_kwh: Array
    motor_kwh: Array
    water_removed_kg: Array
    ledger: Ledger | None = None
    trace: dict[str, Array] = field(default_factory=dict)

    def columns(self) -> dict[str, Array]:
        """Return the arrays of N by name, without ledger and trace."""
        return {name: values for name, values in vars(self).items() if isinstance(values, np.ndarray)}

    def take(self, rows: Rows) -> Run:
        """Return the summary of some of the machines, in any order and as often as asked."""
        part = replace(self, ledger=None, trace={})
        for name, values in self.columns().items():
            setattr(part, name, values[rows])
        return part

    def put(self, rows: Rows, part: Run) -> None:
        """Overwrite some machines' summary with those of `part`, in place."""
        for name, values in self.columns().items():
            values[rows] = part.columns()[name]

    def copy(self) -> Run:
        """Return a copy that can be overwritten."""
        return self.take(np.arange(len(self.cfm)))
