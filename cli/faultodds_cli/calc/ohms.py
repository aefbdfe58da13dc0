"""Sums on resistance: `calc thermistor`, `calc winding`."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from faultodds_cli.calc.answer import answer
from faultodds_cli.shared import options


def thermistor(
    temperature: Annotated[str, typer.Argument(metavar="TEMP", help="Temperature of the part: 72F, 22C.")],
    at_25: Annotated[str, typer.Option("--r25", metavar="OHMS", help="What it reads at 25 C (77 F).")] = "10k",
    measured_ohms: Annotated[str | None, typer.Option("--measured", metavar="OHMS", help="What it does read.")] = None,
    as_json: options.Json = False,
) -> None:
    """What a thermistor reads at a temperature.

    Example: faultodds calc thermistor 72F --measured 11.2k
    """
    from faultodds.readings import celsius, fahrenheit, measured, neat, ntc_ohms

    t_f = measured(temperature, "temperature", "F", "72F")
    r25 = measured(at_25, "resistance", "ohm", "10k")
    due = ntc_ohms(celsius(t_f), r25)
    values: dict[str, Any] = {"temperature_f": t_f, "temperature_c": celsius(t_f), "due_ohms": due}
    text = [
        f"At {t_f:.0f} F ({celsius(t_f):.1f} C) a thermistor of {neat(r25)} ohm at 77 F "
        f"reads about {neat(round(due))} ohm."
    ]
    if measured_ohms is not None:
        found = measured(measured_ohms, "resistance", "ohm", "11.2k")
        values |= {"measured_ohms": found, "share_of_due": found / due}
        text.append(f"Yours reads {neat(found)} ohm, {found / due:.0%} of that.")
    warm = neat(round(ntc_ohms(60, r25)))
    text.append(
        "The maker's own chart comes first. "
        f"Colder reads more, hotter less: at {fahrenheit(60):.0f} F it is about {warm} ohm."
    )
    answer(
        as_json,
        "thermistor",
        values,
        text,
        "Four-term fit of a generic 10 k part, B 3977 K (data sheet, second-hand copy).",
    )


def winding(
    cold: Annotated[str, typer.Argument(metavar="COLD_OHMS", help="Its resistance cold: 1.15k.")],
    room: Annotated[str, typer.Option("--at", metavar="TEMP", help="Temperature it was cold at.")] = "72F",
    hot: Annotated[
        str | None, typer.Option("--hot", metavar="OHMS", help="Its resistance hot: gives its temperature.")
    ] = None,
    hot_at: Annotated[
        str | None, typer.Option("--hot-at", metavar="TEMP", help="A temperature: gives its resistance.")
    ] = None,
    as_json: options.Json = False,
) -> None:
    """A copper winding warm: temperature from resistance, or the other way.

    Example: faultodds calc winding 1.15k --hot 1.3k
    """
    from faultodds.errors import BadReading
    from faultodds.readings import celsius, copper_ohms, copper_temperature, fahrenheit, measured, neat

    if (hot is None) == (hot_at is None):
        raise BadReading("Give one of --hot OHMS (for its temperature) and --hot-at TEMP (for its resistance).")
    r_cold = measured(cold, "resistance", "ohm", "1.15k")
    t_cold = celsius(measured(room, "temperature", "F", "72F"))
    if hot is not None:
        r_hot = measured(hot, "resistance", "ohm", "1.3k")
        t_hot = copper_temperature(r_cold, t_cold, r_hot)
    else:
        t_hot = celsius(measured(str(hot_at), "temperature", "F", "150F"))
        r_hot = copper_ohms(r_cold, t_cold, t_hot)
    answer(
        as_json, "winding",
        {"cold_ohms": r_cold, "cold_f": fahrenheit(t_cold), "hot_ohms": r_hot, "hot_f": fahrenheit(t_hot)},
        [f"{neat(r_cold)} ohm at {fahrenheit(t_cold):.0f} F is {neat(round(r_hot, 1))} ohm "
         f"at {fahrenheit(t_hot):.0f} F ({t_hot:.0f} C)."],
        "Copper rule R2/R1 = (234.5 + T2) / (234.5 + T1), T in C (IEC and UL winding-resistance method).",
    )  # fmt: skip
