"""From a clean log to a proposed revision: read, learn, sample, hold the months against each other, write."""

from __future__ import annotations

import contextlib
import hashlib
import math
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from faultodds.errors import FaultoddsError
from faultodds.knowledge import SEPARATOR
from faultodds.revisions import FILE, LogSource, Number, Plain, Revision, propose

if TYPE_CHECKING:
    import pandas as pd

    from faultodds.belief import Appliance
    from faultodds.knowledge import Knowledge
    from faultodds.tuning.fitting import Learned
    from faultodds.tuning.gibbs import Draws
    from faultodds.tuning.settings import Settings

Tick = Callable[[str, int, int], None]
"""Called with what is being done, how much of it is done, and out of how much (0: not known)."""
INTERVAL: Final = 0.9
FEW_DRAWS: Final = 50.0
"""Effective draws under which the ends of an interval are rough."""
SWEEPS: Final = 400
NO_FACTOR: Final = 1.1
"""Under this factor shares are said to be as in the file."""


def learn(
    appliance: Appliance,
    log: Path,
    settings: Settings,
    *,
    sweeps: int = SWEEPS,
    since: str = "",
    branch: str = "",
    tick: Tick = lambda what, done, of: None,
) -> Revision:
    """Learn from a clean log and keep the result as a proposed revision.

    Parameters
    ----------
    appliance: the knowledge file as it is (`revision == "file"`): learning starts from the file's numbers, never from an accepted
        revision, whose jobs would count twice.
    since, branch: learn only from jobs from this day (YYYY-MM-DD) on, or of this branch.
    sweeps: Gibbs sweeps behind the intervals; 0 leaves the intervals out.

    Raises FaultoddsError for a log that cannot be learned from; then nothing is written.
    """
    from faultodds.joblog import read_clean
    from faultodds.tuning.fitting import fit
    from faultodds.tuning.groups import repairs_that_held
    from faultodds.tuning.leanings import lean_notes

    if appliance.revision != FILE:
        raise FaultoddsError("learning starts from the knowledge file's own numbers: open it with revision='file'.")
    knowledge = appliance.knowledge
    tick("reading the log", 0, 0)
    frame = part_of_log(read_clean(log), since, branch)
    tick("learning from every job", 0, 0)
    learned = fit(knowledge, frame, settings)
    draws = _sampled(knowledge, frame, learned, sweeps, tick) if sweeps else None
    held, telling = repairs_that_held(frame, knowledge)
    by_path = {SEPARATOR.join(["component", *_named(m), "share"]): float(held[m]) for m, _ in knowledge.modes()}
    numbers = {path: _number(learned, draws, path, by_path.get(path)) for path in learned.numbers}
    tick("comparing the months", 0, 0)
    notes = [
        *held_back_notes(learned),
        *learned.notes,
        *interval_notes(knowledge, numbers),
        *failed_notes(frame),
        *drift_notes(knowledge, frame, learned),
        *lean_notes(knowledge, frame),
    ]
    told = _told_settings(learned, sweeps) | {"visits_that_tell": telling}
    told |= {name: value for name, value in (("since", since), ("branch", branch)) if value}
    found = _contradicted(knowledge, log, frame, learned, numbers)
    source = _source(log, frame)
    return propose(
        knowledge.appliance.id, appliance.fingerprint, source, numbers, told, tuple(notes), contradictions=found
    )


def _contradicted(
    knowledge: Knowledge, log: Path, frame: pd.DataFrame, learned: Learned, numbers: Mapping[str, Number]
) -> tuple[str, ...]:
    """A sentence for each repair that held far more often than its share says, with the phrases of the log behind it."""
    from faultodds.joblog import LogFiles, kept_phrases
    from faultodds.tuning.contradictions import contradictions, sentence
    from faultodds.tuning.places import share_path
    from faultodds.tuning.structure import structure_of

    structure = structure_of(knowledge, learned.settings.omitted_target)
    high = learned.families.padded(learned.theta)[learned.families.share]
    for place, main in enumerate(structure.suspects.mains):
        number = numbers.get(share_path(main))
        if number is not None and number.high is not None and number.learned > 0:
            high[place] *= number.high / number.learned
    found = contradictions(structure, frame, learned, high)
    if not found:
        return ()
    table = LogFiles(log.parent, log.stem).phrases
    phrases = kept_phrases(table) if table.exists() else []
    return tuple(sentence(knowledge, each, phrases, log.stem) for each in found)


def part_of_log(frame: pd.DataFrame, since: str = "", branch: str = "") -> pd.DataFrame:
    """The jobs from a day on, or of a branch; FaultoddsError, with what there is, when the log has none."""
    from faultodds.errors import unknown
    from faultodds.joblog import BRANCH, DAY

    if since:
        import datetime

        try:
            first = datetime.datetime.strptime(since, "%Y-%m-%d")
        except ValueError:
            raise FaultoddsError(f"--since {since}: write the day as 2025-04-01.") from None
        frame = frame[frame[DAY] >= first] if DAY in frame else frame.iloc[:0]
        if not len(frame):
            raise FaultoddsError(f"--since {since}: the log has no job with a day from then on.")
    if branch:
        known = sorted(frame[BRANCH].dropna().astype(str).unique()) if BRANCH in frame else []
        if branch not in known:
            raise unknown(
                "branch in this log", branch, known, "Type 'faultodds log describe LOG' to see what is in it."
            )
        frame = frame[frame[BRANCH].astype(object) == branch]
    return frame.reset_index(drop=True)


def _sampled(knowledge: Knowledge, frame: pd.DataFrame, learned: Learned, sweeps: int, tick: Tick) -> Draws:
    from faultodds.tuning.gibbs import sample

    burn = max(50, sweeps // 4)

    def told(done: int) -> None:
        tick("sampling how sure each number is", done, burn + sweeps)

    return sample(knowledge, frame, learned.settings, sweeps, burn, learned=learned, tick=told)


def _named(mode: str) -> tuple[str, str, str]:
    component, _, name = mode.partition(".")
    return component, "modes", name


def _number(learned: Learned, draws: Draws | None, path: str, held: float | None) -> Number:
    """One learned number with all that is known of it."""
    value, file, jobs = learned.numbers[path], learned.file.get(path), _spoke(learned, path)
    if draws is None or path not in draws.places:
        return Number(value, file, jobs=jobs, held=held)
    low, high = draws.interval(path, INTERVAL)
    return Number(value, file, low, high, jobs, round(draws.ess(path), 1), held)


def held_back_notes(learned: Learned) -> list[str]:
    """How far the shop's shares seem to differ from the file's, when nobody said what the file is worth (`holding.py`)."""
    from faultodds.tuning.holding import SPREADS

    if learned.held is None:
        return []
    factor = math.exp(float(learned.held.spreads @ np.array(SPREADS)))
    if factor < NO_FACTOR:
        return [
            "Shares stay about as the file has them: those learned from this log's earlier jobs forecast its later ones no "
            "better than the file's own do."
        ]
    return [
        f"Shares differ from the file's by a factor of {factor:.1f} or so, as far as forecasts of this log's later jobs from its "
        "earlier ones tell; they follow the log that far, and the intervals carry the doubt about it. --worth sets that by hand."
    ]


def interval_notes(knowledge: Knowledge, numbers: Mapping[str, Number]) -> list[str]:
    """What to know of the intervals: where they rest on few draws, and where they miss the number they belong to."""
    from faultodds.tuning.learned_words import items

    causes = [i for i in items(knowledge, numbers) if i.kind == "causes" and i.low is not None]
    rough = sorted((i for i in causes if (i.draws or 0.0) < FEW_DRAWS), key=lambda i: i.draws or 0.0)
    notes = []
    if rough:
        notes.append(
            f"The intervals of {len(rough)} of {len(causes)} main causes rest on fewer than {FEW_DRAWS:g} independent draws (the "
            f"fewest, {rough[0].draws:.0f}, for '{rough[0].title}'): they are rough. More sweeps make them finer: --sweeps."
        )
    torn = [i for i in causes if not (i.low or 0.0) <= i.learned <= (i.high or 0.0)]
    if torn:
        listed = "; ".join(f"'{i.title}'" for i in torn[:4]) + (f" and {len(torn) - 4} more" if len(torn) > 4 else "")
        notes.append(
            f"The likeliest number lies outside its own interval for {listed}: the log fits several explanations that it does "
            "not tell apart. Take these shares together, not one by one."
        )
    return notes


def _spoke(learned: Learned, path: str) -> float | None:
    """Jobs behind a number: for a share those expected to have that cause (every job speaks to every share), else its family's."""
    place = learned.places[path]
    if learned.families.names[place.families[0]] == "shares":
        return float(learned.counts[list(place.entries)].sum())
    return learned.spoke.get(path)


def failed_notes(frame: pd.DataFrame) -> list[str]:
    """What became of repairs that did not hold, and whose they are; nothing where all held."""
    from faultodds.joblog import TECHNICIAN, Record, add_records, differences

    everybody, records = dict[str, Record](), dict[str, Record]()
    add_records(everybody, frame.assign(**{TECHNICIAN: "all"}))
    add_records(records, frame)
    of = everybody["all"] if everybody else Record()
    if not of.back and not of.wrong:
        return []
    return [
        f"{of.back} of {of.ended} visits came back, and on {of.wrong} of {of.repaired} the first repair failed: none of these "
        "counts as a repair that held. What was found on them says which fault it was; where nothing of that is written down, part "
        "of them still counts for what was fitted first.",
        *(["Whose they are: " + " ".join(apart)] if (apart := differences(records)) else []),
    ]


def drift_notes(knowledge: Knowledge, frame: pd.DataFrame, learned: Learned) -> list[str]:
    """A sentence for each cause that drifts over the months, and for each month unlike the whole log that no drift explains."""
    from faultodds.joblog import clean
    from faultodds.tuning.causes import causes_of
    from faultodds.tuning.drift import MonthSums, sentence, shifts
    from faultodds.tuning.leanings import drift_sentence, drifts
    from faultodds.tuning.structure import structure_of

    if clean.DAY not in frame.columns:
        return []
    structure = structure_of(knowledge, learned.settings.omitted_target)
    mains = structure.suspects.mains
    sums = MonthSums(len(mains))
    for month, rows in _by_month(frame):
        chances = causes_of(structure, rows, learned)
        chances = chances[chances.any(axis=1)]
        sums.add([month] * len(chances), chances)
    moving = drifts(sums, mains)
    found = shifts(sums, mains)
    # Several months that differ because a cause drifts are no news of their own.
    drifting = {d.cause for d in moving if sum(shift.cause == d.cause for shift in found) > 1}
    return [
        *(drift_sentence(d, knowledge.title_of(d.cause)) for d in moving),
        *(sentence(shift, knowledge.title_of(shift.cause)) for shift in found if shift.cause not in drifting),
    ]


def _by_month(frame: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame]]:
    """The jobs of each month; how long each was followed is worked out before the log is cut up."""
    from faultodds.joblog import clean, followed_in

    if clean.FOLLOWED not in frame.columns:
        frame = frame.assign(**{clean.FOLLOWED: followed_in(frame[clean.DAY])})
    for month, rows in frame.groupby(frame[clean.DAY].dt.strftime("%Y-%m")):
        yield str(month), rows


def _source(log: Path, frame: pd.DataFrame) -> LogSource:
    from faultodds.joblog import clean

    first = last = ""
    if clean.DAY in frame.columns and frame[clean.DAY].notna().any():
        first, last = (f"{day:%Y-%m-%d}" for day in (frame[clean.DAY].min(), frame[clean.DAY].max()))
    return LogSource(log.stem, _digest(log), len(frame), first, last)


def _digest(log: Path) -> str:
    with log.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def outdated(appliance: str, data: str | None = None) -> tuple[str, LogSource, str] | None:
    """The revision in use, its log, and what happened to that since (`changed_since`); None when nothing did."""
    from faultodds.revisions import accepted, get

    stands = accepted(appliance)
    with contextlib.suppress(FaultoddsError):  # a damaged one is told of elsewhere
        if stands != FILE and (changed := changed_since((log := get(appliance, stands).log), data)):
            return stands, log, changed
    return None


def changed_since(log: LogSource, data: str | None = None) -> str:
    """What happened to a log since a revision was learned from it, and what to type; empty when nothing did, or it is not there."""
    from faultodds.joblog import files_of, kept_phrases, names_in

    if log.name not in names_in(data):
        return ""
    files = files_of(log.name, data)
    waiting = 0
    with contextlib.suppress(FaultoddsError):  # a table that cannot be read explains nothing
        waiting = sum(bool(each.means) for each in kept_phrases(files.phrases))
    if waiting:
        phrases = "1 phrase of the log '{}' was" if waiting == 1 else f"{waiting:,} phrases of the log '{{}}' were"
        return (
            f"{phrases.format(log.name)} explained and not yet imported (import the file again with --phrases {files.phrases}, "
            f"then learn anew: faultodds tune {log.name})"
        )
    if _digest(files.clean) != log.sha256:
        return (
            f"the log '{log.name}' was changed after this was learned from it, corrected or added to (learn anew: "
            f"faultodds tune {log.name})"
        )
    return ""


def _told_settings(learned: Learned, sweeps: int) -> dict[str, Plain]:
    """The settings as a manager reads them, strengths as they came out."""
    settings = learned.settings
    measured = learned.held is not None
    by_hand = {kind: jobs for kind, jobs in learned.strengths.items() if not (measured and kind == "shares")}
    worth = ", ".join(f"{kind} {jobs:,.0f}" for kind, jobs in by_hand.items())
    how = "usual; shares by forecasts of this log" if measured else "set by hand"
    told: dict[str, Plain] = {"file_worth_in_jobs": f"{worth} ({how})"}
    if settings.half_life_days is not None:
        told["half_life_days"] = float(settings.half_life_days)
    told["omitted_target"] = settings.omitted_target
    return told | {"sweeps": sweeps, "seed": settings.seed, "jobs_set_aside": learned.set_aside}
