"""`faultodds next`: what to do next, from what is known now; nothing is kept."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.call import call_as_given
from faultodds_cli.shared.printing import say, say_json

if TYPE_CHECKING:
    from faultodds.job import Standing

app = options.new_app("What to do next, from what you know now.")

PlanOption = Annotated[bool, typer.Option("--plan", help="Print the whole plan instead: what to do for each finding.")]
DepthOption = Annotated[
    int | None,
    typer.Option("--depth", metavar="N", max=10**6, help="With --plan: how many findings ahead. [default: 3]"),
]
NodesOption = Annotated[
    int | None,
    typer.Option("--nodes", metavar="N", max=10**6, help="With --plan: how many decisions to work out. [default: 40]"),
]
WhatIfOption = Annotated[
    bool, typer.Option("--what-if", help="Print what odds, prices or checks would change the advice instead.")
]


@app.command()
def next_(
    fact: options.Fact = None,
    found: options.Found = None,
    reading: options.Reading = None,
    repaired: options.Repaired = None,
    after: options.After = None,
    opened: options.Open = None,
    skip: options.Skip = None,
    ambient: options.Ambient = None,
    qualified: options.Qualified = True,
    labour_rate: options.Labour = None,
    top: options.Top = 3,
    effort: options.Effort = 1,
    plan: PlanOption = False,
    depth: DepthOption = None,
    nodes: NodesOption = None,
    what_if: WhatIfOption = False,
    figure: options.Figure = None,
    force: options.Force = False,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    revision: options.Revision = None,
    shop: options.Shop = None,
    technician: options.Technician = None,
    as_json: options.Json = False,
) -> None:
    """What to do next, from what you know now: the advice and its steps, the other checks, the odds. With --figure, a picture of
    the part of the network that matters now; with --what-if --figure, of what matters for the cost.

    Example: faultodds next --found dry_time=longer --fact vent_material=foil
    """
    _one_at_a_time(plan, what_if, depth, nodes, figure)
    options.refuse_figure(figure, force, "next.png")
    view = call_as_given(
        appliance, fact, found, reading, repaired, after, opened, skip, ambient, qualified, labour_rate, revision,
        shop, technician, effort,
    )  # fmt: skip
    if plan:
        from faultodds_cli.next.plan import say_plan

        say_plan(view, depth, nodes, as_json)
    elif what_if:
        from faultodds_cli.next.what_if import say_what_if

        say_what_if(view, as_json, figure)
    else:
        _say_next(view, top, as_json, figure)


def _one_at_a_time(plan: bool, what_if: bool, depth: int | None, nodes: int | None, figure: Path | None) -> None:
    """Refuse options that do not go together."""
    from faultodds.errors import FaultoddsError

    if plan and what_if:
        raise FaultoddsError("--plan and --what-if are two questions; ask them one after the other.")
    if plan and figure is not None:
        raise FaultoddsError(
            f"--figure {figure}: a plan has a page of its own. Type: faultodds chart plan --to {figure}"
        )
    for name, value in (("--depth", depth), ("--nodes", nodes)):
        if value is not None and not plan:
            raise FaultoddsError(f"{name} {value} goes with --plan. Type for example --plan {name} {value}.")


def _say_next(view: Standing, top: int, as_json: bool, figure: Path | None) -> None:
    if figure is not None:
        from faultodds.charts import draw_network

        checks = [check.name for check in view.advice.telling_checks]
        draw_network(view.appliance.knowledge, view.belief, checks, figure)
    if as_json:
        from faultodds.advice import next_answer
        from faultodds_cli.shared.show_known import misfit_texts

        answer = next_answer(view.appliance, view.belief, view.advice, view.situation.state)
        say_json({**answer, "misfits": misfit_texts(view)})
        return
    from faultodds_cli.shared.show_advice import advice_lines, check_lines, repair_lines
    from faultodds_cli.shared.show_known import basis, evidence_lines, left_out_lines, misfit_lines
    from faultodds_cli.shared.show_odds import odds_lines
    from faultodds_cli.shared.text import paragraphs

    parts = [
        evidence_lines(view),
        misfit_lines(view),
        advice_lines(view),
        check_lines(view, view.advice.telling_checks[:top]),
    ]
    parts += [repair_lines(view, top), odds_lines(view, max(top, 5)), left_out_lines(view)]
    say(paragraphs([*parts, *basis(view.appliance)]))
