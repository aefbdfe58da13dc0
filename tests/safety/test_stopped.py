"""What stops the machine is believed; a doubt of it is asked about; it is handed over where nobody there may mend it."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from calls import STRAIGHT_ON, bench, command, looked_at
from faultodds.advice import advisor, situation
from faultodds.advice.problem import Problem
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding, repair_effect
from faultodds.belief.posterior import Belief, infer
from faultodds.job import sayings
from faultodds.knowledge.schema import Knowledge, repair_modes
from faultodds.safety import duties
from faultodds.safety.danger import hear
from faultodds.safety.duties import at_once, barred

LINES = Path(__file__).parents[1] / "job" / "lines.toml"
# Outcomes that also stand for less: no label, lint on the wall, CO of something else. They stop it to be on the safe side.
ALSO_LESS = {("plate_look", "other"), ("over_back_look", "off"), ("co_room", "some")}


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer", revision="file")


def stopping(k: Knowledge) -> list[tuple[str, str]]:
    """Every check's outcome with which the machine is not run, or not with heat."""
    return [(n, o) for n, check in k.check.items() for o in check.stops]


def after(appliance: Appliance, name: str, outcome: str, facts: dict[str, str] | None = None) -> Belief:
    """The belief from one finding."""
    facts = facts or {}
    return infer(appliance.fitted(facts).suspects, Evidence(facts, (WeighedFinding(name, {outcome: 1.0}),)))


def test_a_measurement_that_stops_the_machine_is_believed(dryer: Appliance) -> None:
    """With nothing else known, a fault that makes it is likelier than that it was misread: else the machine would be shut off and
    something else looked for."""
    left = {(n, o): situation.cause_left(after(dryer, n, o), n, o) for n, o in stopping(dryer.knowledge)}
    assert {found for found, chance in left.items() if chance <= 0.5} == ALSO_LESS


def mends(k: Knowledge, belief: Belief, name: str, outcome: str) -> set[str]:
    """The repairs that put right a fault that by itself makes an outcome three times as likely as on a sound machine."""
    s = belief.suspects
    row = s.likelihood[s.rows[name]][s.observables[name].index(outcome)]
    alone = {
        m: row[h] for h in range(len(row)) if s.member[h].sum() == 1 for m, c in s.mode_index.items() if s.member[h, c]
    }
    made = {m for m, chance in alone.items() if chance >= 3.0 * row[s.sound]}
    return {n for n, repair in k.repair.items() if made & set(repair_modes(k, repair))}


@pytest.mark.parametrize("control", ["timer", "board"])
def test_what_nobody_here_may_mend_is_handed_over(
    dryer: Appliance, control: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody qualified: handed over exactly where only qualified work would lift the bar; nothing else is looked for first."""
    k, over = dryer.fitted({"control": control}).knowledge, {}
    for name, outcome in stopping(k):
        belief = after(dryer, name, outcome, {"control": control})
        ours = {n for n in mends(k, belief, name, outcome) if not k.repair[n].qualified}
        ours = {n for n in ours if k.repair[n].needs.get("control", control) == control}
        move = advisor.best_move(dryer.fitted({"control": control}), belief, situation.Situation(qualified=False))
        over[name] = move.kind == "refer"
        assert over[name] or ours, (name, outcome)
        if ours:
            assert not Problem(dryer, belief, situation.Situation(qualified=False)).beyond_us
    assert over["plate_look"] and not over["harness_look"] and over["burner_watch"] is (control == "timer")
    monkeypatch.setattr(Problem, "beyond_us", ())
    planted = after(dryer, "plate_look", "other")
    assert advisor.best_move(dryer, planted, situation.Situation(qualified=False)).kind != "refer"


def bars(k: Knowledge, name: str, outcome: str) -> bool:
    """Whether the machine is not run, or not with nobody beside it, after this."""
    seen = k.observables.get(name)
    return seen is not None and outcome in seen.bars


@pytest.mark.parametrize("share", [0.25, 0.4, 0.5, 0.6, 1.0])
def test_a_doubtful_stop_counts_as_one(dryer: Appliance, share: float) -> None:
    """Of every symptom and check: from a quarter on the machine is barred as by a plain finding, and it is not closed as gone."""
    k = dryer.knowledge
    for name, seen in k.observables.items():
        good = next(o for o in seen.outcomes if o not in seen.stops)
        for outcome in seen.stops:
            found = Evidence({}, (WeighedFinding(name, {outcome: share, good: 1.0 - share}),))
            known = situation.may_be(k, found, infer(dryer.suspects, found))
            assert (name, outcome) in barred(k, known) and at_once(k, known), (name, outcome)
            if outcome in seen.stops_run:
                assert (name, outcome) in situation.not_looked_at_again(k, found)


def test_it_is_looked_at_again_before_anybody_leaves(dryer: Appliance) -> None:
    """After a run that passed the next move is to look, not to stop: by the check, or by asking what everybody can see. Too hot an
    exhaust may be for want of air: that is looked at first, unless it was."""
    ran = WeighedFinding("verification_run", {"dry_in_time": 1.0}, stage=1)
    good_air = WeighedFinding("hood_air_speed", {"good": 1.0})
    for name, outcome, kind, repair, known in (
        ("flame_colour", "yellow", "ask", "burner_clean", ()),
        ("co_room", "some", "check", "burner_clean", ()),
        ("exhaust_cycling", "runs_hot", "check", "cycling_thermostat", (good_air,)),
    ):
        mended = (repair_effect(dryer.knowledge, repair),)
        belief = infer(dryer.suspects, Evidence({}, (*known, WeighedFinding(name, {outcome: 1.0}), ran), mended))
        move = advisor.best_move(dryer, belief, situation.Situation(asking=True))
        assert (move.kind, move.name) == (kind, name)
        skipped = advisor.best_move(dryer, belief, situation.Situation(asking=True, skipped=frozenset({name})))
        assert skipped.kind not in ("stop", "ask"), name
        assert "nobody has looked" in advisor.advise(dryer, belief, situation.Situation(asking=True)).why


DOUBTS = ("maybe {}", "{} i think", "not sure if {}", "could be {}", "kinda {}", "{} but not sure", "i reckon {}")


def test_a_doubt_of_what_stops_the_machine_is_asked_about(dryer: Appliance) -> None:
    """Never dropped: a stop sign, a question, or what makes it sure; noted only where the doubt is of another thought."""
    k, tried = dryer.knowledge, 0
    for line in tomllib.loads(LINES.read_text("utf-8"))["line"]:
        seen = [(n, o) for n, _, o in (x.partition("=") for x in line["means"])]
        plainly = {s.kind for s in sayings.understand(k, line["text"])}
        if len(seen) != 1 or not bars(k, *seen[0]) or not plainly & {"finding", "ask"}:
            continue
        for doubt in DOUBTS:
            text = doubt.format(line["text"])
            said = sayings.understand(k, text)
            asked = any(s.kind == "ask" for s in said) or sayings.doubted_stop(k, text)
            noted = {(s.name, s.value) for s in said if s.kind == "finding"}
            assert all(bars(k, n, o) for n, o in noted), text
            assert hear(text) or asked or noted or not said, text
            tried += 1
    assert tried >= 5 * len(DOUBTS)


def test_nothing_is_watched_without_what_it_takes(dryer: Appliance) -> None:
    """For every outcome that lets CO out or makes a flame yellow: with no CO meter the machine is not run, and it is said why."""
    k, tried = dryer.knowledge, 0
    every = {n for n, w in {**k.check, **k.repair}.items() if w.running or w.run_first}
    for name, seen in k.observables.items():
        for outcome in {*seen.stops_away, *seen.lets_out}:
            told = duties.watch_text(k, {name: {outcome: 0.3}}, 5)
            held = duties.not_run_now(k, {name: {outcome: 0.3}}, {"co_meter"})
            if "CO meter on" in told:
                tried += 1
                assert set(held) == every, (name, outcome)
                assert all("no co meter" in why for why in held.values()), (name, outcome)
            else:
                assert not any("co meter" in why for why in held.values()), (name, outcome)
            assert set(duties.not_run_now(k, {name: {outcome: 0.3}})) < every
    assert tried >= 3
    assert k.lacking(k.needing(["co_meter"])) >= {"co_meter"}
    assert "co_meter" not in k.lacking(["co_room"])


def test_a_doubt_of_what_is_off_is_asked_about(dryer: Appliance) -> None:
    """ "duct might be off": a machine that may let its exhaust out is not passed over."""
    k = dryer.knowledge
    for line in ("duct might be off", "maybe the duct is off", "duct off i think", "not sure if the duct is off"):
        assert sayings.doubted_stop(k, line) is not None or any(s.kind == "ask" for s in sayings.understand(k, line)), (
            line
        )
    assert sayings.doubted_stop(k, "front might be off") is None


def test_a_doubt_is_asked_about_until_it_is_settled(tmp_path: Path) -> None:
    """Another line in between drops nothing; where nobody can look, the doubt itself is noted, and counts."""
    typed = (*STRAIGHT_ON, "dry_time=longer", "flame kinda orange", "hood_flap=strong")
    bench(tmp_path / "seen", *typed, "flame blue", "leave")
    with looked_at(tmp_path / "seen") as visit:
        assert [p.finding.outcome for p in visit.job.findings if p.finding.name == "flame_colour"] == ["blue"]
    bench(tmp_path / "not", *typed, "dont know", "skip flame_colour", "leave")
    with looked_at(tmp_path / "not") as visit:
        assert [p.finding.likelihood for p in visit.job.findings if p.finding.name == "flame_colour"] == [
            {"blue": 0.5, "yellow": 0.5}
        ]
        assert visit.out_of_service()


def test_how_the_machine_is_stays_asked_until_it_is_told(tmp_path: Path) -> None:
    """A word of the program is no answer, and comes after one; leave leaves the call there."""
    out = bench(tmp_path / "odds", *STRAIGHT_ON, "heat=none", "igniter_ohms=open", "odds", "yes").out
    assert "Kept for when that is plain: odds" in " ".join(out.split())
    with looked_at(tmp_path / "odds") as visit:
        assert visit.state == {"unplugged", "gas_shut", "front_open"}
    out = bench(
        tmp_path / "left", *STRAIGHT_ON, "heat=none", "igniter_ohms=open", "odds", "odds", "leave", "gas on"
    ).out
    assert "has to be plain before anything goes on" in " ".join(out.split())
    with looked_at(tmp_path / "left") as visit:
        assert visit.state == frozenset()


def test_what_is_asked_at_a_safety_question_stops_nothing(tmp_path: Path) -> None:
    """how, ?, what and help are told what to answer; a yes stops, and so does what is unclear."""
    out = bench(tmp_path / "asks", "how", "?", "what", "help me", *STRAIGHT_ON, "leave").out
    assert out.count("Type no if there is none of it") == 4 and "STOP" not in out
    for unclear in ("how would i know, it stinks", "perhaps"):
        assert "STOP" in bench(tmp_path / unclear[:3], unclear, unclear).out


@pytest.mark.parametrize(
    ("name", "outcome"), [("exhaust_cycling", "runs_hot"), ("duct_look", "shared"), ("cabinet_hot", "yes")]
)
def test_what_can_hurt_is_on_the_customers_page(tmp_path: Path, name: str, outcome: str) -> None:
    """What the machine is run attended with, or not at all, is told to whoever lives with it."""
    command("job", "new", "--found", f"{name}={outcome}", "--data", str(tmp_path))
    page = command("report", "1", "--data", str(tmp_path))
    told = " ".join(page.out.split())
    assert page.code == 0 and "seen on the way that can hurt somebody" in told.casefold()


def test_a_door_that_is_only_advised_mends_nothing_here(dryer: Appliance) -> None:
    """What others have still to make is entered once it is made; the machine is not proved on it before."""
    for name, repair in dryer.knowledge.repair.items():
        said = f"{repair.title} {' '.join(repair.steps)}".casefold()
        if (
            said.startswith(("advise ", "refer ", "have "))
            and "use" not in repair.fixes
            and "washer" not in repair.fixes
        ):
            assert repair.by_others, name


def test_the_guided_call_asks_and_takes_the_next_line_as_the_answer(tmp_path: Path) -> None:
    """Though the screen asks something else as well."""
    typed = (*STRAIGHT_ON, "dries slow", "flame kinda orange", "yellow", "undo flame_colour", "leave")
    said = " ".join(bench(tmp_path, *typed).out.split())
    assert "Flame colour: 1 blue, 2 yellow" in said and "Noted: flame_colour = yellow" in said
    assert "AT ONCE: A yellow or lazy flame" in said and "kept the machine from running" in said


def test_without_a_co_meter_nothing_runs_with_its_duct_off(dryer: Appliance) -> None:
    """Work that has to be watched with it goes with it."""
    k = dryer.knowledge
    gone = set(k.needing(["co_meter"]))
    watched = {i for i, item in k.access.items() if "CO meter" in item.watch}
    assert watched == {"duct_off"} and {n for n, c in k.check.items() if c.running and watched & set(c.access)} <= gone


def test_steps_of_qualified_work_are_shown_to_nobody_else(tmp_path: Path) -> None:
    """Where none is offered, `how` refuses it too."""
    command("job", "new", "--data", str(tmp_path))
    said = " ".join(
        bench(
            tmp_path, "no", "done", "how manifold_pressure", "leave", options=["1", "--no-qualified-work"]
        ).out.split()
    )
    assert "is for qualified people" in said and "manometer at the manifold" not in said
