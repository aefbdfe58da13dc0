"""One raw reading -> how likely each outcome of the check is."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from faultodds.errors import BadReading
from faultodds.readings.bands import ends
from faultodds.readings.kinds import SURE, Circumstances, Found, read
from faultodds.readings.meter import leads_note
from faultodds.readings.parse import Quantity, leads_ohms, refuse_long, said, take_leads
from faultodds.readings.specs import ReadingSpec
from faultodds.readings.spoken import EXAMPLES
from faultodds.readings.units import family_of
from faultodds.readings.verdict import borderline, describe, in_words


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a reading says: `outcomes` sum to 1; `value` is None for OL, a word or several windings.

    `text` is the value for people, `spec` the band it was held against, `verdict` the outcome or
    "borderline", `note` what the technician should know about it (may be empty).
    """

    value: float | None
    unit: str
    text: str
    spec: str
    outcomes: dict[str, float]
    verdict: str
    note: str


def judge(
    spec: ReadingSpec,
    outcomes: Sequence[str],
    text: str,
    *,
    ambient: str | float | None = None,
    leads: str | float | None = None,
    facts: Mapping[str, str] | None = None,
) -> Judgement:
    """Likelihood of each outcome of a check, given the raw reading `text`.

    `outcomes` are the check's, the normal one first. `ambient` is the room's temperature for a thermistor or copper
    windings ("72F"; a bare float is in the chart's unit), `leads` the ohms of the test leads, `facts` what is told of the
    machine: it picks what depends on the spec's `fact`. An outcome's likelihood is the chance that the true value lies in
    its band; meter and edge uncertainty as in `faultodds.readings.bands`. Raises `BadReading` with what was found, what is
    allowed and what to type next.
    """
    refuse_long(text)
    if not text.strip():
        raise BadReading(f"No reading was typed. Type for example {EXAMPLES[spec.kind]}.")
    value = (facts or {}).get(spec.fact)
    untold, spec = value is None, spec.given(value)
    raw, typed_leads = take_leads(text) if family_of(spec.kind) == "ohm" else (text, None)
    given = Circumstances(ambient, _leads(typed_leads, leads, spec))
    named = said(raw, spec, outcomes)
    found = _outright(named.outcome, raw, outcomes) if named else read(spec, outcomes, raw, given)
    found.notes += _untold(spec) if untold and not named else []
    return _judgement(found, spec, outcomes)


def _untold(spec: ReadingSpec) -> list[str]:
    """Which fact would have been needed."""
    others = sorted({*spec.bands_for, *spec.windings_for})
    if not others:
        return []
    about = spec.fact.replace("_", " ")
    return [f"Judged without knowing the {about}; for {' or '.join(others)} the band differs (fact {spec.fact})."]


def _leads(typed: float | None, given: str | float | None, spec: ReadingSpec) -> float:
    if typed is not None:
        return typed
    return spec.leads if given is None else leads_ohms(given)


def _outright(outcome: str, raw: str, outcomes: Sequence[str]) -> Found:
    chances = {name: 1.0 if name == outcome else 0.0 for name in outcomes}
    note = "Taken as said, with no number: a number would tell how near the edge it is."
    return Found(Quantity(math.nan, math.nan), chances, [note], raw.strip())


def _judgement(found: Found, spec: ReadingSpec, outcomes: Sequence[str]) -> Judgement:
    best = max(outcomes, key=lambda outcome: found.outcomes[outcome])
    sure = found.outcomes[best] >= SURE
    notes = found.notes + leads_note(found.shown) + _remarks(spec, found, best)
    if not sure and not math.isinf(found.shown.high) and "Not read yet" not in " ".join(notes):
        notes.append(borderline(found.outcomes, outcomes))
    single = spec.kind != "windings" and math.isfinite(found.shown.middle)
    return Judgement(
        value=found.shown.middle if single else None,
        unit=spec.unit,
        text=found.text or in_words(found.shown, spec.unit),
        spec=describe(spec, outcomes),
        outcomes=found.outcomes,
        verdict=best if sure else "borderline",
        note=" ".join(notes),
    )


def _remarks(spec: ReadingSpec, found: Found, best: str) -> list[str]:
    at = found.shown.middle
    if math.isnan(at):  # an outcome named outright: the remarks that hold all over its bands
        spans = [ends(band) for band in spec.bands.get(best, [])]
        return [remark.text for remark in spec.remarks if spans and _holds(ends([remark.low, remark.high]), spans)]
    return [remark.text for remark in spec.remarks if _inside(at, *ends([remark.low, remark.high]))]


def _holds(over: tuple[float, float], spans: Sequence[tuple[float, float]]) -> bool:
    return all(over[0] <= low and high <= over[1] for low, high in spans)


def _inside(at: float, low: float, high: float) -> bool:
    return low <= at < high or (math.isinf(high) and at == high)
