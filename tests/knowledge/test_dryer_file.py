"""What the shipped dryer file says of the trade: one share for "wet", bands that agree with their steps, sources marked."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from faultodds.belief.appliance import open_appliance
from faultodds.errors import BadReading
from faultodds.files.knowledge_files import find, read_bytes
from faultodds.knowledge import fitted
from faultodds.knowledge.loading import load
from faultodds.knowledge.schema import Knowledge
from faultodds.readings.judging import Judgement, judge
from faultodds.readings.verdict import describe
from faultodds_sim.checks import TOO_WET

MARK = "common practice, no source"
IN_WORDS = {"four fifths of the dry weight": 80.0, "half an hour": 30.0}
NEEDS_BARS = ("moisture_sensor", "levelling")


@pytest.fixture(scope="module")
def dryer() -> Knowledge:
    """The shipped gas dryer."""
    return load("gas_dryer")


def judged(k: Knowledge, check: str, text: str, **given: Any) -> Judgement:
    """A reading against the shipped bands."""
    return judge(k.reading[check], list(k.check[check].outcomes), text, **given)


def test_wet_is_one_share_everywhere(dryer: Knowledge) -> None:
    """The check's step, its band and the simulated technician draw the line at the same share of the dry weight."""
    steps = " ".join(dryer.check["spun_load_weight"].steps)
    said = next(share for words, share in IN_WORDS.items() if words in steps)
    bands = dryer.reading["spun_load_weight"].bands
    assert bands["normal"][0][1] == bands["wet"][0][0] == said == TOO_WET
    assert judged(dryer, "spun_load_weight", f"{TOO_WET + 15} %").verdict == "wet"
    assert judged(dryer, "spun_load_weight", f"{TOO_WET - 15} %").verdict == "normal"


def test_the_verification_run_fits_its_band(dryer: Knowledge) -> None:
    """The minutes it is priced with are those its steps name and are in time; what its steps call slow is slow."""
    run, edge = dryer.check["verification_run"], dryer.reading["verification_run"].bands["slow"][0][0]
    steps = " ".join(run.steps)
    assert f"dry in about {run.minutes:g} minutes" in steps
    assert judged(dryer, "verification_run", f"{run.minutes:g} min").verdict == "dry_in_time"
    assert edge == next(minutes for words, minutes in IN_WORDS.items() if f"over {words} is slow" in steps)


def test_level_and_bars_are_asked_of_machines_with_bars_alone(dryer: Knowledge) -> None:
    """Whatever speaks of the sensor bars, of a lean that matters to them alone, or of an auto cycle, needs them."""
    about = {
        name: {ref.partition(".")[0] for ref in (*seen.links, *seen.depends_on)}
        for name, seen in dryer.observables.items()
    }
    only = [name for name, parts in about.items() if parts and parts <= set(NEEDS_BARS)]
    assert {"level_check", "sensor_bar_test"} <= set(only)
    repairs = [n for n, r in dryer.repair.items() if {t.partition(".")[0] for t in r.fixes} <= set(NEEDS_BARS)]
    assert repairs == ["sensor_clean", "sensor_bars", "level"]
    autos = [name for name in dryer.symptom if "auto" in name]
    work = {**dryer.observables, **dryer.repair}
    assert autos and all(work[name].needs.get("auto_dry") == "yes" for name in (*only, *repairs, *autos))
    assert set(dryer.equipment["auto_dry"].lacks["no"]) == set(NEEDS_BARS)


def test_a_coil_is_judged_in_its_room_and_by_its_layout(dryer: Knowledge) -> None:
    """The hot garage: 1,330 ohm at 95 F is no reason to change coils, 1,330 in a cool room is, and one block has no band here."""
    assert judged(dryer, "coil_ohms", "1330/1390/590 at 95 F").verdict == "good"
    assert judged(dryer, "coil_ohms", "1330/1390/590 at 60 F").outcomes["good"] < 0.1
    assert judged(dryer, "coil_ohms", "1330 ohm at 95 F").outcomes["off"] < 0.5
    for check in ("coil_ohms", "coil_ohms_hot"):
        with pytest.raises(BadReading, match="the file has no bands"):
            judged(dryer, check, "1150/1350/560", facts={"coil_layout": "single_block"})


def test_a_reading_is_told_with_the_bands_that_it_is_judged_by(dryer: Knowledge) -> None:
    """For every value of the fact that decides: the file for that machine has the bands that `read` holds a reading against, and
    where it has none, nothing tells of another machine's."""
    for name, general in dryer.reading.items():
        for value in general.values:
            facts, outcomes = {general.fact: value}, list(dryer.check[name].outcomes)
            machine = fitted(dryer, facts)
            told = describe(machine.reading[name], outcomes)
            assert told != describe(general, outcomes) or general.heating_values
            if machine.has_bands(name):
                at = general.given(value)
                assert told == describe(at, outcomes)
            else:
                assert "no bands" in told and not any(c.isdigit() for c in told)
                with pytest.raises(BadReading, match="no bands"):
                    judged(dryer, name, "1150/1350/560", facts=facts)
    assert not any("band" in words for o in dryer.check.values() for words in o.outcomes.values())


@pytest.mark.parametrize("text", ["short", "shorted"])
def test_an_igniter_told_to_be_shorted_is_no_good(dryer: Knowledge, text: str) -> None:
    """As an open one: the part is the same."""
    assert judged(dryer, "igniter_ohms", text).outcomes.get("open") == 1.0


@pytest.mark.parametrize("text", ["0 ohm", "3 ohm", "5 ohm"])
def test_an_igniter_that_reads_short_is_asked_about(dryer: Knowledge, text: str) -> None:
    """0 to 5 ohm never reads normal: it may be the leads."""
    with pytest.raises(BadReading, match="a short, or the leads touch"):
        judged(dryer, "igniter_ohms", text)


def test_every_band_that_a_fact_decides_says_so(dryer: Knowledge) -> None:
    """A reading with bands for a value of a fact names the fact when it is not told, and not when it is."""
    examples = {"manifold_pressure": "3.5 in wc", "coil_ohms": "1150/1350/560", "coil_ohms_hot": "1150/1350/560"}
    having = [n for n, spec in dryer.reading.items() if spec.bands_for or spec.windings_for]
    assert sorted(having) == sorted(examples)
    facts = {**dryer.context, **dryer.equipment}
    for name in having:
        fact = dryer.reading[name].fact
        other = next(v for v in facts[fact].values if v not in dryer.reading[name].values)
        assert f"(fact {fact})" in judged(dryer, name, examples[name]).note
        assert f"(fact {fact})" not in judged(dryer, name, examples[name], facts={fact: other}).note


def test_no_hot_reading_on_a_burner_that_cannot_have_lit(dryer: Knowledge) -> None:
    """Every single finding that stands for a dark burner takes the hot reading off the list: it would not get hot."""
    unless = dryer.check["coil_ohms_hot"].unless
    dark = {"no_call", "no_glow", "glow_stays", "glow_no_flame"}
    for name in ("glow_look", "burner_watch"):
        assert set(unless[name]) == dark
    circuit = (
        "igniter_ohms",
        "fuse_continuity",
        "motor_fuse_continuity",
        "high_limit_continuity",
        "cycling_continuity",
    )
    assert all(unless[name] == ["open"] for name in (*circuit, "flame_sensor_continuity"))
    # What speaks of coils that drop out only once they are hot must never take it off: it has lit then.
    observables = dryer.observables
    for name, outcomes in unless.items():
        links = observables[name].links.get("ignition.lights_then_fails", {})
        assert isinstance(links, dict)
        assert all(links.get(outcome, 0.0) <= 0.1 for outcome in outcomes), name


def test_the_run_says_nothing_of_what_its_own_load_leaves_out() -> None:
    """Its steps take a load of known weight, spun well, timed, on high heat: the washer, the customer's load and a cycle on low
    heat show in the complaint, and not in the run; on auto-dry a sensor may."""
    s = open_appliance("gas_dryer", revision="file").suspects
    alone = s.member.sum(axis=1) == 1
    row = {m: s.likelihood[:, np.flatnonzero(alone & s.member[:, s.mode_index[m]])[0]] for m in s.modes}
    sound, run = s.likelihood[:, s.sound], s.rows["verification_run"]
    slow = s.observables["verification_run"].index("slow")
    for mode in ("washer.leaves_wet", "use.overloaded", "use.low_heat_cycle"):
        assert row[mode][run] == pytest.approx(sound[run]), mode
        assert row[mode][s.rows["dry_time"]][1:].sum() > 3 * sound[s.rows["dry_time"]][1:].sum()
    assert sound[run][slow] < row["moisture_sensor.coated"][run][slow] < 0.5


def test_air_that_gets_past_the_burner_leaves_it_too_hot() -> None:
    """Sensible heat of air: Btu/h = 1.08 x cfm x rise in F (standard air, the handbooks' constant, from memory). What heats 135 cfm
    of a sound dryer by 110 F lifts half of it past where a limit in the burner duct opens; 250 F, common practice, no source."""
    into_the_air, room = 1.08 * 135 * 110, 75
    assert room + into_the_air / (1.08 * 135) < 250 < room + into_the_air / (1.08 * 135 * 0.5)
    s = open_appliance("gas_dryer", revision="file").suspects
    short = s.observables["burner_watch"].index("short_cycles")
    alone = s.member.sum(axis=1) == 1
    for mode in ("drum_seals.worn", "door_seal.worn", "housing_seal.leaks"):
        at = np.flatnonzero(alone & s.member[:, s.mode_index[mode]])[0]
        assert s.likelihood[s.rows["burner_watch"]][short, at] > 0.5, mode


def entries(raw: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Every `source` of a file with its place."""
    for group, records in raw.items():
        for name, record in records.items() if isinstance(records, dict) else ():
            if isinstance(record, dict) and "source" in record:
                yield f"{group}.{name}", record["source"]


def test_every_entry_is_marked_or_has_its_source(dryer: Knowledge) -> None:
    """The head marks the whole file; a record with a source of its own says where a number is from, or that it is from nowhere."""
    data = read_bytes(find("gas_dryer")).decode("utf-8")
    head = data.partition("[appliance]")[0]
    assert f"EVERY NUMBER IN THIS FILE IS A FIRST GUESS: {MARK}" in head
    assert MARK in dryer.appliance.note.lower()
    records = [*dryer.caution.values(), *dryer.stop.values(), *dryer.reading.values()]
    assert all(record.source.strip() for record in records)
    written = dict(entries(tomllib.loads(data)))
    assert {f"reading.{name}" for name in dryer.reading} <= set(written)
    # From outside: an agency, a rule or a data sheet that can be looked up; anything else is marked.
    outside = re.compile(r"\b(US|NIOSH|rule R2/R1|data sheet)\b")
    assert [place for place, source in written.items() if MARK not in source and not outside.search(source)] == []


def test_a_reading_without_a_source_is_marked(dryer: Knowledge) -> None:
    """A shop that adds a reading and says nothing of its source gets the mark, never silence."""
    spec = type(dryer.reading["igniter_ohms"])(kind="voltage", unit="V")
    assert spec.source == MARK
