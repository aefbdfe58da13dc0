"""Fault cards: chances held against pgmpy and against Bayes' rule, the chain against the file, names as people type them."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from faultodds.belief import Appliance, compiled, infer, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding
from faultodds.cards import Calls, card, cautions, chain, faults_named, two_named, words
from faultodds.errors import FaultoddsError, UnknownName
from faultodds.knowledge import build_network
from faultodds.knowledge.loading import from_mapping
from toys import random_toy, raw_toy


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped dryer with the file's own numbers."""
    return open_appliance("gas_dryer", revision="file")


def test_chances_with_and_without_a_fault_are_pgmpys() -> None:
    """On a small network kept whole, every outcome's chance with the fault there, and with its part not bad so, is exact."""
    from pgmpy.inference import VariableElimination

    k = random_toy(3, components=3)
    calls = Calls(compiled(k, 0.0))
    engine, s = VariableElimination(build_network(k)), calls.suspects
    for mode in dict(k.modes()):
        part, _, state = mode.partition(".")
        for name in s.observables:
            joint = engine.query([name, part], show_progress=False)
            names = {n: joint.state_names[n] for n in (name, part)}
            values = joint.values if joint.variables[0] == name else joint.values.T
            has = np.array([each == state for each in names[part]])
            order = [names[name].index(o) for o in s.observables[name]]
            for rows, column in ((calls.rows(mode), has), (calls.rows_without(mode), ~has)):
                exact = values[:, column].sum(axis=1)[order]
                assert rows[s.rows[name]] == pytest.approx(exact / exact.sum(), abs=1e-9)


@settings(max_examples=15)
@given(data=st.data())
def test_a_card_agrees_with_the_belief_by_bayes_rule(dryer: Appliance, data: st.DataObject) -> None:
    """What a card says of a finding (chance with the fault, and without) moves the odds as the belief moves them."""
    mode = data.draw(st.sampled_from([m for m, _ in dryer.knowledge.modes()]))
    it = card(dryer, mode)
    for shown in (*it.said, *it.shows):
        before = Calls(dryer).chance[mode]
        after = infer(dryer.suspects, Evidence({}, (WeighedFinding(shown.name, {shown.outcome: 1.0}),)))
        now = float(after.mode_odds[dryer.suspects.mode_index[mode]])
        moved = np.log(now / (1 - now)) - np.log(before / (1 - before))
        assert moved == pytest.approx(np.log(shown.with_it / shown.without), abs=1e-6)
        assert shown.outcome != next(iter(dryer.knowledge.observables[shown.name].outcomes))


def test_every_fault_has_a_card_that_says_what_shows_it_and_what_puts_it_right(dryer: Appliance) -> None:
    """On the shipped file: a repair with its cautions, a check or something said, and shares that add up to the file's."""
    k = dryer.knowledge
    cards = [card(dryer, mode) for mode, _ in k.modes()]
    wordy = [n for n, r in k.repair.items() if not r.access]  # nothing is opened
    for it in cards:
        assert it.repairs and (it.shows or it.said), it.mode
        assert it.cautions or it.repairs[0] in wordy, it.mode
    listed = 1 - (k.other_causes.unlisted + k.other_causes.nothing_wrong) / sum(
        [*(m.share for _, m in k.modes()), k.other_causes.unlisted, k.other_causes.nothing_wrong]
    )
    assert sum(it.share for it in cards) == pytest.approx(listed)
    for it in cards:
        assert all(other != it.mode and k.title_of(other) for other, _ in it.alike)


def test_the_chain_goes_from_cause_to_effect_as_the_file_has_it(dryer: Appliance) -> None:
    """Every link is brought by the fault or by a link above it, and every state is one that the file says is brought."""
    k = dryer.knowledge
    for mode, _ in k.modes():
        above = {mode: ""}
        for link in chain(k, dryer.suspects, mode):
            causes = {c.partition(".")[0] for c in k.mechanism[link.mechanism].causes}
            assert link.because, (mode, link)
            for by in link.because:
                assert (by or mode) in above and (by in causes or mode in k.mechanism[link.mechanism].causes)
            above[link.mechanism] = link.state
    named = [link.mechanism for link in chain(k, dryer.suspects, "thermal_fuse.open")]
    assert named[0] != "drying" and named[-1] == "drying" and "ignition" in named


@settings(max_examples=20)
@given(a=st.integers(0, 200), b=st.integers(0, 200))
def test_what_parts_two_faults_parts_them_either_way(dryer: Appliance, a: int, b: int) -> None:
    """The same checks, as far apart, whichever is asked for first; work for qualified people is not first while another parts
    them well."""
    modes = [m for m, _ in dryer.knowledge.modes()]
    one, other = modes[a % len(modes)], modes[b % len(modes)]
    if one == other:
        return
    calls = Calls(dryer)
    there, back = calls.partings(one, other), calls.partings(other, one)
    assert {(p.check, round(p.apart, 9)) for p in there} == {(p.check, round(p.apart, 9)) for p in back}
    assert all(0 <= p.if_b <= p.if_a + 1e-12 and p.if_a <= 1 for p in there)
    plain = [p for p in there if not dryer.knowledge.check[p.check].qualified]
    if max(p.apart for p in plain) >= 0.5:
        assert there[0] in plain


def test_work_for_qualified_people_is_named_first_where_nothing_else_parts_the_two() -> None:
    """The rule can turn: with the plain checks blunted the qualified one leads."""
    raw = raw_toy()
    first = Calls(compiled(from_mapping(raw), 0.0)).partings("pump.dead", "fuse.open")[0]
    assert first.apart > 0
    raw["check"][first.check]["qualified"] = True
    raw["check"][first.check]["cautions"] = list(raw.get("caution", {}))
    again = Calls(compiled(from_mapping(raw), 0.0)).partings("pump.dead", "fuse.open")
    plain = [p.apart for p in again if p.check != first.check]
    assert (again[0].check == first.check) == (max(plain, default=0) < 0.5)


@pytest.mark.parametrize(
    ("typed", "part"),
    [
        ("coils", "coils"),
        ("the coils", "coils"),
        ("ignitor", "igniter"),
        ("a glow bar", "igniter"),
        ("fuse", "thermal_fuse"),
        ("thermal fuse", "thermal_fuse"),
        ("the vent", "duct"),
        ("hose", "transition"),
        ("filter", "lint_screen"),
        ("high limit", "high_limit"),
        ("belt", "belt"),
        ("gas valve", "gas_valve"),
        ("gas supply", "gas_supply"),
        ("blower", "blower"),
        ("coils.drop_out_hot", "coils"),
        ("drop out when hot", "coils"),
        ("washer", "washer"),
    ],
)
def test_parts_are_named_as_people_name_them(dryer: Appliance, typed: str, part: str) -> None:
    """Trade names, spellings and articles; every fault of the part is meant unless one is named."""
    assert {m.partition(".")[0] for m in faults_named(dryer.knowledge, typed)} == {part}


@pytest.mark.parametrize("typed", ["flux capacitor", "no heat", "gas", "", "heat=none", "not the coils"])
def test_what_names_no_one_part_is_not_guessed_at(dryer: Appliance, typed: str) -> None:
    """A symptom, a denial, nothing, or a word for several parts is refused by name."""
    with pytest.raises(UnknownName):
        faults_named(dryer.knowledge, typed)


def test_two_parts_on_a_line() -> None:
    """From, and, or, with or without the article."""
    assert two_named("coils from the igniter") == ("coils", "igniter")
    assert two_named("coils or igniter") == ("coils", "igniter")
    assert two_named("coils") is None and two_named("a and b and c") is None


@given(p=st.floats(0, 1))
def test_so_many_of_twenty_is_never_a_false_none_or_all(p: float) -> None:
    """None and all are said of certainty only."""
    said = words.of_twenty(p)
    assert (said == "none") == (p == 0) and (said == "all") == (p == 1)
    if said.isdigit():
        assert abs(int(said) / 20 - p) <= 0.025 + 1e-9


def test_cautions_of_a_card_are_those_of_its_repair(dryer: Appliance) -> None:
    """Shutting off before the panel, and the fuse that is never bypassed, stand on the card."""
    said = " ".join(cautions(dryer.knowledge, "thermal_fuse"))
    assert "prove it dead" in said and "Never bypass" in said and "CO has no smell" in said


def test_a_fault_that_the_machine_cannot_have_is_held_against_nothing(dryer: Appliance) -> None:
    """Under every answer of what the machine has: no chance of a part that it lacks is worked out, by whatever way, and the card
    of a part that not every machine has says which have it."""
    k, lacked = dryer.knowledge, set[str]()
    for fact, equipment in k.equipment.items():
        for value, parts in equipment.lacks.items():
            calls = Calls(dryer, {fact: value})
            for mode in (m for part in parts for m in k.modes_under(part)):
                lacked.add(mode)
                assert f"not on this machine ({fact} is {value})" in calls.absent(mode)
                asked: list[partial[object]] = [
                    partial(calls.rows, mode),
                    partial(calls.rows_without, mode),
                    partial(calls.partings, mode, "coils.drop_out_hot"),
                    partial(calls.partings, "coils.drop_out_hot", mode),
                    partial(calls.shown, mode, k.check),
                    partial(card, dryer, mode, {fact: value}),
                ]
                for each in asked:
                    with pytest.raises(FaultoddsError, match="not on this machine"):
                        each()
                assert value not in card(dryer, mode).only_on[fact]
    assert lacked == {m for m, _ in k.modes() if card(dryer, m).only_on} and not Calls(dryer).absent(
        "timer.contacts_burnt"
    )
