"""A second terminal for the store tests: waits for a line, then appends steps and acknowledges each on stdout.

Arguments: store path, tag, number of steps (0 = until killed). An acknowledgement is a line "SEQ RAW".
"""

from __future__ import annotations

import itertools
import sys

from faultodds.jobs import Finding
from faultodds.store import Store

LONG = 60_000  # some steps are larger than a database page, so that a kill can fall in the middle of one


def main(path: str, tag: str, count: int) -> None:
    print("ready", flush=True)
    sys.stdin.readline()
    with Store.open(path, busy_seconds=20) as store:
        job = next(iter(store.list()), None) or store.new_job("gas_dryer", title="kill test")
        print(f"job {job.id}", flush=True)
        for number in range(count) if count else itertools.count():
            raw = f"{tag}.{number}" + ("x" * LONG if number % 5 == 4 else "")
            seq = store.append(job.id, Finding("coil_ohms", "good", raw=raw)).last_seq
            print(seq, raw[:20], flush=True)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]))
