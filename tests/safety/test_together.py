"""Several dangers told of at once: one short list of steps, whole sentences, nothing twice, in an order that hurts nobody."""

from __future__ import annotations

import re
from itertools import combinations, permutations

import pytest

from faultodds.knowledge.loading import load
from faultodds.safety import danger, stops
from faultodds.safety.stops import stop_text, together

HAZARDS = ("gas", "co", "ill", "fire", "shock", "defeated")
OUT, LATER = re.compile(r"Everybody out\b"), re.compile(r"^(?:It|The dryer|The work)\b.*\b(?:stays? off|waits) until\b")
WORKS_A_SWITCH = re.compile(r"(?i)(?<!no )\b(?:breaker|main switch off|plug out|unplug\w*|power off|stop the dryer)\b")
CALLED = ("emergency number", "gas supplier", "fire service", "electricity supplier")


def _stops() -> dict[str, str]:
    """The stop of every sign, of every danger that a file has no sign for, and of every one with a title of its own."""
    k = load("gas_dryer")
    texts = [(stop.title, stop.steps) for stop in k.stop.values()]
    texts += [danger.usual_steps(hazard) for hazard in HAZARDS]
    texts += [(called.title, called.steps) for *_, called in danger.the_rules().named if called.steps]
    return {title: stop_text(f'{title}: "said"', steps) for title, steps in texts}


STOPS = _stops()
TOGETHER = [(*two,) for n in (2, 3) for two in combinations(STOPS, n)]


def _wrong(titles: tuple[str, ...]) -> list[str]:
    """What is amiss with the stop of some dangers."""
    _, *steps = [line.partition(". ")[2] for line in together(STOPS[t] for t in titles).splitlines()]
    sentences = [each for step in steps for each in re.split(r"(?<=\.) ", step)]
    clauses = [c for s in sentences if ": everybody out" not in s for c in s.split("; ")]
    told = [{t for t in CALLED if t in c} for c in clauses if re.match(r"(?i)(?:from outside.*)?call\b", c)]
    calls = [frozenset(each) for each in told if each]
    out = [n for n, step in enumerate(steps) if OUT.match(step)]
    late = [n for n, step in enumerate(steps) if LATER.match(step)]
    kinds = [danger.hazard_of("", t) for t in titles]
    gas, air = (
        "gas" in kinds,
        "shock" not in kinds
        and not any(t.startswith("exhaust that") for t in titles)
        and any("\n1. Everybody out" in STOPS[t] for t in titles),
    )
    water = [STOPS[t] for t in titles if t.startswith("water")]
    others = [s for s in sentences if not any(s.rstrip(".") in each for each in water)]
    air_only = [s for s in sentences if "on the way" not in s]
    return [
        what
        for what, is_so in (
            ("a torn sentence", any(not s[:1].isupper() or not s.endswith(".") for s in sentences)),
            ("said twice", len(sentences) != len(set(sentences))),
            ("sent out twice", sum(bool(OUT.match(s)) for s in sentences) > 1),
            ("called twice", len(calls) != len(set(calls))),
            ("out after what waits", bool(out and late) and out[0] > late[0]),
            ("too many steps", len(steps) > 5 * len(titles)),
            ("none sent out", not out and any("Everybody out" in STOPS[t] for t in titles)),
            ("a switch worked in water", bool(water) and any(map(WORKS_A_SWITCH.search, others))),
            ("a switch worked in bad air", air and any(map(WORKS_A_SWITCH.search, air_only))),
            ("a switch worked in gas", gas and any(map(WORKS_A_SWITCH.search, sentences))),
        )
        if is_so
    ]


def _all_wrong() -> dict[tuple[str, ...], list[str]]:
    return {titles: wrong for titles in TOGETHER if (wrong := _wrong(titles))}


def test_every_two_and_three_dangers_are_one_short_list() -> None:
    """Whole sentences, each said once; everybody sent out once; nobody called twice; no switch where there may be gas."""
    assert len(TOGETHER) > 1000
    assert _all_wrong() == {}


def test_a_planted_mistake_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Steps only put behind each other; sentences torn; switches kept."""
    with monkeypatch.context() as planted:
        planted.setattr(stops, "_once_each", lambda steps: list(dict.fromkeys(s for s in steps if s)))
        assert len(_all_wrong()) > 100
    with monkeypatch.context() as planted:
        planted.setattr(stops, "_sentences", lambda step: re.split(r"(?<=[.;]) ", step) if step else [])
        assert _all_wrong()
    monkeypatch.setattr(stops, "_without_switches", lambda step: step)
    assert _all_wrong()


def test_in_whatever_order_they_are_told() -> None:
    """The same list, but for dangers of the same rank."""
    titles = ("smell of gas", "carbon monoxide alarm", "smoke, scorching or flames")
    assert len({together(STOPS[t] for t in order) for order in permutations(titles)}) == 1
