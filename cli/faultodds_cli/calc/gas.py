"""Sums on gas: `calc input`, `calc orifice`, `calc co`."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from faultodds_cli.calc.answer import answer
from faultodds_cli.shared import options

FuelOption = Annotated[str, typer.Option("--fuel", help="natural or propane.")]
HeatOption = Annotated[
    str | None,
    typer.Option("--heat-content", metavar="BTU", help="Btu per cubic foot off the gas bill, if known."),
]


def input_command(
    dial: Annotated[str, typer.Argument(metavar="DIAL", help="Cubic feet of the test dial: 0.5, 1/2, 2.")],
    time: Annotated[str, typer.Argument(metavar="TIME", help="Time for one turn: 84s, 1.4min.")],
    fuel: FuelOption = "natural",
    heat_content: HeatOption = None,
    rated: Annotated[
        str | None, typer.Option("--rated", metavar="BTU", help="Input on the rating plate, Btu/h.")
    ] = None,
    altitude: Annotated[str | None, typer.Option("--altitude", metavar="FEET", help="Feet above sea level.")] = None,
    as_json: options.Json = False,
) -> None:
    """Heat input from the gas meter, every other appliance off.

    Example: faultodds calc input 1/2 84s --rated 22000
    """
    from faultodds.readings import amount, clocked_flow, clocked_input, input_at_altitude, seconds_for_input

    cu_ft, seconds, heat = amount(dial, "cu ft", "0.5"), amount(time, "s", "84s"), _heat(fuel, heat_content)
    flow, btu = clocked_flow(cu_ft, seconds), clocked_input(cu_ft, seconds, heat)
    values: dict[str, Any] = {"cu_ft_h": flow, "btu_h": btu, "heat_content_btu_cu_ft": heat}
    text = [f"{flow:.1f} cu ft/h, {btu:,.0f} Btu/h at {heat:,.0f} Btu per cu ft ({fuel})."]
    source = (
        "Meter clocking as in the National Fuel Gas Code (second-hand copy); "
        "heat content: US EIA, DOE, or your gas bill."
    )
    if rated is not None:
        plate = amount(rated, "Btu/h", "22000")
        due = plate if altitude is None else input_at_altitude(plate, amount(altitude, "ft", "5000"))
        values |= {
            "due_btu_h": due,
            "share_of_due": btu / due,
            "due_seconds": seconds_for_input(due, cu_ft, heat),
        }
        text.append(
            f"Due: {due:,.0f} Btu/h, {values['due_seconds']:.0f} s a turn. Found: {btu / due:.0%} of it"
            + (", within the usual 10 %." if abs(btu / due - 1) <= 0.1 else ", more than 10 % off: look into it.")
        )
        source += " Altitude: NFPA 54 text in UMC 2009 App. B. The 10 % is common practice, no source."
    text.append("Pressure and orifice work is for those licensed for it; rating plate and local code come first.")
    answer(as_json, "input", values, text, source)


def orifice(
    drill: Annotated[str, typer.Argument(metavar="DRILL", help="The hole: a drill (42, #42, F) or 0.070in, 1.8mm.")],
    pressure: Annotated[str, typer.Argument(metavar="PRESSURE", help="Manifold pressure: 3.5inwc.")],
    fuel: FuelOption = "natural",
    heat_content: HeatOption = None,
    as_json: options.Json = False,
) -> None:
    """Gas and heat through an orifice.

    Example: faultodds calc orifice 42 3.5inwc
    """
    from faultodds.readings import drill_inches, measured, orifice_flow

    heat = _heat(fuel, heat_content)
    gravity = _GRAVITY.get(fuel, _GRAVITY["natural"])
    hole = drill_inches(drill)
    flow = orifice_flow(hole, measured(pressure, "pressure", "inwc", "3.5inwc"), gravity)
    answer(
        as_json, "orifice",
        {"hole_in": hole, "cu_ft_h": flow, "btu_h": flow * heat, "specific_gravity": gravity, "heat_content_btu_cu_ft": heat},
        [f"A hole of {hole:.4g} in: {flow:.2f} cu ft/h, {flow * heat:,.0f} Btu/h "
         f"({fuel}: {heat:,.0f} Btu per cu ft, specific gravity {gravity:g}).",
         "Orifices are changed only with the maker's kit, by those licensed for it."],
        "Q = 1658.5 K A sqrt(p / sg), K 0.90 (BCcampus open textbook Plumbing 3e, App. 2); "
        "propane's 1.52 and drill sizes from memory.",
    )  # fmt: skip


# Specific gravity against air.
_GRAVITY = {"natural": 0.60, "propane": 1.52}


def co(
    ppm: Annotated[str, typer.Argument(metavar="PPM", help="Carbon monoxide in the room: 12ppm.")],
    as_json: options.Json = False,
) -> None:
    """What a carbon monoxide reading asks for; 35 ppm and more is a safety stop.

    Example: faultodds calc co 12ppm
    """
    from faultodds.errors import SafetyStop
    from faultodds.readings import CO_LEAVE_PPM, CO_STOP_PPM, amount, co_action

    found = amount(ppm, "ppm", "12ppm")
    action = co_action(found)
    source = f"NIOSH: recommended limit {CO_STOP_PPM:.0f} ppm, ceiling {CO_LEAVE_PPM:.0f} ppm."
    if action != "carry on":
        raise SafetyStop(f"STOP. {found:g} ppm of carbon monoxide.\n{_CO_STEPS[action]}\nSource: {source}")
    answer(
        as_json, "co", {"ppm": found, "action": action},
        [f"{found:g} ppm: carry on, and keep the meter running. "
         "An alarm, a headache or a lower local limit comes first."],
        source,
    )  # fmt: skip


_CO_STEPS = {
    "stop": "1. Stop the dryer and any other burner; open windows and doors on the way out.\n"
    "2. Everybody out into fresh air; count heads. A headache or nausea: call the emergency number.\n"
    "3. Nobody goes back in until it reads clean and the cause is found.",
    "leave": "1. Everybody out now; count heads.\n2. Call the emergency number from outside.\n"
    "3. Nobody goes back in until they say so.",
}


def _heat(fuel: str, heat_content: str | None) -> float:
    """Btu per cubic foot: off the bill, or usual for the fuel."""
    from faultodds.errors import unknown
    from faultodds.readings import HEAT_CONTENT, amount

    if heat_content is not None:
        return amount(heat_content, "Btu/cu ft", "1039")
    if fuel not in HEAT_CONTENT:
        raise unknown("fuel", fuel, HEAT_CONTENT, "Give --fuel natural, or the Btu per cubic foot with --heat-content.")
    return HEAT_CONTENT[fuel]
