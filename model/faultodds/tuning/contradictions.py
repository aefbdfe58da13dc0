"""Where the repairs that held say one thing and the learned shares another, because of what a log is read to say.

A repair that held is strong word for its fault. Where most visits on which it held are nevertheless put down to other faults, and
that turns round once a finding that stands on most of them is left out, then it is this finding that speaks against the fault.
Either the shop's machines are like no other, or its words were read as something else than it meant; only the shop can say.

Parts fitted without need, and those that another repair could have done for, are no contradiction: there no one finding stands
on most of the visits and turns them round.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from faultodds.joblog import ENDED, FACT, FOLLOWED, FOUND, GONE, clean
from faultodds.knowledge import NOTHING_WRONG, UNLISTED
from faultodds.tuning.causes import causes_of
from faultodds.tuning.groups import NOT_KNOWN, Groups, log_labels, repair_groups
from faultodds.tuning.learned_words import ENOUGH, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from faultodds.joblog import Phrase
    from faultodds.knowledge import Floats, Ints, Knowledge
    from faultodds.tuning.fitting import Learned
    from faultodds.tuning.structure import Structure

MOST: Final = 0.5
"""More visits than not."""
NO_REPAIR: Final = (NOTHING_WRONG, UNLISTED)
SPEAKING: Final = 2
"""Findings that may speak against a fault together: those of one phrase, or of one part of the machine."""
LOOKED_AT: Final = 200
"""Visits of a repair that are looked at, evenly spread over the log."""
STRONG: Final = 10.0
"""How many times the odds of the fault must be without these findings: from here evidence is called strong (Jeffreys 1961, from
memory)."""
SURE: Final = 0.9
PHRASES: Final = 4
"""Phrases shown of those that were read as a finding."""


@dataclass(frozen=True)
class Contradiction:
    """A repair that held on `held` of `of` visits, while its faults `causes` have the share `learned`; where nothing tells how jobs
    ended (`known`), one that alone was done on them.

    The findings `against` (column of the clean log, value, on how many of the `looked` visits it stands) put most of these visits
    down to `instead`.
    """

    repair: str
    causes: tuple[str, ...]
    held: int
    of: int
    learned: float
    against: tuple[tuple[str, str, int], ...]
    looked: int
    instead: str
    known: bool = True


def contradictions(structure: Structure, frame: pd.DataFrame, learned: Learned, high: Floats) -> list[Contradiction]:
    """The repairs of a log whose learned share contradicts how often they held, the commonest first.

    `high` (C,) the upper ends of the intervals of the main causes' shares, or the shares themselves.
    """
    groups = repair_groups(structure.knowledge)
    labels, known = _labels(frame, structure.knowledge, groups)
    held = np.bincount(labels[labels != NOT_KNOWN], minlength=len(groups.names))
    mains, of = _mains(structure, groups), int(held.sum())
    share, upper = learned.families.padded(learned.theta)[learned.families.share] @ mains, high @ mains
    found = []
    for group, name in enumerate(groups.names):
        if name in NO_REPAIR or held[group] < ENOUGH or _least(int(held[group]), of) <= upper[group]:
            continue
        rows = np.flatnonzero(labels == group)
        picked = rows[np.linspace(0, len(rows) - 1, min(len(rows), LOOKED_AT)).astype(np.int64)]
        against, instead = _speaking(structure, frame.iloc[picked], learned, mains[:, group])
        if against:
            causes = tuple(m for m, own in zip(structure.suspects.mains, mains[:, group], strict=True) if own)
            at = name, causes, len(rows), of, float(share[group])
            found.append(Contradiction(*at, against, len(picked), instead, known))
    return sorted(found, key=lambda c: -c.held)


def _labels(frame: pd.DataFrame, knowledge: Knowledge, groups: Groups) -> tuple[Ints, bool]:
    """(N,) the group whose repair put each job right, and True; where the log tells of no job how it ended, the group whose
    repair alone was done, and False."""
    labels = log_labels(frame, knowledge, groups)
    if (labels != NOT_KNOWN).any():
        return labels, True
    ended: dict[str, Any] = {ENDED: GONE, FOLLOWED: knowledge.log.window_days}
    silent = ENDED not in frame or frame[ENDED].dropna().eq(clean.UNKNOWN).all()
    return (log_labels(frame.assign(**ended), knowledge, groups) if silent else labels), False


def _mains(structure: Structure, groups: Groups) -> Floats:
    """(C, K) which repair group each main cause is in."""
    out = np.zeros((len(structure.suspects.mains), len(groups.names)))
    out[np.arange(len(out)), [groups.of_main[main] for main in structure.suspects.mains]] = 1.0
    return out


def _least(held: int, of: int) -> float:
    """The lower end of the interval of a plain count (Jeffreys)."""
    from scipy.stats import beta

    return float(beta.ppf((1.0 - SURE) / 2.0, held + 0.5, of - held + 0.5))


def _speaking(
    structure: Structure, visits: pd.DataFrame, learned: Learned, own: Floats
) -> tuple[tuple[tuple[str, str, int], ...], str]:
    """The findings that put most of these visits down to something else, and to what; nothing where no few findings do."""
    whole = causes_of(structure, visits, learned).mean(axis=0)
    if whole @ own >= MOST:
        return (), ""
    file = structure.families.prior
    turned = max(MOST, _times(STRONG, float(causes_of(structure, visits, learned, file).mean(axis=0) @ own)))
    instead = structure.suspects.mains[int(np.where(own > 0, 0.0, whole).argmax())]
    usual = {c: _usual(visits, c) for c in visits.columns if c.startswith((FACT, FOUND))}
    usual = {c: told for c, told in usual.items() if told[1] > MOST * len(visits)}
    out: list[str] = []
    for _ in range(min(SPEAKING, len(usual))):
        left = [c for c in usual if c not in out]
        without = _without(structure, visits.drop(columns=out), learned, left) @ own
        out.append(left[int(without.argmax())])
        if without.max() > turned:
            return tuple((c, *usual[c]) for c in out), instead
    return (), ""


def _times(factor: float, chance: float) -> float:
    """A chance whose odds are so many times those of another."""
    return factor * chance / (1.0 - chance + factor * chance)


def _usual(visits: pd.DataFrame, column: str) -> tuple[str, int]:
    """The commonest value of a column, and on how many visits it stands."""
    counts = visits[column].value_counts()
    return (str(counts.index[0]), int(counts.iloc[0])) if len(counts) else ("", 0)


def _without(structure: Structure, visits: pd.DataFrame, learned: Learned, columns: list[str]) -> Floats:
    """(columns, C) mean chance of each main cause on some visits, with each of the columns left out; at the file's numbers, since
    the learned ones have been bent to what is doubted."""
    import pandas as pd

    each = [visits.drop(columns=column) for column in columns]
    chances = causes_of(structure, pd.concat(each, ignore_index=True), learned, structure.families.prior)
    return np.asarray(chances.reshape(len(columns), len(visits), -1).mean(axis=1))


# --- in words ------------------------------------------------------------------------------------------------------


def sentence(knowledge: Knowledge, found: Contradiction, phrases: Sequence[Phrase], log: str) -> str:
    """What is contradicted by what, why most likely, and what to type to look."""
    causes = " or ".join(f"'{knowledge.title_of(main)}'" for main in found.causes)
    findings = " and ".join(_finding(knowledge, *each, found.looked) for each in found.against)
    how = "held" if found.known else "alone was done"
    return (
        f"'{knowledge.repair[found.repair].title}' is the repair that {how} on {found.held} of {found.of} visits "
        f"({percent(found.held / found.of)}), yet its fault, {causes}, was learned as {percent(found.learned)} of calls. "
        f"The reason: {findings}, which speaks against that fault, and most of them are put down to "
        f"'{knowledge.title_of(found.instead)}'. {_read_as(found, phrases)} To look, and to write what is meant: "
        f"faultodds log phrases {log}. Then import and learn again."
    )


def _finding(knowledge: Knowledge, column: str, value: str, times: int, looked: int) -> str:
    """On how many of the visits a finding stands, as the table of phrases has it and in words."""
    name = column.partition(":")[2]
    record = knowledge.observables.get(name)
    words = f" ('{record.outcomes[value]}')" if record and value in record.outcomes else ""
    often = "all of these visits" if times == looked else f"{times} of {looked} of these visits"
    return f"{often} say {name}={value}{words}"


def _read_as(found: Contradiction, phrases: Sequence[Phrase]) -> str:
    """The log's own phrases behind the findings, asked about."""
    names = {f"{column.partition(':')[2]}={value}" for column, value, _ in found.against}
    told = sorted((p for p in phrases if names & set(p.became.split("; "))), key=lambda p: -p.times)
    listed = "; ".join(f"'{p.phrase}' ({p.column}, {p.times:,} times)" for p in told[:PHRASES])
    return f"Was it meant by {listed}?" if told else "Was that read rightly?"
