"""`faultodds tune`: the shop's own numbers from its job log, kept as a proposal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.progress import work
from faultodds_cli.tune.options import AboutOption, TopOption, asked

if TYPE_CHECKING:
    from faultodds.tuning import Settings

app = options.new_app("Learn the shop's own numbers from a job log, as a proposal.")


@app.command()
def tune_command(
    log: Annotated[
        str, typer.Argument(metavar="LOG|FILE", help="An imported log by its name, or a clean log (.parquet).")
    ],
    worth: Annotated[
        float | None,
        typer.Option(
            "--worth",
            metavar="N",
            min=0,
            max=1e9,
            help="How many jobs the file's numbers are worth; if not given, forecasts of the log's own jobs say.",
        ),
    ] = None,
    half_life: Annotated[
        float | None,
        typer.Option(
            "--half-life",
            metavar="DAYS",
            min=0,
            max=1e6,
            help="A job this old counts half. All count alike if not given.",
        ),
    ] = None,
    sweeps: Annotated[
        int, typer.Option("--sweeps", metavar="N", min=50, max=100_000, help="Rounds of sampling behind the intervals.")
    ] = 400,
    intervals: Annotated[
        bool, typer.Option("--intervals/--no-intervals", help="Say how sure each number is; takes most of the time.")
    ] = True,
    workers: Annotated[
        int, typer.Option("--workers", metavar="N", min=1, max=1024, help="Processor cores to use.")
    ] = 1,
    scheduler: Annotated[
        str | None, typer.Option("--scheduler", metavar="ADDRESS", help="A Dask cluster to use: tcp://host:8786.")
    ] = None,
    seed: Annotated[int, typer.Option("--seed", metavar="S", min=0, max=2**63 - 1, help="Which random draws.")] = 0,
    since: options.Since = "",
    branch: options.Branch = "",
    about: AboutOption = "causes",
    top: TopOption = 15,
    figure: options.Figure = None,
    force: options.Force = False,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    data: options.LogData = None,
    as_json: options.Json = False,
) -> None:
    """Learn from every job of a log what this shop's shares and chances are, how sure that is, and what
    moved. Nothing is used until it is accepted.

    Examples: faultodds tune harbour_lane / faultodds tune harbour_lane --half-life 730 --figure priors.png
    """
    wanted = asked(about, top, figure, force, as_json)
    from faultodds.belief import open_appliance
    from faultodds.joblog import find_log
    from faultodds.tuning import learn
    from faultodds_cli.tune.show import next_lines, say_revision

    settings = _settings(worth, half_life, workers, scheduler, seed)
    path = find_log(log, data)
    ready = open_appliance(appliance, revision="file")
    with work("reading the log") as tick:
        revision = learn(
            ready, path, settings, sweeps=sweeps if intervals else 0, since=since, branch=branch, tick=tick
        )
    say_revision(ready.knowledge, revision, "proposed", wanted, foot=next_lines(revision, log, appliance, data))


def _settings(
    worth: float | None,
    half_life: float | None,
    workers: int,
    scheduler: str | None,
    seed: int,
) -> Settings:
    from faultodds.tuning import AUTO, KINDS, Settings

    return Settings(
        strengths=AUTO if worth is None else dict.fromkeys(KINDS, worth),
        half_life_days=half_life,
        workers=workers,
        scheduler=scheduler,
        seed=seed,
    )
