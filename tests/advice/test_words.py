"""Why a move is next, in words: two sentences, the trade's words only, and figures that are the computed ones."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from faultodds.advice.advisor import advise
from faultodds.advice.problem import Problem
from faultodds.advice.ranking import Ranking
from faultodds.advice.reasons import Parts, furthest, pointers, settled, within_reach
from faultodds.advice.situation import Situation
from faultodds.advice.words import NUMBERS, money, percent, the_part, why
from faultodds.belief.appliance import Appliance, compiled, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding, repair_effect
from faultodds.belief.posterior import Belief, infer
from faultodds.knowledge.loading import from_mapping
from job_states import random_job_states
from toys import raw_toy

JARGON = re.compile(
    r"\b(bits?|posterior|priors?|entropy|expected|expectation|likelihoods?|probabilit\w+|evidence|suspects?|modes?|mechanisms?"
    r"|nodes?|belief|EVPI|policy|rollout|information|observables?|outcomes?|utility|variance|deci\w*)\b|_",
    re.IGNORECASE,
)
OPEN = frozenset({"unplugged", "gas_shut", "front_open"})


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    return open_appliance("gas_dryer")


def sentences(text: str) -> list[str]:
    """Split after a full stop, question mark or exclamation mark that is followed by a space or the end."""
    return [s for s in re.split(r"(?<=[.?!])(?:\s+|$)", text) if s]


def belief_of(
    appliance: Appliance, found: str = "", facts: str = "", repaired: tuple[str, ...] = (), after: str = ""
) -> Belief:
    """A belief from "name=outcome" pairs, those of `after` seen after the repairs."""
    k = appliance.knowledge
    seen = [WeighedFinding(n, {o: 1.0}) for n, _, o in (x.partition("=") for x in found.split())]
    seen += [WeighedFinding(n, {o: 1.0}, len(repaired)) for n, _, o in (x.partition("=") for x in after.split())]
    repairs = tuple(repair_effect(k, r) for r in repaired)
    told = dict(x.split("=") for x in facts.split())
    return infer(appliance.suspects, Evidence(told, tuple(seen), repairs))


def ranked(appliance: Appliance, belief: Belief, situation: Situation | None = None) -> Ranking:
    return Ranking(Problem(appliance, belief, situation or Situation()))


def percents(text: str) -> list[str]:
    return re.findall(r"(?:over |under )?\d+ %", text)


# ---- in every case -------------------------------------------------------------------------------------------------------


def test_two_sentences_without_jargon_for_every_move(dryer: Appliance) -> None:
    """Over random job states every check, and each kind of advice, is explained in two sentences in the trade's words."""
    kinds = set()
    for state in random_job_states(dryer, 15, seed=5):
        ranking = ranked(dryer, infer(dryer.suspects, state.evidence), state.situation)
        told = [("check", c.name) for c in ranking.checks]
        told += [("refer", ""), *(("repair", r.name) for r in ranking.repairs[:1])]
        told += [("stop", "")] if ranking.problem.verified else []
        for kind, name in told:
            text = why(ranking, kind, name, 0.93)
            assert len(sentences(text)) == 2, text
            assert not JARGON.search(text), text
            assert text[0].isupper() or text[0].isdigit(), text
            assert "nan" not in text and "inf" not in text.split(), text
            kinds.add(kind)
    assert kinds == {"check", "repair", "stop", "refer"}


def test_every_kind_of_advice_has_its_own_reason(dryer: Appliance) -> None:
    """What `advise` gives is the reason for the move it gives."""
    coils = "heat=cools_off burner_watch=lights_then_fails"
    cases = {
        "check": belief_of(dryer, "dry_time=longer"),
        "repair": belief_of(dryer, coils, "control=timer"),
        "stop": belief_of(dryer, coils, "control=timer", ("coil_set",), "verification_run=dry_in_time"),
    }
    begins = {"check": "minutes", "repair": "It is as good as certain to be", "stop": "The machine has passed its run"}
    for kind, belief in cases.items():
        advice = advise(dryer, belief)
        assert advice.kind == kind
        assert begins[kind] in sentences(advice.why)[0]


# ---- a check: what it tells apart ----------------------------------------------------------------------------------------


def test_a_check_that_splits_names_what_each_side_points_at(dryer: Appliance) -> None:
    """Weak draught points at the exhaust duct, with the chance of it; each named part does become likelier."""
    ranking = ranked(dryer, belief_of(dryer, "dry_time=longer"))
    first = sentences(why(ranking, "check", "hood_flap", 1.0))[0]
    assert first.startswith("Three minutes with nothing to open: ")
    belief = ranking.problem.belief
    odds = belief.outcome_odds("hood_flap")
    assert f"weak or none ({percent(odds['weak'] + odds['none'])}) points at the exhaust duct" in first
    assert f"strong ({percent(odds['strong'])}) leans towards the gas valve coils" in first


@pytest.mark.parametrize(
    "found",
    [
        "",
        "dry_time=longer",
        "dry_time=longer cabinet_hot=yes code_airflow=yes",
        "heat=none",
        "heat=cools_off hood_flap=strong",
        "auto_stops_early=yes",
    ],
)
def test_what_is_pointed_at_goes_up(dryer: Appliance, found: str) -> None:
    """For every check and symptom: the outcomes of a pointer raise its parts, the first of them more than any other part, by the
    belief worked out anew from the finding."""
    belief = belief_of(dryer, found, "control=timer auto_dry=yes")
    parts = Parts(belief)
    for check in dryer.knowledge.observables:
        if any(s.name == check for s in belief.evidence.seen):
            continue
        for pointer in pointers(parts, check):
            odds = belief.outcome_odds(check)
            assert pointer.chance == pytest.approx(sum(odds[o] for o in pointer.outcomes))
            told = WeighedFinding(check, dict.fromkeys(pointer.outcomes, 1.0))
            after = Parts(infer(dryer.suspects, belief.evidence.plus(told)))
            rise = after.now - parts.now
            assert pointer.parts[0] == parts.names[int(np.where(after.now >= 0.05, rise, -1.0).argmax())], (
                check,
                pointer,
            )
            for i, part in enumerate(pointer.parts):
                index = parts.names.index(part)
                assert after.now[index] > parts.now[index] + 0.015
                assert i or after.now[index] == pytest.approx(pointer.odds)


def test_a_check_of_one_part_says_what_becomes_of_it(dryer: Appliance) -> None:
    """The flame sensor's odds now, after a bad reading and after a good one, are those of the belief after each."""
    belief = belief_of(dryer, "heat=none glow=no_glow fuse_continuity=closed igniter_ohms=normal", "control=board")
    ranking = ranked(dryer, belief, Situation(OPEN))
    text = sentences(why(ranking, "check", "flame_sensor_continuity", 1.0))[0]
    assert text.startswith("Two minutes now that the way to it is open: it settles the radiant flame sensor, now at ")
    figures = [
        _odds(dryer, belief, "flame_sensor"),
        *(
            _odds(
                dryer,
                infer(dryer.suspects, belief.evidence.plus(WeighedFinding("flame_sensor_continuity", {o: 1.0}))),
                "flame_sensor",
            )
            for o in ("open", "closed")
        ),
    ]
    assert percents(text) == [percent(p) for p in figures]


def _odds(appliance: Appliance, belief: Belief, component: str) -> float:
    s = appliance.suspects
    columns = [i for i, m in enumerate(s.modes) if m.partition(".")[0] == component]
    return float(belief.now @ s.member[:, columns].any(axis=1))


def test_a_check_that_tells_little_says_how_little() -> None:
    """Where no part rises enough to be pointed at, the largest move of the odds is told, from and to."""
    raw = raw_toy()
    raw["check"]["sniff"] = {"title": "sniff", "outcomes": {"fresh": "f", "stale": "s"}, "minutes": 1.0,
                             "leak": 0.30, "links": {"belt.broken": 0.02}}  # fmt: skip
    appliance = compiled(from_mapping(raw), 0.0)
    belief = belief_of(appliance, "slow=yes")
    parts = Parts(belief)
    assert pointers(parts, "sniff") == []
    move = furthest(parts, "sniff")
    after = infer(appliance.suspects, belief.evidence.plus(WeighedFinding("sniff", {move.outcome: 1.0})))
    assert move.part == "belt"
    assert move.now == pytest.approx(_odds(appliance, belief, "belt"))
    assert move.after == pytest.approx(_odds(appliance, after, "belt"))
    text = why(ranked(appliance, belief), "check", "sniff", 1.0)
    assert f"moves the belt from {percent(move.now)} to {percent(move.after)}" in text


def test_a_part_is_not_settled_while_a_good_reading_leaves_it_standing(dryer: Appliance) -> None:
    """Coils that read good cold are not cleared, so that check does not claim to settle them."""
    parts = Parts(belief_of(dryer, "heat=cools_off", "control=timer"))
    assert settled(parts, "coil_ohms", pointers(parts, "coil_ohms")) is None
    assert settled(parts, "igniter_ohms", pointers(parts, "igniter_ohms")) is not None


# ---- a check: its minutes and what lies behind the same opening ----------------------------------------------------------


def test_minutes_are_those_charged_and_the_opening_is_told_apart(dryer: Appliance) -> None:
    """Every check's first words give the minutes of its price; getting there and putting back are the rest of them."""
    for state in (frozenset(), OPEN):
        ranking = ranked(dryer, belief_of(dryer, "heat=none", "control=timer"), Situation(state))
        for check in ranking.checks:
            if check.name == dryer.knowledge.costs.verify:
                continue
            first = why(ranking, "check", check.name, 1.0).partition(":")[0]
            spelled = re.match(r"(\w+) minutes?\b", first)
            assert spelled is not None, first
            word = spelled.group(1)
            assert (NUMBERS.index(word) if word in NUMBERS else int(word)) == round(check.price.minutes)
            opens = any(m.opens for m in check.price.way.moves)
            assert opens == ("getting to it" in first)
            if opens:
                rest = re.search(r"(\d+) of them", first)
                assert rest is not None
                assert int(rest.group(1)) == round(check.price.minutes - dryer.knowledge.check[check.name].minutes)


def test_ways_to_a_check_are_told_as_they_are(dryer: Appliance) -> None:
    """Nothing to open; nothing more to open; open already; to be closed up first."""
    belief = belief_of(dryer, "heat=none", "control=timer")
    shut, opened = ranked(dryer, belief), ranked(dryer, belief, Situation(OPEN))
    assert "with nothing to open" in why(shut, "check", "lint_screen_look", 1.0)
    assert "with nothing more to open" in why(opened, "check", "lint_screen_look", 1.0)
    assert "now that the way to it is open" in why(opened, "check", "igniter_ohms", 1.0)
    assert "on top of closing up, which has to be done anyway" in why(opened, "check", "hood_flap", 1.0)


def test_what_else_one_opening_brings_is_counted(dryer: Appliance) -> None:
    """ "Ten more checks then need no more opening": as many as have no way to go from there and had one before."""
    ranking = ranked(dryer, belief_of(dryer, "heat=none", "control=timer"))
    problem = ranking.problem
    way = problem.price_check("igniter_ohms").way
    count = 0
    for name, check in problem.checks.items():
        before = any(m.opens for m in problem.machine.to_work(frozenset(), check).moves)
        count += before and not problem.machine.to_work(way.after, check).moves and name != "igniter_ohms"
    assert within_reach(problem, way) == count > 5
    said = NUMBERS[count] if count < len(NUMBERS) else str(count)
    assert f"{said} more checks then need no more opening" in why(ranking, "check", "igniter_ohms", 1.0)
    assert "need no more opening" not in why(ranking, "check", "hood_flap", 1.0)


# ---- why now -------------------------------------------------------------------------------------------------------------


def test_the_next_best_and_repairing_at_once_are_priced_as_ranked(dryer: Appliance) -> None:
    """The second sentence's money is the difference of the prices in the ranking, to the whole dollar."""
    for found in ("dry_time=longer", "heat=cools_off", "heat=none"):
        ranking = ranked(dryer, belief_of(dryer, found, "control=timer"))
        best, second = ranking.checks[:2]
        text = sentences(why(ranking, "check", best.name, 1.0))[1]
        assert f"{second.price.minutes:.0f} min) comes out {_gap(second.expected_cost - best.expected_cost)}" in text
        repairs = re.search(r"starting repairs at once about \$(\d+)( dearer)?\.$", text)
        assert repairs is not None
        assert int(repairs.group(1)) == round(ranking.repairs[0].expected_cost - best.expected_cost)


def _gap(amount: float) -> str:
    return f"about ${amount:.0f} dearer" if amount >= 0.5 else "about the same"


def test_the_share_that_lies_there_is_that_of_the_parts_named(dryer: Appliance) -> None:
    """ "41 % that the fault lies there": the chance that any of the parts named in the first sentence is bad."""
    ranking = ranked(dryer, belief_of(dryer, "heat=cools_off", "control=timer"))
    belief = ranking.problem.belief
    named = {x for p in pointers(Parts(belief), "burner_watch") for x in p.parts}
    s = dryer.suspects
    any_of = s.member[:, [i for i, m in enumerate(s.modes) if m.partition(".")[0] in named]].any(axis=1)
    text = why(ranking, "check", "burner_watch", 1.0)
    assert f"{percent(float(belief.now @ any_of))} that the fault lies there" in text
    assert all(the_part(dryer.knowledge, x) in text for x in named)


# ---- runs, repairs, leaving, handing over --------------------------------------------------------------------------------


def test_the_run_after_a_repair_says_how_likely_it_passes(dryer: Appliance) -> None:
    """The chance of a pass is that of the run's first outcome; the callback is priced from the file."""
    belief = belief_of(dryer, "heat=cools_off burner_watch=lights_then_fails", "control=timer", ("coil_set",))
    advice = advise(dryer, belief)
    assert (advice.kind, advice.name) == ("check", "verification_run")
    assert percents(advice.why) == [percent(belief.outcome_odds("verification_run")["dry_in_time"])]
    assert "25 minutes of running" in advice.why
    assert f"callback at {money(dryer.knowledge.costs.callback)}" in advice.why


def test_a_run_before_any_repair_says_that_nothing_may_be_wrong(dryer: Appliance) -> None:
    """With the chance that the machine is sound."""
    ranking = ranked(dryer, belief_of(dryer, "dry_time=normal heat=normal"))
    text = why(ranking, "check", "verification_run", 1.0)
    assert text.startswith(f"There may be nothing wrong with the machine ({percent(ranking.problem.belief.sound)})")


def test_a_repair_says_what_it_mends_and_why_no_more_checks(dryer: Appliance) -> None:
    """Its part's odds, the chance that it puts the machine right, its price, and the chance that checks would change it."""
    belief = belief_of(dryer, "heat=cools_off burner_watch=lights_then_fails", "control=timer")
    telling = [c.name for c in ranked(dryer, belief).checks if c.tells]
    ranking = ranked(dryer, belief, Situation(skipped=frozenset(telling[:-3])))
    repair, check = ranking.repairs[0], next(c for c in ranking.checks if c.tells)
    assert check != ranking.checks[0], "the cheapest tells nothing, and is not held against the repair"
    text = why(ranking, "repair", repair.name, 0.97)
    assert percents(text) == [percent(_odds(dryer, belief, "coils")), percent(repair.chance), "3 %"]
    assert f"for {money(repair.price.cost)}, the run after it included" in text
    assert f"comes out {_gap(check.expected_cost - repair.expected_cost)}" in text
    assert "point elsewhere hardly ever" in why(ranking, "repair", repair.name, 1.0)


def test_an_unlikely_repair_does_not_claim_to_be_likely() -> None:
    """Its part's odds are told as they are, and with no check left that is said."""
    raw = raw_toy()
    appliance = compiled(from_mapping(raw), 0.0)
    ranking = ranked(appliance, belief_of(appliance, "slow=yes"), Situation(skipped=frozenset(raw["check"])))
    assert not ranking.checks
    text = why(ranking, "repair", ranking.repairs[0].name, 1.0)
    assert text.startswith("The odds of the ")
    assert text.endswith("Nothing is left to check.")


def test_leaving_says_what_may_still_be_wrong_and_what_it_costs(dryer: Appliance) -> None:
    """The chance that something is wrong, the price of leaving, and the most that looking further could save."""
    belief = belief_of(
        dryer,
        "heat=cools_off burner_watch=lights_then_fails",
        "control=timer",
        ("coil_set",),
        "verification_run=dry_in_time",
    )
    ranking, advice = ranked(dryer, belief), advise(dryer, belief)
    assert advice.kind == "stop"
    assert percents(advice.why) == [percent(1 - belief.sound)]
    amounts = [int(x) for x in re.findall(r"\$(\d+)", advice.why)]
    assert amounts == [round(ranking.stop_cost), round(advice.evpi)]


def test_handing_over_says_what_leads_and_what_going_on_would_cost() -> None:
    """What leads, the best repair's chance, and both prices; the leading cause that no file lists is called so."""
    raw = raw_toy()
    raw["costs"]["refer"] = 20
    appliance = compiled(from_mapping(raw), 0.0)
    ranking = ranked(appliance, belief_of(appliance, "slow=yes"))
    text = why(ranking, "refer", "", 1.0)
    part, odds = Parts(ranking.problem.belief).leading()
    best = max(r.chance for r in ranking.repairs)
    assert percents(text) == [percent(odds), percent(best)]
    assert text.startswith(f"What leads is the {part}")
    assert "Against the $20 of handing it over, going on comes out about $" in text
    assert the_part(appliance.knowledge, "unlisted") == "something that is not on this list"


def test_other_currencies_are_kept(dryer: Appliance) -> None:
    """Every amount is in the file's currency."""
    costs: Any = replace(dryer.knowledge.costs, currency="EUR")
    abroad = replace(dryer, knowledge=replace(dryer.knowledge, costs=costs))
    text = why(ranked(abroad, belief_of(dryer, "dry_time=longer")), "check", "hood_flap", 1.0)
    assert "€" in text and "$" not in text


def test_parts_are_odds_of_components(dryer: Appliance) -> None:
    """A part's odds count a call once however many of its faults it has, and are never under any one of them."""
    belief = belief_of(dryer, "dry_time=longer")
    parts = Parts(belief)
    for name, odds in zip(parts.names, parts.now, strict=True):
        assert odds == pytest.approx(_odds(dryer, belief, name))
    assert np.all(parts.now <= 1.0 + 1e-12)


def test_odds_of_several_faults_say_so(dryer: Appliance) -> None:
    """A part's odds that no line of the table of faults shows are said to be those of all its faults."""
    for state in random_job_states(dryer, 10, seed=11):
        ranking = ranked(dryer, infer(dryer.suspects, state.evidence), state.situation)
        parts = Parts(ranking.problem.belief)
        text = why(ranking, "refer", "", 1.0)
        part, odds = parts.leading()
        modes = [i for i, m in enumerate(dryer.suspects.modes) if m.partition(".")[0] == part]
        alone = percent(odds) in {percent(float(ranking.problem.belief.mode_odds[i])) for i in modes}
        assert ("all its faults together" in text) != alone


def test_dearer_is_said_of_every_gap(dryer: Appliance) -> None:
    """Each amount that is a difference is called dearer."""
    for state in random_job_states(dryer, 10, seed=12):
        ranking = ranked(dryer, infer(dryer.suspects, state.evidence), state.situation)
        for check in ranking.checks[:5]:
            text = why(ranking, "check", check.name, 1.0)
            assert len(re.findall(r"(?:about|under) \$\d+", text)) == text.count(" dearer")


def _asked_why(dryer: Appliance, name: str, outcome: str) -> str:
    """What is said of the advice after one finding, with somebody there to ask."""
    belief = infer(dryer.suspects, Evidence({}, (WeighedFinding(name, {outcome: 1.0}),)))
    return advise(dryer, belief, Situation(asking=True)).why


def test_no_answer_is_said_to_move_odds_that_stay(dryer: Appliance) -> None:
    """What is said to go from one chance to another does so in what is printed; over single findings until it is said of one."""
    assert "the odds stay" in _asked_why(dryer, "igniter_ohms", "open")
    moved = None
    for name in ("igniter_ohms", *dryer.knowledge.observables):  # the one of which it is said now is tried first
        told = _asked_why(dryer, name, list(dryer.knowledge.observables[name].outcomes)[1])
        moved = re.search(r"from ((?:under |over )?\d+) % to ((?:under |over )?\d+) %", told)
        if moved:
            break
    assert moved and moved[1] != moved[2]
