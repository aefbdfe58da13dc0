"""Words that vouch for safety, and entries that are not taken for more than they say."""

from __future__ import annotations

import pytest

from faultodds.belief import Appliance
from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.job import OpenJob, Store, sayings
from faultodds.job.naming import vouches

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
