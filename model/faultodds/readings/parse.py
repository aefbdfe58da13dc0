"""What a technician typed -> a quantity in the check's own unit, or a question back.

A reading is never guessed at: a bare number that only makes sense in another unit is asked about.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from faultodds.errors import BadReading
from faultodds.readings.bands import ends
from faultodds.readings.numbers import NUMBER, either_way, neat, number
from faultodds.readings.specs import ReadingSpec
from faultodds.readings.spoken import BEEP_WORDS, BELOW_ZERO, EXAMPLES, LIMITS, OPEN_WORDS, SHORT_WORDS, SILENT_WORDS
from faultodds.readings.units import RIVALS, convert, family_of, is_small_m, known_units, shown, unit_named

LONGEST_READING = 200
_LEAD_IN = re.compile(
    r"^(?:about|approx\.?|approximately|around|roughly|reads?|reading|measures?|"
    r"cuts? (?:off|out) at|cycles?(?: at)?"
    r"|between|from|peaks? at|~|≈|=)\s*",
    re.IGNORECASE,
)
_LEADS = re.compile(
    rf"[,;(]?\s*(?:less |minus )?leads?\s*(?:=|of|are|is|:)?\s*({NUMBER})\s*(ohms?|Ω)?\s*\)?", re.IGNORECASE
)
_UNIT = r"(?:[^\d\s<>].*?)?"
_RANGE = re.compile(rf"({NUMBER})\s*({_UNIT})\s*(?:-|–|—|\bto\b|\band\b|\.\.+)\s*({NUMBER})\s*({_UNIT})", re.IGNORECASE)
_SPREAD = re.compile(rf"({NUMBER})\s*({_UNIT})\s*(?:±|\+/-|\+-)\s*({NUMBER})\s*({_UNIT})")
_ONE = re.compile(rf"({NUMBER})\s*({_UNIT})")
_BEYOND = re.compile(r"(<|>|≥|≤|over|under|above|below|more than|less than)\s*", re.IGNORECASE)
_SLASHED = re.compile(r"(\d+)\s*/\s*(\d+)(?:\s*/\s*\d+)*")
# Kinds that are read as a part of something: half a foot on the dial, 3/16 in a foot, 1/2 in w.c.
FRACTIONS = frozenset({"dial", "angle", "pressure"})
# Kinds of which several readings are several places, and the worst one counts.
PLACES = frozenset({"concentration"})
_CODED = re.compile(r"(\d+)([kKMRr])(\d+)")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A typed reading in the spec's unit, from `low` to `high`: equal for a plain number, infinite for OL.

    `typed`: both ends before the leads were taken off, where they were; people are shown what they typed.
    """

    low: float
    high: float
    typed: tuple[float, float] | None = None

    @property
    def middle(self) -> float:
        """The value to show: halfway, or the finite end of an open-ended reading."""
        if math.isinf(self.low) or math.isinf(self.high):
            return self.high if math.isinf(self.low) else self.low
        return (self.low + self.high) / 2


@dataclass(frozen=True, slots=True)
class Said:
    """An outcome named outright instead of a number."""

    outcome: str


OPEN = Quantity(math.inf, math.inf)


def refuse_long(text: str) -> None:
    """Raise BadReading for a text that is longer than any reading, before any pattern is held against it."""
    if len(text) > LONGEST_READING:
        raise BadReading(
            f"'{text[:20]} ...' is {len(text):,} characters long; a reading has {LONGEST_READING} at most. "
            "Type the number and its unit, for example 1.15k."
        )


def plain(text: str) -> str:
    """Typed text with odd blanks, quotes and lead-in words taken away."""
    text = " ".join(text.replace("\u00a0", " ").replace("’", "'").split()).rstrip(" .;,!?").lstrip(" ;,!?")
    while match := _LEAD_IN.match(text):
        text = text[match.end() :]
    return text


def not_read(text: str, spec: ReadingSpec, found: str = "") -> BadReading:
    """The one wording for a reading that cannot be read; `found` says more closely what is in the way."""
    head = f"'{text.strip()}' cannot be read as {_article(spec.kind)} reading" + (f": {found}." if found else ".")
    return BadReading(f"{head} Units: {known_units(spec.kind)}. Type for example {EXAMPLES[spec.kind]}.")


def _article(kind: str) -> str:
    name = kind.replace("_", " ")
    return f"an {name}" if name[0] in "aeiou" else f"a {name}"


def said(text: str, spec: ReadingSpec, outcomes: Sequence[str]) -> Said | None:
    """The outcome that `text` names outright, by its name or one of the spec's words; None for none."""
    wanted = _folded(plain(text))
    if family_of(spec.kind) == "ohm" and wanted in OPEN_WORDS:
        return None  # an open circuit is a reading, and the bands know whose it is
    for outcome in outcomes:
        if wanted == _folded(outcome) or wanted in map(_folded, spec.words.get(outcome, [])):
            return Said(outcome)
    return None


def _folded(text: str) -> str:
    return re.sub(r"[\s_-]+", " ", text.casefold()).strip()


def take_leads(text: str) -> tuple[str, float | None]:
    """`text` without its "leads 0.3", and the ohms that it names (None when it names none)."""
    match = _LEADS.search(text)
    if match is None:
        return text, None
    return text[: match.start()] + text[match.end() :], leads_ohms(match.group(1))


def leads_ohms(typed: str | float) -> float:
    """The resistance of the test leads, ohm; raises `BadReading` outside 0 to 5."""
    value = number(typed) if isinstance(typed, str) and re.fullmatch(NUMBER, typed.strip()) else typed
    if isinstance(value, str) or not 0 <= value <= 5:
        raise BadReading(
            f"'{typed}' cannot be the leads: test leads read 0 to 5 ohm. "
            "Touch the tips together and type that reading, for example leads 0.3."
        )
    return float(value)


def quantity(text: str, spec: ReadingSpec) -> Quantity:
    """A reading of one value: a number with or without a unit, a range, "over" or "under" a number, or OL.

    Raises `BadReading` for what is not a reading of this kind, for a value that nothing shows, and for a
    bare number that only makes sense in another unit.
    """
    refuse_long(text)
    typed = plain(text)
    if not typed:
        raise BadReading(f"No reading was typed. Type for example {EXAMPLES[spec.kind]}.")
    ohms = family_of(spec.kind) == "ohm"
    if ohms and typed.rstrip(".") == "1":
        raise BadReading(
            f"'{text.strip()}': one ohm, or the 1 that some meters show for an open circuit? Type 1 ohm or OL."
        )
    word = _word(typed, spec, ohms)
    if word is not None:
        return _no_short(word, text, spec)
    typed = _one_of_several(typed, spec)
    if ohms and (coded := _CODED.fullmatch(typed)):
        typed = f"{coded[1]}.{coded[3]}{coded[2]}"
    return _no_short(_within(_numeric(typed, text, spec), text, spec), text, spec)


def _one_of_several(typed: str, spec: ReadingSpec) -> str:
    """ "120/120" is two readings, no fraction: the one when they agree, else a question."""
    match = _SLASHED.match(typed)
    if match is None or (spec.kind in FRACTIONS and int(match[1]) < int(match[2])):
        return typed
    each = re.split(r"\s*/\s*", match[0])
    if len(set(each)) == 1:
        return each[0] + typed[match.end() :]
    if spec.kind in PLACES:
        return max(each, key=int) + typed[match.end() :]
    raise BadReading(
        f"'{typed}' is {len(each)} readings: {' and '.join(each)}. Which one is meant? "
        f"Type that one alone, for example {each[0]}{typed[match.end() :]}."
    )


def _no_short(found: Quantity, text: str, spec: ReadingSpec) -> Quantity:
    span = plausible_span(spec)
    if spec.kind == "resistance" and span and found.high < span[0]:
        shorted = "shorted" in {word for words in spec.words.values() for word in words}
        then = "type shorted" if shorted else "note it, skip this, then repair and its name"
        raise BadReading(
            f"'{text.strip()}' is a short, or the leads touch: a reading here is usually {neat(span[0])} to "
            f"{neat(span[1])} {shown(spec.unit)}. Take the part's wires off, read again and type for example "
            f"{EXAMPLES[spec.kind]}. Still so: it is shorted, and no good: {then}."
        )
    return found


def _word(said_as: str, spec: ReadingSpec, ohms: bool) -> Quantity | None:
    typed = said_as.casefold()
    if typed in OPEN_WORDS and not ohms:
        raise BadReading(
            f"'{said_as}' is a meter over its range, or an open circuit: neither is "
            f"{_article(spec.kind)} reading. "
            f"Pick a higher range, read again and type for example {EXAMPLES[spec.kind]}."
        )
    if ohms and typed in OPEN_WORDS:
        return OPEN
    if ohms and typed in SHORT_WORDS:
        return Quantity(0.0, 0.0)
    if spec.kind == "continuity" and typed in BEEP_WORDS:
        return Quantity(0.0, 0.0)
    return OPEN if spec.kind == "continuity" and typed in SILENT_WORDS else None


def _numeric(typed: str, text: str, spec: ReadingSpec) -> Quantity:
    if match := _BEYOND.match(typed):
        return _beyond(match.group(1), typed[match.end() :], text, spec)
    if match := _SPREAD.fullmatch(typed):
        return _spread(match, text, spec)
    if match := _RANGE.fullmatch(typed):
        return _range(match, text, spec)
    if match := _ONE.fullmatch(typed):
        value = in_unit(match[1], match[2], text, spec)
        return Quantity(value, value)
    raise not_read(text, spec, "no number in it" if not re.search(r"\d", typed) else "")


def _beyond(word: str, rest: str, text: str, spec: ReadingSpec) -> Quantity:
    match = _ONE.fullmatch(rest)
    if match is None:
        raise not_read(text, spec)
    value = in_unit(match[1], match[2], text, spec)
    if word.casefold() in ("<", "≤", "under", "below", "less than"):
        floor = LIMITS.get(spec.unit, (-math.inf, 0.0))[0]
        return Quantity(0.0 if floor == 0.0 else -math.inf, value)
    return Quantity(value, math.inf)


def _spread(match: re.Match[str], text: str, spec: ReadingSpec) -> Quantity:
    first, unit, half, half_unit = match.groups()
    middle = number(first)
    if half_unit.strip() == "%":
        width = abs(middle) * number(half) / 100
    elif half_unit.strip() in ("", unit.strip()):
        width = number(half)
    else:
        raise not_read(text, spec, "two different units in it")
    ends = [in_unit(repr(middle + side * width), unit, text, spec) for side in (-1, 1)]
    return Quantity(min(ends), max(ends))


def _range(match: re.Match[str], text: str, spec: ReadingSpec) -> Quantity:
    first, first_unit, last, last_unit = match.groups()
    ends = [
        in_unit(first, first_unit or last_unit, text, spec),
        in_unit(last, last_unit or first_unit, text, spec),
    ]
    if spec.of_range == "between":
        return Quantity(min(ends), max(ends))
    chosen = max(ends) if spec.of_range == "highest" else min(ends)
    return Quantity(chosen, chosen)


def in_unit(digits: str, unit: str, text: str, spec: ReadingSpec) -> float:
    """One typed number and its unit ("" for none), in the spec's unit; asks when the unit slipped."""
    if not unit.strip():
        value = number(digits)
        _ask_if_slipped(value, digits.strip(), spec)
        return value
    if is_small_m(unit, spec.kind):
        raise BadReading(
            f"{digits} M or {digits} milliohm? A small m could be millions or thousandths of an ohm. "
            f"Type {digits}M or {digits} milliohm."
        )
    named = unit_named(unit, spec.kind)
    if named is None:
        raise not_read(text, spec, f"'{unit.strip()}' is not a unit of it")
    return _with_comma(digits, named, spec)


_THOUSANDS = re.compile(r"[1-9]\d{0,2}\.\d{3}")


def _with_comma(digits: str, unit: str, spec: ReadingSpec) -> float:
    # "1,150 ohm": where only one of 1150 and 1.15 can be meant, the unit has already said which.
    both, span = either_way(digits), plausible_span(spec)
    fitting = [value for value in both or () if span and span[0] <= convert(value, unit, spec) <= span[1]]
    if span and _THOUSANDS.fullmatch(digits.strip()) and not span[0] <= convert(number(digits), unit, spec) <= span[1]:
        whole = digits.strip().replace(".", "")
        if span[0] <= convert(number(whole), unit, spec) <= span[1]:
            raise BadReading(f"{digits.strip()} or {whole} {unit}? Type {whole} {unit} if the point parts thousands.")
    return convert(fitting[0] if len(fitting) == 1 else number(digits), unit, spec)


def _ask_if_slipped(value: float, digits: str, spec: ReadingSpec) -> None:
    span = plausible_span(spec)
    if not span or value <= 0 or span[0] <= value <= span[1]:
        return
    units = RIVALS.get(spec.unit, ())
    rivals = [unit for unit in units if unit != spec.unit and span[0] <= convert(value, unit, spec) <= span[1]]
    if not rivals:
        return
    own = shown(spec.unit)
    choices = [f"{digits} {shown(unit)}" for unit in rivals]
    raise BadReading(
        f"{digits} {own} or {' or '.join(choices)}? "
        f"A reading here is usually {neat(span[0])} to {neat(span[1])} {own}. "
        f"Type {' or '.join(choice.replace(' k', 'k') for choice in choices)} or {digits} {own}."
    )


def plausible_span(spec: ReadingSpec) -> list[float]:
    """`[low, high]` that a reading is usually in: the spec's own, or a factor of four round its edges."""
    if spec.plausible:
        return list(spec.plausible)
    if spec.kind == "bench_heat" and spec.rated_range:
        return [spec.rated_range[0] - 50, spec.rated_range[1] + 100]
    if family_of(spec.kind) != "ohm" or spec.kind in ("continuity", "thermistor"):
        return []
    edges = [end for pairs in spec.bands.values() for pair in pairs for end in ends(pair) if math.isfinite(end)]
    edges += [end for winding in spec.windings for end in (winding.low, winding.high)]
    above = [edge for edge in edges if edge > 0]
    return [min(above) / 4, max(above) * 4] if above else []


def _within(found: Quantity, text: str, spec: ReadingSpec) -> Quantity:
    low, high = spec.limits or LIMITS.get(spec.unit, (-math.inf, math.inf))
    least = found.high if math.isinf(found.low) and found.low < 0 else found.low
    most = found.low if math.isinf(found.high) else found.high
    if least < 0 <= low:
        hint = BELOW_ZERO.get(spec.kind, f"Read again and type for example {EXAMPLES[spec.kind]}.")
        raise BadReading(f"'{text.strip()}' is below zero, and {_article(spec.kind)} reading never is. {hint}")
    if least < low or most > high:
        raise BadReading(
            f"'{text.strip()}' is outside anything this check can show "
            f"({neat(low)} to {neat(high)} {shown(spec.unit)}). "
            f"Check the range and the unit, and type for example {EXAMPLES[spec.kind]}."
        )
    return found


def split_windings(text: str) -> list[str]:
    """ "1.2k/1.35k/560", "1.2k, 1.35k, 560" or "1.2k 1.35k 560" as one text for each winding."""
    refuse_long(text)
    typed = plain(text)
    if re.search(r"[/;]", typed):
        parts = re.split(r"[/;]", typed)
    elif re.search(r",\s", typed):
        parts = re.split(r",\s+", typed)
    else:
        parts = re.split(r"\s+(?=[\d.]|OL\b|O\.L|0\.?L\b|open\b)|\s+and\s+", typed, flags=re.I)
    return [part.strip() for part in parts]
