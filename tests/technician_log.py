"""A shop's log with planted technicians: one of four fits wrong parts, written before what tells of him.

What stands in it is typed as a shop types it; the truth is in `PARTS`, `wrong` and `back`, and nowhere in the library.
"""

import csv
import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import numpy as np

START = dt.date(2024, 1, 2)
PARTS = {
    # share of the calls, what is complained of, what a check shows, the work, what is fitted in its place by mistake
    "duct": (0.30, "takes 3 cycles", "duct packed", "cleaned vent", "coils"),
    "coils": (0.20, "no heat after a while", "igniter glows no flame when hot", "new coils", "igniter"),
    "igniter": (0.18, "no heat", "igniter open", "new igniter", "coils"),
    "flame sensor": (0.10, "no heat", "glow stays on", "new flame sensor", "igniter"),
    "thermostat": (0.12, "warm but slow to dry", "cycling thermostat opens early", "new cycling thermostat", "duct"),
    "thermistor": (0.10, "auto stops early", "thermistor off", "new thermistor", "thermostat"),
}


@dataclass(frozen=True)
class Habit:
    """How often a technician takes the wrong part first, and how often the right one does not hold."""

    wrong: float
    back: float


EVEN = {"TA": Habit(0.05, 0.05), "TB": Habit(0.05, 0.05), "TC": Habit(0.05, 0.05), "TD": Habit(0.05, 0.05)}
ONE_BAD = {**EVEN, "TC": Habit(0.20, 0.10)}


def write(path: Path, people: dict[str, Habit], jobs: int = 900, seed: int = 1, heed: bool = False) -> dict[str, int]:
    """Write a log; the true number of calls of each cause. With `heed` the findings are written down as well."""
    rng = np.random.default_rng(seed)
    names = list(PARTS)
    chances = np.array([PARTS[n][0] for n in names])
    calls = dict.fromkeys(names, 0)
    rows: list[tuple[dt.date, list[str]]] = []
    for n in range(jobs):
        day = START + dt.timedelta(days=int(rng.integers(0, 700)))
        cause = names[int(rng.choice(len(names), p=chances))]
        calls[cause] += 1
        _, said, found, right, instead = PARTS[cause]
        who = str(rng.choice(list(people)))
        found = found if heed and rng.random() < 0.6 else ""
        wrong = rng.random() < people[who].wrong
        seen_at_once = rng.random() < 0.5
        first = PARTS[instead][3] if wrong else right
        first += f", still no good, {right}" if wrong and seen_at_once else ""
        back = (wrong and not seen_at_once) or rng.random() < people[who].back
        customer = f"K{n:04d}"
        rows.append((day, [day.isoformat(), customer, who, said, found, first]))
        if back:
            later = day + dt.timedelta(days=int(rng.integers(2, 20)))
            rows.append((later, [later.isoformat(), customer, str(rng.choice(["TA", "TB", "TD"])), said, "", right]))
    rows.sort(key=lambda row: row[0])
    with path.open("w", newline="", encoding="utf-8") as handle:
        out = csv.writer(handle)
        out.writerow(["ticket", "date", "customer", "tech", "complaint", "found", "work done"])
        out.writerows([f"Q{n}", *row] for n, (_, row) in enumerate(rows, start=4001))
    return calls
