"""What the gaps of a log say.

A check that was done and found normal is evidence; one that was not done says nothing. Most logs blur that: "no" is written now
and then, "yes" nearly always. So a column has two chances to be written down, of a normal answer and of any other; both are learned
with the other numbers (`Arrays.written`), and a gap weighs (1 - normal) P(normal) + (1 - odd) P(odd).

That is right for what every customer is asked, the symptoms. A check is done on suspicion: were its gaps read so, they would count
once more against the faults that nobody suspected (shares of the invented shops came out worse, false alarms no better). Its gaps
are read only where they must be: recorded results are held against what the model expects of those very jobs, from all their other
findings, and a check of which hardly any normal result is on record has kept them back.

A check can also be on record and yet say nothing: a thermistor's ohms with no temperature beside them fit a good one and a drifted
one about alike. One such reading does no harm. Thousands teach whatever the assumed scatter of the readings is wrong by, and
nothing else, so a check most of whose readings are like that is *unclear*, and left out of learning.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from faultodds.knowledge import Floats
from faultodds.tuning import likelihood as passes
from faultodds.tuning.arrays import Arrays, arrays_of
from faultodds.tuning.encode import Chunk, silent_fact_start, silent_start, split_start
from faultodds.tuning.likelihood import Rows, Silence
from faultodds.tuning.structure import Structure

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

#: A check is silent when a normal result is written down at most this often beside a bad one. Above it, odd proportions are
#: rather the check's own numbers being off, which learning puts right.
TOLD = 0.05
#: Fewest bad results, and standard deviations from what is expected, before a record is called silent.
FEWEST, SURE = 12, 5.0
#: Bad results on record for each one that all jobs together should have had: up to here a silent record can be the reason.
MOST_OFTEN = 1.5
#: A reading hardly tells when the normal result is not this many times likelier than the likeliest bad one, nor the reverse.
CLEAR = 3.0


@dataclass(frozen=True)
class Found:
    """What was found: `silence` for the passes, sentences for the manager."""

    silence: Silence
    notes: tuple[str, ...]


def look(structure: Structure, chunks: Iterable[Chunk], theta: Floats) -> Found:
    """Compare recorded and expected normal results of every symptom and check of some chunks."""
    arrays = arrays_of(structure, theta)
    tally = _Tally(structure)
    for chunk in chunks:
        rows = passes.rows_of(structure, chunk, arrays, Silence.none(structure))
        tally.add(chunk, arrays, rows)
    return tally.found()


def eligible(structure: Structure, chunk: Chunk) -> npt.NDArray[np.bool_]:
    """(N, checks) where a symptom or check can be done on the machine, as far as its equipment is known."""
    count = chunk.evidence.shape[0]
    out = np.ones((count, structure.checks), dtype=bool)
    records = structure.knowledge.observables
    for j, name in enumerate(structure.observables[: structure.checks]):
        for fact, value in records[name].needs.items():
            row = structure.rows + structure.equipment_rows.index((fact, value))
            out[:, j] &= _column(chunk, row)
        if name == structure.knowledge.costs.verify:
            out[:, j] = False
    return out


def _column(chunk: Chunk, row: int) -> npt.NDArray[np.bool_]:
    return np.asarray(chunk.evidence[:, [row]].toarray().ravel() > 0)


def observable_of(structure: Structure, chunk: Chunk) -> npt.NDArray[np.int64]:
    """(rows,) which symptom or check each row of a chunk's evidence is a finding of, -1 for other rows."""
    out = np.full(chunk.evidence.shape[1], -1)
    for (name, _), row in structure.row_of.items():
        out[row] = structure.observables.index(name)
    for i, split in enumerate(chunk.splits):
        out[split_start(structure) + i] = split.observable
    return out


def recorded(structure: Structure, chunk: Chunk) -> npt.NDArray[np.bool_]:
    """(N, checks) which symptoms and checks are on record, doubtful ones too."""
    job = np.repeat(np.arange(chunk.evidence.shape[0]), np.diff(chunk.evidence.indptr))
    which = observable_of(structure, chunk)[chunk.evidence.indices]
    out = np.zeros((chunk.evidence.shape[0], structure.checks), dtype=bool)
    out[job[which >= 0], which[which >= 0]] = True
    return out


class _Tally:
    """Recorded and expected results of each check, one chunk after the other."""

    def __init__(self, structure: Structure) -> None:
        self.structure = structure
        size = structure.checks
        self.records, self.normal, self.expected, self.spread = (np.zeros(size) for _ in range(4))
        self.bad_expected = np.zeros(size)
        self.jobs = 0.0
        self.values = np.zeros(len(structure.fact_of))
        self.readings, self.faint = np.zeros(size), np.zeros(size)

    def add(self, chunk: Chunk, arrays: Arrays, rows: Rows) -> None:
        """Add a chunk: what each recorded check should have shown, going by everything else on record."""
        s = self.structure
        self.jobs += float(chunk.weight.sum())
        self.values += chunk.weight @ chunk.facts[:, : len(self.values)]
        normal = arrays.outcome[s.group_of[: s.checks], 0]
        observable = observable_of(s, chunk)
        findings = np.flatnonzero(observable >= 0)
        of = observable[findings]
        self._readings(chunk, observable)
        # Likelihoods without one finding: what it brought is divided out again.
        without = np.exp(-np.maximum(rows.log_likelihood[findings].astype(np.float64), -60.0))
        first = [s.row_of[name, s.suspects.observables[name][0]] for name in s.observables[: s.checks]]
        can_be = eligible(s, chunk)
        for block in passes.blocks(chunk, rows, arrays):
            prior = block.main @ arrays.given_main.astype(block.main.dtype)
            joint = (block.like * prior).astype(np.float64)
            total = joint.sum(axis=1, keepdims=True)
            joint = np.divide(joint, total, out=np.zeros_like(joint), where=total > 0)
            weight = np.where(total[:, 0] > 0, chunk.weight[block.rows], 0.0)
            self.bad_expected += weight @ (can_be[block.rows] * (1.0 - joint @ normal.T))
            seen = chunk.evidence[block.rows][:, findings].toarray() > 0
            divisor = np.maximum(joint @ without.T, 1e-300)
            chance = np.clip(joint @ (without * normal[of]).T / divisor, 0.0, 1.0)
            self._sum(self.records, of, weight @ seen)
            self._sum(self.normal, of, (weight @ seen) * np.isin(findings, first))
            self._sum(self.expected, of, weight @ (seen * chance))
            self._sum(self.spread, of, weight**2 @ (seen * chance * (1.0 - chance)))

    def _readings(self, chunk: Chunk, observable: npt.NDArray[np.int64]) -> None:
        jobs = chunk.weight @ chunk.evidence
        known = observable >= 0
        self._sum(self.readings, observable[known], jobs[known])
        for row, split in enumerate(chunk.splits, split_start(self.structure)):
            normal, bad = split.weights[0], max(split.weights[1:])
            if bad < CLEAR * normal and normal < CLEAR * bad:
                self.faint[split.observable] += jobs[row]

    def _sum(self, into: Floats, of: npt.NDArray[np.int64], by_finding: Floats) -> None:
        into += np.bincount(of, by_finding, minlength=len(into))

    def found(self) -> Found:
        """Which checks are silent."""
        bad = self.records - self.normal
        with np.errstate(divide="ignore", invalid="ignore"):
            told = (self.normal / self.expected) / (bad / (self.records - self.expected))
            sure = (self.expected - self.normal) / np.sqrt(self.spread)
        unclear = (self.readings >= FEWEST) & (2 * self.faint > self.readings)
        unlike = (bad >= FEWEST) & (told < TOLD) & (sure > SURE) & ~unclear
        # More bad results than all the jobs should have between them: nothing was kept back, the check is read wrongly.
        often = bad / np.maximum(self.bad_expected, 1e-9)
        hushed = unlike & (often <= MOST_OFTEN)
        # Every customer is asked about symptoms; a check is done on suspicion, so its gaps are read only where they must be.
        asked = np.array([n in self.structure.knowledge.symptom for n in self.structure.observables[: len(bad)]])
        heard = hushed | (asked & (self.records >= FEWEST) & ~unclear)
        facts = self._facts()
        notes = (
            *self._hushed(hushed, bad),
            *self._misread(unlike & ~hushed, bad),
            *self._told_when_unusual(facts),
            *self._unclear(unclear),
        )
        return Found(Silence(heard, facts, unclear), notes)

    def _facts(self) -> Floats:
        """How much likelier a gap is with each value than with its fact's usual one (`Silence.facts`).

        A fact is silent when its likeliest value is hardly ever written down, and no more of the others than there should be.
        """
        s = self.structure
        out = np.ones(len(self.values))
        for number, fact in enumerate(s.knowledge.context):
            rows = np.flatnonzero(s.fact_of == number)
            chance = s.suspects.facts[fact] @ s.suspects.share
            usual = int(np.argmax(chance))
            told = self.values[rows]
            others = told.sum() - told[usual]
            should = self.jobs * (1.0 - chance[usual])
            expected = others * chance[usual] / max(1.0 - chance[usual], 1e-9)
            if (
                others >= FEWEST
                and told[usual] < TOLD * expected
                and expected >= FEWEST
                and others <= MOST_OFTEN * should
            ):
                out[rows] = np.where(np.arange(len(rows)) == usual, 1.0, 1.0 - min(others / should, 0.95))
        return out

    def _told_when_unusual(self, facts: Floats) -> tuple[str, ...]:
        names = list(self.structure.knowledge.context)
        which = [names[i] for i in sorted(set(self.structure.fact_of[facts < 1.0].tolist()))]
        if not which:
            return ()
        return (
            f"Written down only where out of the ordinary: {', '.join(which)}. A gap is read as 'most likely the usual'.",
        )

    def _hushed(self, which: npt.NDArray[np.bool_], bad: Floats) -> tuple[str, ...]:
        if not which.any():
            return ()
        return (
            f"The log seems to keep only the bad results of: {self._listed(which, bad)}. "
            "A job without one is read as 'not done, or done and normal'. Ask for normal results to be written down too.",
        )

    def _misread(self, which: npt.NDArray[np.bool_], bad: Floats) -> tuple[str, ...]:
        if not which.any():
            return ()
        return (
            f"More bad results than the faults in this log can bring: {self._listed(which, bad)}. Is the band of the reading "
            "right for these machines, and was it imported in the right unit? Look at [reading.*] in the knowledge file.",
        )

    def _unclear(self, which: npt.NDArray[np.bool_]) -> tuple[str, ...]:
        if not which.any():
            return ()
        listed = ", ".join(f"{self.structure.observables[j]}" for j in np.flatnonzero(which))
        return (
            f"Most readings on record could mean one result as well as another: {listed}. Nothing was learned from them. "
            "Is something missing beside the figure, such as the temperature at which it was taken?",
        )

    def _listed(self, which: npt.NDArray[np.bool_], bad: Floats) -> str:
        shown = [
            f"{self.structure.observables[j]} ({bad[j]:.0f} bad and {self.normal[j]:.0f} normal, "
            f"where about {self.expected[j]:.0f} normal would be expected)"
            for j in np.flatnonzero(which)
        ]
        return ", ".join(shown[:4]) + (f" and {len(shown) - 4} more" if len(shown) > 4 else "")


def heard(structure: Structure, chunk: Chunk, silence: Silence) -> Chunk:
    """The chunk with "not on record" as a finding of every symptom and check whose gaps are read, where it could have been done,
    and of every silent fact.
    """
    from dataclasses import replace

    from scipy.sparse import csr_matrix

    which = np.flatnonzero(silence.heard)
    if len(which):
        silent = ~recorded(structure, chunk)[:, which] & eligible(structure, chunk)[:, which]
        chunk = replace(chunk, evidence=_with(chunk.evidence, silent, silent_start(structure) + which))
    facts = np.unique(structure.fact_of[silence.facts < 1.0])
    if len(facts):
        of = csr_matrix(structure.fact_of[:, None] == facts, dtype=np.float32)
        told = (chunk.facts[:, : len(structure.fact_of)] @ of).toarray() > 0
        chunk = replace(chunk, facts=_with(chunk.facts, ~told, silent_fact_start(structure) + facts))
    return chunk


def cleared(structure: Structure, chunk: Chunk, silence: Silence) -> Chunk:
    """The chunk without the findings of unclear checks."""
    from dataclasses import replace

    if not silence.unclear.any():
        return chunk
    observable = observable_of(structure, chunk)
    clear = (observable < 0) | ~silence.unclear[observable]
    kept = chunk.evidence.multiply(clear.astype(np.float32)).tocsr()
    kept.eliminate_zeros()
    return replace(chunk, evidence=kept)


def _with(sparse: csr_matrix, more: npt.NDArray[np.bool_], columns: npt.NDArray[np.int64]) -> csr_matrix:
    """A sparse matrix with ones added where `more` (N, columns) says so."""
    from scipy.sparse import csr_matrix

    job, column = np.nonzero(more)
    added = csr_matrix((np.ones(len(job), np.float32), (job, columns[column])), shape=sparse.shape)
    return (sparse + added).tocsr()
