"""Runs commands, each in a process of its own with all loaded, to be killed: `test_kills.py` does that, and looks at what is left.

Each line is a JSON list [DATA FOLDER, WORKING FOLDER, ANSWERS, ARGUMENTS]. An exit code other than 0 to 3, which is the program's
own fault, is 99.
"""

from __future__ import annotations

import io
import json
import os
import sys

import pandas  # noqa: F401
import pyarrow.parquet  # noqa: F401
import sqlalchemy.dialects.sqlite  # noqa: F401

import faultodds.joblog  # noqa: F401
from faultodds.belief import open_appliance
from faultodds_cli.main import run
from killed import serve


def work(data: str, folder: str, answers: str, argv: list[str]) -> int:
    """One command, silent."""
    os.environ["FAULTODDS_DATA"] = data
    os.chdir(folder)
    sys.stdin, sys.stdout, sys.stderr = io.StringIO(answers), io.StringIO(), io.StringIO()
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    code = run(argv)
    return code if code in (0, 2, 3) else 99


if __name__ == "__main__":
    open_appliance("gas_dryer", revision="file")
    serve(lambda line: work(*json.loads(line)))
