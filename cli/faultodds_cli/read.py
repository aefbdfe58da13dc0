"""`faultodds read`: one raw reading judged; nothing is kept."""

from __future__ import annotations

from typing import Annotated

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json

app = options.new_app("Judge one raw reading against its band.")


@app.command()
def read(
    check: Annotated[str, typer.Argument(metavar="CHECK", help="The check: coil_ohms, thermistor_ohms ...")],
    text: Annotated[str, typer.Argument(metavar="TEXT", help='What the meter shows: "1.15k", "OL", "142F".')],
    ambient: options.Ambient = None,
    fact: options.Fact = None,
    leads: Annotated[str | None, typer.Option("--leads", help="Ohms of the test leads, such as 0.3.")] = None,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
) -> None:
    """Judge one raw reading: what it says, against which band, and how sure that is.

    Examples: faultodds read coil_ohms 1.15k / faultodds read thermistor_ohms 11.2k --ambient 72F
    """
    from faultodds.safety import stop_first

    stop_first(appliance, [f"{check}={text}"])

    from faultodds.advice import read_answer
    from faultodds.belief import open_appliance
    from faultodds.job import pair, take_fact, take_finding

    k = open_appliance(appliance, revision="file").knowledge  # no revision changes a meter's bands
    typed = text if leads is None else f"{text} leads {leads}"
    facts = {f.name: f.value for f in (take_fact(k, *pair(told, "--fact")) for told in fact or [])}
    taken = take_finding(k, check, typed, facts, ambient, reading=True)
    assert taken.judgement is not None  # `reading` leaves no other way
    if as_json:
        say_json(read_answer(taken.finding.name, taken.judgement))
        return
    from faultodds_cli.shared.show_known import judgement_lines

    say(judgement_lines(k, taken.finding.name, taken.judgement))
