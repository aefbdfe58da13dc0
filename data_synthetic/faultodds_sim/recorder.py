"""What is kept of a run while the dryer goes through it: sums, peaks, first times, and on request books and
curves.
"""

from __future__ import annotations

import numpy as np

from . import psychro
from .dryer import Dryer
from .psychro import Array
from .runs import Ledger, Run

MOTOR_KW = 0.22
WINDOW_MIN = (8.0, 24.0)
#: Sums and peaks, by the fields of `Run` that they become.
SUMS = ("flame_min", "early_duty", "late_duty", "starts", "duds", "glow_s", "limit_trips", "early_trips", "motor_kwh")
PEAKS = ("peak_exhaust_c", "peak_limit_c", "peak_fuse_c", "peak_coil_c", "cabinet_c")


class Recorder:
    """Watches a dryer: call `note` after every step, `summary` at the end.

    With `books` it keeps the energy and water ledger, with `curves` the trace of every step.
    """

    def __init__(self, d: Dryer, *, books: bool = False, curves: bool = False) -> None:
        n = len(d.m)
        self.d, self.curves = d, curves
        self.sums = {name: np.zeros(n) for name in SUMS}
        self.peaks = {name: np.zeros(n) for name in PEAKS}
        self.stops, self.stop_c = np.zeros(n), np.zeros(n)
        self.dry_min, self.auto_min, self.dud_min = (np.full(n, np.inf) for _ in range(3))
        self.auto_x, self.timed_x, self.timed_c = (np.full(n, np.nan) for _ in range(3))
        self.moisture = d.s.moisture + np.zeros(n)
        self.ledger = Ledger(*(np.zeros(n) for _ in range(7))) if books else None
        self.trace: dict[str, list[Array]] = {}

    def note(self) -> None:
        """Add one step to everything that is kept."""
        self._add()
        self._first_times()
        if self.ledger is not None:
            self._book(self.ledger)
        if self.curves:
            self._draw()

    def settled(self, until_dry: bool) -> bool:
        """Whether every load is dry and, unless only that is wanted, nothing else can be learned from going on."""
        past = self.d.t / 60.0 > max(WINDOW_MIN[1], float(self.d.m.timed_min.max()))
        return bool((past or until_dry) and np.isfinite(self.dry_min).all())

    def _add(self) -> None:
        """Add one step to the sums and peaks."""
        d, s, minutes = self.d, self.sums, self.d.dt / 60.0
        t = d.t / 60.0
        s["flame_min"] += d.flame * minutes
        if t <= WINDOW_MIN[0]:
            s["early_duty"] += d.flame * minutes / WINDOW_MIN[0]
        elif t <= WINDOW_MIN[1]:
            s["late_duty"] += d.flame * minutes / (WINDOW_MIN[1] - WINDOW_MIN[0])
        s["starts"] += d.started
        s["duds"] += d.dud
        s["glow_s"] += d.glowing * d.dt
        s["limit_trips"] += d.tripped
        s["early_trips"] += d.tripped * (t <= WINDOW_MIN[1])
        s["motor_kwh"] += MOTOR_KW * d.running * d.dt / 3600.0
        self.stops += d.cut_c > 0.0
        self.stop_c += d.cut_c
        peaks = (d.exhaust_c, d.limit_c, d.fuse_c, d.coil_c, d.cabinet_c)
        for peak, now in zip(self.peaks.values(), peaks, strict=True):
            np.maximum(peak, now, out=peak)

    def _first_times(self) -> None:
        """Find the first dud, when the load was dry, when the sensor ended the cycle, and how the timed cycle ended."""
        d, t, minutes = self.d, self.d.t / 60.0, self.d.dt / 60.0
        if d.dud.any():
            self.dud_min = np.where(d.dud & np.isinf(self.dud_min), t, self.dud_min)
        moisture = d.water / d.s.load_kg
        dry = (moisture < d.s.dry_at) & np.isinf(self.dry_min)
        if dry.any():
            part = (self.moisture - d.s.dry_at) / np.maximum(self.moisture - moisture, 1e-12)
            self.dry_min = np.where(dry, t - minutes * (1.0 - np.clip(part, 0.0, 1.0)), self.dry_min)
        ends = (d.signal < 0.25) & np.isinf(self.auto_min)
        if t > 4.0 and ends.any():
            self.auto_min = np.where(ends, t, self.auto_min)
            self.auto_x = np.where(ends, moisture, self.auto_x)
        timed = (t >= d.m.timed_min) & np.isnan(self.timed_x)
        if timed.any():
            self.timed_x = np.where(timed, moisture, self.timed_x)
            self.timed_c = np.where(timed, d.cloth_c, self.timed_c)
        self.moisture = moisture

    def _book(self, book: Ledger) -> None:
        """Enter one step's energy and water, with the enthalpies of the air as it came in and left."""
        d = self.d
        book.gas_kj += d.gas_kw * d.dt
        book.air_in_kj += d.flow_kg_s * psychro.enthalpy(d.in_c, d.in_w) * d.dt
        book.air_out_kj += d.flow_kg_s * psychro.enthalpy(d.exhaust_c, d.exhaust_w) * d.dt
        book.lost_kj += d.lost_kw * d.dt
        book.water_in_kg += d.flow_kg_s * d.in_w * d.dt
        book.water_burnt_kg += d.burnt_kg_s * d.dt
        book.water_out_kg += d.flow_kg_s * d.exhaust_w * d.dt

    def _draw(self) -> None:
        """Keep the curves of a run that is to be drawn."""
        d = self.d
        now = {
            "minutes": np.full(len(d.m), d.t / 60.0),
            "moisture": self.moisture,
            "cloth_c": d.cloth_c,
            "exhaust_c": d.exhaust_c,
            "box_c": d.box_c,
            "coil_c": d.coil_c,
            "flame": d.flame,
            "limit_c": d.limit_c,
        }
        for name, values in now.items():
            self.trace.setdefault(name, []).append(values.copy())

    def summary(self) -> Run:
        """Close the records into a `Run`."""
        d, n = self.d, len(self.d.m)
        return Run(
            cfm=d.air.cfm,
            hood_cfm=d.air.hood_cfm,
            outlet_wc=d.air.outlet_wc,
            dry_min=self.dry_min,
            auto_stop_min=self.auto_min,
            auto_moisture=self.auto_x,
            timed_moisture=np.where(np.isnan(self.timed_x), self.moisture, self.timed_x),
            timed_cloth_c=np.where(np.isnan(self.timed_c), d.cloth_c, self.timed_c),
            end_moisture=self.moisture,
            first_dud_min=self.dud_min,
            cutoff_c=np.divide(self.stop_c, self.stops, out=np.full(n, np.nan), where=self.stops > 0),
            fuse_blew=(~d.fuse_on & (d.m.fuse_ohm < 1e6)).astype(float),
            gas_kwh=d.kw * self.sums["flame_min"] / 60.0,
            water_removed_kg=d.s.load_kg * d.s.moisture - d.water,
            **self.sums,
            **self.peaks,
            ledger=self.ledger,
            trace={name: np.array(rows) for name, rows in self.trace.items()},
        )
