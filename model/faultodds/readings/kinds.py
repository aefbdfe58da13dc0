"""Each kind of reading, from typed text to a chance for each outcome."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import permutations

from faultodds.errors import BadReading
from faultodds.readings.bands import segments, shares, standard_uncertainty
from faultodds.readings.meter import less_leads, meter_uncertainty
from faultodds.readings.numbers import neat
from faultodds.readings.parse import Quantity, plain, quantity, split_windings
from faultodds.readings.problems import floor_of
from faultodds.readings.specs import ReadingSpec, Winding
from faultodds.readings.spoken import EXAMPLES
from faultodds.readings.sums_heat import celsius, chart_ohms, copper_ohms, fahrenheit
from faultodds.readings.verdict import in_words, no_bands

# Below or above these shares of its band a winding reads as another one would, or as a bad one.
FAR_OFF = (0.7, 1.3)
SURE = 0.8
"""The verdict names an outcome from this likelihood up; below it the reading is borderline."""


ROOMS_C = (10.0, 38.0)
"""Rooms that a machine stands in, where nobody tells: a cold cellar to a hot garage."""


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What a reading may depend on besides itself: room temperature and ohms of the leads."""

    ambient: str | float | None
    leads: float


@dataclass(slots=True)
class Found:
    """A reading on its way to a judgement: the value, the chance of each outcome, what to say."""

    shown: Quantity
    outcomes: dict[str, float]
    notes: list[str] = field(default_factory=list)
    text: str = ""


def read(spec: ReadingSpec, outcomes: Sequence[str], raw: str, given: Circumstances) -> Found:
    """The chances that the reading `raw` gives to each outcome; raises `BadReading`."""
    match spec.kind:
        case "windings":
            return windings(spec, outcomes, raw, given)
        case "thermistor":
            return thermistor(spec, outcomes, raw, given)
        case "bench_heat":
            return bench_heat(spec, outcomes, raw)
        case _:
            return banded(spec, outcomes, raw, given)


def _value(spec: ReadingSpec, raw: str, given: Circumstances) -> Quantity:
    match spec.kind:
        case "dial" | "moisture" | "angle" | "time":
            return _phrase(spec, raw)
        case "resistance" | "continuity":
            return less_leads(quantity(raw, spec), given.leads, raw)
        case _:
            return quantity(raw, spec)


def _phrase(spec: ReadingSpec, raw: str) -> Quantity:
    # The patterns of phrases take longer to build than the rest of this room: only those who need them pay.
    from faultodds.readings import dial, phrases

    match spec.kind:
        case "dial":
            return dial.btu_per_hour(raw, spec)
        case "moisture":
            return phrases.retained(raw, spec)
        case "angle":
            return phrases.slope(raw, spec)
        case _:
            return phrases.minutes(raw, spec)


def banded(spec: ReadingSpec, outcomes: Sequence[str], raw: str, given: Circumstances) -> Found:
    """One value against the bands of the outcomes."""
    value = _value(spec, raw, given)
    line = segments(spec.bands, spec.otherwise, floor_of(spec))
    chances = shares(spec, line, value.low, value.high, meter_uncertainty(spec, value.middle))
    return Found(value, over_all(outcomes, chances), _gas_notes(spec, raw, value))


def _gas_notes(spec: ReadingSpec, raw: str, value: Quantity) -> list[str]:
    if spec.kind == "dial" and "btu" not in raw.casefold() and value.high > 0:
        return [f"Gas taken at {neat(spec.heating_value)} Btu a cubic foot."]
    return []


def over_all(outcomes: Sequence[str], chances: Mapping[str, float]) -> dict[str, float]:
    """A chance for every outcome, in the check's order, summing to 1."""
    clipped = {outcome: min(1.0, max(0.0, chances.get(outcome, 0.0))) for outcome in outcomes}
    total = sum(clipped.values())
    return {outcome: share / total for outcome, share in clipped.items()}


# --- windings ---


NOT_READ = frozenset(["-", "–", "?", "x", "skip"])


def windings(spec: ReadingSpec, outcomes: Sequence[str], raw: str, given: Circumstances) -> Found:
    """One reading for each winding, in the spec's order ("-" for one not read); any off makes the set off.

    With windings left unread, an off set is taken to have its bad winding anywhere, each equally likely: a
    good reading of one of three then says only a little. Where the bands are for one temperature, they are
    widened to that of the room, or as far as rooms differ when it is not told.
    """
    if not spec.has_bands:
        none = no_bands(spec)
        raise BadReading(f"{none[:1].upper()}{none[1:]}. Hold it against that, and type {' or '.join(outcomes)}.")
    typed, _, at = plain(raw).partition(" at ") if spec.windings_at is not None else (raw, "", "")
    told = at or given.ambient
    if spec.windings_at is None or told is None:
        return _in_any_room(spec, outcomes, typed, given.leads)
    room = _room(spec, told, raw)
    warmed = _warmed(spec, room, room)
    found = _windings(warmed, warmed, outcomes, typed, given.leads)
    found.notes.append(f"Its bands reach to a room of {neat(room)} {spec.chart_unit}.")
    return found


def _in_any_room(spec: ReadingSpec, outcomes: Sequence[str], typed: str, leads: float) -> Found:
    if spec.windings_at is None:
        return _windings(spec, spec, outcomes, typed, leads)
    cool, hot = (round(fahrenheit(c)) if spec.chart_unit == "F" else c for c in ROOMS_C)
    found = _windings(_warmed(spec, cool, hot), spec, outcomes, typed, leads)
    as_written = _windings(spec, spec, outcomes, typed, leads)
    if abs(found.outcomes[outcomes[0]] - as_written.outcomes[outcomes[0]]) > 1 - SURE:
        span = f"{neat(cool)} to {neat(hot)} {spec.chart_unit}"
        found.notes.append(
            f"It depends on the room: judged for any of {span}. Tell it, for example {typed.strip()} at 95F, to judge it closer."
        )
    return found


def _warmed(spec: ReadingSpec, cool: float, hot: float) -> ReadingSpec:
    """The windings' bands widened to rooms from `cool` to `hot`, in chart_unit, by copper's rule; to whole ohms.

    Never narrower than written: in which room a band was found good is known to a few degrees only, and a part warms slowly.
    """
    assert spec.windings_at is not None
    temperatures = (spec.windings_at, min(cool, spec.windings_at), max(hot, spec.windings_at))
    at, least, most = (celsius(t) if spec.chart_unit == "F" else t for t in temperatures)
    ends = [(w.name, copper_ohms(w.low, at, least), copper_ohms(w.high, at, most)) for w in spec.windings]
    return replace(spec, windings=[Winding(name, round(low), round(high)) for name, low, high in ends])


def _windings(spec: ReadingSpec, near: ReadingSpec, outcomes: Sequence[str], raw: str, leads: float) -> Found:
    """`near`: the bands by which a reading typed in another's place is known."""
    names = [winding.name for winding in spec.windings]
    parts = split_windings(raw)
    if len(parts) > len(names):
        raise BadReading(
            f"'{raw.strip()}' has {len(parts)} readings; this check has {len(names)} windings: "
            f"{'; '.join(names)}. Type one for each, in that order, for example {EXAMPLES['windings']}."
        )
    seen = [(w, part) for w, part in zip(spec.windings, parts, strict=False) if part not in NOT_READ]
    if not seen:
        raise BadReading(f"'{raw.strip()}' has no reading in it. Type for example {EXAMPLES['windings']}.")
    readings = [(winding, less_leads(quantity(part, _for_one(spec, winding)), leads, part)) for winding, part in seen]
    if len(readings) < len(names):
        _ask_which(near, readings)
    else:
        _ask_order(near, readings, raw)
    return _of_windings(spec, outcomes, readings)


def _ask_which(spec: ReadingSpec, readings: Sequence[tuple[Winding, Quantity]]) -> None:
    # With fewer readings than windings, one that suits another winding was probably typed in the wrong place.
    for winding, value in readings:
        suits = [other.name for other in spec.windings if _in_winding(spec, other, value) > 0.5]
        if suits and winding.name not in suits:
            raise BadReading(
                f"{in_words(value, spec.unit)} was typed for the {winding.name}, and suits the {suits[0]}. "
                f"Type all {len(spec.windings)} in order, - for one not read, for example -/-/560."
            )


def _ask_order(spec: ReadingSpec, readings: Sequence[tuple[Winding, Quantity]], raw: str) -> None:
    # Good windings typed in another order are no fault; one a little out of its band is not in another's place.
    if not any(v.high < FAR_OFF[0] * w.low or v.low > FAR_OFF[1] * w.high for w, v in readings):
        return
    values, windings = [value for _, value in readings], [winding for winding, _ in readings]

    def good(order: Sequence[Quantity]) -> bool:
        return all(_in_winding(spec, w, v) > 0.5 for w, v in zip(windings, order, strict=True))

    other = next((order for order in permutations(values) if good(order)), None)
    if other is not None and not good(values):
        raise BadReading(
            f"'{raw.strip()}' would be good in the order {'; '.join(w.name for w in windings)}: "
            f"{' / '.join(in_words(v, spec.unit) for v in other)}. Which is which? Type all {len(windings)} in that order."
        )


def _of_windings(spec: ReadingSpec, outcomes: Sequence[str], readings: Sequence[tuple[Winding, Quantity]]) -> Found:
    sound = [_in_winding(spec, winding, value) for winding, value in readings]
    good, unread = math.prod(sound), 1.0 - len(readings) / len(spec.windings)
    winding, value = readings[min(range(len(sound)), key=sound.__getitem__)]
    found = Found(value, over_all(outcomes, {outcomes[0]: good, outcomes[1]: 1.0 - good + good * unread}))
    found.text = " / ".join(in_words(each, spec.unit) for _, each in readings)
    if good < SURE:
        state = "is open" if math.isinf(value.low) else f"reads {in_words(value, spec.unit)}"
        band = f"{neat(winding.low)} to {neat(winding.high)} ohm"
        found.notes.append(f"The {winding.name} {state}; its band is {band}.")
    elif unread:
        names = [each.name for each in spec.windings if each not in [w for w, _ in readings]]
        found.notes.append(f"Not read yet: {'; '.join(names)}.")
    return found


def _for_one(spec: ReadingSpec, winding: Winding) -> ReadingSpec:
    # The plausible span of one winding, so that 1.15 is asked about but 560 is not.
    span = spec.plausible or [winding.low / 4, winding.high * 4]
    return ReadingSpec(kind=spec.kind, unit=spec.unit, plausible=list(span), limits=list(spec.limits))


def _in_winding(spec: ReadingSpec, winding: Winding, value: Quantity) -> float:
    line = segments({"in": [[winding.low, winding.high]]}, "out", 0.0)
    return shares(spec, line, value.low, value.high, meter_uncertainty(spec, value.middle)).get("in", 0.0)


# --- thermistor ---


def thermistor(spec: ReadingSpec, outcomes: Sequence[str], raw: str, given: Circumstances) -> Found:
    """A resistance against the chart's at the room's temperature, in percent of it."""
    reading, _, at = plain(raw).partition(" at ")
    value = less_leads(quantity(reading, spec), given.leads, raw)
    room = _room(spec, at or given.ambient, raw)
    expected = _chart_ohms(spec, room)
    line = segments(spec.bands, spec.otherwise, 0.0)
    low, high = 100 * value.low / expected, 100 * value.high / expected
    u = _chart_uncertainty(spec, value, room, expected) if math.isfinite(value.middle) else 0.0
    found = Found(value, over_all(outcomes, shares(spec, line, low, high, u)))
    found.notes.append(f"The chart gives {neat(round(expected))} ohm at {neat(room)} {spec.chart_unit}.")
    if math.isfinite(value.middle):
        found.notes.append(f"This is {neat(round(100 * value.middle / expected))} % of it.")
    return found


def refuse_no_room(text: str) -> None:
    """Raise BadReading where a text is the temperature of no room, whatever is judged by it."""
    try:
        _room(ReadingSpec(kind="thermistor", chart_unit="C"), text, text)
    except BadReading:
        _room(ReadingSpec(kind="thermistor", chart_unit="F"), text, text)


def _room(spec: ReadingSpec, ambient: str | float | None, raw: str) -> float:
    if ambient is None:
        raise BadReading(
            f"'{raw.strip()}' can only be judged at a known temperature: the chart depends on it. "
            "Add the room's temperature, for example --ambient 72F."
        )
    if isinstance(ambient, int | float) and math.isfinite(ambient):
        return float(ambient)
    span = [35.0, 115.0] if spec.chart_unit == "F" else [2.0, 46.0]
    limits = [] if spec.chart else [span[0] - 35, span[1] + 35]  # a chart has ends of its own
    try:
        room = quantity(
            str(ambient), ReadingSpec(kind="temperature", unit=spec.chart_unit, plausible=span, limits=limits)
        )
    except BadReading as error:
        raise BadReading(f"The room's temperature (--ambient 72F): {error}") from None
    if math.isinf(room.low) or math.isinf(room.high):
        raise BadReading(f"'{ambient}' is not one temperature. Add the room's, for example --ambient 72F.")
    return room.middle


def _chart_ohms(spec: ReadingSpec, room: float) -> float:
    in_c = [(celsius(t) if spec.chart_unit == "F" else t, ohms) for t, ohms in spec.chart]
    return chart_ohms(in_c, celsius(room) if spec.chart_unit == "F" else room)


def _chart_uncertainty(spec: ReadingSpec, value: Quantity, room: float, expected: float) -> float:
    # In percent of the chart: the meter's part, and the chart's slope times how far the room may be off.
    warmer = min(room + 1.0, max(row[0] for row in spec.chart))
    slope = math.log(_chart_ohms(spec, warmer - 2.0) / _chart_ohms(spec, warmer)) / 2.0
    meter = 100 * meter_uncertainty(spec, value.middle) / expected
    room_part = 100 * value.middle / expected * slope * standard_uncertainty(spec.ambient_accuracy)
    return math.hypot(meter, room_part)


# --- a thermostat heated on the bench ---


def bench_heat(spec: ReadingSpec, outcomes: Sequence[str], raw: str) -> Found:
    """The temperature at which a thermostat opened, in degrees from its rating."""
    from faultodds.readings import phrases

    bench = phrases.bench_heat(raw, spec)
    line = segments(spec.bands, spec.otherwise)
    low, high = bench.opened.low - bench.rated, bench.opened.high - bench.rated
    chances = shares(spec, line, low, high, meter_uncertainty(spec, bench.opened.middle))
    found = Found(bench.opened, over_all(outcomes, chances))
    found.notes.append(f"Rated {neat(bench.rated)} {spec.unit}.")
    if math.isinf(bench.opened.high):
        found.text = f"still closed at {neat(bench.opened.low)} {spec.unit}"
        if max(chances.values()) < SURE:
            further = f"past {neat(bench.rated + 25)} {spec.unit}"
            found.notes.append(f"Heat it on, {further} or until it opens, and type that.")
    return found
