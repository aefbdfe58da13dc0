"""Dangers that no stop knew: by family, with the calm lines that sound like them, all written before the words were mended."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from faultodds.belief import Appliance, open_appliance
from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.job import OpenJob, Store, clearing
from faultodds.job.taking import told_by_reading
from faultodds.knowledge import Knowledge
from faultodds.knowledge.loading import load
from faultodds.safety import danger, danger_in
from faultodds.safety.danger import Rules

FAMILIES = tomllib.loads(Path(__file__).with_name("instructed.toml").read_text("utf-8"))
CLEARING, BOTH = FAMILIES.pop("clearing"), FAMILIES.pop("both")
# Words of the patterns that hear a family.
PLANTED = {"water": ("water", "flood", "puddle"), "volts": ("vol", "surge")}


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
    title = f"STOP. {FAMILIES[family]['title']}: "
    assert {line: told for line, told in shown.items() if not told.startswith(title)} == {}
    assert len(shown) >= 30


@pytest.mark.parametrize("family", FAMILIES)
def test_what_only_sounds_like_it_does_not(dryer: Knowledge, family: str) -> None:
    """None of them."""
    lines = FAMILIES[family]["calm"]
    assert [line for line in lines if stop_for(dryer, line)] == []
    assert len(set(lines)) >= 30


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
