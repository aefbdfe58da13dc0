"""What the cells of a column say it is, where its heading does not: shares of cells that look like one thing or another."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Final

from faultodds.joblog import callbacks, lexicon, money_and_time as amounts
from faultodds.joblog.stems import tokens, vocabulary

_JOB: Final = re.compile(r"#?[A-Za-z]{0,4}[-# ]?\d{1,9}(?:-\d+)?")
_COUNTED: Final = re.compile(r"#?\s?([A-Za-z]{0,4}[-# ]?)0*(\d{1,9})")
_WITH_UNIT: Final = re.compile(r"[a-z:]|\d\s*/\s*\d", re.I)
_BARE: Final = re.compile(r"\d+(?:[.,]\d+)?|\.\d+")
_ANSWER: Final = re.compile(r"y|n|yes|no", re.I)
_TICK: Final = re.compile(r"y|n|yes|no|x|true|false|[01*\u2713\u2714]", re.I)
_CODE: Final = re.compile(r"[A-Za-z][A-Za-z.]{0,11}(?:\d{0,3}| [A-Z]\.?)")
_MONEY: Final = re.compile(r"[$\u00a3\u20ac].*\d|\d[\d,]*[.,]\d\d(?:\s*\u20ac)?")
_SIGNED: Final = re.compile(r"\s*[$\u00a3\u20ac]\s*\d[\d,.]*|\s*\d[\d,.]*\s*[$\u00a3\u20ac]")
_CURRENCY: Final = re.compile(r"[$\u00a3\u20ac]|\busd\b|\beur\b|\bgbp\b", re.I)
NEARLY_ALL: Final = 0.95
MOST: Final = 0.6
FEWEST: Final = 3
"""A column is ticked when so many cells, and this share of them, are; what stands in the others is asked about."""
FEWEST_JOBS: Final = 0.5
GROWING: Final = 0.8
"""A log has so many job numbers to its rows, and this share of them larger than the one before; others' numbers do so by half."""
MOST_HOURS: Final = 12.0
"""A shop's jobs whose usual number is no more than this are written in hours."""


def share(texts: Sequence[str], counts: Mapping[str, int], read: Callable[[str], object]) -> float:
    """The share of cells that can be read."""
    total = sum(counts[text] for text in texts)
    return (
        sum(counts[text] for text in texts if (said := read(text)) is not None and said is not False) / total
        if total
        else 0.0
    )


def score(kind: str, texts: Sequence[str], counts: Mapping[str, int]) -> float:
    """How well a column without a heading fits a kind that is mostly told by it."""
    cells = sum(counts[text] for text in texts)
    few = len(counts) <= max(5, 0.1 * sum(counts.values()))
    match kind:
        case "job":
            codes = share(texts, counts, _JOB.fullmatch)
            return 0.8 if codes >= 0.95 and len(counts) >= 0.95 * sum(counts.values()) else 0.0
        case "minutes":
            return 0.95 * share(texts, counts, lambda t: _WITH_UNIT.search(t) and amounts.minutes(t) is not None)
        case "bill":
            return 0.75 * share(texts, counts, lambda t: _MONEY.fullmatch(t.strip()))
        case "ended":
            words = lexicon.of_endings()
            known = share(texts, counts, lambda t: lexicon.exact(words, t) or callbacks.AGAIN.search(t))
            return 0.7 * known if few and known >= 0.9 else 0.0
        case "technician":
            return 0.6 * share(texts, counts, lambda t: _CODE.fullmatch(t.strip())) if few and cells > 5 else 0.0
        case _:
            return 0.0


def counts_on(heading: str, counts: Mapping[str, int]) -> bool | None:
    """Whether the numbers under a heading that says no more than "No." or "#" grow, or fall, from row to row but for slips and
    second visits, as the jobs' do and nobody else's; None where the heading says more."""
    words = tokens(heading)
    if words not in {tokens(each) for each in vocabulary()["counting"]["words"]} and (words or "#" not in heading):
        return None
    numbers = [int(match[2]) for text in counts if (match := _COUNTED.fullmatch(text))]  # in the order of the rows
    if len(numbers) < NEARLY_ALL * len(counts) or len(numbers) < max(FEWEST, FEWEST_JOBS * sum(counts.values())):
        return False
    grow = sum(a < b for a, b in pairwise(numbers))
    return max(grow, len(numbers) - 1 - grow) >= GROWING * (len(numbers) - 1)


def is_money(heading: str, texts: Sequence[str], counts: Mapping[str, int]) -> bool:
    """Whether a column is of money, by the sign in its heading or in nearly all of its cells: no work and no finding."""
    return bool(_CURRENCY.search(heading)) or share(texts, counts, _SIGNED.fullmatch) >= NEARLY_ALL


def minutes(heading: str, texts: Sequence[str], counts: Mapping[str, int]) -> float:
    """The share of cells that are a time on the job; 0 where the heading says another time, or the numbers may be money."""
    if _CURRENCY.search(heading) or (not says_time(heading) and all(_BARE.fullmatch(text.strip()) for text in texts)):
        return 0.0
    return share(texts, counts, amounts.minutes)


def is_another_time(heading: str) -> bool:
    """Whether a heading is of a time that is not spent on the job: driving, waiting for parts, an appointment."""
    words = tokens(heading)
    other = {each for word in vocabulary()["not_on_the_job"]["words"] for each in tokens(word)}
    return (bool(set(words) & other) and bool(set(words) & set(tokens("travel drive")))) or (
        bool(set(words) & other)
        and bool(set(words) & {each for word in ("time", "wait", "turnaround") for each in tokens(word)})
    )


def is_zeros_and_ones(counts: Mapping[str, int]) -> bool:
    """Whether all that stands there is 0 and 1, and some 1: ticks, and no readings."""
    return "1" in counts and set(counts) <= {"0", "1"}


def all_bare(texts: Sequence[str]) -> bool:
    """Whether all cells are numbers alone, or all yes and no, which say nothing of what they count or answer."""
    typed = [text.strip() for text in texts]
    return all(map(_BARE.fullmatch, typed)) or all(map(_ANSWER.fullmatch, typed))


def is_tick(text: str) -> bool:
    """Whether a cell is ticked, or answers yes or no."""
    return bool(_TICK.fullmatch(text.strip()))


def is_ticked(counts: Mapping[str, int]) -> bool:
    """Whether most cells say yes or no, or are ticked or not."""
    ticks = sum(n for text, n in counts.items() if is_tick(text))
    return ticks >= max(FEWEST, MOST * sum(counts.values()))


def is_answers(texts: Sequence[str], counts: Mapping[str, int]) -> bool:
    """Whether a column answers yes or no, or is ticked, but for a slip or two: it is then nobody's name, code or number."""
    return share(texts, counts, is_tick) >= NEARLY_ALL


def says_time(heading: str) -> bool:
    """Whether a heading speaks of hours, minutes or time."""
    words = ("h", "min", "time", "hours", "hrs", "hr", "mins", "minutes", "duration")
    said = {each for word in words for each in tokens(word)}
    return bool(set(tokens(heading)) & said)


def unit_of_time(heading: str, texts: Sequence[str]) -> str:
    """What a bare number of minutes or hours is in: said by the heading, else told by how large most of them are."""
    words = set(tokens(heading))
    for unit, said in (
        ("hours", ("h", "hr", "hrs", "hour", "hours")),
        ("minutes", ("min", "mins", "minute", "minutes")),
    ):
        if words & {each for word in said for each in tokens(word)}:
            return unit
    bare = sorted(float(text.replace(",", ".")) for text in map(str.strip, texts) if _BARE.fullmatch(text))
    return "hours" if bare and bare[len(bare) // 2] <= MOST_HOURS else "minutes"
