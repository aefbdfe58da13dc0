"""Twist drills by number and letter, as orifices are stamped: "#42", "no. 54", "F"."""

from __future__ import annotations

import re
from collections.abc import Mapping

from faultodds.errors import BadReading
from faultodds.readings.parse import refuse_long
from faultodds.readings.typed_amounts import amount

# Diameter in thousandths of an inch of drills no. 1 to 80, and of A to Z. Standard sizes, from memory.
_NUMBERS = (
    "228 221 213 209 205.5 204 201 199 196 193.5 191 189 185 182 180 177 173 169.5 166 161 159 157 154 152 149.5 147 144 "
    "140.5 136 128.5 120 116 113 111 110 106.5 104 101.5 99.5 98 96 93.5 89 86 82 81 78.5 76 73 70 67 63.5 59.5 55 52 "
    "46.5 43 42 41 40 39 38 37 36 35 33 32 31 29.2 28 26 25 24 22.5 21 20 18 16 14.5 13.5"
)
_LETTERS = "234 238 242 246 250 257 261 266 272 277 281 290 295 302 316 323 332 339 348 358 368 377 386 397 404 413"
DRILL_INCHES: Mapping[str, float] = {
    **{str(i): float(mils) / 1000 for i, mils in enumerate(_NUMBERS.split(), 1)},
    **{chr(ord("A") + i): float(mils) / 1000 for i, mils in enumerate(_LETTERS.split())},
}
#: No household burner has a larger hole; more is a drill's number with a unit put behind it.
WIDEST_INCHES = 0.5
_NUMBER = re.compile(r"(?:#|no\.?|number|drill)?\s*(\d+)\s*")


def drill_inches(text: str) -> float:
    """Diameter in inches of a hole told as a drill ("42", "#42", "F") or as a length ("0.0935in", "2.4mm").

    A whole number without a unit is a drill's. Raises BadReading for a drill that there is not, and for a hole that no
    household orifice has, such as 42 in.
    """
    refuse_long(text)
    said = text.strip()
    number = _NUMBER.fullmatch(said.casefold())
    name = number[1].lstrip("0") if number else said.upper()
    if name in DRILL_INCHES:
        return DRILL_INCHES[name]
    if number and name:
        raise BadReading(
            f"There is no drill no. {name}: they go from 1 to 80, and A to Z. Type for example #42 or 0.0935in."
        )
    inches = amount(text, "in", "0.086in")
    if inches > WIDEST_INCHES:
        raise BadReading(
            f"A hole of {inches:g} in is no orifice: they are under {WIDEST_INCHES:g} in. For a drill type its number "
            "or letter alone: #42, F."
        )
    return inches
