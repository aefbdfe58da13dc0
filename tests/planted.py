"""Invented people, planted in a shop's log: what no file of an import may hold afterwards.

Written before the code that leaves personal data out was looked at, with the standard library alone. Nobody here
exists: surnames, streets and mailboxes are made of syllables, telephone numbers are of the ranges kept for fiction
(555-0100 to 555-0199; 01632 960 and 07700 900), mail goes to the domains kept for examples, cards begin with 99 and
social-security-like numbers with 000 or 666, which are never given out.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

ITEMS = 200  # a column
SHARES = (0.01, 0.03, 0.1)

_GIVEN = re.findall(
    r"\w+", "Marn Odel Tavi Brisa Corwin Elke Hoda Jorin Lisbet Nuri Pell Quill Rosko Senna Ugo Vesna Yara Zeb"
)
_FRONT = re.findall(
    r"\w+", "bren cask dor fal gorm hesk jup kel lom mest nor pral quon rusk sand tolb ulm vask wend yort"
)
_BACK = re.findall(
    r"\w+", "aby blek dahl ewick farn grith holt imsen jarek kott lund mire nack ostrow pell quist rud sby vik"
)
_STREET = re.findall(r"\w+", "St Street Ave Avenue Rd Road Ln Lane Blvd Dr Drive Court Way Terrace")
_DOMAIN = ("example.com", "example.net", "example.org", "mail.example", "nowhere.invalid")
_WRAP = ("{}", "{} {cell}", "{cell} {}", "{cell}, {}", "{}; {cell}", "{cell} ({})", "{cell}\n{}", "cust {} {cell}")


@dataclass(frozen=True)
class Item:
    """One planted piece: its kind, how it is written, and what of it gives the person away (lower case)."""

    kind: str
    written: str
    tells: tuple[str, ...]


def surname(draw: random.Random) -> str:
    """An invented surname."""
    return (draw.choice(_FRONT) + draw.choice(_BACK)).capitalize()


def name(draw: random.Random) -> Item:
    """A person, written in one of the ways that offices write them."""
    given, family = draw.choice(_GIVEN), surname(draw)
    forms = (
        f"{given} {family}",
        f"{family}, {given}",
        f"{given} {family}".lower(),
        f"{given} {family}".upper(),
        f"Mrs {family}",
        f"Mr. {family}",
        f"{given[0]}. {family}",
        family,
        family.lower(),
        f"{given} {given[0]} {family}-{surname(draw)}",
    )
    return Item("name", draw.choice(forms), (family.lower(),))


def telephone(draw: random.Random) -> Item:
    """A telephone number of a range kept for fiction."""
    area, line = draw.randint(201, 989), draw.randint(100, 199)
    forms = (
        f"({area}) 555-0{line}",
        f"{area}-555-0{line}",
        f"{area}.555.0{line}",
        f"{area}5550{line}",
        f"+1 {area} 555 0{line}",
        f"555-0{line}",
        f"5550{line}",
        f"ph 555 0{line} x12",
        f"01632 960{line}",
        f"+44 7700 900{line}",
    )
    return _digits("telephone", draw.choice(forms))


def address(draw: random.Random) -> Item:
    """A street address."""
    street, number = surname(draw), draw.randint(2, 9899)
    kind = draw.choice(_STREET)
    forms = (
        f"{number} {street} {kind}",
        f"{number} {street} {kind}.",
        f"{number} {street} {kind}".lower(),
        f"{number} N {street} {kind} Apt {draw.randint(1, 40)}",
        f"{street} {kind} {number}",
        f"{number} {street} {kind}, {surname(draw)}ville 00{draw.randint(100, 999)}",
        f"{street} {kind}",
    )
    return Item("address", draw.choice(forms), (street.lower(),))


def mail(draw: random.Random) -> Item:
    """An e-mail address."""
    family = surname(draw).lower()
    local = draw.choice(
        (f"{draw.choice(_GIVEN).lower()}.{family}", f"{family}{draw.randint(1, 99)}", f"{family}+dryer")
    )
    at = draw.choice(("@", "@", "@", " at ", "(at)"))
    return Item("e-mail", f"{local}{at}{draw.choice(_DOMAIN)}", (family,))


def serial(draw: random.Random) -> Item:
    """A machine's serial number."""
    letters = "".join(draw.choice("BCDFGHJKLMNPQRSTVWXZ") for _ in range(3))
    number = draw.randint(1_000_000, 9_999_999)
    forms = (
        f"{letters}{number}",
        f"S/N {letters}-{number}",
        f"{letters} {number}",
        f"ser {letters}{number}{letters[0]}",
    )
    return Item("serial", draw.choice(forms), (str(number),))


def card(draw: random.Random) -> Item:
    """A number that looks like a payment card's."""
    four = ["99" + f"{draw.randint(0, 99):02d}", *(f"{draw.randint(0, 9999):04d}" for _ in range(3))]
    return _digits("card", draw.choice((" ", "-", "", ".")).join(four))


def social(draw: random.Random) -> Item:
    """A number that looks like a social-security number."""
    parts = (draw.choice(("000", "666")), f"{draw.randint(1, 99):02d}", f"{draw.randint(1, 9999):04d}")
    return _digits("social", draw.choice(("-", "-", " ", "")).join(parts))


def _digits(kind: str, written: str) -> Item:
    return Item(kind, written, ("".join(c for c in written.partition(" x")[0] if c.isdigit()),))


KINDS = (name, telephone, address, mail, serial, card, social)


def items(draw: random.Random, count: int = ITEMS) -> list[Item]:
    """That many pieces, of all kinds in turn."""
    return [KINDS[i % len(KINDS)](draw) for i in range(count)]


def plant(
    headings: Sequence[str],
    rows: Sequence[Sequence[str]],
    share: float,
    seed: int,
    columns: Iterable[str] | None = None,
) -> tuple[list[list[str]], dict[str, list[Item]]]:
    """The rows with pieces planted at `share` of them in each column (all, or those named), and what was planted where.

    A piece stands in the place of the cell, before it, behind it or inside it, as people type.
    """
    draw = random.Random(seed)
    out, planted = [list(row) for row in rows], {}
    for heading in columns or headings:
        at = headings.index(heading)
        planted[heading] = items(draw, max(1, round(share * len(rows))))
        for i, item in zip(draw.sample(range(len(rows)), len(planted[heading])), planted[heading], strict=True):
            out[i][at] = draw.choice(_WRAP).format(item.written, cell=out[i][at]).strip()
    return out, planted


_NUMBER = re.compile(r"\+?\(?\d[\d().\- ]{0,30}")


def leaks(text: str, planted: dict[str, list[Item]]) -> list[tuple[str, Item]]:
    """What of the planted pieces a text still holds: as written, by the name in it, or by its digits in any grouping."""
    folded = re.sub(r"\s+", " ", text.casefold())
    words = set(re.findall(r"[a-z]+", folded))
    numbers = {"".join(c for c in m.group() if c.isdigit()) for m in _NUMBER.finditer(folded)}
    numbers |= set(re.findall(r"\d+", folded))
    return [
        (heading, item)
        for heading, found in planted.items()
        for item in found
        if re.sub(r"\s+", " ", item.written.casefold()) in folded or any(t in words or t in numbers for t in item.tells)
    ]
