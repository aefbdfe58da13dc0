"""One run of the simulated dryer from start to end."""

from __future__ import annotations

from .dryer import Dryer
from .machines import Machines
from .recorder import Recorder
from .runs import Run, Scenario


def simulate(
    m: Machines,
    scenario: Scenario,
    dt: float = 20.0,
    *,
    ledger: bool = False,
    trace: bool = False,
    until_dry: bool = False,
) -> Run:
    """Run N machines through a scenario in steps of `dt` seconds and return its summary.

    With `ledger` the energy and water books are kept, with `trace` the curves (steps, N). With
    `until_dry` the run ends when every load is dry: enough for `dry_min`.
    """
    dryer = Dryer(m, scenario, dt)
    log = Recorder(dryer, books=ledger, curves=trace)
    for step in range(round(scenario.minutes * 60.0 / dt)):
        dryer.step()
        log.note()
        if step % 6 == 5 and not trace and log.settled(until_dry):
            break
    return log.summary()
