"""What a log teaches, held against the numbers that are in use, and kept as the verdict on a revision."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from faultodds.audit.methods import LEARNED
from faultodds.audit.results import Audit, is_worse, verdict
from faultodds.audit.run import audit
from faultodds.audit.stages import chosen
from faultodds.belief import open_appliance
from faultodds.errors import FaultoddsError
from faultodds.revisions import FILE, Revision, Verdict, accepted, get, judge, revision_ids
from faultodds.tuning import part_of_log

if TYPE_CHECKING:
    import pandas as pd

SHORT: Final = "complaint,1,all"
#: Settings of a revision that say which part of a log it was learned from.
PART: Final = ("since", "branch")


def against_in_use(appliance: str, frame: pd.DataFrame, **how: Any) -> Audit:
    """An audit (`how` as `audit` takes it) whose base is what is in use: the file, or the revision that was accepted.

    A revision knows the jobs that it was learned from, so only later months are forecast; where they are too few, the file is
    the base, and a note says so.
    """
    import pandas as pd

    ready = open_appliance(appliance, revision=FILE)
    name = ready.knowledge.appliance.id
    stands = accepted(name)
    if stands == FILE:
        return audit(ready.knowledge, frame, **how)
    others = {**how.pop("others", {}), stands: open_appliance(appliance, revision=stands).knowledge}
    last = get(name, stands).log.last_day
    try:
        since = pd.Timestamp(last) if last else None
        return audit(ready.knowledge, frame, others=others, base=stands, since=since, **how)
    except FaultoddsError as error:
        found = audit(ready.knowledge, frame, **how)
        note = f"Held against the file, not against {stands}, which is in use: {error}"
        return replace(found, notes=(note, *found.notes))


def judged_log(
    appliance: str, path: Path, revision: Revision, tick: Callable[[str], None] = lambda what: None
) -> Verdict:
    """Hold what a clean log, or the part of it that the revision was learned from, teaches against what is in use, and keep the
    verdict with the revision.

    A log that is too short to judge by gives a verdict that says so.
    """
    from faultodds.joblog import read_clean

    try:
        frame = part_of_log(read_clean(path), **{name: str(revision.settings.get(name, "")) for name in PART})
        found = against_in_use(appliance, frame, stages=chosen(SHORT), with_rivals=False, tick=tick)
    except FaultoddsError as error:
        words = f"Nobody can tell yet whether these numbers forecast better: {error}"
        told = Verdict(False, accepted(revision.appliance), words, _today(), known=False)
        judge(revision.appliance, revision.id, told)
        return told
    return keep(revision.appliance, revision.id, found)


def keep(appliance: str, revision: str, found: Audit) -> Verdict:
    """Keep what an audit of the log found, as the verdict on a revision learned from it."""
    told = Verdict(is_worse(found, LEARNED), found.base, verdict(found, LEARNED), _today())
    judge(appliance, revision, told)
    return told


def _today() -> str:
    from datetime import date

    return f"{date.today():%Y-%m-%d}"


def learned_from(appliance: str, path: Path, since: str = "", branch: str = "") -> list[str]:
    """Ids of the revisions that were learned from exactly this clean log, and exactly this part of it."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    found = []
    for each in revision_ids(appliance):
        try:
            revision = get(appliance, each)
            part = tuple(str(revision.settings.get(name, "")) for name in PART)
            found += [each] if revision.log.sha256 == digest and part == (since, branch) else []
        except FaultoddsError:
            continue
    return found
