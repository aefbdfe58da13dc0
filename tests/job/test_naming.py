"""Words that vouch for safety, and entries that are not taken for more than they say."""

from __future__ import annotations

import pytest

from faultodds.belief import Appliance
from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.job import OpenJob, Store, sayings
from faultodds.job.naming import proves, vouches

VOUCHED = (
    "supplier came, meter and joints tested",
    "gas company, no leak found, meter reads zero",
    "aired out, nobody ill, CO meter reads 0",
)
TURNED = ("it is not {}", "nobody {}", "never {}", "dunno if {}", "i think {}", "isnt {}", "{} maybe", "{}?", "un{}")


@pytest.mark.parametrize("words", VOUCHED)
def test_a_denial_of_danger_vouches(words: str) -> None:
    """It is no denial of being safe."""
    assert vouches(words)


@pytest.mark.parametrize(
    "words",
    ["i say so, opened a window", "gas man was here", "aired it out, smell gone", "customer says fine", "all good now"],
)
def test_nobody_vouches_without_having_made_sure(words: str) -> None:
    """Air let in and somebody's word prove nothing."""
    assert not vouches(words)


#: Tested, and found bad; tested long ago, or in part. Written by somebody who had not seen the program, and more of the kind.
TESTED_BAD = (
    *("tested: gas at the connector", "tested it: gas", "supplier tested the joints: gas at two of them"),
    *(
        "detector tested positive at the union",
        "joints tested: reading 20 at the union",
        "joint tested, reading climbing",
    ),
    *("tested with soap: fizz at the nut", "soap tested: foam grows at the cock", "soap test, froth at the flare"),
    *(
        "detector beeps at the union, tested",
        "tested, gas coming from the valve",
        "meter shows 15 at the joint, tested",
    ),
    *("gas joints tested last year", "joints tested a month ago", "half the joints tested tight"),
    *("tested two of three joints", "joints tested with soap, one to redo", "all but one joint tested tight"),
    "my dog sniffed it, tested tight",
)
TESTED_GOOD = (
    *("all joints soap tested, no bubbles", "gas at the union: tightened, retested with soap, no bubbles"),
    *(
        "supplier tested all joints tight",
        "leak detector on every joint, nothing found",
        "union remade and soap tested tight",
    ),
    *("pressure test held 10 minutes, all joints tight", "supplier came, meter and joints tested"),
)


def test_a_bad_or_an_old_result_is_no_proof(dryer: Appliance) -> None:
    """That something was tested is not that it is right: what the test showed, when, and of how much, counts."""
    gas = dryer.knowledge.stop["gas_smell"]
    assert [words for words in TESTED_BAD if vouches(words) and proves(words, gas)] == []
    assert [words for words in TESTED_GOOD if not (vouches(words) and proves(words, gas))] == []
    assert not vouches("measured CO in the laundry")
    assert vouches("measured CO in the laundry, 0 ppm with the burner on")


NO_PROOF = {
    "smell of gas": (
        *(
            "tightened union, smells fine",
            "union remade",
            "new gas valve in, no smell",
            "retightened the joint, cant smell it",
        ),
        *(
            "tested the union with my nose",
            "smell tested the joints",
            "new flex connector fitted",
            "tightened union, co meter reads 0",
        ),
        *(
            "tightened the nut, igniter tested",
            "sniffed the joint, checked twice",
            "valve replaced, aired out",
            "union checked, no smell",
        ),
    ),
    "co alarm going off": (
        *(
            "co meter 0 w dryer off",
            "battery changed in co alarm, quiet now",
            "co reads 0, dryer is off",
            "0 ppm, machine unplugged",
        ),
        *(
            "new co alarm in, it is quiet",
            "co alarm replaced",
            "co alarm tested, works",
            "measured co before it ran, 0 ppm",
        ),
        *(
            "co meter 0, not running",
            "alarm reset and checked",
            "vent cleaned, alarm quiet",
            "co 0 ppm with the machine turned off",
        ),
        "alarm battery replaced, co reads 0 with it cold",
    ),
}
PROOF = {
    "smell of gas": (
        *(
            "tightened union, soap tested, dry",
            "soaped the union, no bubbles",
            "supplier came, joints tested",
            "gas pressure test held 10 min",
        ),
        *(
            "soap tested the union with dryer off, no smell",
            "leak tested with the gas on, none found",
            "new connector in and soap tested",
        ),
        *(
            "gas detector tested at the cock, zero",
            "joint remade and soaped, no leak",
            "tightened the flare, bubble tested the joint",
        ),
        *("gas company came, gas meter reads zero", "union soap tested twice, no smell"),
    ),
    "co alarm going off": (
        *(
            "co 0 ppm with the dryer running 15 min",
            "co 0 w dryer running 20 min",
            "vent refitted, co measured 0 while it ran",
        ),
        *(
            "0 ppm dryer off, 2 ppm with it running",
            "fitter measured co, none left",
            "co meter reads 0 after a full run",
            "co zero, burner lit",
        ),
        *(
            "vent cleaned, ran it 15 min, co reads 0",
            "fire service measured co in the room, none",
            "meter shows co 0 ppm, dryer on high",
        ),
        *("burner cleaned, co reading 1 ppm running", "flue put back, signed off, co meter reads 0"),
    ),
}


@pytest.mark.parametrize(("danger", "remark"), [(danger, said) for danger, each in NO_PROOF.items() for said in each])
def test_what_was_not_measured_is_asked_for(dryer: Appliance, store: Store, danger: str, remark: str) -> None:
    """A nose, a quiet alarm, a meter beside a machine that is off: the job stays stopped, and what is missing is told."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen(danger)
    missing = "soap-tested with the gas on" if "gas" in danger else "CO in the room measured, machine running"
    with pytest.raises(FaultoddsError, match=missing):
        visit.safe(remark)
    assert visit.job.stopped is not None


@pytest.mark.parametrize(("danger", "remark"), [(danger, said) for danger, each in PROOF.items() for said in each])
def test_what_was_measured_is_taken(dryer: Appliance, store: Store, danger: str, remark: str) -> None:
    """In the words people use."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen(danger)
    visit.safe(remark)
    assert visit.job.stopped is None


@pytest.mark.parametrize(
    "danger", ["didnt soap it, no soap", "no leak test on the union", "put the union back, not tested"]
)
def test_a_test_that_was_left_out_is_made_before_it_is_safe(dryer: Appliance, store: Store, danger: str) -> None:
    """The work left undone has no sign of its own; the sign whose test it was asks for it."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen(danger)
    with pytest.raises(FaultoddsError, match="soap-tested with the gas on"):
        visit.safe("tightened union, smells fine")
    visit.safe("soaped the union, dry")
    assert visit.job.stopped is None


@pytest.mark.parametrize("danger", ["thermal fuse bypassed and running", "exhaust not hooked up", "cheater on door sw"])
def test_a_bypass_asks_for_no_soap(dryer: Appliance, store: Store, danger: str) -> None:
    """It is safe when it is out."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen(danger)
    visit.safe("taken out and put right, new one in")
    assert visit.job.stopped is None


@pytest.mark.parametrize(
    ("remark", "taken"),
    [
        ("smelt gas, supplier came, tested tight, ok to go on", True),
        ("smelt gas, union remade, soap tested, no bubbles", True),
        ("gas off, supplier cleared it, no leak found", False),
        ("smelled gas on arrival, supplier found nothing", False),
    ],
)
def test_how_a_stop_was_cleared_is_no_new_alarm(dryer: Appliance, store: Store, remark: str, taken: bool) -> None:
    """Taken where something was tested; else it is asked for, and nothing is stopped anew."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen("i smell gas")
    before = visit.job.stopped
    if taken:
        visit.safe(remark)
        assert visit.job.stopped is None
    else:
        with pytest.raises(FaultoddsError, match="soap-tested with the gas on") as refused:
            visit.safe(remark)
        assert not isinstance(refused.value, SafetyStop) and visit.job.stopped == before


@pytest.mark.parametrize(
    "remark", ["joints soap tested but i can smell gas", "supplier tested the joints, smells again"]
)
def test_a_danger_that_is_still_there_stops_anew(dryer: Appliance, store: Store, remark: str) -> None:
    """Whatever was tested before."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen("i smell gas")
    with pytest.raises(SafetyStop):
        visit.safe(remark)


@pytest.mark.parametrize("turned", TURNED)
@pytest.mark.parametrize("said", ["safe", "checked", "tested"])
def test_a_denial_or_doubt_does_not_vouch(dryer: Appliance, store: Store, turned: str, said: str) -> None:
    """Alone, or beside what vouches; the job stays stopped, and the words are kept."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen("i smell gas")
    for remark in (f"it was {turned.format(said)}", f"{VOUCHED[0]}, {turned.format(said)}"):
        with pytest.raises(FaultoddsError):
            visit.safe(remark)
        assert visit.job.stopped is not None and visit.job.notes[-1].endswith(remark)
    visit.safe(VOUCHED[0])
    assert visit.job.stopped is None


def test_the_safety_answers_are_not_undone(dryer: Appliance, store: Store) -> None:
    """Whatever came after them is."""
    visit = OpenJob.start(store, dryer)
    visit.safety_asked()
    visit.note("key next door")
    visit.undo()
    with pytest.raises(FaultoddsError, match="stay with the job"):
        visit.undo()
    assert len(visit.job.notes) == 1


def test_a_question_mark_is_asked_about(dryer: Appliance, store: Store) -> None:
    """Every outcome of every symptom and check, and every fact."""
    visit = OpenJob.start(store, dryer)
    k = dryer.knowledge
    for name, observable in k.observables.items():
        for outcome in observable.outcomes:
            with pytest.raises(FaultoddsError, match="question mark"):
                visit.judge(name, f"{outcome}?")
    for name, fact in {**k.equipment, **k.context}.items():
        with pytest.raises(FaultoddsError, match="question mark"):
            visit.fact(name, f"{next(iter(fact.values))}?")
    assert not visit.job.findings and not visit.job.facts


@pytest.mark.parametrize("word", ["then", "but", "until", "and then", "till"])
def test_what_is_unread_behind_a_finding_may_turn_it(dryer: Appliance, word: str) -> None:
    """Nothing is noted, and it is asked about."""
    for found in ("hood flap weak", "lint screen coated"):
        said = sayings.understand(dryer.knowledge, f"{found}, {word} goes out")
        assert not {s.kind for s in said} & {"finding", "fact", "machine", "repair"}
