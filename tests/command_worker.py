"""Runs commands, each in a process of its own with all loaded, to be killed: `test_kills.py` does that, and looks at what is left.

Each line is a JSON list [DATA FOLDER, WORKING FOLDER, ANSWERS, ARGUMENTS, DEATH]: it kills itself before its DEATH-th act on a
file (one opened to write, a new name, a deletion), if it has so many; at none with 0. An exit code other than 0 to 3, which is the
program's own fault, is 99.
"""

from __future__ import annotations

import io
import json
import os
import signal
import sys
from typing import Any

import matplotlib.pyplot  # noqa: F401
import pandas  # noqa: F401
import pyarrow.parquet  # noqa: F401
import sqlalchemy.dialects.sqlite  # noqa: F401

import faultodds.audit
import faultodds.joblog
import faultodds.tuning  # noqa: F401
from faultodds.belief import open_appliance
from faultodds_cli.main import run
from killed import serve

ACTS = ("os.rename", "os.remove", "os.rmdir", "os.mkdir", "os.link", "shutil.rmtree", "sqlite3.connect")


def die_at(death: int) -> None:
    """Killed by itself before the act of that number."""
    left = [death]

    def seen(event: str, about: tuple[Any, ...]) -> None:
        to_write = event == "open" and about[0] != os.devnull and about[2] & (os.O_WRONLY | os.O_RDWR)
        if not (to_write or event in ACTS):
            return  # os.kill is told of here as well
        left[0] -= 1
        if left[0] == 0:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(seen)


def work(data: str, folder: str, answers: str, argv: list[str], death: int) -> int:
    """One command, silent."""
    os.environ["FAULTODDS_DATA"] = data
    os.chdir(folder)
    sys.stdin, sys.stdout, sys.stderr = io.StringIO(answers), io.StringIO(), io.StringIO()
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    if death:
        die_at(death)
    code = run(argv)
    return code if code in (0, 2, 3) else 99


if __name__ == "__main__":
    open_appliance("gas_dryer", revision="file")
    serve(lambda line: work(*json.loads(line)))
