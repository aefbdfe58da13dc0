"""Numbers as people type them at the bench: 1.15, 1,15, 1 1/2, 2/3, 1e3."""

from __future__ import annotations

import math
import re

from faultodds.errors import BadReading

# Atomic, so that "1e-3" is never taken apart into a range from 1 to 3.
NUMBER = r"(?>[-+−]?(?:\d+\s+\d+/\d+|\d+/\d+|\d[\d.,]*(?:[eE][-+]?\d+)?|[.,]\d+(?:[eE][-+]?\d+)?))"

_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")
_EITHER_WAY = re.compile(r"[1-9]\d{0,2},\d{3}")
_CONTINENTAL = re.compile(r"\d{1,3}(?:\.\d{3})*,\d+")
_FRACTION = re.compile(r"(?:(\d+)\s+)?(\d+)/(\d+)")


def number(text: str) -> float:
    """The value of one typed number.

    Raises `BadReading` for what is not a number, and for a comma that could be a decimal or a thousands mark.
    """
    sign, digits = _sign(text.strip().replace("−", "-"))
    fraction = _FRACTION.fullmatch(digits)
    value = _of_fraction(text, fraction) if fraction else _of_decimal(text, digits)
    if not math.isfinite(value):
        raise BadReading(f"'{text.strip()}' is beyond any meter: type the number that the display shows.")
    return sign * value


def either_way(digits: str) -> tuple[float, float] | None:
    """Both values of a number such as 1,150, whose comma may mark thousands or decimals; else None."""
    if not _EITHER_WAY.fullmatch(digits.strip()):
        return None
    return float(digits.replace(",", "")), float(digits.replace(",", "."))


def _sign(text: str) -> tuple[float, str]:
    if text[:1] in "-+":
        return (-1.0 if text[:1] == "-" else 1.0), text[1:]
    return 1.0, text


def _of_fraction(text: str, match: re.Match[str]) -> float:
    whole, over, under = (int(part or 0) for part in match.groups())
    if under == 0:
        raise BadReading(f"'{text.strip()}' divides by nothing: type a fraction such as 1/2, or 0.5.")
    return whole + over / under


def _of_decimal(text: str, digits: str) -> float:
    if either_way(digits):
        joined, pointed = digits.replace(",", ""), digits.replace(",", ".").rstrip("0").rstrip(".")
        raise BadReading(f"'{digits}' could be {joined} or {pointed}. Type {joined} or {pointed}.")
    if _THOUSANDS.fullmatch(digits):
        digits = digits.replace(",", "")
    elif _CONTINENTAL.fullmatch(digits):
        digits = digits.replace(".", "").replace(",", ".")
    elif digits.count(",") == 1 and "." not in digits:
        digits = digits.replace(",", ".")
    try:
        return float(digits)
    except ValueError:
        raise BadReading(
            f"'{text.strip()}' is not a number: type digits with one decimal point, such as 1.15."
        ) from None


def neat(value: float) -> str:
    """A number for people: thousands marks, at most four figures after the point, no trailing noughts."""
    if math.isinf(value):
        return "OL" if value > 0 else "no limit"
    places = 0 if abs(value) >= 1000 else 1 if abs(value) >= 100 else 2 if abs(value) >= 10 else 4
    text = f"{value:,.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text
