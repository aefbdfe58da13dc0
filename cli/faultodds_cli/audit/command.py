"""`audit`: would learning from the shop's log have helped?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.progress import work
from faultodds_cli.shared.text import paragraphs

if TYPE_CHECKING:
    import pandas as pd

    from faultodds.audit import Audit
    from faultodds.knowledge import Knowledge
    from faultodds.revisions import Revision

app = options.new_app("Would it have helped? Learn from a log's past, forecast what came next, count.")


@app.command()
def audit_command(
    log: Annotated[str, typer.Argument(metavar="LOG", help="Name of an imported log, or a clean log's .parquet file.")],
    truth: Annotated[
        Path | None,
        typer.Option("--truth", metavar="FILE", help="Table of what was really wrong: columns job and main_cause."),
    ] = None,
    revision: Annotated[
        list[str] | None, typer.Option("--revision", metavar="ID", help="Judge this revision as well; may be repeated.")
    ] = None,
    stages: Annotated[
        str | None, typer.Option("--stages", metavar="A,B,..", help="Moments of a job: complaint,1,2,4,all.")
    ] = None,
    rivals: Annotated[
        bool, typer.Option("--rivals/--no-rivals", help="Whether three general methods (scikit-learn) take part.")
    ] = True,
    rivals_know_truth: Annotated[
        bool, typer.Option("--rivals-know-truth", help="Let these methods learn from --truth, which no shop has.")
    ] = False,
    refits: Annotated[
        int, typer.Option("--refits", metavar="N", min=1, max=1000, help="How often at most to learn anew on the way.")
    ] = 6,
    first: Annotated[
        int,
        typer.Option(
            "--first", metavar="N", min=1, max=10_000_000, help="Jobs to have seen before the first forecast."
        ),
    ] = 50,
    since: options.Since = "",
    branch: options.Branch = "",
    figure: options.Figure = None,
    force: options.Force = False,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    data: options.LogData = None,
    as_json: options.Json = False,
) -> None:
    """Play a log forward: learn from the jobs before each month, forecast its jobs, compare with what put them right.

    Compared are the numbers in use, priors learned from the log, any --revision, and three general methods from
    scikit-learn that get the same columns. An accepted revision is judged on months that it was not learned from. Nothing is
    forecast from anything that was not known at the time.

    Example: faultodds audit harbour_lane
    """
    from faultodds.audit import against_in_use, chosen, keep, learned_from, read_truth
    from faultodds.belief import open_appliance
    from faultodds.joblog import find_log
    from faultodds.revisions import get
    from faultodds.tuning import part_of_log

    moments = chosen(stages)
    _refuse_early(figure, force, truth, rivals_know_truth)
    known = None if truth is None else read_truth(truth)
    knowledge = open_appliance(appliance, revision="file").knowledge
    path = find_log(log, data)
    frame = part_of_log(_opened(path, knowledge), since, branch)
    others = {each: open_appliance(appliance, revision=each).knowledge for each in revision or ()}
    with work("learning") as tick:
        found = against_in_use(
            appliance, frame, truth=known, others=others, stages=moments, with_rivals=rivals,
            rivals_know_truth=rivals_know_truth, first_jobs=first, most_refits=refits,
            tick=lambda what: tick(f"learning: {what} done", 0, 0),
        )  # fmt: skip
    taught = learned_from(knowledge.appliance.id, path, since, branch)
    for each in taught if truth is None else ():
        keep(knowledge.appliance.id, each, found)
    newest = get(knowledge.appliance.id, taught[-1]) if taught else None
    _say(found, Path(log).stem, knowledge.appliance.id, newest, figure, as_json)


def _refuse_early(figure: Path | None, force: bool, truth: Path | None, rivals_know_truth: bool) -> None:
    """Refuse what could not be done, before any work."""
    from faultodds.errors import FaultoddsError

    options.refuse_figure(figure, force, "audit.png")
    if rivals_know_truth and truth is None:
        raise FaultoddsError("--rivals-know-truth needs the truth: add --truth FILE, or leave it out.")


def _opened(path: Path, knowledge: Knowledge) -> pd.DataFrame:
    """The clean log, every name in it known to the knowledge file."""
    from faultodds.joblog import read_clean, validate

    frame = read_clean(path)
    validate(frame, knowledge)
    return frame


def _say(found: Audit, name: str, appliance: str, newest: Revision | None, figure: Path | None, as_json: bool) -> None:
    """The answer; before it what contradicts the `newest` revision learned from the log."""
    from faultodds.audit import LEARNED, verdict
    from faultodds_cli.audit import show
    from faultodds_cli.shared.show_contradictions import contradiction_lines

    said = verdict(found, LEARNED)
    if figure is not None:
        from faultodds.charts import draw

        draw(found, LEARNED, figure)
    if as_json:
        told = list(newest.contradictions) if newest else []
        say_json({**show.answer(found, name, appliance, said), "contradictions": told})
    else:
        first = contradiction_lines(newest) if newest else []
        say(paragraphs([first, show.lines(found, name, said)]))
