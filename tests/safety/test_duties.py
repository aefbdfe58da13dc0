"""What a call itself makes unsafe or leaves owing, in every answer: running with the duct off, qualified work, causes not found."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calls import SAFE, bench, command, looked_at
from faultodds.advice.advisor import advise
from faultodds.advice.doing import action
from faultodds.advice.plan import make_plan
from faultodds.advice.situation import Situation, may_be, run_forbidden
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding, repair_effect
from faultodds.belief.posterior import Belief, infer
from faultodds.errors import ClashError, FaultoddsError
from faultodds.safety.duties import not_run_now
from job_states import random_job_states
from random_evidence import random_evidence
from run_cli import faultodds

DUCT_OFF = {"duct_off_run"}
CHEAP = {"hood_flap", "over_back_look", "drum_warm", "hand_turn"}
AWAY = {"hood_flap", "hood_air_speed", "meter_clock"}
# Bits from which one look tells of another.
TOLD_AT_LEAST = 0.02


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer", revision="file")


@pytest.mark.parametrize(
    ("known", "held"),
    [
        ({}, set()),
        ({"burning_smell": {"yes"}}, "running"),
        ({"burning_smell": {"no", "yes"}}, DUCT_OFF | AWAY),
        ({"burning_smell": {"no"}, "place": {"open_room"}, "flame_colour": {"blue"}}, set()),
        ({"flame_colour": {"yellow"}}, "heated"),
        ({"flame_colour": {"yellow", "blue"}}, DUCT_OFF | AWAY),
        ({"cabinet_hot": {"yes"}}, AWAY),
        ({"cabinet_hot": {"yes", "no"}}, AWAY),
        ({"place": {"closet"}}, set()),
        ({"transition_look": {"sound"}}, set()),
        ({"transition_look": {"sound", "off"}}, AWAY),
    ],
)
def test_what_does_not_run_the_machine_then(dryer: Appliance, known: dict[str, set[str]], held: set[str] | str) -> None:
    """With a burning smell nothing runs it, with a yellow flame nothing with heat; where they are in doubt, nothing with the duct
    off. While the exhaust may go into the room, or the cabinet is very hot, nothing runs it from outdoors."""
    checks = dryer.knowledge.check.items()
    heated = {n for n, c in checks if (c.running and not c.unheated) or c.run_first}
    meant = {"heated": heated | DUCT_OFF | AWAY, "running": {n for n, c in checks if c.running or c.run_first}}
    assert set(not_run_now(dryer.knowledge, shares(known))) == (meant[held] if isinstance(held, str) else held)


def shares(known: dict[str, set[str]]) -> dict[str, dict[str, float]]:
    """Values that may be so, each as likely as the others."""
    return {name: dict.fromkeys(values, 1 / len(values)) for name, values in known.items()}


def test_nothing_runs_with_the_exhaust_in_the_room(dryer: Appliance) -> None:
    """With the transition found off nothing runs the machine, whoever stands beside it."""
    held = not_run_now(dryer.knowledge, {"transition_look": {"off": 0.7, "sound": 0.3}})
    assert set(held) == {n for n, c in dryer.knowledge.check.items() if c.running or c.run_first}


@pytest.mark.parametrize(
    "typed",
    [["--found", "burning_smell=yes"], ["--found", "flame_colour=yellow 30 / blue 70"]],
)
def test_such_work_is_in_no_answer(typed: list[str]) -> None:
    """`next --json` lists every check that can be done: none that runs the machine with the duct off."""
    before = {c["check"] for c in faultodds("next", "--json", "--found", "dry_time=longer").answer["checks"]}
    after = {c["check"] for c in faultodds("next", "--json", "--found", "dry_time=longer", *typed).answer["checks"]}
    assert before >= DUCT_OFF and not after & DUCT_OFF


def test_how_refuses_such_work_until_it_is_put_right(tmp_path: Path) -> None:
    """`how` says why not, also once the flame is seen blue with nothing mended; when the burner is cleaned it tells the steps."""
    command("job", "new", "--found", "flame_colour=yellow", "--data", str(tmp_path))
    with looked_at(tmp_path) as visit:
        with pytest.raises(FaultoddsError, match=r"not run like that .* with flame_colour=yellow\. Put that right"):
            visit.how("duct_off_run")
        visit.find("flame_colour", "blue")
        with pytest.raises(FaultoddsError, match="not run like that"):
            visit.how("duct_off_run")
        visit.fix("igniter")
        with pytest.raises(FaultoddsError, match="not run like that"):
            visit.how("duct_off_run")
        visit.fix("burner_clean")
        visit.find("flame_colour", "blue")
        assert visit.how("duct_off_run").steps


def test_exhaust_in_the_room_is_mended_before_any_run(dryer: Appliance) -> None:
    """A transition seen off is put back before the machine is run to prove another repair, and nothing else is offered that runs
    it, no other repair either; a run that is advised while it may be off says first who watches what; once mended, it does
    not."""
    k, seen = dryer.knowledge, (WeighedFinding("transition_look", {"off": 1.0}),)
    off = Evidence({}, seen, (repair_effect(dryer.knowledge, "igniter"),))
    told = advise(dryer, infer(dryer.suspects, off))
    assert told.name == "refit_transition" and "transition_look=off" in told.at_once[0]
    here = [{r.name, *r.together} for r in told.repairs if not k.repair[r.name].by_others or r.together]
    assert here and all({"refit_transition", "new_transition"} & names for names in here)
    assert not any(k.check[c.name].running for c in told.checks)
    perhaps = Evidence({}, (WeighedFinding("transition_look", {"off": 0.3, "sound": 0.7}),), off.repairs)
    assert watched(dryer, perhaps) == ("verification_run", True)
    assert watched(dryer, Evidence({}, seen, (repair_effect(dryer.knowledge, "refit_transition"),))) == (
        "verification_run",
        False,
    )


def watched(dryer: Appliance, evidence: Evidence) -> tuple[str, bool]:
    """What is advised, and whether the watch is said in its steps."""
    belief = infer(dryer.suspects, evidence)
    told = advise(dryer, belief)
    known = may_be(dryer.knowledge, evidence, belief)
    return told.name, any(line.part == "watch" for line in action(dryer, told.name, known=known).lines)


def test_a_duct_that_is_likely_off_is_looked_at_or_watched(dryer: Appliance) -> None:
    """Damp in the room and slow drying: one in ten and more that the duct is off, though nobody looked. Nothing runs it from
    outdoors then; what runs it beside the machine says the watch; once it is seen whole, neither."""
    damp = (WeighedFinding("room_humid", {"yes": 1.0}), WeighedFinding("dry_time", {"longer": 1.0}))
    evidence = Evidence({}, damp)
    known = may_be(dryer.knowledge, evidence, infer(dryer.suspects, evidence))
    assert not AWAY & {c.name for c in advise(dryer, infer(dryer.suspects, evidence)).checks}
    for name, check in dryer.knowledge.check.items():
        if check.running:
            assert any(line.part == "watch" for line in action(dryer, name, known=known).lines), name
    looked = evidence.plus(WeighedFinding("transition_look", {"sound": 1.0}))
    known = may_be(dryer.knowledge, looked, infer(dryer.suspects, looked))
    assert not any(line.part == "watch" for line in action(dryer, "burner_watch", known=known).lines)
    assert AWAY & {c.name for c in advise(dryer, infer(dryer.suspects, looked)).checks}


def test_a_run_stays_stopped_until_its_cause_is_mended(dryer: Appliance) -> None:
    """A flame that does not go out: a new igniter does not let the burner be lit again, and its proof is not told; a new valve
    does."""
    k, timer = dryer.knowledge, {"control": "timer"}  # no relay that could keep it lit
    seen = (WeighedFinding("burner_watch", {"burns_on": 1.0}), WeighedFinding("igniter_ohms", {"high": 1.0}))
    found = Evidence(timer, seen)
    belief = infer(dryer.suspects, found)
    known = may_be(k, found, belief)
    assert run_forbidden(k, found, belief, known, ["igniter"]) == "burner_watch=burns_on"
    assert run_forbidden(k, found, belief, known, ["gas_valve"]) == ""
    wrong = infer(dryer.suspects, Evidence(timer, seen, (repair_effect(dryer.knowledge, "igniter"),)))
    assert advise(dryer, wrong).at_once and "verification_run" not in {c.name for c in advise(dryer, wrong).checks}
    right = infer(dryer.suspects, Evidence(timer, seen, (repair_effect(dryer.knowledge, "gas_valve"),)))
    assert advise(dryer, right).at_once == () and advise(dryer, right).name == "verification_run"


@pytest.mark.parametrize(("found", "moved"), [("transition_look=off", True), ("meter_clock=high", False)])
def test_a_machine_that_must_not_run_is_left_shut_off(tmp_path: Path, found: str, moved: bool) -> None:
    """Handed over with its exhaust in the room or with too much gas, it is told to be closed up, unplugged and shut off (one that
    was moved is that already); with danger told of, nothing is told but to leave."""
    command("job", "new", "--found", found, "--data", str(tmp_path))
    ended = command("job", "close", "1", "referred", "--data", str(tmp_path))
    assert "Leave it shut off (power and gas):" in ended.out
    assert moved or ("pull the plug" in ended.out and "gas cock until the handle lies across" in ended.out)
    assert "Plug the dryer in again" not in ended.out
    command("job", "new", "--found", found, "--data", str(tmp_path))
    assert command("job", "note", "2", "smells of gas", "--data", str(tmp_path)).code == 3
    assert "plug" not in command("job", "close", "2", "referred", "--data", str(tmp_path)).out.lower()


def test_a_cock_that_we_shut_is_not_looked_at(dryer: Appliance) -> None:
    """With the gas cock shut by the technician its handle tells nothing: the look is not offered; with it open it is."""
    belief = infer(dryer.suspects, Evidence({}, (WeighedFinding("glow_look", {"glow_no_flame": 1.0}),)))
    shut = Situation(frozenset({"unplugged", "gas_shut"}))
    assert "gas_cock_look" in {c.name for c in advise(dryer, belief).checks}
    assert "gas_cock_look" not in {c.name for c in advise(dryer, belief, shut).checks}


def test_what_the_file_says_of_a_fact_is_said(tmp_path: Path) -> None:
    """A foil vent behind a gas dryer is told to be changed, whatever the fault; a rigid one is not spoken of."""
    for value, said in (("foil", True), ("rigid", False)):
        out = bench(tmp_path, *SAFE, "done", "done", f"fact vent_material={value}", "leave").out
        assert ("Foil or plastic behind a gas dryer: change it" in " ".join(out.split())) == said


def test_nothing_is_barred_for_what_was_not_seen(dryer: Appliance) -> None:
    """Over random calls with repairs: what stops a run or the heat stands only where the latest look at it showed it; a hood that
    was weak before the duct was cleaned is not one without air. What lets a hazard out is judged without being looked at."""
    k, rng, weak = dryer.knowledge, np.random.default_rng(8), 0
    for _ in range(400):
        found = random_evidence(dryer, rng)
        try:
            belief = infer(dryer.suspects, found)
        except ClashError:
            continue
        latest = {s.name: s.weights for s in sorted(found.seen, key=lambda s: (s.stage, s.take))}
        for name, values in may_be(k, found, belief).items():
            if name in latest and name in k.check and found.repairs:
                stops = set(k.check[name].stops) - set(k.check[name].lets_out)
                assert {o for o in stops & set(values) if latest[name].get(o, 0.0) <= 0} == set(), (name, found)
                weak += bool(stops)
    assert weak > 30


def heated(dryer: Appliance) -> set[str]:
    """The checks that run the machine with heat."""
    return {n for n, c in dryer.knowledge.check.items() if (c.running or c.run_first) and not c.unheated}


@pytest.mark.parametrize(("name", "outcome"), [("hood_flap", "none"), ("hood_air_speed", "very_low")])
def test_no_heat_while_no_air_comes_out(dryer: Appliance, name: str, outcome: str) -> None:
    """No air at the hood: nothing is offered that runs it with heat, no repair either that leaves the air as it is; what runs it
    without heat is. Once the duct is cleaned it may be proved; seen merely weak, nothing is barred."""
    k, seen = dryer.knowledge, (WeighedFinding(name, {outcome: 1.0}), WeighedFinding("duct_look", {"lint": 1.0}))
    found = Evidence({}, seen)
    told = advise(dryer, infer(dryer.suspects, found))
    assert told.at_once and not heated(dryer) & {c.name for c in told.checks}
    assert {"static_pressure", "duct_off_run"} <= {c.name for c in told.checks}
    belief = infer(dryer.suspects, found)
    known = may_be(k, found, belief)
    assert run_forbidden(k, found, belief, known, ["igniter"]) == f"{name}={outcome}"
    assert run_forbidden(k, found, belief, known, ["clean_duct"]) == ""
    cleaned = infer(dryer.suspects, Evidence({}, seen, (repair_effect(dryer.knowledge, "clean_duct"),)))
    assert advise(dryer, cleaned).name == "verification_run"
    wrong = infer(dryer.suspects, Evidence({}, seen, (repair_effect(dryer.knowledge, "igniter"),)))
    assert advise(dryer, wrong).at_once and advise(dryer, wrong).name != "verification_run"
    weak = infer(dryer.suspects, Evidence({}, (WeighedFinding("hood_flap", {"weak": 1.0}),)))
    assert heated(dryer) & {c.name for c in advise(dryer, weak).checks}


def test_a_new_fuse_is_not_run_on_its_old_cause(dryer: Appliance) -> None:
    """A fuse found open and lint in the duct: the fuse alone is not offered; changed all the same, it is told to be left shut off
    and no run with heat is offered, until the duct is cleaned."""
    k, seen = (
        dryer.knowledge,
        (WeighedFinding("fuse_continuity", {"open": 1.0}), WeighedFinding("duct_look", {"lint": 1.0})),
    )
    found = Evidence({}, seen)
    belief = infer(dryer.suspects, found)
    assert run_forbidden(k, found, belief, may_be(k, found, belief), ["thermal_fuse"]).startswith("thermal_fuse.open")
    assert run_forbidden(k, found, belief, may_be(k, found, belief), ["thermal_fuse", "clean_duct"]) == ""
    assert ("thermal_fuse",) not in [(r.name, *r.together) for r in advise(dryer, belief).repairs]
    changed = (repair_effect(dryer.knowledge, "thermal_fuse"),)
    told = advise(dryer, infer(dryer.suspects, Evidence({}, seen, changed)))
    assert "Leave it shut off" in told.at_once[0] and not heated(dryer) & {c.name for c in told.checks}
    both = advise(
        dryer, infer(dryer.suspects, Evidence({}, seen, (*changed, repair_effect(dryer.knowledge, "clean_duct"))))
    )
    assert both.at_once == () and both.name == "verification_run"


def _tell_of_each_other(appliance: Appliance, belief: Belief, one: str, other: str) -> float:
    """Bits that what two checks show tells about each other, by writing out every suspect and pair of outcomes."""
    s, bits = belief.suspects, 0.0
    rows = [s.likelihood[s.rows[n]].astype(float) for n in (one, other)]
    both = np.einsum("ah,bh,h->ab", *(r / r.sum(axis=0) for r in rows), belief.now)
    for a, b in np.ndindex(*both.shape):
        if both[a, b] > 0:
            bits += both[a, b] * np.log2(both[a, b] / (both[a].sum() * both[:, b].sum()))
    return float(bits)


def test_qualified_work_is_never_first_while_something_else_tells(dryer: Appliance) -> None:
    """Over random job states, with some checks that are often the cheapest marked for qualified people: one is advised only when
    no other check tells anything of what it would show, and offered to nobody unqualified; the rule decides something in many of
    them, and work that nothing else can tell of does not wait for a round of idle looks."""
    k, waited, went = dryer.knowledge, 0, 0
    marked = replace(k, check={n: replace(c, qualified=c.qualified or n in CHEAP) for n, c in k.check.items()})
    for each in random_job_states(dryer, 40, 5):
        belief = infer(dryer.suspects, each.evidence)
        advice = advise(replace(dryer, knowledge=marked), belief, each.situation)
        free = [c.name for c in advice.checks if not marked.check[c.name].qualified]
        cheapest = min((c for c in advice.checks if c.tells), key=lambda c: c.expected_cost, default=None)
        if cheapest is not None and marked.check[cheapest.name].qualified:
            waited += any(_tell_of_each_other(dryer, belief, cheapest.name, n) >= TOLD_AT_LEAST for n in free)
        if advice.kind == "check" and marked.check[advice.name].qualified and not advice.at_once:
            assert all(_tell_of_each_other(dryer, belief, advice.name, n) < TOLD_AT_LEAST for n in free)
        later = [c.tells and not marked.check[c.name].qualified for c in advice.checks]
        went += any(marked.check[c.name].qualified and any(later[i:]) for i, c in enumerate(advice.checks))
        if not each.situation.qualified:
            assert not [c for c in advice.checks if marked.check[c.name].qualified]
            assert not [r for r in advice.repairs if any(k.repair[n].qualified for n in (r.name, *r.together))]
    assert waited >= 3
    assert went >= 1


HOT_AFTER = (
    (),
    ("lint_screen_look=clean",),
    ("hood_air_speed=good", "lint_screen_look=clean"),
    ("hood_air_speed=good",),
)


@pytest.mark.parametrize("looks", HOT_AFTER)
def test_qualified_work_waits_after_a_run_as_well(dryer: Appliance, looks: tuple[str, ...]) -> None:
    """The run passed and the cabinet is still very hot: what is advised, once it is for qualified people, is advised no more while
    something else tells of the same."""
    hot, run = WeighedFinding("cabinet_hot", {"yes": 1.0}), WeighedFinding("verification_run", {"dry_in_time": 1.0}, 1)
    after = [WeighedFinding(n, {o: 1.0}, 1) for n, _, o in (look.partition("=") for look in looks)]
    seen = (hot, run, WeighedFinding("cabinet_hot", {"yes": 1.0}, 1), *after)
    belief = infer(dryer.suspects, Evidence({}, seen, (repair_effect(dryer.knowledge, "clean_duct"),)))
    k, first = dryer.knowledge, advise(dryer, belief, Situation(asking=True))
    assert first.kind == "check" and not k.check[first.name].qualified
    marked = replace(k, check={n: replace(c, qualified=c.qualified or n == first.name) for n, c in k.check.items()})
    then = advise(replace(dryer, knowledge=marked), belief, Situation(asking=True))
    assert then.name != first.name


def test_stop_here_is_not_said_while_a_cause_is_owed(dryer: Appliance) -> None:
    """A fuse changed and a good run: the advice is to measure the air, and says what is owed; after that it is to stop. Where it
    cannot be measured there is no advice to stop, and what is owed is still said."""
    seen = [WeighedFinding("heat", {"none": 1.0}), WeighedFinding("fuse_continuity", {"open": 1.0})]
    seen.append(WeighedFinding("verification_run", {"dry_in_time": 1.0}, 1))
    evidence = Evidence({}, tuple(seen), (repair_effect(dryer.knowledge, "thermal_fuse"),))
    first = advise(dryer, infer(dryer.suspects, evidence))
    cheapest = min(first.checks, key=lambda check: check.expected_cost)
    assert first.kind == "check" and cheapest.name in {"hood_air_speed", "static_pressure"}
    assert any("Still owed: what brought it on (thermal fuse or cut-off: open)" in note for note in first.notes)
    measured = evidence.plus(WeighedFinding("hood_air_speed", {"good": 1.0}, 1))
    after = advise(dryer, infer(dryer.suspects, measured))
    assert after.kind == "stop" and not any("Still owed" in note for note in after.notes)
    skipped = Situation(skipped=frozenset({"hood_air_speed", "static_pressure"}))
    without = advise(dryer, infer(dryer.suspects, evidence), skipped)
    assert without.kind != "stop" and any("Still owed" in note for note in without.notes)


def test_a_job_is_not_closed_on_a_blown_fuse(tmp_path: Path) -> None:
    """`close gone` says what is owed and saves nothing. What cannot be measured is not paid by skipping it, nor by a good run:
    such a call ends as handed over."""
    data = ["--data", str(tmp_path)]
    command("job", "new", "--found", "fuse_continuity=open", *data)
    command("job", "fix", "1", "thermal_fuse", *data)
    refused = command("job", "close", "1", "gone", *data)
    assert refused.code == 2
    assert "or enter hood_air_speed (good) or static_pressure (normal). Then close gone." in " ".join(
        refused.err.split()
    )
    command("job", "skip", "1", "hood_air_speed", *data)
    assert command("job", "close", "1", "gone", *data).code == 2
    command("job", "skip", "1", "static_pressure", *data)
    left = command("job", "close", "1", "gone", "--note", "no run made", *data)
    assert left.code == 2 and "close referred" in " ".join(left.err.split())
    command("job", "verify", "1", "dry_in_time", *data)
    assert command("job", "close", "1", "gone", *data).code == 2
    assert command("job", "close", "1", "referred", *data).code == 0


QUALIFIED = "qualified people only"
SHOP = "[technician.T1]\nqualified = false\n"


def offered(data: Path, *more: str) -> set[str]:
    """The checks that `job next` offers."""
    answer = json.loads(command("job", "next", "1", "--json", "--data", str(data), *more).out)
    return {c["check"] for c in answer["checks"]}


@pytest.mark.parametrize("way", ["bench", "job", "shop"])
def test_what_is_switched_off_stays_off(tmp_path: Path, way: str) -> None:
    """Through leaving, resuming, `job next`, `job show`, undo: a job begun without qualified work, or by a technician whom the
    shop file does not call qualified, is offered none until somebody says so."""
    shop = tmp_path / "shop.toml"
    shop.write_text(SHOP, encoding="utf-8")
    if way == "job":
        command("job", "new", "--found", "heat=none", "--no-qualified-work", "--data", str(tmp_path))
    else:
        who = ["--shop", str(shop), "--technician", "T1"] if way == "shop" else ["--no-qualified-work"]
        bench(tmp_path, *SAFE, "done", "heat=none", "done", "leave", options=who)
    assert offered(tmp_path) and "burner_voltage" not in offered(tmp_path)
    again = bench(tmp_path, "no", "checks", "undo", "undo", "undo", "checks", "leave", options=["1"])
    assert "burner_watch" in again.out and QUALIFIED not in again.out
    assert "Work for qualified people is not offered on this job." in again.out
    assert "burner_voltage" not in offered(tmp_path)
    bench(tmp_path, "no", "leave", options=["1", "--qualified-work"])
    assert "burner_voltage" in offered(tmp_path)
    assert "burner_voltage" not in offered(tmp_path, "--no-qualified-work")


def test_plan_and_page_are_for_whoever_asks(dryer: Appliance) -> None:
    """Nowhere in a plan for somebody not qualified is qualified work."""
    k = dryer.knowledge
    belief = infer(dryer.suspects, Evidence({}, (WeighedFinding("heat", {"none": 1.0}),)))
    plan = make_plan(dryer, belief, Situation(qualified=False), depth=3, nodes=20)
    done = [n for step in plan.first.steps() for n in (step.name, *step.together) if n]
    assert len(done) > 5
    assert not [n for n in done if (k.check.get(n) or k.repair[n]).qualified]
