"""One raw reading -> how likely each outcome of the check is."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from faultodds.errors import BadReading
from faultodds.readings import phrases
from faultodds.readings.bands import chance_below, edge_uncertainty, ends, segments, shares, standard_uncertainty
from faultodds.readings.numbers import neat
from faultodds.readings.parse import EXAMPLES, Quantity, leads_ohms, plain, quantity, said, take_leads
from faultodds.readings.problems import floor_of
from faultodds.readings.specs import ReadingSpec, Winding
from faultodds.readings.sums_heat import celsius, chart_ohms
from faultodds.readings.units import family_of, shown

SURE = 0.8
"""The verdict names an outcome from this likelihood up; below it the reading is borderline."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a reading says: `outcomes` are likelihoods that sum to 1; `value` is None for OL, a word or a list.

    `text` is the value for people, `spec` the band it was held against, `verdict` the outcome or "borderline", `note`
    what the technician should know about it (may be empty).
    """

    value: float | None
    unit: str
    text: str
    spec: str
    outcomes: dict[str, float]
    verdict: str
    note: str


@dataclass(slots=True)
class _Found:
    """A reading on its way to a judgement: what is shown, and what is held against the bands."""

    shown: Quantity
    outcomes: dict[str, float]
    notes: list[str] = field(default_factory=list)
    text: str = ""


def judge(
    spec: ReadingSpec,
    outcomes: Sequence[str],
    text: str,
    *,
    ambient: str | float | None = None,
    leads: str | float | None = None,
    fuel: str | None = None,
) -> Judgement:
    """Likelihood of each outcome of a check, given the raw reading `text`.

    `outcomes` are the check's, the normal one first. `ambient` is the room's temperature for a thermistor ("72F"; a bare
    float is in the chart's unit), `leads` the ohms of the test leads, `fuel` picks bands and heat content that depend on
    it. An outcome's likelihood is the chance that the true value lies in its band; meter and edge uncertainty as in
    `faultodds.readings.bands`. Raises `BadReading` with what was found, what is allowed and what to type next.
    """
    if not text.strip():
        raise BadReading(f"No reading was typed. Type for example {EXAMPLES[spec.kind]}.")
    raw, typed_leads = _without_leads(text, spec)
    taken = typed_leads if typed_leads is not None else leads_ohms(leads) if leads is not None else spec.leads
    named = said(raw, spec, outcomes)
    if named is not None:
        return _outright(named.outcome, raw, spec, outcomes, fuel)
    found = _read(spec, outcomes, raw, ambient, taken, fuel)
    return _judgement(found, spec, outcomes, fuel)


def _without_leads(text: str, spec: ReadingSpec) -> tuple[str, float | None]:
    return take_leads(text) if family_of(spec.kind) == "ohm" else (text, None)


def _read(
    spec: ReadingSpec, outcomes: Sequence[str], raw: str, ambient: str | float | None, leads: float, fuel: str | None
) -> _Found:
    match spec.kind:
        case "windings":
            return _windings(spec, outcomes, raw, leads)
        case "thermistor":
            return _thermistor(spec, outcomes, raw, ambient, leads)
        case "bench_heat":
            return _bench_heat(spec, outcomes, raw)
        case "dial":
            return _banded(spec, outcomes, phrases.btu_per_hour(raw, spec, fuel), fuel)
        case "moisture":
            return _banded(spec, outcomes, phrases.retained(raw, spec), fuel)
        case "angle":
            return _banded(spec, outcomes, phrases.slope(raw, spec), fuel)
        case "time":
            return _banded(spec, outcomes, phrases.minutes(raw, spec), fuel)
        case "resistance" | "continuity":
            return _banded(spec, outcomes, less_leads(quantity(raw, spec), leads, raw), fuel)
        case _:
            return _banded(spec, outcomes, quantity(raw, spec), fuel)


# --- the kinds ----------------------------------------------------------------------------------------------------------


def _banded(spec: ReadingSpec, outcomes: Sequence[str], value: Quantity, fuel: str | None) -> _Found:
    line = segments(spec.bands_of(fuel), spec.otherwise, floor_of(spec))
    chances = shares(spec, line, value.low, value.high, meter_uncertainty(spec, value.middle))
    found = _Found(value, _all(outcomes, chances))
    if spec.bands_for and fuel is None:
        found.notes.append(f"Judged without knowing the fuel; for {' or '.join(spec.bands_for)} the band differs.")
    return found


def _windings(spec: ReadingSpec, outcomes: Sequence[str], raw: str, leads: float) -> _Found:
    parts = phrases.split_windings(raw)
    names = [winding.name for winding in spec.windings]
    if len(parts) > len(names):
        raise BadReading(
            f"'{raw.strip()}' has {len(parts)} readings; this check has {len(names)} windings: {'; '.join(names)}. "
            f"Type one for each, in that order, for example {EXAMPLES['windings']}."
        )
    pairs = list(zip(spec.windings, parts, strict=False))
    values = [less_leads(quantity(part, _for_one(spec, winding)), leads, part) for winding, part in pairs]
    sound = [_in_winding(spec, winding, value) for (winding, _), value in zip(pairs, values, strict=True)]
    if len(parts) < len(names) and math.prod(sound) > 1 - SURE:
        raise BadReading(
            f"{len(parts)} of {len(names)} windings were read and none is clearly off. Read the rest too: "
            f"{'; '.join(names[len(parts) :])}. Type all {len(names)}, for example {EXAMPLES['windings']}."
        )
    return _of_windings(spec, outcomes, values, sound)


def _of_windings(spec: ReadingSpec, outcomes: Sequence[str], values: list[Quantity], sound: list[float]) -> _Found:
    good = math.prod(sound)
    worst = min(range(len(sound)), key=sound.__getitem__)
    found = _Found(values[worst], _all(outcomes, {outcomes[0]: good, outcomes[1]: 1.0 - good}))
    found.text = " / ".join(_text(value, spec.unit) for value in values)
    if good < SURE:
        winding = spec.windings[worst]
        state = "is open" if math.isinf(values[worst].low) else f"reads {_text(values[worst], spec.unit)}"
        found.notes.append(f"The {winding.name} {state}; its band is {neat(winding.low)} to {neat(winding.high)} ohm.")
    return found


def _for_one(spec: ReadingSpec, winding: Winding) -> ReadingSpec:
    # The plausible span of one winding, so that 1.15 is asked about but 560 is not.
    span = spec.plausible or [winding.low / 4, winding.high * 4]
    return ReadingSpec(kind=spec.kind, unit=spec.unit, plausible=list(span), limits=list(spec.limits))


def _in_winding(spec: ReadingSpec, winding: Winding, value: Quantity) -> float:
    line = segments({"in": [[winding.low, winding.high]]}, "out", 0.0)
    return shares(spec, line, value.low, value.high, meter_uncertainty(spec, value.middle)).get("in", 0.0)


def _thermistor(spec: ReadingSpec, outcomes: Sequence[str], raw: str, ambient: str | float | None, leads: float) -> _Found:
    reading, _, at = plain(raw).partition(" at ")
    value = less_leads(quantity(reading, spec), leads, raw)
    room = _room(spec, at or ambient, raw)
    expected = _chart_ohms(spec, room)
    line = segments(spec.bands, spec.otherwise, 0.0)
    if math.isinf(value.low):
        found = _Found(value, _all(outcomes, shares(spec, line, value.low, value.high, 0.0)))
    else:
        low, high = 100 * value.low / expected, 100 * value.high / expected
        u = _chart_uncertainty(spec, value, room, expected)
        found = _Found(value, _all(outcomes, shares(spec, line, low, high, u)))
        found.notes.append(f"{neat(round(100 * value.middle / expected))} % of the chart's value.")
    found.notes.insert(0, f"The chart gives {neat(expected)} ohm at {neat(room)} {spec.chart_unit}.")
    return found


def _room(spec: ReadingSpec, ambient: str | float | None, raw: str) -> float:
    if ambient is None:
        raise BadReading(
            f"'{raw.strip()}' can only be judged at a known temperature: the chart depends on it. "
            "Add the room's temperature, for example --ambient 72F."
        )
    if isinstance(ambient, int | float) and math.isfinite(ambient):
        return float(ambient)
    unit = spec.chart_unit
    span = [35.0, 115.0] if unit == "F" else [2.0, 46.0]
    room = quantity(str(ambient), ReadingSpec(kind="temperature", unit=unit, plausible=span))
    if math.isinf(room.low) or math.isinf(room.high):
        raise BadReading(f"'{ambient}' is not one temperature. Add the room's, for example --ambient 72F.")
    return room.middle


def _chart_ohms(spec: ReadingSpec, room: float) -> float:
    in_c = [(celsius(t) if spec.chart_unit == "F" else t, ohms) for t, ohms in spec.chart]
    return chart_ohms(in_c, celsius(room) if spec.chart_unit == "F" else room)


def _chart_uncertainty(spec: ReadingSpec, value: Quantity, room: float, expected: float) -> float:
    # In percent of the chart: the meter's part, and the chart's slope times how far the room may be off.
    rows = sorted(spec.chart)
    warmer = min(room + 1.0, rows[-1][0])
    cooler = max(warmer - 2.0, rows[0][0])
    slope = abs(math.log(_chart_ohms(spec, cooler) / _chart_ohms(spec, warmer))) / (warmer - cooler)
    ratio = 100 * value.middle / expected
    meter = 100 * meter_uncertainty(spec, value.middle) / expected
    return math.hypot(meter, ratio * slope * standard_uncertainty(spec.ambient_accuracy))


def _bench_heat(spec: ReadingSpec, outcomes: Sequence[str], raw: str) -> _Found:
    bench = phrases.bench_heat(raw, spec)
    line = segments(spec.bands, spec.otherwise)
    low, high = bench.opened.low - bench.rated, bench.opened.high - bench.rated
    chances = shares(spec, line, low, high, meter_uncertainty(spec, bench.opened.middle))
    found = _Found(bench.opened, _all(outcomes, chances))
    found.notes.append(f"Rated {neat(bench.rated)} {spec.unit}.")
    if math.isinf(bench.opened.high):
        found.text = f"still closed at {neat(bench.opened.low)} {spec.unit}"
        if max(chances.values()) < SURE:
            found.notes.append(f"Heat it on, past {neat(bench.rated + 25)} {spec.unit} or until it opens, and type that.")
    return found


# --- shared -------------------------------------------------------------------------------------------------------------


def meter_half_width(spec: ReadingSpec, value: float) -> float:
    """Accuracy of the meter at `value`, as +/- in the spec's unit: percent of reading plus counts of the last digit."""
    return abs(value) * spec.accuracy / 100 + spec.counts * spec.resolution


def meter_uncertainty(spec: ReadingSpec, value: float) -> float:
    """Standard uncertainty of the meter at `value`: half-width over sqrt 3 (JCGM 100:2008, 4.3.7); 0 for OL."""
    return standard_uncertainty(meter_half_width(spec, value)) if math.isfinite(value) else 0.0


def less_leads(value: Quantity, leads: float, typed: str) -> Quantity:
    """`value` with the test leads' ohms taken off; a reading within half an ohm of the leads is a dead short."""
    if leads == 0 or value.low == 0 or math.isinf(value.low):
        return value
    if value.high - leads < -0.5:
        raise BadReading(
            f"'{typed.strip()}' is less than the leads alone ({neat(leads)} ohm). "
            "Touch the tips together, read the leads again and type for example leads 0.3."
        )
    return Quantity(max(0.0, value.low - leads), max(0.0, value.high - leads))


def _all(outcomes: Sequence[str], chances: Mapping[str, float]) -> dict[str, float]:
    clipped = {outcome: min(1.0, max(0.0, chances.get(outcome, 0.0))) for outcome in outcomes}
    total = sum(clipped.values())
    return {outcome: share / total for outcome, share in clipped.items()}


def _text(value: Quantity, unit: str) -> str:
    if math.isinf(value.low) and value.low > 0:
        return "OL"
    if math.isinf(value.high):
        return f"over {neat(value.low)} {shown(unit)}"
    if value.low == value.high:
        return f"{neat(value.low)} {shown(unit)}"
    start = "" if math.isinf(value.low) else neat(value.low)
    return f"{start} to {neat(value.high)} {shown(unit)}" if start else f"under {neat(value.high)} {shown(unit)}"


def _judgement(found: _Found, spec: ReadingSpec, outcomes: Sequence[str], fuel: str | None) -> Judgement:
    best = max(outcomes, key=lambda outcome: found.outcomes[outcome])
    sure = found.outcomes[best] >= SURE
    notes = found.notes + _remarks(spec, found.shown)
    if not sure and not math.isinf(found.shown.high):
        notes.append(_borderline(found.outcomes, outcomes))
    finite = math.isfinite(found.shown.middle) and not (spec.kind == "windings" and " / " in found.text)
    return Judgement(
        value=found.shown.middle if finite else None,
        unit=spec.unit,
        text=found.text or _text(found.shown, spec.unit),
        spec=describe(spec, outcomes, fuel),
        outcomes=found.outcomes,
        verdict=best if sure else "borderline",
        note=" ".join(notes),
    )


def _borderline(chances: Mapping[str, float], outcomes: Iterable[str]) -> str:
    first, second = sorted(outcomes, key=lambda outcome: -chances[outcome])[:2]
    return f"Too near the edge between {first} and {second} to say: read it again, with good contact, before buying a part."


def _remarks(spec: ReadingSpec, value: Quantity) -> list[str]:
    at = value.middle
    return [remark.text for remark in spec.remarks if _inside(at, *ends([remark.low, remark.high]))]


def _inside(at: float, low: float, high: float) -> bool:
    return low <= at < high or (math.isinf(high) and at == high)


def _outright(outcome: str, raw: str, spec: ReadingSpec, outcomes: Sequence[str], fuel: str | None) -> Judgement:
    chances = {name: 1.0 if name == outcome else 0.0 for name in outcomes}
    note = "Taken as said, with no number: a number would tell how near the edge it is."
    return Judgement(None, spec.unit, raw.strip(), describe(spec, outcomes, fuel), chances, outcome, note)


def describe(spec: ReadingSpec, outcomes: Sequence[str], fuel: str | None = None) -> str:
    """The bands in one line, outcome by outcome: "good 1,000 to 1,300 ohm; off otherwise"."""
    if spec.kind == "windings":
        parts = [f"{winding.name} {neat(winding.low)} to {neat(winding.high)} ohm" for winding in spec.windings]
        return "; ".join([*parts, f"{spec.otherwise} when any is out"])
    unit = {"thermistor": "% of chart", "bench_heat": f"{spec.unit} from its rating"}.get(spec.kind, shown(spec.unit))
    bands = spec.bands_of(fuel)
    parts = [f"{name} {' or '.join(_span(*ends(band), spec) for band in bands[name])} {unit}" for name in outcomes if name in bands]
    return "; ".join([*parts, f"{spec.otherwise} otherwise"] if spec.otherwise else parts)


def _span(low: float, high: float, spec: ReadingSpec) -> str:
    if low <= floor_of(spec):
        return f"under {neat(high)}"
    return f"over {neat(low)}" if math.isinf(high) else f"{neat(low)} to {neat(high)}"


__all__ = ["SURE", "Judgement", "chance_below", "describe", "edge_uncertainty", "judge", "meter_half_width", "meter_uncertainty"]
