"""Enters one thing after the other until it is killed: `test_bad_days.py` does that, and looks at what is left.

Each line read starts one of them. What is on disk is acknowledged in a file, a line each.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import sqlalchemy.dialects.sqlite  # noqa: F401

from faultodds.belief import Appliance, open_appliance
from faultodds.files import data_folder, written_whole
from faultodds.job import OpenJob, Store
from faultodds.revisions.decisions import accept
from killed import serve


def work(appliance: Appliance, acknowledged: Path) -> int:
    """A job in three entries of several steps, a decision, a file; and again."""
    handle = os.open(acknowledged, os.O_WRONLY | os.O_APPEND)

    def told(*what: object) -> None:
        os.write(handle, (" ".join(map(str, what)) + "\n").encode())

    with Store.open() as store:
        for turn in range(10_000):
            with store.together():
                visit = OpenJob.start(store, appliance, f"turn {turn}", qualified=False)
                visit.finds([("slow", "yes", False)])
                visit.note("told on the telephone")
            told("job", visit.job.id, visit.job.last_seq)
            visit.finds([("fuse_test", "closed", False), ("listen", "weak", False)])
            told("job", visit.job.id, visit.job.last_seq)
            visit.undo()
            told("job", visit.job.id, visit.job.last_seq)
            accept("toy", f"{os.getpid()}-{turn}")
            told("accept", f"{os.getpid()}-{turn}")
            with written_whole(data_folder() / "whole") as beside:
                beside.write_text(f"{turn}\n" * 20_000)
    return 0


if __name__ == "__main__":
    toy, told_in = open_appliance(sys.argv[1], revision="file"), Path(sys.argv[2])
    serve(lambda line: work(toy, told_in))
