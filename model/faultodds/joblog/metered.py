"""Raw readings in a log ("1.15k", "0.14 wc", "84 s") judged into likelihoods, with nobody there to ask.

What is missing in a cell and cannot be asked for (which dial, the thermostat's rating, the room's temperature, a unit)
comes from the column's assumptions, which the mapping file states and the shop may change.
"""

from __future__ import annotations

import contextlib
import dataclasses
import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

from faultodds.errors import BadReading, FaultoddsError
from faultodds.joblog.clean import cell_of
from faultodds.joblog.stems import trade
from faultodds.knowledge import Knowledge
from faultodds.readings import (
    OPEN_WORDS,
    PLACES,
    RIVALS,
    ReadingSpec,
    convert,
    family_of,
    judge,
    over_all,
    plausible_span,
    quantity,
    shown,
    split_windings,
    unit_named,
)

FEW: Final = 5
NO_DIAL: Final = "which dial is missing"
ENOUGH: Final = 20
"""Readings from which a column is trusted to tell its own room temperature."""
FAR_OUT: Final = 3.0
FAR_OUT_OHMS: Final = 10.0
"""A number this many times beyond what a check can plausibly show is a slip of the pen, not a reading."""
_PLACEHOLDER = re.compile(r"9{4,}|12345\d*|0{3,}")
_BARE = re.compile(r"[-+]?(?:\d{1,9}|\d{1,3}(?:,\d{3}){1,2})?(?:\.\d{1,9})?(?<=\d)", re.A)
_NUMBER = re.compile(r"[-+]?\d[\d.,]*")
_SECONDS = re.compile(r"(\d{1,9}(?:\.\d{1,9})?)\s{0,3}(?:s|sec|secs|seconds?)?", re.I | re.A)
_DIAL = re.compile(r"(?:ft|foot|feet|cf|turn|m3|litre|liter)", re.I)


@dataclass(frozen=True)
class Metered:
    """A reading judged: the cell for the clean log, or why there is none; `mended` says what was supplied."""

    cell: str | None
    problem: str = ""
    impossible: bool = False
    mended: str = ""


Facts = Mapping[str, str]


def looks_metered(text: str, spec: ReadingSpec) -> bool:
    """Whether a cell looks like a number read off an instrument, or its "OL"."""
    return any(c.isdigit() for c in text) or (family_of(spec.kind) == "ohm" and text.strip().casefold() in OPEN_WORDS)


def at_several_places(knowledge: Knowledge, names: Iterable[str]) -> bool:
    """Whether several numbers of one check are several places, of which the worst counts."""
    specs = [knowledge.reading[name] for name in names if name in knowledge.reading]
    return any(spec.kind in PLACES for spec in specs)


def assumptions_for(knowledge: Knowledge, name: str) -> dict[str, str]:
    """What a column of readings of check `name` needs to have assumed unless each cell says it."""
    spec, usual = knowledge.reading[name], _usual(knowledge)
    match spec.kind:
        case "thermistor":
            return {"room": usual["room"]} if "room" in usual else {}
        case "bench_heat":
            return {"rated": usual["rated"]} if "rated" in usual else {}
        case "windings":
            return {"lone_winding": "stands for the set"}
        case _:
            return {}


def usual_unit(texts: Iterable[str], spec: ReadingSpec) -> str | None:
    """The unit of a temperature column's bare numbers: F or C, whichever makes more of them plausible; None when none are.

    Of a temperature a low number may be the finding (no heat), so that it cannot be told number by number.
    """
    span = plausible_span(spec)
    bare = [float(t.replace(",", "")) for t in texts if _BARE.fullmatch(t)]
    if spec.kind not in ("temperature", "bench_heat") or not bare or not span:
        return None
    units = [spec.unit, *(u for u in RIVALS.get(spec.unit, ()) if u != spec.unit)]
    fits = {unit: sum(span[0] <= convert(value, unit, spec) <= span[1] for value in bare) for unit in units}
    return shown(max(units, key=fits.__getitem__))


def usual_dial(knowledge: Knowledge, texts: Iterable[str], spec: ReadingSpec) -> str | None:
    """The dial that a column's seconds are for: named in some cells, else the one that makes the middle reading a sound burner.

    None when no dial does, or there are too few readings to tell.
    """
    texts, usual = list(texts), _usual(knowledge)
    named = Counter(dial for text in texts if (dial := dial_in(text)))
    if named:
        return named.most_common(1)[0][0]
    seconds = sorted(float(m[1]) for text in texts if (m := _SECONDS.fullmatch(text.strip())) and float(m[1]) > 0)
    low = max(float(band[0] or 0.0) for band in spec.bands.get("normal", [[0.0]]) if band[0] != "OL")
    if len(seconds) < FEW or not low:
        return None
    middle = seconds[len(seconds) // 2]
    rates = {dial: 3600.0 * feet / middle * spec.heating_value for dial, feet in usual.get("dials", {}).items()}
    sound = [dial for dial, rate in rates.items() if low <= rate <= usual["sound"] * low]
    return sound[0] if len(sound) == 1 else None


def usual_room(texts: Iterable[str], spec: ReadingSpec) -> str | None:
    """The room's temperature at which the middle reading of a thermistor column is on the chart: most of them are sound.

    None with too few readings to tell.
    """
    read: list[float] = []
    for text in texts:
        with contextlib.suppress(FaultoddsError):
            read.append(quantity(text, spec).middle)
    sound = sorted(ohms for ohms in read if spec.chart[-1][1] < ohms < spec.chart[0][1])
    if len(sound) < ENOUGH:
        return None
    middle = sound[len(sound) // 2]
    (warm, few), (cool, many) = next(
        (b, a) for a, b in pairwise(spec.chart) if min(a[1], b[1]) <= middle <= max(a[1], b[1])
    )
    share = math.log(middle / few) / math.log(many / few)
    return f"{round(warm + share * (cool - warm))}{spec.chart_unit}"


def unit_in_heading(words: tuple[str, ...], spec: ReadingSpec) -> str | None:
    """A unit that a heading ends in ("static_wc", "hood_fpm"), unless it is the check's own."""
    if len(words) < 2 or spec.kind in ("dial", "bench_heat", "windings"):
        return None
    unit = unit_named(words[-1], spec.kind)
    return shown(unit) if unit and unit != spec.unit and len(words[-1]) > 1 else None


def read_metered(
    knowledge: Knowledge, name: str, text: str, given: Mapping[str, str], facts: Facts | None = None
) -> Metered:
    """Judge one cell of a log as a reading of check `name`; `given` are the column's assumptions, `facts` the row's."""
    spec, outcomes = knowledge.reading[name], list(knowledge.observables[name].outcomes)
    typed, mended = _completed(text.strip(), spec, given)
    if _PLACEHOLDER.fullmatch(re.sub(r"\D", "", typed)) and not _is_small(typed):
        return Metered(None, "a made-up number", impossible=True)
    usual = _usual(knowledge)
    off = usual.get("room_off", spec.ambient_accuracy)
    spec = dataclasses.replace(spec, ambient_accuracy=off) if spec.kind == "thermistor" else spec
    try:
        if _far_out(typed, spec, usual.get("coldest_f", -math.inf)):
            return Metered(None, "beyond anything this check shows", impossible=True)
        return Metered(_judged(spec, outcomes, typed, given, facts), mended=mended)
    except FaultoddsError as error:
        return _in_another_unit(spec, outcomes, typed, given, facts) or _refused(error, typed)


def _is_small(typed: str) -> bool:
    return len(re.sub(r"\D", "", typed)) < 4


def _completed(typed: str, spec: ReadingSpec, given: Mapping[str, str]) -> tuple[str, str]:
    """The text with what the column's assumptions add to it, and what that was."""
    added = []
    if "unit" in given and _BARE.fullmatch(typed):
        typed = f"{typed} {given['unit']}"
        added += [f"taken as {given['unit']}"] if given["unit"] != shown(spec.unit) else []
    match spec.kind:
        case "dial" if "dial" in given and not _DIAL.search(typed) and re.search(r"[1-9]", typed):
            seconds = typed if re.search(r"[a-z]", typed, re.I) else f"{typed} s"
            typed = f"{seconds} per {given['dial']}"
            added.append(f"taken per {given['dial']}")
        case "bench_heat" if "rated" in given and "rat" not in typed.casefold() and "/" not in typed:
            typed = f"opened at {typed}, rated {given['rated']}"
        case "moisture" if given.get("bare") == "share" and is_share(typed):
            typed = f"{float(typed) * 100:g} %"
            added.append("taken as a share")
    return typed, "; ".join(added)


def is_share(typed: str) -> bool:
    """Whether a bare number can only be a share of the dry weight ("0.45")."""
    return bool(_BARE.fullmatch(typed)) and "," not in typed and 0 < abs(float(typed)) < 2


def _judged(spec: ReadingSpec, outcomes: list[str], typed: str, given: Mapping[str, str], facts: Facts | None) -> str:
    if spec.kind == "windings" and "lone_winding" in given and len(split_windings(typed)) == 1:
        return _lone_winding(spec, outcomes, typed)
    return cell_of(judge(spec, outcomes, typed, ambient=given.get("room"), facts=facts).outcomes)


def _lone_winding(spec: ReadingSpec, outcomes: list[str], typed: str) -> str:
    """One number for the set: good as far as it suits any winding."""
    suits = 0.0
    for place, _ in enumerate(spec.windings):
        one = dataclasses.replace(spec, windings=[spec.windings[place]])
        suits = max(suits, judge(one, outcomes, typed).outcomes[outcomes[0]])
    return cell_of(over_all(outcomes, {outcomes[0]: suits, outcomes[1]: 1.0 - suits}))


def _usual(knowledge: Knowledge) -> Mapping[str, Any]:
    """What is usual in readings of an appliance, from its file of words in logs."""
    found: Mapping[str, Any] = trade(knowledge.appliance.id).get("readings", {})
    return found


def _far_out(typed: str, spec: ReadingSpec, coldest: float) -> bool:
    ohms, cold = family_of(spec.kind) == "ohm", family_of(spec.kind) == "temperature"
    span = plausible_span(spec)
    if not span or spec.kind in ("dial", "moisture", "angle", "time", "windings", "bench_heat"):
        return False
    try:
        value = quantity(typed, spec).middle
    except BadReading:
        return False  # said again, with its reason, by the judging
    factor = FAR_OUT_OHMS if ohms else FAR_OUT
    too_cold = cold and convert(value, spec.unit, dataclasses.replace(spec, unit="F")) < coldest
    return math.isfinite(value) and (value > span[1] * factor or too_cold)


def _in_another_unit(
    spec: ReadingSpec, outcomes: list[str], typed: str, given: Mapping[str, str], facts: Facts | None
) -> Metered | None:
    """A bare number that makes sense in one other unit only ("1.15" for a coil of 1.15 k)."""
    span = plausible_span(spec)
    if not _BARE.fullmatch(typed) or not span:
        return None
    fitting = [
        shown(unit)
        for unit in RIVALS.get(spec.unit, ())
        if unit != spec.unit and span[0] <= convert(abs(float(typed.replace(",", ""))), unit, spec) <= span[1]
    ]
    if len(fitting) != 1 or typed.startswith("-"):
        return None
    try:
        return Metered(_judged(spec, outcomes, f"{typed} {fitting[0]}", given, facts), mended=f"taken as {fitting[0]}")
    except FaultoddsError:
        return None


def _refused(error: FaultoddsError, typed: str) -> Metered:
    said = str(error)
    impossible = any(
        words in said for words in ("below zero", "outside anything", "no household meter", "is not a unit of it")
    )
    is_number = (
        bool(_NUMBER.search(typed)) and ("cannot be read" not in said or "not a unit" in said) and "missing" not in said
    )
    return Metered(None, said.split(". ")[0].rstrip("."), impossible=impossible and is_number)


def dial_in(text: str) -> str | None:
    """The dial that a cell names: "84 s/half ft" -> "half ft"; None when it names none."""
    match = re.search(
        r"(?:/|per|a)\s*((?:half|quarter|one|two|\d[\d./]*)?\s*-?\s*(?:cu\.?\s*)?(?:ft|foot|feet|cf)\b)", text, re.I
    )
    return " ".join(match[1].split()).casefold() if match else None
