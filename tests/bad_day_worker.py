"""Enters one thing after the other until it is killed: `test_bad_days.py` does that, and looks at what is left.

Each line read starts one of them ("go", answered with its process id) or waits for its end ("wait", answered with how it ended).
What is on disk is acknowledged in a file, a line each.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from faultodds.belief import Appliance, open_appliance
from faultodds.files import data_folder, written_whole
from faultodds.job import OpenJob, Store
from faultodds.revisions.decisions import accept


def work(appliance: Appliance, acknowledged: Path) -> None:
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


def main() -> None:
    """Start and await workers; all is loaded once."""
    appliance, acknowledged = open_appliance(sys.argv[1], revision="file"), Path(sys.argv[2])
    import sqlalchemy.dialects.sqlite  # noqa: F401

    pid = 0
    for line in sys.stdin:
        if line.strip() == "wait":
            print(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), flush=True)
            continue
        pid = os.fork()
        if pid == 0:
            work(appliance, acknowledged)
            os._exit(0)
        print(pid, flush=True)


if __name__ == "__main__":
    main()
