"""Remake the demo log that ships in data_synthetic/demo: python -m faultodds_sim.demo [FOLDER]."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from .make_log import write_log

DEMO_JOBS, DEMO_SEED = 600, 20220103
NAME = "harbour_lane_jobs.csv"
FOLDER = Path(__file__).resolve().parent.parent / "demo"

README = f"""# SYNTHETIC: demo job log of an invented shop

Nothing here is real. `Harbour Lane Appliance Service`, its customers, technicians (T1 to T4) and machines are
invented; every row was made by the simulator `faultodds_sim` from dryer physics. It is not field data.

* `{NAME}`: {DEMO_JOBS} jobs as a shop might keep them: one row a job, mixed units and hands, blanks
  that mean "not done" or "fine", abbreviations, slips, duplicate tickets, a few impossible readings.
* `{NAME.replace(".csv", "_truth.csv")}`: what was really the matter on each of those rows: the cause that the
  customer's first call goes back to, the modes there on arrival, whether the machine worked when it was left.

Remade byte for byte (seed {DEMO_SEED}) by:

    python -m faultodds_sim.demo

A larger log, to CSV or Parquet:

    python -m faultodds_sim.make_log --jobs 100000 --out log.parquet --seed 1
"""


def make_demo(folder: Path = FOLDER) -> Path:
    """Write the demo log, its truth and their README into `folder`; return the log's path."""
    folder.mkdir(parents=True, exist_ok=True)
    write_log(DEMO_JOBS, folder / NAME, DEMO_SEED)
    (folder / "README.md").write_text(README, encoding="utf-8", newline="\n")
    return folder / NAME


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command and say what was written."""
    parser = argparse.ArgumentParser(prog="python -m faultodds_sim.demo", description="Remake the synthetic demo log.")
    # An installed copy has no demo folder beside it: write into the working folder then.
    default = FOLDER if FOLDER.is_dir() else Path("harbour_lane_demo")
    parser.add_argument("folder", type=Path, nargs="?", default=default, help=f"default {default}")
    sys.stdout.write(f"{make_demo(parser.parse_args(argv).folder)}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
