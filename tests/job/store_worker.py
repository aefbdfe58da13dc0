"""Second terminals for the store tests: a process with the imports done that forks a terminal on request.

A line "run PATH TAG COUNT ACKS" starts a terminal that appends COUNT steps (0: until killed) to the first
job of the store at PATH, and writes a line "SEQ RAW" to the file ACKS once a step is acknowledged; answered
with its process id. A line "wait PID" is answered with how it ended, as `os.waitstatus_to_exitcode` gives
it.
"""

from __future__ import annotations

import itertools
import os
import sys
import time

from faultodds.job.steps import Finding
from faultodds.job.store import Store

PAUSE = 0.005  # seconds between the steps of a counted run, so that two terminals take turns
LONG = 60_000  # some steps are larger than a database page, so that a kill can fall in the middle of one


def append_steps(path: str, tag: str, count: int, acks: int) -> None:
    with Store.open(path, busy_seconds=20 if count else 600) as store:
        job = next(iter(store.list()), None) or store.new_job("gas_dryer", title="second terminal")
        for number in range(count) if count else itertools.count():
            raw = f"{tag}.{number}" + (" " + "x" * LONG if number % 5 == 4 else "")
            seq = store.append(job.id, Finding("coil_ohms", "good", raw=raw)).last_seq
            os.write(acks, f"{seq} {tag}.{number}\n".encode())
            time.sleep(PAUSE if count else 0)


def run(path: str, tag: str, count: int, acks: str) -> int:
    pid = os.fork()
    if pid:
        return pid
    try:
        append_steps(path, tag, count, os.open(acks, os.O_WRONLY | os.O_CREAT | os.O_APPEND))
        os._exit(0)
    except BaseException as error:
        print(repr(error), file=sys.stderr, flush=True)
        os._exit(1)


def main() -> None:
    for line in iter(sys.stdin.readline, ""):
        match line.rstrip("\n").split("\t"):
            case ["run", path, tag, count, acks]:
                print(run(path, tag, int(count), acks), flush=True)
            case ["wait", pid]:
                print(os.waitstatus_to_exitcode(os.waitpid(int(pid), 0)[1]), flush=True)


if __name__ == "__main__":
    main()
