"""`faultodds learn`: from a shop's own table to a proposal and a verdict on it, in one go."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.import_log import Given, import_file
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.progress import work
from faultodds_cli.tune.options import appliance_again

if TYPE_CHECKING:
    from faultodds.joblog import CleaningReport
    from faultodds.knowledge import Knowledge
    from faultodds.revisions import Revision, Verdict

app = options.new_app("From your job log to numbers of your own, and whether they would have helped.")


@app.command()
def learn_command(
    log: Annotated[
        str, typer.Argument(metavar="FILE|LOG", help="Your job log as a file, or one imported, by its name.")
    ],
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Take the proposed mapping without asking.")] = False,
    top: Annotated[int, typer.Option("--top", metavar="N", min=1, max=1000, help="How many main causes to show.")] = 12,
    since: options.Since = "",
    branch: options.Branch = "",
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    data: options.LogData = None,
    as_json: options.Json = False,
) -> None:
    """Read the log, learn from it, hold that against what is in use, and say whether to accept it.

    Example: faultodds learn jobs.csv
    """
    from faultodds.audit import judged_log
    from faultodds.belief import open_appliance
    from faultodds.joblog import names_in
    from faultodds.tuning import Settings, learn

    ready = open_appliance(appliance, revision="file")
    report = None
    if log not in names_in(data) and not log.endswith(".parquet"):
        report = import_file(Path(log).expanduser(), ready.knowledge, Given(yes=yes), data, as_json)
        if report is None:
            return
    name = report.log if report else log
    path = _clean(name, data)
    with work("learning") as tick:
        revision = learn(ready, path, Settings(), since=since, branch=branch, tick=tick)
        verdict = judged_log(appliance, path, revision, tick=lambda what: tick(f"auditing: {what}", 0, 0))
    _say(ready.knowledge, report, revision, verdict, top, appliance, as_json, data)


def _clean(name: str, data: str | None) -> Path:
    from faultodds.joblog import find_log

    return find_log(name, data)


def _say(
    k: Knowledge,
    report: CleaningReport | None,
    revision: Revision,
    verdict: Verdict,
    top: int,
    appliance: str,
    as_json: bool,
    data: str | None,
) -> None:
    from faultodds.tuning import outdated
    from faultodds_cli.shared.show_contradictions import contradiction_lines
    from faultodds_cli.shared.text import paragraphs, wrap
    from faultodds_cli.tune.show import note_lines, read_lines, revision_answer, revision_lines

    if as_json:
        imported = report.as_dict() if report else None
        say_json({**revision_answer(k, revision, "proposed"), "verdict": asdict(verdict), "import": imported})
        return
    more = appliance_again(revision.appliance, appliance)
    provenance, moved, table, _ = revision_lines(k, revision, "causes", top)
    foot = [
        f"Kept as a proposal: {revision.id}. Advice goes on as before until it is accepted:",
        f"  faultodds revision accept {revision.id}{more}",
    ]
    if old := outdated(revision.appliance, data):
        foot += wrap(f"In use until then: revision {old[0]}, learned before the log '{old[1].name}' was changed.")
    judged = ["VERDICT", *wrap(verdict.words, "  ", "  ")]
    judged += wrap("Before that: the contradiction at the top.", "  ", "  ") if revision.contradictions else []
    first, read, notes = contradiction_lines(revision), read_lines(report), note_lines(revision.notes)
    say(paragraphs([read, first, provenance, moved, table, notes, judged, foot]))
