"""`faultodds trial`: the books are kept alike for everybody, the floor is a floor, and a seed is an answer."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import WeighedFinding
from faultodds_cli.trial.bridge import weights_of
from faultodds_cli.trial.play import FLOOR, OURS, POLICIES, Played, Setting, play_all, played
from faultodds_cli.trial.stats import difference, summaries
from faultodds_cli.trial.visit import STAGES, TrialJob
from faultodds_sim.call import Observation, SimCall, calls
from run_cli import faultodds, write_toy

QUICK = ("checklist", "cheapest", "likeliest", "information", FLOOR)


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer")


@pytest.fixture(scope="module")
def some_calls() -> list[SimCall]:
    """The first calls of a seed that no number was tuned on."""
    return list(calls(14, 11))


def _first(some: list[SimCall], fits: Callable[[SimCall], bool]) -> SimCall:
    for call in some:
        call.reset()
    return next(call for call in some if fits(call))


def test_same_seed_same_answer_whatever_the_number_of_processes() -> None:
    """One process and two give the same object, to the last digit."""
    typed = ("trial", "--jobs", "6", "--seed", "4", "--policies", "checklist,faultodds", "--json")
    one, two = (faultodds(*typed, "--workers", n) for n in ("1", "2"))
    assert one.code == two.code == 0
    assert one.out == two.out
    assert one.err == ""
    answer = one.answer
    assert list(answer) == ["appliance", "jobs", "seed", "town", "qualified_work", "currency", "synthetic", "policies"]
    assert [p["policy"] for p in answer["policies"]] == ["checklist", OURS, FLOOR]
    for policy in answer["policies"]:
        assert list(policy["where_money_goes"]) == list(STAGES)
        assert math.isclose(sum(policy["where_money_goes"].values()), policy["mean_cost"], rel_tol=1e-4)
        gap = policy["above_clairvoyant"]
        assert gap["low"] <= gap["mean"] <= gap["high"]
        assert (policy["more_than_faultodds"] is None) == (policy["policy"] == OURS)


def test_the_clairvoyant_is_the_floor(dryer: Appliance, some_calls: list[SimCall]) -> None:
    """No policy is cheaper on the mean than one who knows what is wrong, and that one fits no wrong part."""
    cost = {name: [played(dryer, call, name).cost for call in some_calls] for name in QUICK}
    floor = np.array(cost[FLOOR])
    for name in QUICK[:-1]:
        assert np.mean(cost[name]) > floor.mean(), name
    assert all(played(dryer, call, FLOOR).wrong_parts == 0 for call in some_calls)


def test_every_policy_ends_every_job(dryer: Appliance, some_calls: list[SimCall]) -> None:
    """A job ends closed or handed over, with the machine closed up and all that was paid in the books."""
    for name in POLICIES:
        visit = played(dryer, some_calls[1], name)
        assert visit.ending in ("closed", "handed over")
        assert visit.state == frozenset()
        assert set(visit.money) == set(STAGES)
        assert visit.cost > 0
        paid_by_the_hour = sum(visit.money[s] for s in ("access", "checks", "repairs", "verification"))
        assert math.isclose(paid_by_the_hour, visit.minutes * 95 / 60, rel_tol=1e-9)


def test_the_right_repair_costs_what_it_should(dryer: Appliance, some_calls: list[SimCall]) -> None:
    """Going straight to the one fault costs its repair, the way there and back, and one run."""
    call = _first(some_calls, lambda c: c.true_modes == {"igniter.open"} or c.true_modes == {"duct.partly_blocked"})
    visit = played(dryer, call, FLOOR)
    assert visit.came_back is False
    assert visit.put_right
    assert math.isclose(visit.cost, visit.price_of(visit.repaired))


def test_a_wrong_part_is_counted_and_a_broken_machine_comes_back(dryer: Appliance, some_calls: list[SimCall]) -> None:
    """Fitting an igniter to a blocked duct and leaving costs the part, the callback, and the right repair."""
    call = _first(some_calls, lambda c: "igniter.open" not in c.true_modes and not c.works())
    visit = TrialJob(dryer, call)
    visit.repair(["igniter"])
    visit.close()
    assert visit.wrong_parts == 1
    assert visit.money["parts"] == dryer.knowledge.repair["igniter"].cost
    assert visit.came_back
    assert not visit.put_right
    assert visit.money["callbacks"] > dryer.knowledge.costs.callback


@pytest.mark.parametrize(("value", "minutes"), [("yes", 3.0), ("no", 10.0)])
def test_a_trial_pays_for_the_way_in_that_the_machine_has(
    dryer: Appliance, some_calls: list[SimCall], value: str, minutes: float
) -> None:
    """Plug, cock and one minute of panel on a machine with a lower one, eight of top and front on another; a live check is
    counted as one."""
    visit = TrialJob(dryer, _first(some_calls, lambda c: c.equipment["lower_panel"] == value))
    visit.check("igniter_ohms")
    assert visit.minutes == pytest.approx(minutes + dryer.knowledge.check["igniter_ohms"].minutes)
    assert visit.live_checks == 0
    visit.check("burner_voltage")
    assert (visit.checks, visit.live_checks) == (2, 1)


def test_unqualified_hands_do_no_qualified_work(dryer: Appliance, some_calls: list[SimCall]) -> None:
    """With qualified work off, no policy does any."""
    k = dryer.knowledge
    qualified = {name for name, work in {**k.check, **k.repair}.items() if work.qualified}
    for name in ("information", FLOOR):
        for call in some_calls[:6]:
            visit = played(dryer, call, name, qualified=False)
            assert not qualified & {s.name for s in visit.seen}
            assert not qualified & set(visit.repaired)


def test_readings_pass_as_typed_and_looks_by_name(dryer: Appliance) -> None:
    """A reading is judged against the file's bands; a look, and what the bands are not for, is taken by its name."""
    k = dryer.knowledge
    igniter = Observation("igniter_ohms", "open", math.inf, "ohm", "OL", 72.0)
    assert max(weights_of(k, igniter, {}).items(), key=lambda kv: kv[1])[0] == "open"
    cool = weights_of(k, Observation("exhaust_cycling", "normal", 127.0, "F", "127 F", 72.0), {})
    assert 0.1 < cool["cuts_off_cool"] < 0.9
    assert weights_of(k, Observation("hood_flap", "weak", None, "", "weak"), {}) == {"weak": 1.0}
    run = Observation("verification_run", "slow", 20.0, "%", "20 %")
    assert weights_of(k, run, {}) == {"slow": 1.0}


def test_what_cannot_be_is_taken_back_and_looked_at_again(dryer: Appliance, some_calls: list[SimCall]) -> None:
    """Findings that contradict each other over and over end with one taken back, not with an error."""
    visit = TrialJob(dryer, some_calls[0])
    for take in range(12):
        visit._take_in(WeighedFinding("fuse_continuity", {"open" if take % 2 else "closed": 1.0}, 0, take))
    assert any("does not fit the rest, taken back" in step for step in visit.steps)
    assert 0 <= visit.belief.sound <= 1


def test_the_interval_holds_the_mean_and_narrows_with_jobs() -> None:
    """The bootstrap interval is about 1.96 standard errors to each side, and the same every time."""
    paired = np.random.default_rng(3).normal(5.0, 20.0, 400)
    found = difference(paired)
    assert found == difference(paired)
    assert found.mean == pytest.approx(paired.mean())
    assert (found.high - found.low) / 2 == pytest.approx(1.96 * 20.0 / 20.0, rel=0.15)


def test_summaries_pair_jobs_with_jobs() -> None:
    """The difference to faultodds is taken job by job, and shares are of all the jobs."""
    setting = Setting("gas_dryer", 2, 0, ("checklist", OURS, FLOOR))

    def job(number: int, policy: str, cost: float, right: bool) -> Played:
        return Played(
            number, policy, {"checks": cost}, 10.0, 1, int(policy == "checklist"), 1, 0, right, not right, False
        )

    rows = [job(1, "checklist", 300, False), job(1, OURS, 200, True), job(1, FLOOR, 100, True)]
    rows += [job(2, "checklist", 500, True), job(2, OURS, 300, True), job(2, FLOOR, 200, True)]
    checklist, ours, floor = summaries(rows, setting)
    assert checklist.cost == 400
    assert checklist.against_ours is not None
    assert checklist.against_ours.mean == 150
    assert (checklist.against_ours.low, checklist.against_ours.high) == (100, 200)
    assert (checklist.first_visit, checklist.callbacks) == (0.5, 0.5)
    assert ours.above_floor.mean == 100
    assert floor.above_floor.high == 0
    assert (checklist.live_checks, ours.live_checks) == (1, 0)


def test_table_money_and_figure(tmp_path: Path) -> None:
    """The table fits 80 columns, says what each policy does, and the figure is a picture."""
    picture = tmp_path / "trial.png"
    ran = faultodds("trial", "--jobs", "2", "--policies", "checklist", "--where-money-goes", "--figure", str(picture))
    assert ran.code == 0, ran.err
    assert max(map(len, ran.out.splitlines())) <= 80
    assert "checklist: the usual list, in order; clairvoyant: whoever knows the fault." in ran.text
    assert "WHERE THE MONEY GOES" in ran.out
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_trace_prints_every_step_of_one_job() -> None:
    """`--trace` tells what was known, what was wrong, and each policy's steps to the end."""
    ran = faultodds("trial", "--trace", "2", "--policies", "checklist,cheapest")
    assert ran.code == 0, ran.err
    assert "Truth: " in ran.out
    assert [p for p in POLICIES if f"\n{p}: " in ran.out] == ["checklist", "cheapest", FLOOR]
    assert ran.out.count("closed") + ran.out.count("handed over") >= 3


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        (("--policies", "checklst"), "--policies: there is no policy called 'checklst'. Did you mean 'checklist'?"),
        (("--jobs", "0"), "'--jobs': Input should be greater than or equal to 1; '0' was given."),
        (("--workers", "0"), "'--workers': Input should be greater than or equal to 1; '0' was given."),
        (("--trace", "0"), "'--trace': Input should be greater than or equal to 1; '0' was given."),
        (("--seed", "-1"), "'--seed': Input should be greater than or equal to 0; '-1' was given."),
        (("--figure", "trial.doc"), "--figure trial.doc: a figure ends in .png, .svg, .pdf."),
        (("--figure", "no/such/trial.png"), "there is no folder no/such. Make it, or name another."),
        (("--appliance", "gas_drier"), "there is no appliance called 'gas_drier'. Did you mean 'gas_dryer'?"),
    ],
)
def test_what_cannot_work_is_refused_first(typed: tuple[str, ...], message: str) -> None:
    """Bad input is refused before a job is played, naming what to type."""
    ran = faultodds("trial", *typed)
    assert ran.code == 2
    assert message in ran.said
    assert ran.out == ""


def test_another_appliance_is_refused_by_name(tmp_path: Path) -> None:
    """A knowledge file without the dryer's words cannot play the simulated dryer."""
    ran = faultodds("trial", "--jobs", "1", "--appliance", str(write_toy(tmp_path / "toy.toml")))
    assert ran.code == 2
    assert "the simulated machine is a vented gas dryer; 'toy' has no symptom called 'dry_time'" in ran.said


def test_the_processes_report_as_they_go() -> None:
    """Progress adds up to all jobs."""
    ticks: list[tuple[int, int]] = []
    results = play_all(Setting("gas_dryer", 5, 0, (FLOOR,)), 2, lambda done, of: ticks.append((done, of)))
    assert ticks[-1] == (5, 5)
    assert [r.job for r in results] == [1, 2, 3, 4, 5]


def test_priors_play_side_by_side_on_the_same_jobs() -> None:
    """--priors plays faultodds once under each, pairs them with the first, whatever the workers, and adds the floor."""
    typed = ("trial", "--jobs", "3", "--priors", "file,true", "--json")
    one, two = (faultodds(*typed, "--workers", n) for n in ("1", "2"))
    assert one.code == two.code == 0, one.err
    assert one.out == two.out
    file, true, floor = one.answer["priors"]
    assert [p["priors"] for p in one.answer["priors"]] == ["file", "true", FLOOR]
    assert file["more_than_file"] is None and file["times_file"] is None
    assert math.isclose(
        true["more_than_file"]["mean"], true["mean_cost"] - file["mean_cost"], rel_tol=1e-3, abs_tol=0.01
    )
    assert math.isclose(true["times_file"]["mean"], true["mean_cost"] / file["mean_cost"], rel_tol=1e-4)
    assert floor["mean_cost"] <= file["mean_cost"]


def test_the_same_priors_under_two_names_cost_the_same(tmp_path: Path) -> None:
    """A copy of the shipped file plays every job exactly as the file itself does."""
    from faultodds.files.knowledge_files import find

    copy = tmp_path / "copy.toml"
    copy.write_bytes(find("gas_dryer").read_bytes())
    ran = faultodds("trial", "--jobs", "2", "--priors", f"file,{copy}")
    assert ran.code == 0, ran.err
    assert "a job costs the same as with 'file' (95 % interval +0.0 to +0.0 %)." in ran.text
    assert max(map(len, ran.out.splitlines())) <= 80


def test_another_town_has_other_calls_and_says_so() -> None:
    """--town plays another invented town: its name stands in the heading, its calls differ, and its true shares are its own."""
    here, there = (faultodds("trial", "--jobs", "2", "--policies", "cheapest", "--town", t) for t in ("0", "2"))
    assert here.code == there.code == 0, there.err
    assert "town" not in here.out.splitlines()[0]
    assert "seed 0, town 2;" in there.out
    assert [c.main_cause for c in calls(40, 3)] != [c.main_cause for c in calls(40, 3, town=2)]
    refused = faultodds("trial", "--jobs", "2", "--town", "-1")
    assert refused.code == 2
    assert "'--town'" in refused.said and "'-1' was given" in refused.said


def test_true_shares_are_those_of_the_simulated_shop() -> None:
    """They cover every main cause, add up to 100, and agree with other calls of the same shop within luck."""
    from faultodds.knowledge.loading import load
    from faultodds.knowledge.overlay import apply
    from faultodds.knowledge.tables import main_cause_states, shares
    from faultodds_cli.trial.priors import true_shares

    knowledge = apply(load("gas_dryer"), dict(true_shares()))
    believed = dict(zip(main_cause_states(knowledge), shares(knowledge), strict=True))
    assert math.isclose(sum(value for _, value in true_shares()), 100.0, abs_tol=0.1)
    met = [call.main_cause for call in calls(512, 77)]
    for cause in ("duct.partly_blocked", "coils.drop_out_hot", "igniter.open"):
        p = believed[cause]
        assert abs(met.count(cause) / 512 - p) < 4 * math.sqrt(p * (1 - p) / 512)


@pytest.mark.parametrize(
    ("priors", "said"),
    [
        ("", "--priors : name one or more, each once: file, accepted, true"),
        ("file,file", "--priors file,file: name one or more, each once"),
        ("file,1999-01-01-a", "1999-01-01-a"),
    ],
)
def test_priors_that_cannot_be_played_are_refused(priors: str, said: str) -> None:
    """None, the same twice, or a revision that is not there: the message says what can be named."""
    ran = faultodds("trial", "--jobs", "2", "--priors", priors)
    assert ran.code == 2
    assert said in ran.said


def test_an_outcome_that_the_file_does_not_know_is_refused(tmp_path: Path) -> None:
    """The simulated machine must not show what the file has no word for."""
    from faultodds.files.knowledge_files import find

    text = find("gas_dryer").read_text(encoding="utf-8")
    renamed = tmp_path / "renamed.toml"
    renamed.write_text(re.sub(r"\bsquealing?\b|\bsqueal\b", "shriek", text), encoding="utf-8")
    ran = faultodds("trial", "--jobs", "2", "--appliance", str(renamed))
    assert ran.code == 2
    assert "the simulated machine's 'noise' can show 'squeal', which 'gas_dryer' does not know" in ran.said


def test_priors_with_other_prices_are_refused(tmp_path: Path) -> None:
    """Costs under different prices cannot be compared, so they are not; nor do policies and priors go together."""
    from faultodds.files.knowledge_files import find

    text = find("gas_dryer").read_text(encoding="utf-8")
    dear = tmp_path / "dear.toml"
    dear.write_text(text.replace("labour_rate = 95", "labour_rate = 195"), encoding="utf-8")
    ran = faultodds("trial", "--jobs", "2", "--priors", f"file,{dear}")
    assert ran.code == 2
    assert "differ in what labour, travel, a callback or handing over costs" in ran.said
    both = faultodds("trial", "--jobs", "2", "--priors", "file", "--policies", "faultodds")
    assert both.code == 2
    assert "--priors has only faultodds play" in both.said
