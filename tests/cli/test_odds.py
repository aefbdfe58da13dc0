"""`odds`: how the odds came about, as an object and as text."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from hypothesis import assume, given, strategies as st

from run_cli import faultodds, write_toy
from toys import raw_toy

NEVER, SURE = -math.inf, math.inf


@pytest.fixture(scope="module")
def toy_file(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A toy appliance."""
    return str(write_toy(tmp_path_factory.mktemp("toy") / "toy.toml"))


def test_the_factors_of_the_object_multiply_to_the_odds_now(toy_file: str) -> None:
    """From the file's odds, a factor for each fact, finding and repair; beside it what taking it back would leave."""
    argv = ["--appliance", toy_file, "--found", "fuse_test=open", "--found", "slow=yes", "--repaired", "new_fuse"]
    got = faultodds("odds", "--json", *argv, "--after", "slow=yes").answer
    chance = {f"{o['component']}.{o['mode']}": o["probability"] for o in got["faults"]}
    for each in got["odds"]:
        names = [next(iter(f.items())) for f in each["factors"]]
        assert names == [
            ("found", "fuse_test=open"),
            ("found", "slow=yes"),
            ("repair", "new_fuse"),
            ("found", "slow=yes"),
        ]
        product = math.prod(f["factor"] for f in each["factors"]) * each["odds_in_file"]
        assert product == pytest.approx(each["odds_now"], rel=1e-4)
        assert product / (1 + product) == pytest.approx(chance[each["fault"]], rel=1e-4)
    fewer = faultodds("odds", "--json", *argv).answer
    chance = {f"{o['component']}.{o['mode']}": o["probability"] for o in fewer["faults"]}
    for each in got["odds"]:
        assert each["factors"][-1]["probability_without"] == pytest.approx(chance[each["fault"]], rel=1e-4)


def test_the_factors_of_the_text_multiply_to_the_odds_now() -> None:
    """What is read off the screen, rounded as it is, leads from the first odds of each list to its last."""
    argv = ["--fact", "control=timer", "--fact", "fuel=propane", "--found", "heat=none", "--found", "dry_time=longer"]
    text = faultodds("odds", *argv, "--repaired", "coil_set", "--after", "heat=cools_off").out
    assert "HOW THE ODDS CAME ABOUT" in text
    lists = re.split(r"    by the file ", text.partition("HOW THE ODDS CAME ABOUT")[2])[1:]
    assert len(lists) == 3
    for each in lists:
        told = [float(a) / float(b) for a, b in re.findall(r"odds ([\d.]+) to ([\d.]+)", each)]
        assert len(told) == 3
        steps = re.split(r"    at first ", each)
        for part, first, last in zip(steps, told, told[1:], strict=False):
            product = first
            for word, size in re.findall(r"^    (times|divided by) ([\d.]+)", part, re.M):
                product = product * float(size) if word == "times" else product / float(size)
            assert product == pytest.approx(last, rel=0.15), each


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [(0.0, math.log(3.24), "times 3.2"), (0.0, -math.log(4.5), "divided by 4.5"), (0.0, math.log(42), "times 42"),
     (0.0, -0.01, "times 1.0"), (1.0, 1.0, "times 1.0"), (0.0, NEVER, "rules it out"), (0.0, SURE, "proves it"),
     (NEVER, NEVER, "changes nothing"), (SURE, SURE, "changes nothing"), (SURE, 2.0, "no longer sure"),
     (SURE, NEVER, "rules it out"), (-800.0, 0.0, "times over a million"), (0.0, -800.0, "divided by over a million")],
)  # fmt: skip
def test_a_factor_in_words(before: float, after: float, words: str) -> None:
    """Times and divided by are words, and what has no number is said."""
    from faultodds_cli.shared.show_odds import factor_words

    assert factor_words(before, after) == words


@pytest.mark.parametrize(
    ("log_odds", "words"),
    [(0.0, "even odds"), (0.02, "even odds"), (-math.log(18), "odds 1 to 18"), (math.log(3.2), "odds 3.2 to 1"),
     (NEVER, "ruled out"), (SURE, "certain"), (-800.0, "odds 1 to over a million")],
)  # fmt: skip
def test_odds_in_words(log_odds: float, words: str) -> None:
    """As people say them."""
    from faultodds_cli.shared.show_odds import odds_words

    assert odds_words(log_odds) == words


@given(before=st.floats(), after=st.floats())
def test_no_word_for_odds_is_a_computers(before: float, after: float) -> None:
    """Whatever the numbers, no "inf" and no "nan"."""
    from faultodds_cli.shared.show_odds import factor_words, odds_words

    assume(not math.isnan(before) and not math.isnan(after))
    for words in (factor_words(before, after), odds_words(before)):
        assert not re.search(r"\b(inf|nan)", words)


def test_what_is_proved_and_then_repaired_is_said_in_words(tmp_path: Path) -> None:
    """No infinity on the screen or in the object where a check settles a fault for sure and a repair takes it for sure."""
    raw = raw_toy()
    raw["check"]["fuse_test"] |= {"leak": 0.0, "links": {"fuse.open": 1.0}}
    raw["repair"]["new_fuse"]["success"] = 1.0
    path = write_toy(tmp_path / "sure.toml", check=raw["check"], repair=raw["repair"])
    good = next(iter(raw["check"]["fuse_test"]["outcomes"]))
    argv = ["--appliance", str(path), "--found", "fuse_test=open"]
    proved = faultodds("odds", *argv).text
    assert "proves it fuse_test=open" in " ".join(proved.split())
    assert "now 100 %, certain" in " ".join(proved.split())
    for more in ([], ["--repaired", "new_fuse"], ["--repaired", "new_fuse", "--after", f"fuse_test={good}"]):
        out = faultodds("odds", "--json", "--top", "60", *argv, *more)
        assert not re.search(r"Infinity|NaN|\binf\b|\bnan\b", out.out + faultodds("odds", *argv, *more).out)
    factors = {each["fault"]: each for each in faultodds("odds", "--json", *argv).answer["odds"]}
    assert factors["fuse.open"]["odds_now"] is None
    assert factors["fuse.open"]["factors"][0]["factor"] is None
