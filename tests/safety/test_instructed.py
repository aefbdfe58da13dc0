"""Dangers that no stop knew: by family, with the calm lines that sound like them, all written before the words were mended."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from contextlib import suppress
from itertools import combinations, product
from pathlib import Path

import pytest

from faultodds.belief import Appliance, open_appliance
from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.job import OpenJob, Store, clearing
from faultodds.job.taking import told_by_reading
from faultodds.knowledge import Knowledge
from faultodds.knowledge.loading import load
from faultodds.safety import danger, danger_in, stops
from faultodds.safety.danger import Rules

FAMILIES = tomllib.loads(Path(__file__).with_name("instructed.toml").read_text("utf-8"))
CLEARING, BOTH = FAMILIES.pop("clearing"), FAMILIES.pop("both")
# Fewer where the words were heard before, and only the steps are new.
MANY = {
    "bubbles": 12, "flame": 12, "earth": 25, "alive": 24, "floor": 22, "burning": 16, "locked": 14, "chirps": 12,
    "metal": 15, "hum": 10,
}  # fmt: skip
# Words of the patterns that hear a family.
PLANTED = {
    "water": ("water", "flood", "puddle"),
    "volts": ("vol", "surge"),
    "down": ("let go", "floor", "breath", "down"),
}


@pytest.fixture(scope="module")
def dryer() -> Knowledge:
    """The shipped gas dryer."""
    return load("gas_dryer")


@pytest.fixture(scope="module")
def dryer_open() -> Appliance:
    """The same, as a job opens it."""
    return open_appliance("gas_dryer")


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """One store for all: every line has a job of its own."""
    with Store.open(tmp_path_factory.mktemp("told")) as opened:
        yield opened


def stop_for(k: Knowledge, line: str) -> str:
    """What is shown for a line that is typed; empty when it does not stop."""
    name, _, value = line.partition("=")
    signs = {sign: (stop.title, stop.steps) for sign, stop in k.stop.items()}
    names = {*k.observables, *k.repair, *k.access, *k.component}
    return danger_in(told_by_reading(k, name, value) or line, signs, names) or ""


@pytest.mark.parametrize("family", FAMILIES)
def test_a_danger_stops_under_its_own_title(dryer: Knowledge, family: str) -> None:
    """Every line, with the steps of that danger and of no other."""
    shown = {line: stop_for(dryer, line).partition("\n")[0] for line in FAMILIES[family]["stop"]}
    title = FAMILIES[family]["title"]
    assert {
        line: told for line, told in shown.items() if title not in told.removeprefix("STOP. ").partition(": ")[0]
    } == {}
    assert len(shown) >= MANY.get(family, 30)


@pytest.mark.parametrize("family", FAMILIES)
def test_what_only_sounds_like_it_does_not(dryer: Knowledge, family: str) -> None:
    """None of them."""
    lines = FAMILIES[family]["calm"]
    assert [line for line in lines if stop_for(dryer, line)] == []
    assert len(set(lines)) >= MANY.get(family, 30) / 2


def without(words: tuple[str, ...]) -> Rules:
    """The words of danger, without the patterns of a shock that have one of these in them."""
    rules = danger.the_rules()
    left = [p for p in rules.danger["shock"] if not re.search("|".join(words), p.pattern)]
    return rules._replace(danger={**rules.danger, "shock": left})


@pytest.mark.parametrize("family", PLANTED)
def test_it_is_these_words_that_hear_it(dryer: Knowledge, family: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Planted: without them most lines of the family are passed over."""
    lacking = without(PLANTED[family])
    monkeypatch.setattr(danger, "the_rules", lambda: lacking)
    lines = FAMILIES[family]["stop"]
    assert sum(not stop_for(dryer, line) for line in lines) > len(lines) / 2


@pytest.mark.parametrize("family", CLEARING)
def test_what_shows_that_it_is_over_clears_it_and_nothing_less(
    dryer_open: Appliance, store: Store, family: str
) -> None:
    """By the word of those it is left to, and with the numbers that are right."""
    for kind in ("clears", "stays"):
        for remark in CLEARING[family][kind]:
            visit = stopped(dryer_open, store, CLEARING[family]["told"])
            with suppress(FaultoddsError, SafetyStop):
                visit.safe(remark)
            assert (visit.job.stopped is None) == (kind == "clears"), remark


def test_a_proof_is_one_by_that_word_only(dryer_open: Appliance, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Planted: "proved" is no good result."""
    monkeypatch.setitem(clearing._words()["well"], "shock", "zzz")
    visit = stopped(dryer_open, store, CLEARING["volts"]["told"])
    with pytest.raises(FaultoddsError, match="does not say what the test showed"):
        visit.safe(CLEARING["volts"]["clears"][0])


def stopped(appliance: Appliance, store: Store, told: str) -> OpenJob:
    """A job that stands still for what was told."""
    visit = OpenJob.start(store, appliance)
    with pytest.raises(SafetyStop):
        visit.listen(told)
    return visit


# What shows that each danger by itself is over, by the word of those it is left to.
PROOF = {
    "gas": "gas supplier: every gas joint soap tested with the gas on, no bubbles",
    "co": "fire service: CO meter 0 ppm in the room, dryer running 15 min, windows shut",
    "ill": "fire service: everybody well, CO meter 0 ppm in the room, dryer running 15 min",
    "fire": "fire service: burnt lead replaced, ran 20 min, no smoke, nothing hot",
}
WORKS_A_SWITCH = re.compile(r"(?i)(?<!no )\b(?:switch|breaker|plug out|unplug|stop the dryer)")
TOLD_OF_TWO = [
    (a, b, join.format(*lines))
    for a, b in combinations(("gas", "co", "ill", "fire", "shock"), 2)
    for lines in product(BOTH[a], BOTH[b])
    for join in ("{0} and {1}", "{1}, {0}", "{0}. {1}")
]


def told_of_two(k: Knowledge) -> list[str]:
    """Made lines of two dangers whose stop is not that of both: each one's steps, gas first, with no switch worked in gas."""
    wrong = []
    for a, b, line in TOLD_OF_TWO:
        shown = stop_for(k, line)
        alone = {each: stop_for(k, BOTH[each][0]) for each in (a, b)}
        titles = shown.partition("\n")[0].removeprefix("STOP. ").partition(": ")[0].split("; ")
        steps = [step.partition(". ")[2] for step in shown.splitlines()[1:]]
        first = a == "gas" and (
            not titles[0].startswith(("smell of gas", "gas leak", "bubbles")) or any(map(WORKS_A_SWITCH.search, steps))
        )
        if len(titles) < 2 or first or not all(alone.values()) or len(steps) != len(set(steps)):
            wrong.append(line)
    return wrong


def test_a_line_of_two_dangers_gives_the_stops_of_both(dryer: Knowledge, monkeypatch: pytest.MonkeyPatch) -> None:
    """Planted: only the first is heard; and sentences that work a switch are kept."""
    assert len(TOLD_OF_TWO) > 150
    assert told_of_two(dryer) == []
    assert [line for line in BOTH["calm"] if stop_for(dryer, line)] == []
    with monkeypatch.context() as planted:
        planted.setattr(stops, "hear_each", lambda text, over=False: danger.hear_each(text, over)[:1])
        assert len(told_of_two(dryer)) == len(TOLD_OF_TWO)
    monkeypatch.setattr(stops, "_without_switches", lambda step: step)
    assert told_of_two(dryer)


@pytest.mark.parametrize(("a", "b"), [("gas", "co"), ("gas", "ill"), ("gas", "fire"), ("co", "fire")])
@pytest.mark.parametrize("apart", [False, True])
def test_both_proofs_are_wanted(dryer_open: Appliance, store: Store, a: str, b: str, apart: bool) -> None:
    """Neither alone clears it, told on one line or on two; together they do; and what is shown meanwhile is both."""
    said = [BOTH[a][0], BOTH[b][0]]
    for remark, clears in ((PROOF[a], False), (PROOF[b], False), (f"{PROOF[a]}; {PROOF[b]}", True)):
        visit = OpenJob.start(store, dryer_open)
        for line in said if apart else [" and ".join(said)]:
            with pytest.raises(SafetyStop):
                visit.listen(line)
        assert visit.job.stopped is not None and len(visit.job.dangers) == 2
        with suppress(FaultoddsError, SafetyStop):
            visit.safe(remark)
        assert (visit.job.stopped is None) == clears, remark
