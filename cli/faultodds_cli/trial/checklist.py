"""The usual checklist."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from faultodds_cli.trial.visit import TrialJob
from faultodds_sim.names import SYMPTOMS


@dataclass(frozen=True)
class Item:
    """A line of the list: a check and, for each outcome that fails it, the repair it calls for (empty: only noted)."""

    check: str
    fails: Mapping[str, str]


#: Slow drying, in the order the usual lists go: air, blower, coils, thermistor, seals, cycling thermostat, moisture sensor.
SLOW = (
    Item("lint_screen_look", {"coated": "lint_screen_wash", "torn": "lint_screen_new"}),
    Item("hood_flap", {"weak": "", "none": ""}),
    Item("transition_look", {"crushed": "new_transition", "off": "refit_transition"}),
    Item("duct_off_run", {"much_better": "clean_duct"}),
    Item("blower_turn", {"slips": "blower_wheel", "clogged": "blower_wheel"}),
    Item("lint_path_look", {"packed": "clean_lint_path", "seal": "housing_seal"}),
    Item("coil_ohms", {"off": "coil_set"}),
    Item("thermistor_ohms", {"reads_low": "thermistor", "reads_high": "thermistor", "open_or_shorted": "thermistor"}),
    Item("seal_test", {"loose": "drum_seals"}),
    Item("cycling_continuity", {"open": "cycling_thermostat"}),
    Item("cycling_bench_heat", {"opens_low": "cycling_thermostat", "stays_closed": "cycling_thermostat"}),
    Item("sensor_bar_test", {"coated": "sensor_clean", "dead": "sensor_bars"}),
)
#: No heat at all: the burner's circuit first.
NO_HEAT = (
    Item("gas_cock_look", {"shut": "open_cock"}),
    Item("fuse_continuity", {"open": "thermal_fuse"}),
    Item("high_limit_continuity", {"open": "high_limit_kit"}),
    Item("igniter_ohms", {"high": "igniter", "open": "igniter"}),
    Item("flame_sensor_continuity", {"open": "flame_sensor"}),
    Item("coil_ohms", {"off": "coil_set"}),
)
#: Parts changed on a guess before giving up, and what a guess at a cold machine is confined to.
GUESSES = 3
HEAT_PARTS = frozenset(
    {
        "coil_set",
        "igniter",
        "thermal_fuse",
        "flame_sensor",
        "high_limit_kit",
        "cycling_thermostat",
        "thermistor",
        "timer",
        "board",
        "connector",
        "motor",
        "gas_valve",
        "gas_supplier",
        "motor_fuse",
        "electrician",
    }
)
#: A good draught at the hood clears these, a check that passes clears what it calls for when it fails; but coils that pass cold
#: may still drop out hot.
AIR_REPAIRS = frozenset({"clean_duct", "clear_hood", "new_transition", "refit_transition", "shorten_duct"})
NEVER_CLEARED = frozenset({"coil_set"})


def checklist(visit: TrialJob) -> None:
    """The usual list from top to bottom (the burner's circuit first when the complaint is no heat); repairs what fails, runs
    it, leaves when the run is good. A strong draught at the hood skips transition and duct. At the end of the list it
    changes what most often fails of what no check has cleared, up to three guesses, then hands over.
    """
    cold = visit.call.complaint.get("heat") == SYMPTOMS["heat"][-1]
    lines = (*NO_HEAT, *SLOW) if cold else (*SLOW, *NO_HEAT)
    cleared: set[str] = set()
    for item in lines:
        if visit.over or not _applies(visit, item):
            continue
        shown = visit.check(item.check)
        remedy = item.fails.get(shown, "")
        if shown not in item.fails:
            cleared |= (AIR_REPAIRS if item.check == "hood_flap" else set(item.fails.values())) - NEVER_CLEARED
        if remedy and remedy not in visit.repaired and visit.repair([remedy]):
            visit.close()
    for name in _commonest(visit, cleared, cold)[:GUESSES]:
        if not visit.over and visit.repair([name]):
            visit.close()
    visit.hand_over()


def _applies(visit: TrialJob, item: Item) -> bool:
    done = any(s.name == item.check for s in visit.seen)
    skipped = item.check in ("transition_look", "duct_off_run") and visit.last("hood_flap") == "strong"
    return not done and not skipped and visit.call.possible(item.check)


def _commonest(visit: TrialJob, cleared: set[str], cold: bool) -> list[str]:
    """Repairs neither done nor cleared, by the share of calls whose main cause they put right, commonest first."""
    k = visit.appliance.knowledge
    fixes = visit.problem.mode_repair
    total: dict[str, float] = {}
    for mode, record in k.modes():
        name = fixes.get(mode, "")
        if name and name not in visit.repaired and name not in cleared and (not cold or name in HEAT_PARTS):
            total[name] = total.get(name, 0.0) + record.share
    return sorted(total, key=lambda n: (-total[n], n))
