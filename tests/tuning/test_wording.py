"""Learned numbers in plain words: titles for every path, and sentences for what moved."""

from __future__ import annotations

import pytest

from faultodds.belief.appliance import open_appliance
from faultodds.knowledge.schema import Knowledge
from faultodds.revisions.revision import Number
from faultodds.tuning.learned_words import Item, items, movers, of_kind, percent, sentence, shown, span


@pytest.fixture(scope="module")
def dryer() -> Knowledge:
    """The shipped dryer."""
    return open_appliance("gas_dryer", revision="file").knowledge


@pytest.mark.parametrize(
    ("path", "kind", "title"),
    [
        ("component/coils/modes/drop_out_hot/share", "causes", "gas valve coils: drop out when hot"),
        ("other_causes/nothing_wrong", "causes", "nothing wrong with the machine"),
        ("other_causes/unlisted", "causes", "a cause this file does not list"),
        ("component/coils/modes/open/companion", "companions", "gas valve coils: a winding open, beside another fault"),
        (
            "component/duct/modes/too_long/brings_on/thermal_fuse.open",
            "companions",
            "exhaust duct, wall to outside: too long, or too many bends, for the blower brings on thermal fuse or cut-off: open",
        ),
        (
            "context/vent_material/more_often/transition.crushed/foil",
            "facts",
            "vent_material foil or plastic, when it is transition duct behind the dryer: kinked or crushed",
        ),
        ("check/fuse_continuity/leak/open", "checks", "Thermal fuse continuity: 'open' with no cause for it"),
        (
            "check/coil_ohms/table/drop_out_hot/off",
            "checks",
            "Gas valve coil resistances, each winding, cold: 'off' with gas valve coils drop out when hot",
        ),
        ("repair/coil_set/success", "repairs", "New gas valve coils, the whole set"),
        ("log/done_anyway", "habits", "a repair gets done that is not needed"),
        ("component/gone/modes/x/share", "other", "component/gone/modes/x/share"),
    ],
)  # fmt: skip
def test_every_path_has_a_title(dryer: Knowledge, path: str, kind: str, title: str) -> None:
    """A path says what it is in the file's own words; one the file no longer has is shown as it stands."""
    (item,) = items(dryer, {path: Number(0.1, 0.2)})
    assert (item.kind, item.title) == (kind, title)


def test_every_number_that_is_learned_has_a_title(dryer: Knowledge) -> None:
    """Of all that is learned for the shipped file, no path falls through."""
    from faultodds.tuning.draw import draw_log
    from faultodds.tuning.fitting import fit
    from faultodds.tuning.settings import Settings

    learned = fit(dryer, draw_log(dryer, 40), Settings(iterations=2, omitted_target=0.05))
    assert len(learned.numbers) > 1000
    assert [i.path for i in items(dryer, {p: Number(v) for p, v in learned.numbers.items()}) if i.kind == "other"] == []


def test_shares_are_shown_of_all_calls(dryer: Knowledge) -> None:
    """A share in the file's unit becomes a share of 1."""
    (item,) = items(dryer, {"component/duct/modes/too_long/share": Number(4.0, 2.0, 3.0, 5.0)})
    assert item.learned == pytest.approx(0.04, rel=0.01)
    assert shown(item, item.learned) == "4 %"
    assert span(item) == "3 to 5 %"


def cause(learned: float, file: float, low: float | None, high: float | None, jobs: float | None = 40.0) -> Item:
    return Item(f"p{learned}", "causes", "gas valve coils: drop out when hot", learned, file, low, high, jobs)


def test_a_mover_is_told_as_a_manager_would() -> None:
    """How many times the file's share, both numbers, how sure."""
    assert sentence(cause(0.09, 0.043, 0.07, 0.11)) == (
        "Your shop sees 2.1 times the calls for 'gas valve coils: drop out when hot' of the file: 9 % against 4.3 % "
        "(90 % sure: 7 to 11 %)."
    )
    assert sentence(cause(0.02, 0.04, None, None)) == (
        "Your shop sees half of the file's calls for 'gas valve coils: drop out when hot': 2 % against 4 %."
    )
    assert "sees 10 % of the file's calls" in sentence(cause(0.002, 0.02, None, None))
    fact = Item("p", "facts", "vent foil, when it is the hood", 3.0, 1.5, 2.0, 4.5)
    assert sentence(fact) == (
        "vent foil, when it is the hood: 3 times as common here, 1.5 times as common in the file (90 % sure: 2 to 4.5)."
    )
    assert sentence(Item("p", "repairs", "New coil set", 0.9, 0.97, 0.8, 0.95)) == (
        "'New coil set' takes 90 % of the time here, 97 % in the file (90 % sure: 80 to 95 %)."
    )


def test_only_what_is_sure_is_called_a_mover() -> None:
    """The file's number must lie outside the interval; without one, enough jobs must have spoken."""
    assert cause(0.09, 0.04, 0.07, 0.11).moved
    assert not cause(0.09, 0.04, 0.03, 0.11).moved
    assert cause(0.09, 0.04, None, None).moved
    assert not cause(0.09, 0.04, None, None, jobs=3.0).moved
    assert not cause(0.04, 0.04, 0.05, 0.06).moved
    assert not cause(0.0404, 0.04, 0.0402, 0.0406).moved, "sure, and no news"


def test_movers_come_by_how_much_they_matter() -> None:
    """A common cause that doubled comes before a rare one that tripled, and main causes before everything else."""
    big, small = cause(0.2, 0.1, 0.15, 0.25), cause(0.003, 0.001, 0.002, 0.004)
    check = Item("c", "checks", "x", 0.9, 0.1, 0.8, 0.95)
    habit = Item("h", "habits", "x", 0.9, 0.1, 0.8, 0.95)
    assert movers([check, small, habit, big]) == [big, small, check]
    assert of_kind([small, check, big], "causes") == [big, small]


@pytest.mark.parametrize(
    ("p", "text"), [(0.5, "50 %"), (0.0995, "10 %"), (0.043, "4.3 %"), (0.0021, "0.21 %"), (0.0, "0 %")]
)
def test_percents_have_two_digits(p: float, text: str) -> None:
    """Small chances are not rounded to nothing."""
    assert percent(p) == text
