"""Sums, peaks and first times of a run, kept beside the state that it watches."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import psychro
from .psychro import Array
from .runs import Ledger, Run

if TYPE_CHECKING:
    from .drum import Dryer

MOTOR_KW = 0.22
WINDOW_MIN = (8.0, 24.0)


class Recorder:
    """Sums and first times of a run, kept beside the state that it watches."""

    def __init__(self, d: Dryer) -> None:
        n = len(d.m)
        self.d = d
        self.sums = {
            k: np.zeros(n)
            for k in (
                "flame",
                "early",
                "late",
                "starts",
                "duds",
                "glow",
                "trips",
                "trips24",
                "cuts",
                "stops",
                "cut_c",
                "motor",
            )
        }
        self.peaks = {k: np.zeros(n) for k in ("exhaust", "limit", "fuse", "coil", "cabinet")}
        self.dry_min, self.auto_min, self.dud_min = (np.full(n, np.inf) for _ in range(3))
        self.auto_x, self.timed_x, self.timed_c = (np.full(n, np.nan) for _ in range(3))
        self.moisture = d.s.moisture + np.zeros(n)
        self.ledger: Ledger | None = None
        self.trace: dict[str, list[Array]] | None = None

    def keep_books(self) -> None:
        """Start an energy and water ledger."""
        zero = [np.zeros(len(self.d.m)) for _ in range(7)]
        self.ledger = Ledger(*zero)

    def book(self, gas: Array, burnt: Array, flow: Array, inlet: tuple[Array, Array], lost: Array) -> None:
        """Enter one step's energy and water, with the enthalpies of the air as it came in and left."""
        if self.ledger is None:
            return
        d, book = self.d, self.ledger
        book.gas_kj += gas * d.dt
        book.air_in_kj += flow * psychro.enthalpy(*inlet) * d.dt
        book.air_out_kj += flow * psychro.enthalpy(d.exhaust_c, d.exhaust_w) * d.dt
        book.lost_kj += lost * d.dt
        book.water_in_kg += flow * inlet[1] * d.dt
        book.water_burnt_kg += burnt * d.dt
        book.water_out_kg += flow * d.exhaust_w * d.dt

    def note(self) -> None:
        """Add one step to the sums, peaks and first times."""
        d, s, minutes = self.d, self.sums, self.d.dt / 60.0
        t = d.t / 60.0
        s["flame"] += d.flame * minutes
        if t <= WINDOW_MIN[0]:
            s["early"] += d.flame * minutes / WINDOW_MIN[0]
        elif t <= WINDOW_MIN[1]:
            s["late"] += d.flame * minutes / (WINDOW_MIN[1] - WINDOW_MIN[0])
        s["starts"] += d.started
        s["duds"] += d.dud
        s["glow"] += d.glowing * d.dt
        s["trips"] += d.tripped
        s["trips24"] += d.tripped * (t <= WINDOW_MIN[1])
        s["cuts"] += d.cut
        s["stops"] += d.cut_c > 0.0
        s["cut_c"] += d.cut_c
        s["motor"] += MOTOR_KW * d.running * d.dt / 3600.0
        peaks = (d.exhaust_c, d.limit_c, d.fuse_c, d.coil_c, d.cabinet_c)
        for peak, now in zip(self.peaks.values(), peaks, strict=True):
            np.maximum(peak, now, out=peak)
        if d.dud.any():
            self.dud_min = np.where(d.dud & np.isinf(self.dud_min), t, self.dud_min)
        self._first_times(t, minutes)
        if self.trace is not None:
            self._trace(t)

    def _first_times(self, t: float, minutes: float) -> None:
        """Find when the load was dry, when the sensor ended the cycle, and how the timed cycle ended."""
        d = self.d
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

    def _trace(self, t: float) -> None:
        """Keep the curves of a run that is to be drawn."""
        d = self.d
        now = {
            "minutes": np.full(len(d.m), t),
            "moisture": self.moisture,
            "cloth_c": d.cloth_c,
            "exhaust_c": d.exhaust_c,
            "box_c": d.box_c,
            "coil_c": d.coil_c,
            "flame": d.flame,
            "limit_c": d.limit_c,
        }
        assert self.trace is not None
        for name, values in now.items():
            self.trace.setdefault(name, []).append(values.copy())

    def summary(self) -> Run:
        """Close the records into a `Run`."""
        d, s, p, air = self.d, self.sums, self.peaks, self.d.air
        cutoff = np.divide(s["cut_c"], s["stops"], out=np.full(len(d.m), np.nan), where=s["stops"] > 0)
        blew = (~d.fuse_on & (d.m.fuse_ohm < 1e6)).astype(float)
        trace = {name: np.array(rows) for name, rows in (self.trace or {}).items()}
        return Run(
            d.dt,
            air.cfm,
            air.hood_cfm,
            air.outlet_wc,
            self.dry_min,
            self.auto_min,
            self.auto_x,
            np.where(np.isnan(self.timed_x), self.moisture, self.timed_x),
            np.where(np.isnan(self.timed_c), d.cloth_c, self.timed_c),
            self.moisture,
            s["flame"],
            s["early"],
            s["late"],
            s["starts"],
            s["duds"],
            self.dud_min,
            s["glow"],
            s["trips"],
            s["trips24"],
            s["cuts"],
            cutoff,
            p["exhaust"],
            p["limit"],
            p["fuse"],
            blew,
            p["coil"],
            p["cabinet"],
            d.kw * s["flame"] / 60.0,
            s["motor"],
            d.s.load_kg * d.s.moisture - d.water,
            self.ledger,
            trace,
        )
