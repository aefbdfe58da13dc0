"""`chart`: figures to print. `chart plan` is the whole plan on one page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from faultodds.names import rounded
from faultodds_cli.shared import options
from faultodds_cli.shared.call import call_as_given, plan_of
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.text import percent

app = options.new_app("Figures to print.")


@app.callback()
def _group() -> None:
    """A group even while it has one command."""


@app.command("plan")
def plan_command(
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="Where to write it: plan.pdf, .png or .svg.")],
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
    depth: Annotated[int, typer.Option("--depth", metavar="N", max=10**6, help="How many findings ahead.")] = 8,
    nodes: Annotated[int, typer.Option("--nodes", metavar="N", max=10**6, help="How many decisions to work out.")] = 60,
    force: options.Force = False,
    paper: Annotated[str, typer.Option("--paper", metavar="PAPER", help="letter or a4.")] = "letter",
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    revision: options.Revision = None,
    shop: options.Shop = None,
    technician: options.Technician = None,
    as_json: options.Json = False,
) -> None:
    """Draw the whole plan to fit one printed page, the likely path along its top.

    Example: faultodds chart plan --found dry_time=longer --to plan.pdf
    """
    from faultodds.charts import check_paper, check_path, save_plan

    check_path(to, "plan.pdf", force=force, option="--to")
    check_paper(paper)
    view = call_as_given(
        appliance, fact, found, reading, repaired, after, opened, skip, ambient, qualified, labour_rate, revision,
        shop, technician,
    )  # fmt: skip
    plan = plan_of(view, depth, nodes)
    page = save_plan(view.appliance, view.belief, plan, to, paper)
    shown = page.steps
    steps = sum(1 for _ in plan.first.steps())
    if as_json:
        say_json(
            {
                "file": str(to),
                "paper": paper,
                "steps": steps,
                "steps_shown": shown,
                "leaves_drawn": rounded(page.beyond),
                "type_points": page.size,
            }
        )
        return
    more = f"{steps - shown} more did not fit; {percent(page.beyond)} of calls leave what is drawn: ask again there."
    left = f" {more}" if shown < steps else ""
    say(f"Wrote {to}: {shown} steps on one {paper} page, in {page.size:g} point type.{left}")
