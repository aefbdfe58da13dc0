"""A repair after which the customer calls again and gets another one did not hold, and is told so in the clean log."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultodds.joblog import draft, import_log
from faultodds.joblog.clean import FAILED, REPAIRS, read_clean
from faultodds.knowledge import Knowledge

HEAD = "ticket,date,customer,tech,complaint,work done,run after,callback of"
QUIET = "\n".join(
    [f"N{n},2024-0{1 + n % 9}-1{n % 9},Z{n},TA,no heat,new igniter,," for n in range(30)]
    + [f"M{n},2024-11-0{n},,TA,no heat,new igniter,,N{n}" for n in range(1, 4)]
)


@pytest.mark.parametrize(
    ("rows", "failed"),
    [
        # Another part on the return visit: the first one was the wrong one.
        (["A1,2024-02-01,K1,TA,no heat,new coils,,", "A2,2024-02-09,K1,TB,no heat,new igniter,,"], ["coil_set", None]),
        # The same part again: it did not last; which part it needed was no mistake.
        (["A1,2024-02-01,K1,TA,no heat,new igniter,,", "A2,2024-02-09,K1,TB,no heat,new igniter,,"], [None, None]),
        # Nothing done on the return visit, or a part that nobody can read: nothing is known.
        (["A1,2024-02-01,K1,TA,no heat,new igniter,,", "A2,2024-02-09,K1,TB,no heat,,,"], [None, None]),
        # It ran well when it was left: what came later is another fault.
        (["A1,2024-02-01,K1,TA,no heat,new coils,dried ok,", "A2,2024-02-09,K1,TB,no heat,new igniter,,"], [None, None]),
        # Two parts, the first of which failed at once, and then another on the return.
        (
            ["A1,2024-02-01,K1,TA,no heat,\"new igniter, still no good, new coils\",,",
             "A2,2024-02-09,K1,TB,no heat,new flame sensor,,"],
            ["igniter;coil_set", None],
        ),
        # One of two parts again.
        (
            ["A1,2024-02-01,K1,TA,no heat,new igniter; new coils,,", "A2,2024-02-09,K1,TB,no heat,new coils,,"],
            [None, None],
        ),
        # Half a year later, and another customer: no return.
        (["A1,2024-02-01,K1,TA,no heat,new coils,,", "A2,2024-08-09,K1,TB,no heat,new igniter,,"], [None, None]),
        (["A1,2024-02-01,K1,TA,no heat,new coils,,", "A2,2024-02-09,K2,TB,no heat,new igniter,,"], [None, None]),
        # The return is told by the job's number.
        (["A1,2024-02-01,,TA,no heat,new coils,,", "A2,2024-03-09,,TB,no heat,new igniter,,A1"], ["coil_set", None]),
    ],
)  # fmt: skip
def test_a_part_that_gave_way_to_another_did_not_hold(
    rows: list[str], failed: list[str | None], tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """The first two visits of a log; of the others some came back for the same repair."""
    path = tmp_path / "shop.csv"
    path.write_text("\n".join([HEAD, *rows, QUIET]) + "\n", encoding="utf-8")
    import_log(draft(path, dryer, data=data), dryer, data)
    frame = read_clean(Path(data) / "logs" / "shop.parquet").astype(object)
    told = frame[FAILED].tolist() if FAILED in frame else [None] * len(frame)
    assert [each if isinstance(each, str) else None for each in told] == [*failed, *[None] * 33]
    assert [str(done).startswith(first or "") for done, first in zip(frame[REPAIRS], failed, strict=False)] == [
        True
    ] * 2
