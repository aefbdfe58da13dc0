"""What an instructor looks for in the words of every piece of work, whichever it is."""

from __future__ import annotations

import pytest

from faultodds.advice.doing import instructions
from faultodds.advice.machine import MachineStates
from faultodds.belief.appliance import open_appliance
from faultodds.knowledge.schema import Knowledge, Work
from faultodds.safety.danger import hear, own_title
from faultodds.safety.owed import run_shows_only

CONSOLE_PARTS = ("timer", "board")


@pytest.fixture(scope="module")
def dryer() -> Knowledge:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer", revision="file").knowledge


def every_work(k: Knowledge) -> dict[str, Work]:
    """Checks and repairs by name."""
    return {**k.check, **k.repair}


def printed(k: Knowledge, name: str) -> str:
    """All lines and cautions of a piece of work, closed up before it, as one text."""
    told = [line for each in instructions(k, MachineStates(k), [name]) for line in each.lines]
    return " ".join(text for line in told for text in (*(k.caution[c].text for c in line.cautions), line.text))


def not_proved_dead(k: Knowledge) -> list[str]:
    """Work that opens a panel and does not say where it is proved dead, that the meter is proved before and after, and that a
    breaker alone is not enough."""
    found = []
    for name, work in every_work(k).items():
        if k.access.keys() & set(work.access) and any(k.access[i].requires for i in work.access if i != "duct_off"):
            said = printed(k, name)
            asked = ("breaker alone is not enough", "0 V", "to the cabinet", "live outlet", "again")
            found += [name] * (not all(words in said for words in asked))
    return found


def not_run_after(k: Knowledge) -> list[str]:
    """Repairs with a panel off after which power and gas come on with no word of gas or carbon monoxide behind it."""
    found = []
    for name, repair in k.repair.items():
        said = printed(k, name)
        if "panel" in said and not repair.by_others:
            behind = said.rpartition("Plug the dryer in again")[2]
            behind += said * ("co_watch" in repair.cautions)  # said before it begins
            found += [name] * ("Smell of gas" not in said or "CO meter" not in behind)
    return found


def console_left_shut(k: Knowledge) -> list[str]:
    """Work on what sits behind the console that does not open it, or leaves it open."""
    works = {n: w for n, w in every_work(k).items() if w.needs.get("control") in CONSOLE_PARTS and w.access}
    inside = {n: " ".join((*w.fit, *w.steps, *w.unfit)) for n, w in works.items()}
    behind = {n: s for n, s in inside.items() if n.startswith(("timer", "board", "relay"))}
    assert len(behind) >= 4
    return [n for n, s in behind.items() if "console screws out" not in s or "console back" not in s]


def test_it_is_proved_dead_before_the_first_touch(dryer: Knowledge) -> None:
    """With a meter that is proved on both sides of it, at what is going to be touched."""
    assert not_proved_dead(dryer) == []


def test_after_every_repair_behind_a_panel_gas_and_co_are_spoken_of(dryer: Knowledge) -> None:
    """It runs on gas again, whatever was mended."""
    assert not_run_after(dryer) == []


def test_what_sits_behind_the_console_has_it_opened_and_put_back(dryer: Knowledge) -> None:
    """The front is another panel."""
    assert console_left_shut(dryer) == []


def test_live_work_does_not_forbid_its_own_next_step(dryer: Knowledge) -> None:
    """Hands out is of what is inside, and names the one thing that is touched after it."""
    for name, check in dryer.check.items():
        if check.energised:
            said = printed(dryer, name)
            assert "Nobody touches it" not in said and "but its start and stop" in said, name
    said = printed(dryer, "outlet_voltage")
    assert "No second socket" in said and "half out" in said and "main switch off" in said


@pytest.mark.parametrize(
    "words",
    ["every appliance", "pilot", "tightness", "Nobody lights", "soap", "licensed"],
)
def test_gas_that_was_off_in_the_house_comes_back_in_order(dryer: Knowledge, words: str) -> None:
    """Every cock shut before it comes back, the pipes proved tight, every pilot lit again."""
    assert words in printed(dryer, "gas_supplier")


def test_the_run_after_it_asks_whether_that_was_done(dryer: Knowledge) -> None:
    """And not where only the dryer's own cock was shut."""
    (said,) = run_shows_only(dryer, ["gas_supplier"])
    assert "tight" in said and "pilot" in said
    assert run_shows_only(dryer, ["open_cock"]) == []


@pytest.mark.parametrize("told", ["lights go bright in the den and dim in the hall", "open neutral at the panel"])
def test_a_lost_neutral_is_of_the_whole_house(told: str) -> None:
    """Main switch, metalwork, and who is called."""
    heard = hear(told)
    named = own_title(heard) if heard else None
    assert named is not None and "neutral" in named.title
    said = " ".join(named.steps)
    assert all(
        words in said for words in ("Main switch off", "metalwork", "electricity supplier", "licensed electrician")
    )
    assert said.index("Hands off") < said.index("Main switch off")


def test_planted_mistakes_are_caught(dryer: Knowledge, monkeypatch: pytest.MonkeyPatch) -> None:
    """A repair with no proof; a console that is not put back; a panel with no word of the meter."""
    steps = dryer.check["timer_contacts"].steps
    monkeypatch.setattr("faultodds.advice.doing._of_the_run", lambda *_: [])
    assert "motor" in not_run_after(dryer)
    kept, steps[:] = steps[:], [step for step in steps if "console back" not in step]
    assert console_left_shut(dryer) == ["timer_contacts"]
    steps[:] = kept
