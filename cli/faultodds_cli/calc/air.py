"""Sums on air and water: `calc duct`, `calc airflow`, `calc drytime`."""

from __future__ import annotations

from typing import Annotated

import typer

from faultodds_cli.calc.answer import answer
from faultodds_cli.shared import options


def duct(
    straight: Annotated[str, typer.Argument(metavar="FEET", help="All straight runs together, such as 22ft.")],
    elbow: Annotated[
        list[str] | None,
        typer.Option(
            "--elbow",
            metavar="ANGLE[rRADIUS]",
            help="One elbow: 90, 45, or 90r6 for a 6 in radius. Repeatable.",
        ),
    ] = None,
    limit: Annotated[
        str, typer.Option("--limit", metavar="FEET", help="The maker's limit, where there is one.")
    ] = "35ft",
    as_json: options.Json = False,
) -> None:
    """Equivalent length of an exhaust duct.

    Example: faultodds calc duct 22ft --elbow 90 --elbow 90r6
    """
    from faultodds.readings import amount, duct_length

    elbows = [_elbow(text) for text in elbow or []]
    found = duct_length(amount(straight, "ft", "22ft"), elbows, amount(limit, "ft", "35ft"))
    how = (
        f"{found.over:.1f} ft over it: shorten it, or take out elbows."
        if found.over > 0
        else f"{-found.over:.1f} ft in hand."
    )
    answer(
        as_json, "duct",
        {"equivalent_feet": found.feet, "limit_feet": found.limit, "over_feet": found.over},
        [f"Equivalent length {found.feet:.1f} ft; the limit is {found.limit:g} ft: {how}",
         "The maker's own limit comes first. A transition duct, one piece up to 8 ft, is not part of it."],
        "IRC M1502 and its elbow table (4 in duct; the table's number moves by edition).",
    )  # fmt: skip


def _elbow(text: str) -> tuple[int, int]:
    import re

    from faultodds.errors import BadReading

    match = re.fullmatch(r"\s*(\d{1,4})\s*(?:deg)?\s*(?:r\s*(\d{1,4})\s*(?:in)?)?\s*", text)
    if match is None:
        raise BadReading(
            f"'{text}' is not an elbow: write its angle, 90 or 45, and its radius if it is not mitred: 90r6."
        )
    return int(match[2] or 0), int(match[1])


def airflow(
    reading: Annotated[str, typer.Argument(metavar="READING", help="Air speed or flow: 1150fpm, 5.8 m/s, 120cfm.")],
    inches: Annotated[str, typer.Option("--duct", metavar="INCHES", help="Duct diameter.")] = "4in",
    as_json: options.Json = False,
) -> None:
    """Air speed to flow and back, with the velocity pressure.

    Example: faultodds calc airflow 1150fpm
    """
    from faultodds.readings import ReadingSpec, air_flow, amount, measured, positive, quantity, velocity_pressure

    diameter = positive(amount(inches, "in", "4in"), "the duct diameter", "in")
    measured(reading, "air_speed", "fpm", "1150fpm")  # refuses OL, ranges and words in the usual way
    fpm = quantity(reading, ReadingSpec(kind="air_speed", unit="fpm", duct_inches=diameter)).middle
    cfm, pressure = air_flow(fpm, diameter), velocity_pressure(fpm)
    answer(
        as_json, "airflow",
        {"fpm": fpm, "cfm": cfm, "velocity_pressure_inwc": pressure, "duct_inches": diameter},
        [f"{fpm:,.0f} ft/min in a {diameter:g} in round duct is {cfm:.0f} cfm.",
         f"Its velocity pressure is {pressure:.3f} in w.c."],
        "Flow is speed times area; velocity pressure (V / 4005)^2 in standard air.",
    )  # fmt: skip


def drytime(
    dry: Annotated[str, typer.Argument(metavar="DRY", help="Weight of the load when dry: 8.5lb.")],
    wet: Annotated[
        str, typer.Argument(metavar="WET", help="Its weight out of the washer: 13.3lb. Or its moisture: 57%.")
    ],
    end: Annotated[str, typer.Option("--end", metavar="PERCENT", help="Moisture when it is dry enough.")] = "2%",
    burner: Annotated[str, typer.Option("--input", metavar="BTU", help="Heat input, Btu/h.")] = "22000",
    as_json: options.Json = False,
) -> None:
    """The least time to dry a load, which no dryer of this input can beat.

    Example: faultodds calc drytime 8.5lb 13.3lb
    """
    from faultodds.readings import amount, drying_floor, drying_heat, positive, water_in_load

    dry_lb = amount(dry, "lb", "8.5lb")
    if "%" in wet:
        start = amount(wet, "%", "57%")
    else:
        start = 100 * (amount(wet, "lb", "13.3lb") / positive(dry_lb, "the dry weight", "lb") - 1)
    water = water_in_load(dry_lb, start, amount(end, "%", "2%"))
    btu_h = amount(burner, "Btu/h", "22000")
    minutes = drying_floor(water, btu_h)
    answer(
        as_json, "drytime",
        {"start_percent": start, "water_lb": water, "heat_kwh": drying_heat(water), "least_minutes": minutes},
        [f"{water:.1f} lb of water to drive off ({start:.0f} % of the dry weight at the start): "
         f"at least {minutes:.0f} min at {btu_h:,.0f} Btu/h.",
         "A sound dryer takes two to three times as long. "
         "Over about 65 % at the start is a washer that leaves it wet."],
        "Latent heat: steam tables, from memory. Two to three times, 65 %: common practice, no source.",
    )  # fmt: skip
