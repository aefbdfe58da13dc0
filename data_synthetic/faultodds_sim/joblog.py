"""Job logs as shops keep them: one row a job, mixed units and hands, blanks that mean two things, slips and
duplicates.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from . import logwords as words
from .findings import CHECK_CODE, NONE, REPAIR_NAMES, TECH_NAMES
from .hazards import MODE_NAMES
from .households import START
from .jobs import CALLBACK_DAYS, Jobs, chunks
from .logcells import Text, by_code, choose, fact_cells, join
from .names import NOTHING, SYMPTOMS
from .psychro import Codes, Flags
from .technicians import TECHNICIANS

if TYPE_CHECKING:
    import pandas as pd


#: column -> checks whose words go into it, in the order of the columns.
CHECK_COLUMNS: dict[str, tuple[str, ...]] = {
    "lint_scrn": ("lint_screen_look",),
    "hood": ("hood_flap",),
    "hood_fpm": ("hood_air_speed",),
    "duct_look": ("duct_look",),
    "trans_duct": ("transition_look",),
    "duct_off": ("duct_off_run",),
    "static_wc": ("static_pressure",),
    "exh_temp": ("exhaust_cycling",),
    "load_q": ("load_questions",),
    "spin_wt": ("spun_load_weight",),
    "meter_sec": ("meter_clock",),
    "gas": ("gas_cock_look", "other_appliances"),
    "manif": ("manifold_pressure",),
    "dry_bars": ("sensor_bar_test",),
    "diag_code": ("diagnostic_codes",),
    "drum_ht": ("drum_warm",),
    "sight": ("glow_look",),
    "burner": ("burner_watch",),
    "blower": ("blower_turn",),
    "lint_path": ("lint_path_look",),
    "drum": ("belt_rollers_look", "level_check"),
    "seals": ("seal_test",),
    "ign_ohm": ("igniter_ohms",),
    "coil_ohm": ("coil_ohms",),
    "coil_hot": ("coil_ohms_hot",),
    "flame_sens": ("flame_sensor_continuity",),
    "t_fuse": ("fuse_continuity",),
    "hi_limit": ("high_limit_continuity",),
    "cyc_cont": ("cycling_continuity",),
    "cyc_temp": ("cycling_bench_heat",),
    "thermistor": ("thermistor_ohms",),
    "contacts": ("timer_contacts", "centrifugal_contacts", "relay_output"),
    "harness": ("harness_look",),
    "volts": ("burner_voltage",),
}


def _written(jobs: Jobs, check: str, rng: Generator) -> Flags:
    """Rows where the technician did the check and bothered to write it down; a bad finding more often than a
    good one.
    """
    row, n = CHECK_CODE[check], len(jobs)
    keeps = np.array([t.writes for t in TECHNICIANS.values()])[jobs.visit.tech]
    blank = np.array(words.BLANK_WHEN_FINE)[jobs.visit.tech]
    bad = jobs.visit.code[row] > 0
    chance = np.where(bad, np.minimum(keeps + 0.25, 0.98), keeps * (1.0 - blank))
    return np.asarray(jobs.visit.done[row] & (rng.random(n) < chance))


def _check_cell(jobs: Jobs, check: str, rng: Generator) -> Text:
    """What stands in the log for one check, row by row."""
    rows = np.flatnonzero(_written(jobs, check, rng))
    out = np.full(len(jobs), "", dtype=object)
    number = words.NUMBERS.get(check)
    if number is None:
        table = words.LOOK_WORDS.get(check, words.SWITCH_WORDS)
        out[rows] = by_code(table, jobs.visit.code[CHECK_CODE[check], rows], rng)
        return out
    values = jobs.visit.value[CHECK_CODE[check], rows].tolist()
    styles = np.where(rng.random(len(rows)) < 0.85, jobs.visit.tech[rows], rng.integers(0, 4, len(rows))).tolist()
    out[rows] = [number(v, s) for v, s in zip(values, styles, strict=True)]
    slips = rows[rng.random(len(rows)) < 0.006]
    out[slips] = choose(words.IMPOSSIBLE, len(slips), rng)
    return out


def _complaint(jobs: Jobs, rng: Generator) -> Text:
    cells = [by_code(words.COMPLAINT_WORDS[name], jobs.told[name], rng) for name in SYMPTOMS]
    return join(cells, ", ")


def _dry_times(jobs: Jobs, rng: Generator) -> Text:
    """How many times as long as normal, when the customer has said so."""
    rows = np.flatnonzero((jobs.told["dry_time"] > 0) & (rng.random(len(jobs)) < 0.6))
    out = np.full(len(jobs), "", dtype=object)
    told = jobs.ratio[rows] * np.exp(0.2 * rng.normal(size=len(rows)))
    hands = jobs.visit.tech[rows].tolist()
    out[rows] = [
        "never" if not np.isfinite(x) else (f"{x:.1f}x", f"{x:.0f}x", f"{45.0 * x:.0f} min", f"x{x:.0f}")[s]
        for x, s in zip(told.tolist(), hands, strict=True)
    ]
    return out


def _dates(day: NDArray[np.float64], hands: Codes) -> Text:
    """Dates in four hands."""
    stamps = (START + day.astype("timedelta64[D]")).astype(object).tolist()
    forms: tuple[Callable[[Any], str], ...] = (
        lambda d: str(d.isoformat()),
        lambda d: f"{d.month:02d}/{d.day:02d}/{d.year}",
        lambda d: f"{d.day} {_MONTHS[d.month - 1]} {d.year}",
        lambda d: f"{d.month}/{d.day}/{d.year % 100:02d}",
    )
    return np.array([forms[h](d) for d, h in zip(stamps, hands.tolist(), strict=True)], dtype=object)


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _parts(jobs: Jobs, rng: Generator) -> Text:
    """Work and parts of every job, separated by semicolons; a tired technician forgets one."""
    cells = [
        by_code(
            [words.PART_WORDS[name] for name in REPAIR_NAMES],
            np.where(rng.random(len(jobs)) < 0.96, row, NONE),
            rng,
        )
        for row in jobs.visit.repairs
    ]
    return join(cells, "; ")


def _money(jobs: Jobs, rng: Generator) -> tuple[Text, Text]:
    """Minutes on the job and the bill in USD."""
    minutes = np.array([*(words.PRICE_LIST[name][0] for name in REPAIR_NAMES), 0], float)
    price = np.array([*(words.PRICE_LIST[name][1] for name in REPAIR_NAMES), 0], float)
    pace = np.array([t.pace for t in TECHNICIANS.values()])[jobs.visit.tech]
    time = (
        (
            words.TRIP_MINUTES
            + 3.5 * jobs.visit.done.sum(axis=0)
            + minutes[jobs.visit.repairs].sum(axis=0)
            + 25.0 * (jobs.visit.verified != NONE)
        )
        * pace
        * np.exp(0.12 * rng.normal(size=len(jobs)))
    )
    time = np.maximum(5.0 * np.round(time / 5.0), 15.0)
    bill = time / 60.0 * words.LABOUR_AN_HOUR + 1.4 * price[jobs.visit.repairs].sum(axis=0)
    hands = jobs.visit.tech.tolist()
    spell = [
        (f"{t:.0f}", f"{t:.0f} min", f"{t / 60.0:.2f} h", f"{t:.0f}")[s]
        for t, s in zip(time.tolist(), hands, strict=True)
    ]
    cost = [(f"{b:.2f}", f"${b:.0f}", f"{b:.0f}", f"${b:.2f}")[s] for b, s in zip(bill.tolist(), hands, strict=True)]
    return np.array(spell, dtype=object), np.array(cost, dtype=object)


_REMARKS = (
    "",
    "",
    "",
    "",
    "cust happy",
    "told cust to clean vent yearly",
    "dog hair everywhere",
    "tight closet",
    "old machine",
    "will call if not ok",
    "parts on truck",
    "hard to pull out",
    "no answer first time",
    "soap tested ok",
    "advised vent clng each yr",
    "cust in hurry",
)


def _notes(jobs: Jobs, rng: Generator) -> Text:
    """Free text: a remark, and now and then a finding in words; some mistyped."""
    n = len(jobs)
    doubt = np.where((jobs.visit.verified > 0) & (rng.random(n) < 0.5), "still not right, wait + see", "").astype(
        object
    )
    alone = np.where((jobs.visit.repairs[0] == NONE) & (rng.random(n) < 0.7), "no fault found", "").astype(object)
    notes = join([alone, choose(_REMARKS, n, rng), doubt], ". ")
    return _typos(notes, 0.05, rng)


def _typos(text: Text, share: float, rng: Generator) -> Text:
    rows = np.flatnonzero(rng.random(len(text)) < share)
    which = rng.integers(0, len(words.TYPO_PAIRS), len(rows)).tolist()
    text[rows] = [words.mistype(t, w) for t, w in zip(text[rows], which, strict=True)]
    return text


def _rows(jobs: Jobs, rng: Generator) -> dict[str, Text]:
    """All columns of the log that do not need ticket numbers."""
    tech = np.array(TECH_NAMES, dtype=object)[jobs.visit.tech]
    slip = rng.random(len(jobs)) < 0.02
    hand = np.where(rng.random(len(jobs)) < 0.9, jobs.visit.tech, rng.integers(0, 4, len(jobs)))
    spent, bill = _money(jobs, rng)
    back = jobs.visit.back_days <= CALLBACK_DAYS
    result = np.where(
        back,
        choose(("cb", "callback", "came back"), len(jobs), rng),
        np.where(rng.random(len(jobs)) < 0.55, choose(("done", "fixed", "ok", "complete"), len(jobs), rng), ""),
    )
    cells = {
        column: join([_check_cell(jobs, c, rng) for c in checks], "; ")
        if len(checks) > 1
        else _check_cell(jobs, checks[0], rng)
        for column, checks in CHECK_COLUMNS.items()
    }
    return {
        "date": _dates(jobs.day, hand),
        "tech": np.where(slip, "", tech).astype(object),
        **fact_cells(jobs, rng),
        "complaint": _typos(_complaint(jobs, rng), 0.04, rng),
        "dry_x": _dry_times(jobs, rng),
        **cells,
        "parts": _typos(_parts(jobs, rng), 0.02, rng),
        "labor": spent,
        "total": bill,
        "wet_test": by_code(words.VERIFY_WORDS, jobs.visit.verified, rng),
        "result": result.astype(object),
        "notes": _notes(jobs, rng),
    }


def _truth_rows(jobs: Jobs) -> dict[str, Any]:
    """What was really the matter, for the file that the learner does not see."""
    names = np.array(MODE_NAMES, dtype=object)
    modes = [""] * len(jobs)
    for row, column in zip(*np.nonzero(jobs.cases.present.T), strict=True):
        modes[row] += ("|" if modes[row] else "") + MODE_NAMES[column]
    return {
        "main_cause": names[jobs.cases.main],
        "modes": np.array([text or NOTHING for text in modes], dtype=object),
        "severity": np.round(jobs.cases.severity, 3),
        "works_after": jobs.visit.works.astype(int),
        "back_in_30_days": (jobs.visit.back_days <= CALLBACK_DAYS).astype(int),
    }


def log_frames(jobs: int, seed: int, town: int = 0) -> Iterator[tuple[pd.DataFrame, pd.DataFrame]]:
    """Yield (log, truth) frames, chunk by chunk, `jobs` rows in all; the same bytes for the same `jobs`,
    `seed` and `town`.

    Every log cell is text. The truth has ticket, first_ticket, main_cause, modes, severity, works_after,
    back_in_30_days. Raises `SimError` when `jobs` is under 1.
    """
    made = 0
    for number, (first, second) in enumerate(chunks(jobs, seed, town)):
        rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(8, number))))
        log, truth = _frames(first, second, 1000 + made, rng)
        log, truth = log.iloc[: jobs - made], truth.iloc[: jobs - made]
        made += len(log)
        yield log, truth


def _frames(first: Jobs, second: Jobs, ticket: int, rng: Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """One chunk's log and truth, by date, with ticket numbers and some tickets entered twice."""
    import pandas as pd

    a, b = _rows(first, rng), _rows(second, rng)
    day = np.concatenate([first.day, second.day])
    order = np.argsort(day, kind="stable")
    place = np.empty(len(order), np.intp)
    place[order] = np.arange(len(order))
    numbers = place + ticket
    begun = np.concatenate([numbers[: len(first)], numbers[second.first]])
    log = pd.DataFrame(
        {
            "ticket": _tickets(numbers, "HL"),
            "cust": _tickets(50000 + begun, "C"),
            **{name: np.concatenate([a[name], b[name]]) for name in a},
        }
    )
    known = [_truth_rows(first), _truth_rows(second)]
    truth = pd.DataFrame(
        {
            "ticket": _tickets(numbers, "HL"),
            "first_ticket": _tickets(begun, "HL"),
            **{name: np.concatenate([k[name] for k in known]) for name in known[0]},
        }
    )
    doubled = np.repeat(order, 1 + (rng.random(len(order)) < 0.012))
    return log.iloc[doubled].reset_index(drop=True), truth.iloc[doubled].reset_index(drop=True)


def _tickets(numbers: Codes, prefix: str) -> Text:
    return np.array([f"{prefix}-{n}" for n in numbers.tolist()], dtype=object)
