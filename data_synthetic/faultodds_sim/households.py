"""The customers of Harbour Lane Appliance Service (invented): houses, vents, habits, washers, seasons.

All shares here are guesses of our own about an invented town; nothing is taken from a real shop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from .ducts import FITTING_FT, FRICTION
from .gas import MANIFOLD_WC, orifice_for
from .machines import Machines, typical
from .psychro import Array, Codes, Flags

MATERIALS = tuple(FRICTION)
#: Outdoor mean temperature (C) by month, January first: a temperate harbour town.
OUTDOOR_C = np.array([2.0, 3.0, 6.5, 10.5, 15.0, 19.5, 22.5, 22.0, 18.0, 12.5, 7.5, 3.5])


START = np.datetime64("2022-01-03")


def month_of(day: Codes) -> Codes:
    """Month (0 January to 11 December) of days after `START`."""
    return (START + np.asarray(day, "timedelta64[D]")).astype("datetime64[M]").astype(np.intp) % 12


@dataclass
class Houses:
    """N households. Codes index the tuples of `facts.py`; `lint` multiplies the lint of the average wash.

    day : days after `START` on which the fault is noticed; month (0 January) follows from it.
    """

    day: Codes
    month: Codes
    material: Codes
    duct_ft: Array
    months_since_clean: Array
    loads: Array
    age: Array
    propane: Flags
    closet: Flags
    opened: Flags
    board: Flags
    auto: Flags
    two_coils: Flags
    lower_panel: Flags  # the burner can be got at without the front coming off
    after: Codes  # 0 neither, 1 move, 2 service visit
    lint: Array
    sheets: Flags  # uses dryer sheets, which film the screen and the bars
    tolerance: Array  # dry-time ratio that makes this customer call
    candour: Array  # how well the customer sees and tells, 0 to 1

    def __len__(self) -> int:
        return len(self.age)

    def take(self, rows: Codes | Flags) -> Houses:
        """Return some of the households."""
        return Houses(**{name: values[rows] for name, values in vars(self).items()})


def _duct_feet(n: int, rng: Generator) -> Array:
    """Equivalent feet: a straight run and some elbows of the fittings table."""
    straight = np.maximum(rng.gamma(2.0, 4.6, n), 1.5)
    elbows = rng.poisson(1.5, n)
    kind = np.where(rng.random(n) < 0.7, FITTING_FT["mitred_90"], FITTING_FT["radius_6_90"])
    return straight + elbows * kind


def draw_houses(n: int, rng: Generator, days: tuple[float, float] = (0.0, 365.0)) -> Houses:
    """Draw households as they are in the town, whether or not anything is wrong, on days after `START`."""
    day = rng.uniform(*days, n).astype(np.intp)
    age = np.minimum(rng.gamma(1.9, 4.2, n), 28.0)
    cleaned = np.where(rng.random(n) < 0.25, age * 12.0, np.minimum(rng.exponential(20.0, n), age * 12.0))
    closet = rng.random(n) < 0.24
    return Houses(
        day=day,
        month=month_of(day),
        material=rng.choice(3, n, p=[0.50, 0.30, 0.20]),
        duct_ft=_duct_feet(n, rng),
        months_since_clean=cleaned,
        loads=np.clip(rng.gamma(3.4, 1.5, n), 0.5, 18.0),
        age=age,
        propane=rng.random(n) < 0.13,
        closet=closet,
        opened=rng.random(n) < 1.0 - np.exp(-0.045 * age),
        board=rng.random(n) < np.where(age < 8.0, 0.68, 0.33),
        auto=rng.random(n) < np.where(age < 8.0, 0.93, 0.74),
        two_coils=rng.random(n) < 0.82,
        # From a stream of its own: it bears on nothing that the physics or the log shows.
        lower_panel=rng.spawn(1)[0].random(n) < 0.3,
        after=rng.choice(3, n, p=[0.90, 0.06, 0.04]),
        lint=rng.lognormal(0.0, 0.45, n),
        sheets=rng.random(n) < 0.5,
        tolerance=1.0 + rng.lognormal(-1.15, 0.35, n),
        candour=rng.beta(5.0, 2.0, n),
    )


def sound_machines(h: Houses, rng: Generator) -> Machines:
    """Every household's machine with nothing wrong: making tolerances, harmless wear, the house and its
    habits.
    """
    n = len(h)
    m = typical(n)
    _draw_air(m, h, rng)
    _draw_burner(m, h, rng)
    _draw_controls(m, h, rng)
    _draw_laundry(m, h, rng)
    return m


def _spread(m: Machines, field: str, relative: float, rng: Generator) -> None:
    values = getattr(m, field)
    values *= np.exp(relative * np.clip(rng.normal(size=len(m)), -2.5, 2.5))


def _draw_air(m: Machines, h: Houses, rng: Generator) -> None:
    n = len(m)
    for field, relative in (("blower_wc", 0.04), ("blower_cfm", 0.03), ("drum_r", 0.06)):
        _spread(m, field, relative, rng)
    m.duct_ft[:] = np.minimum(h.duct_ft, 42.0)
    m.duct_friction[:] = np.array([FRICTION[k] for k in MATERIALS])[h.material] * np.exp(0.06 * rng.normal(size=n))
    m.duct_lint[:] = rng.uniform(0.0, 0.22, n)
    m.hood_closed[:] = rng.uniform(0.0, 0.2, n)
    m.transition_crush[:] = rng.uniform(0.0, 0.28, n)
    m.screen_film[:] = rng.uniform(0.0, 0.22, n)
    m.path_lint[:] = rng.uniform(0.02, 0.3, n)
    m.seal_leak[:] = rng.uniform(0.03, 0.14, n)
    m.flap_loose[:] = rng.uniform(0.8, 1.12, n)
    m.opening_sqin[:] = np.where(h.closet, rng.uniform(95.0, 200.0, n), 400.0)


def _draw_burner(m: Machines, h: Houses, rng: Generator) -> None:
    n = len(m)
    m.fuel[:] = h.propane
    sizes = np.array([orifice_for(21500.0, 0), orifice_for(21500.0, 1)])
    m.orifice_in[:] = sizes[h.propane.astype(int)] * np.exp(0.012 * rng.normal(size=n))
    m.manifold_wc[:] = MANIFOLD_WC[h.propane.astype(int)] * np.exp(0.02 * rng.normal(size=n))
    m.altitude_ft[:] = rng.uniform(10.0, 900.0, n)
    m.igniter_rated_ohm[:] = m.igniter_ohm[:] = rng.uniform(70.0, 320.0, n)
    m.sensor_opens_c[:] = rng.uniform(810.0, 890.0, n)
    m.coil_two_ohm[:], m.coil_mid_ohm[:], m.coil_far_ohm[:] = (
        rng.uniform(low, high, n) for low, high in ((1060, 1250), (1315, 1385), (515, 585))
    )
    m.quirk[:] = rng.random(n)


def _draw_controls(m: Machines, h: Houses, rng: Generator) -> None:
    n = len(m)
    m.board[:], m.auto[:], m.two_coils[:] = h.board, h.auto, h.two_coils
    rated_f = rng.choice([145.0, 150.0, 155.0, 160.0], n, p=[0.15, 0.2, 0.5, 0.15])
    m.cycling_rated_c[:] = (rated_f - 32.0) / 1.8
    m.cycling_open_c[:] = m.cycling_rated_c + 1.3 * rng.normal(size=n)
    m.board_open_c[:] = m.cycling_rated_c + rng.normal(size=n)
    m.differential_k[:] = rng.uniform(5.5, 8.5, n)
    m.thermistor_ratio[:] = np.exp(0.02 * rng.normal(size=n))
    m.limit_open_c[:] = 121.0 + 2.5 * rng.normal(size=n)
    m.fuse_open_c[:] = 91.0 + 1.5 * rng.normal(size=n) - 0.25 * np.maximum(h.age - 6.0, 0.0)
    m.belt_switch[:] = rng.random(n) < 0.6
    m.bar_contact[:] = rng.uniform(0.82, 1.1, n)
    m.tilt_deg[:] = np.abs(0.35 * rng.normal(size=n))


def _draw_laundry(m: Machines, h: Houses, rng: Generator) -> None:
    n = len(m)
    m.load_kg[:] = np.clip(3.6 * np.exp(0.16 * rng.normal(size=n)), 2.0, 5.2)
    m.moisture[:] = np.clip(0.56 + 0.06 * rng.normal(size=n), 0.4, 0.72)
    m.uses_auto[:] = h.auto & (rng.random(n) < 0.72)
    m.timed_min[:] = rng.choice([50.0, 60.0, 70.0], n)
    out = OUTDOOR_C[h.month]
    m.room_c[:] = np.clip(20.5 + 0.25 * (out - 12.0) + 1.8 * rng.normal(size=n), 10.0, 32.0)
    m.room_rh[:] = np.clip(0.42 + 0.008 * (out - 12.0) + 0.08 * rng.normal(size=n), 0.2, 0.8)
