"""The fixed sheet: what the machine shows on every check, for every mode at three severities.

    python -m faultodds_sim.sheet --out sheet.csv --figure sheet.png

A technician can read down it and say whether the physics is credible. Each cell is the outcome that a skilled
technician calls most often in `DRAWS` tries on a typical machine, with the middle reading where there is one.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from .checks import fitted, read
from .faults import MODES, make
from .instruments import Reading, View, view
from .machines import Machines, stack, typical
from .names import CHECKS
from .runs import as_used
from .simulation import simulate
from .typed_readings import UNITS, text

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

SEVERITIES = (0.35, 0.65, 0.95)
DRAWS, SKILL = 15, 0.95
NOT_FITTED = "-"


def _every_mode(severities: Sequence[float]) -> tuple[list[tuple[str, float]], Machines]:
    """Names and machines of every mode at every severity, in the order of `faults.MODES`."""
    keys = [(mode, level) for mode in MODES for level in severities]
    return keys, stack([make(typical(1), mode, level) for mode, level in keys])


def _repeated(v: View, times: int) -> View:
    """Every machine `times` over, side by side."""
    rows = np.repeat(np.arange(len(v.m)), times)
    return View(v.m.take(rows), v.used.take(rows), v.bench.take(rows), v.verified.take(rows))


def _cells(check: str, reading: Reading, fits: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[str]:
    """Text of one check's column from its repeated readings."""
    codes, values = reading.code.reshape(-1, DRAWS), reading.value.reshape(-1, DRAWS)
    cells = []
    for row, has in enumerate(fits.tolist()):
        code = int(np.bincount(codes[row]).argmax())
        outcome = CHECKS[check][code]
        middle = np.sort(values[row][codes[row] == code])[(codes[row] == code).sum() // 2]
        shown = f"{outcome} ({text(check, float(middle), outcome)})" if check in UNITS else outcome
        cells.append(shown if has else NOT_FITTED)
    return cells


def sheet(severities: Sequence[float] = SEVERITIES, seed: int = 0) -> pd.DataFrame:
    """Return the sheet: mode, severity, air (cfm), minutes to dry the usual load (inf never), and one column
    a check.

    Cells read "outcome (reading)"; "-" where the machine has no such part.
    """
    import pandas as pd

    keys, machines = _every_mode(severities)
    seen = view(machines)
    many = _repeated(seen, DRAWS)
    rng, skill = np.random.default_rng(seed), np.full(len(many.m), SKILL)
    columns: dict[str, object] = {
        "mode": [mode for mode, _ in keys],
        "severity": [level for _, level in keys],
        "cfm": np.round(seen.used.cfm),
        "dry_minutes": np.round(simulate(machines, as_used(machines)).dry_min, 1),
    }
    for check in CHECKS:
        columns[check] = _cells(check, read(check, many, rng, skill), fitted(check, machines))
    return pd.DataFrame(columns)


def codes(table: pd.DataFrame) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Outcome codes of a sheet, shape (rows, checks); NaN where the machine has no such part."""
    out = np.full((len(table), len(CHECKS)), np.nan)
    for column, (check, outcomes) in enumerate(CHECKS.items()):
        for row, cell in enumerate(table[check]):
            if cell != NOT_FITTED:
                out[row, column] = outcomes.index(str(cell).split(" (")[0])
    return out


def figure(table: pd.DataFrame) -> Figure:
    """Draw a sheet: modes down, checks across, a panel a severity; pale is normal, the other outcomes are
    coloured.
    """
    from matplotlib.colors import ListedColormap
    from matplotlib.figure import Figure

    levels, modes = sorted(set(table["severity"])), list(dict.fromkeys(table["mode"]))
    fig = Figure(figsize=(6.4 * len(levels) + 3.0, 12.5), layout="constrained")
    axes = fig.subplots(1, len(levels), sharey=True, squeeze=False)[0]
    tints = ["#eef1f4", "#2c7fb8", "#d95f0e", "#756bb1", "#31a354", "#e7298a", "#a6761d", "#444444"]
    colours = ListedColormap(tints).with_extremes(bad="#ffffff")
    for axis, level in zip(axes, levels, strict=True):
        axis.imshow(codes(table[table["severity"] == level]), cmap=colours, vmin=-0.5, vmax=7.5, aspect="auto")
        axis.set_title(f"severity {level:g}")
        axis.set_xticks(range(len(CHECKS)), list(CHECKS), rotation=90, fontsize=7)
        axis.set_yticks(range(len(modes)), modes, fontsize=7)
        axis.set_xticks(np.arange(len(CHECKS)) - 0.5, minor=True)
        axis.set_yticks(np.arange(len(modes)) - 0.5, minor=True)
        axis.grid(which="minor", color="white", linewidth=0.8)
        axis.tick_params(which="both", length=0)
    fig.suptitle(
        "What each fault shows on each check (pale: normal; white: not fitted; colours: the check's 1st to 7th "
        "other outcome: blue, orange, violet, green, pink, brown, grey). Simulated."
    )
    return fig


def main(argv: Sequence[str] | None = None) -> int:
    """Write the sheet as a table and, if asked, as a figure."""
    parser = argparse.ArgumentParser(
        prog="python -m faultodds_sim.sheet", description="What every fault shows on every check."
    )
    parser.add_argument("--out", type=Path, required=True, help="CSV file to write")
    parser.add_argument("--figure", type=Path, help="PNG, SVG or PDF file to draw")
    args = parser.parse_args(argv)
    table = sheet()
    table.to_csv(args.out, index=False, lineterminator="\n")
    if args.figure:
        figure(table).savefig(args.figure, dpi=110)
    sys.stdout.write("".join(f"{path}\n" for path in (args.out, args.figure) if path))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
