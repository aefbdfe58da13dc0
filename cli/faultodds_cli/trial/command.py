"""`trial`: policies side by side on the same simulated calls."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.progress import counted
from faultodds_cli.shared.text import wrap

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds_cli.trial.play import Setting
    from faultodds_cli.trial.stats import Summary

app = options.new_app("Policies side by side on the same simulated jobs: what each costs.")


@app.command()
def trial_command(
    jobs: Annotated[
        int, typer.Option("--jobs", metavar="N", min=1, max=10_000_000, help="How many simulated jobs.")
    ] = 200,
    seed: Annotated[int, typer.Option("--seed", metavar="S", min=0, max=2**63 - 1, help="Which series of jobs.")] = 0,
    town: Annotated[
        int,
        typer.Option(
            "--town",
            metavar="T",
            min=0,
            max=2**63 - 1,
            help="Another invented town, where other faults are common; 0: the usual one.",
        ),
    ] = 0,
    policies: Annotated[
        str | None,
        typer.Option(
            "--policies",
            metavar="A,B,..",
            help="Some of checklist, cheapest, likeliest, information, faultodds; the floor always plays.",
        ),
    ] = None,
    priors: Annotated[
        str | None,
        typer.Option(
            "--priors",
            metavar="A,B,..",
            help="Numbers to believe, side by side: file, accepted, true (the simulated shop's own shares), the id of a "
            "revision, the path of a knowledge file. Only faultodds plays.",
        ),
    ] = None,
    where_money_goes: Annotated[
        bool, typer.Option("--where-money-goes", help="Show the cost by stage as well.")
    ] = False,
    trace: Annotated[
        int | None,
        typer.Option(
            "--trace", metavar="JOB", min=1, max=10_000_000, help="Print one job's steps under each policy instead."
        ),
    ] = None,
    figure: options.Figure = None,
    force: options.Force = False,
    workers: Annotated[int, typer.Option("--workers", metavar="N", min=1, max=1024, help="Processes to use.")] = 2,
    qualified: options.Qualified = True,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
) -> None:
    """Play policies on the same simulated jobs and compare what they cost.

    The jobs come from a simulated dryer and shop that know nothing of the fault odds. Same seed, same
    answer, whatever --workers is.

    Example: faultodds trial --jobs 100 --where-money-goes
    """
    options.refuse_figure(figure, force, "trial.png")
    setting, ready = _prepared(appliance, jobs, (seed, town), policies, qualified, priors)
    if trace is not None:
        _say_trace(setting, trace)
    else:
        _play(setting, ready, workers, figure, where_money_goes, as_json)


def _play(
    setting: Setting, ready: Appliance, workers: int, figure: Path | None, where_money_goes: bool, as_json: bool
) -> None:
    """Play all the jobs and say what they cost."""
    from faultodds_cli.trial.play import play_all
    from faultodds_cli.trial.stats import answer, summaries

    with counted("jobs") as tick:
        found = summaries(play_all(setting, workers, tick), setting)
    k = ready.knowledge
    if figure is not None:
        _draw(found, setting, k.costs.currency, figure)
    if as_json:
        say_json(answer(found, setting, k.appliance.id, k.costs.currency))
    else:
        _say_tables(found, setting, k.costs.currency, where_money_goes)


def _draw(found: Sequence[Summary], setting: Setting, currency: str, path: Path) -> None:
    """What each policy cost, as a figure; its interval is that of the cost above the floor, on the same calls."""
    from faultodds.charts import PolicyBar, draw_policies
    from faultodds_cli.trial.play import IN_WORDS

    floor = found[0].cost - found[0].above_floor.mean
    bars = [
        PolicyBar(IN_WORDS.get(s.policy, s.policy), s.money, floor + s.above_floor.low, floor + s.above_floor.high)
        for s in found
    ]
    draw_policies(bars, floor, f"What {setting.jobs} simulated jobs cost (synthetic)", currency, path)


def _say_tables(found: Sequence[Summary], setting: Setting, currency: str, where_money_goes: bool) -> None:
    from faultodds_cli.trial import table

    say(table.main_table(found, setting, currency))
    if where_money_goes:
        say(["", *table.money_table(found, setting)])
    said = table.priors_verdict(found, setting) if setting.priors else table.verdict(found)
    if said:
        say(["", *wrap(said)])


def _prepared(
    appliance: str,
    jobs: int,
    where: tuple[int, int],
    policies: str | None,
    qualified: bool,
    priors: str | None = None,
) -> tuple[Setting, Appliance]:
    """What to play and on what (`where` is seed and town), everything refused that cannot work before an hour has gone into it."""
    from faultodds.errors import FaultoddsError
    from faultodds_cli.trial.bridge import must_fit
    from faultodds_cli.trial.play import POLICIES, Setting, chosen, opened
    from faultodds_cli.trial.priors import must_pay_alike, parse

    if priors is not None and policies is not None:
        raise FaultoddsError(
            "--priors has only faultodds play, so --policies has nothing to say. Leave one of them out."
        )
    names = list(POLICIES) if policies is None else [n.strip() for n in policies.split(",") if n.strip()]
    seed, town = where
    believed = () if priors is None else parse(priors, appliance, town)
    setting = Setting(appliance, jobs, seed, chosen(names), qualified, believed, town)
    ready = opened(setting)  # compiled once here, so that the processes find it in the cache
    for each in ready.values():
        must_fit(each.knowledge)
    must_pay_alike([(name, ready[name].knowledge) for name in setting.players])
    return setting, ready[setting.players[0]]


def _say_trace(setting: Setting, job: int) -> None:
    from faultodds_cli.trial.play import one_call, opened, played

    ready = opened(setting)
    call = one_call(job, setting.seed, setting.town)
    told = {**call.facts, **call.equipment, **call.complaint}
    say([f"JOB {job}, seed {setting.seed}", "Told: " + ", ".join(f"{k}={v}" for k, v in told.items())])
    say("Truth: " + ", ".join(sorted(call.true_modes)))
    for name in setting.players:
        visit = played(ready[name], call, setting.policy(name), setting.qualified)
        say(["", f"{name}: {visit.cost:.0f}", *visit.steps])
