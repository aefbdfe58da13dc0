"""Numbers laid over a knowledge file by path."""

from __future__ import annotations

import pytest

from faultodds.errors import FaultoddsError, KnowledgeError, UnknownName
from faultodds.knowledge import overlay
from faultodds.knowledge.loading import load
from faultodds.knowledge.schema import Knowledge
from toys import toy

AGE = {"ask": "age?", "values": {"new": "n", "old": "o"}, "usual": {"new": 1, "old": 2}}


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    """A toy with a context fact."""
    return toy(context={"age": AGE})


@pytest.mark.parametrize(
    ("path", "before"),
    [
        ("component/pump/modes/dead/share", 30.0),
        ("component/pump/modes/dead/companion", 0.02),
        ("component/pump/modes/dead/brings_on/belt.broken", 0.02),
        ("context/age/usual/old", 2.0),
        ("context/age/more_often/pump.dead/old", 1.0),
        ("context/age/more_often/pump/new", 1.0),
        ("check/listen/leak/weak", 0.03),
        ("check/listen/links/pump.weak/silent", 0.1),
        ("check/listen/links/belt.broken/weak", 0.0),
        ("check/fuse_test/links/fuse.open/open", 0.98),
        ("check/fuse_test/leak/open", 0.01),
        ("check/fuse_test/leak/closed", 0.99),
        ("repair/new_pump/success", 0.97),
        ("repair/new_pump/minutes", 30.0),
        ("other_causes/nothing_wrong", 10.0),
        ("log/back_if_wrong", 0.8),
        ("costs/labour_rate", 60.0),
        ("access/panel/open_minutes", 5.0),
    ],
)
def test_a_number_is_read_and_laid_over(knowledge: Knowledge, path: str, before: float) -> None:
    """A path reads the file's number, or what stands for it, and after laying over it reads the new one; the file stays."""
    assert overlay.value(knowledge, path) == pytest.approx(before)
    laid = overlay.apply(knowledge, {path: 0.25})
    assert overlay.value(laid, path) == 0.25
    assert overlay.value(knowledge, path) == pytest.approx(before)


def test_one_number_becomes_a_mapping(knowledge: Knowledge) -> None:
    """A link written as one number keeps its other outcomes when one of them is laid over."""
    laid = overlay.apply(knowledge, {"symptom/slow/links/flow.low/yes": 0.5, "symptom/slow/leak/yes": 0.1})
    assert laid.symptom["slow"].links == {"flow.low": {"yes": 0.5}, "flow.none": 0.95, "unlisted.present": 0.5}
    assert laid.symptom["slow"].leak == {"yes": 0.1}


def test_nothing_laid_over_changes_nothing() -> None:
    """No numbers, the same knowledge; and every share of the shipped file laid over itself as well."""
    dryer = load("gas_dryer")
    same = {f"component/{m.replace('.', '/modes/')}/share": r.share for m, r in dryer.modes()}
    assert overlay.apply(dryer, {}) == dryer == overlay.apply(dryer, same)


@pytest.mark.parametrize(
    ("path", "says"),
    [
        ("component/pmup/modes/dead/share", "Did you mean 'pump'?"),
        ("component/pump/modes/dead/shar", "Did you mean 'share'?"),
        ("component/pump/modes/dead/brings_on/belt.brokn", "Did you mean 'belt.broken'?"),
        ("context/age/more_often/pump.dead/odl", "Did you mean 'old'?"),
        ("check/listen/links/pump.wek/weak", "Did you mean 'pump.weak'?"),
        ("check/listen/links/pump.weak/silnt", "Did you mean 'silent'?"),
        ("chek/listen/minutes", "Did you mean 'check'?"),
    ],
)
def test_an_unknown_name_is_refused_with_the_nearest(knowledge: Knowledge, path: str, says: str) -> None:
    """A slip in a path names the path and the nearest valid name."""
    with pytest.raises(UnknownName, match="there is no") as error:
        overlay.apply(knowledge, {path: 0.1})
    assert says in str(error.value)
    with pytest.raises(FaultoddsError):
        overlay.value(knowledge, path)


@pytest.mark.parametrize(
    ("numbers", "says"),
    [
        ({"component/pump/title": 1.0}, "'component/pump/title' is not a number"),
        ({"component/pump": 1.0}, "'component/pump' is not a number"),
        ({"costs/labour_rate/extra": 1.0}, "'costs/labour_rate' has no part 'extra'"),
        ({"context/age/more_often/pump.dead": 1.0}, "is not a number; go on to one of its parts"),
        ({"costs/labour_rate": -1.0}, "'costs/labour_rate': found -1.0; it is a number of 0 or more"),
        ({"costs/labour_rate": float("nan")}, "it is a number of 0 or more"),
        ({"costs/labour_rate": 1.0, "costs/labour_rate/x": 1.0}, "goes through"),
    ],
)
def test_what_is_no_number_is_refused(knowledge: Knowledge, numbers: dict[str, float], says: str) -> None:
    """A path to text or to a table, and a value that is no amount, are refused."""
    with pytest.raises(KnowledgeError) as error:
        overlay.apply(knowledge, numbers)
    assert says in str(error.value)


def test_links_stay_out_of_a_table() -> None:
    """An observable that has a table gets no links beside it."""
    with pytest.raises(UnknownName):
        overlay.apply(load("gas_dryer"), {"check/coil_ohms/links/coils.open/off": 0.8})
