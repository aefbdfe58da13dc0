"""What is said of what was entered on a stored job, as text or as one JSON object: both tell the same."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import typer

from faultodds.names import rounded
from faultodds_cli.shared.printing import complain, say, say_json
from faultodds_cli.shared.text import cautions, wrap

if TYPE_CHECKING:
    from faultodds.errors import ClashError
    from faultodds.job import JudgedFinding, Misfit, OpenJob


def say_saved(visit: OpenJob, as_json: bool, head: str, taken: Iterable[JudgedFinding], since: int) -> None:
    """Say what was saved, and what of it does not fit; findings that clash are saved and said, with exit code 2."""
    from faultodds.job import misfits
    from faultodds_cli.shared.show_job import entered_lines
    from faultodds_cli.shared.show_known import misfit_text, replaced_text, run_texts

    clash, undo = visit.clash(), f"faultodds job undo {visit.job.typed}"
    odd = [] if clash else misfits(visit.appliance, visit.job, since)
    replaced = [replaced_text(old, undo) for old in visit.job.replaced_since(since)]
    runs = run_texts(visit, since, f"{undo} {visit.knowledge.costs.verify}")
    doubts = [text for text in (visit.appliance.changed, visit.appliance.doubt) if text]
    if as_json:
        said = {"cautions": doubts, "replaced": replaced, "runs": runs}
        say_json(_saved_answer(visit, taken, since, odd, clash) | said)
    else:
        say([head, *entered_lines(visit, taken, since), *cautions(doubts)])
        say_each(replaced, runs)
        for m in odd:
            names = " or ".join(dict.fromkeys([m.finding.name, *(p.finding.name for p in m.against)]))
            way_out = f"It is saved. Look once more; the one that is wrong: {undo} {names}"
            say(cautions([f"{misfit_text(m)} {way_out}"]))
    if clash:
        if not as_json:
            complain(f"{clash} The job is kept: {undo}")
        raise typer.Exit(2)


def say_each(replaced: Sequence[str], runs: Sequence[str]) -> None:
    """What was entered in place of something else, and what is to be said of the runs."""
    for text in replaced:
        say(wrap(text))
    for text in runs:
        say(cautions([text]))


def _saved_answer(
    visit: OpenJob, taken: Iterable[JudgedFinding], since: int, odd: Sequence[Misfit], clash: ClashError | None
) -> dict[str, Any]:
    """The job as data, with what was saved after step `since`."""
    from faultodds.advice import read_answer
    from faultodds.job import job_answer

    answer = job_answer(visit, advice=False)
    answer["saved"] = [step for step in answer["steps"] if step["seq"] > since]
    answer["readings"] = [read_answer(t.finding.name, t.judgement) for t in taken if t.judgement]
    answer["misfits"] = [
        {"finding": m.finding.name, "chance": rounded(m.chance), "against": [p.finding.name for p in m.against]}
        for m in odd
    ]
    answer["clash"] = {"findings": list(clash.findings), "message": str(clash)} if clash else None
    return answer
