"""What `CauseClassifier` does with an appliance: teaches its knowledge file with rows whose causes are known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from faultodds.audit.baselines import as_numbers, gaps_as_level, logistic
from faultodds.audit.forecast import Gaps, main_cause_odds
from faultodds.audit.methods import gaps_of
from faultodds.belief import Suspects, compile_suspects
from faultodds.errors import FaultoddsError, unknown
from faultodds.joblog import FACT, FOUND, JOB
from faultodds.knowledge import UNLISTED, UNLISTED_MODE, Floats, Knowledge, load, main_cause_states
from faultodds.tuning import Groups, repair_groups

if TYPE_CHECKING:
    import pandas as pd

    from faultodds.tuning import Learned as Fit

Words = npt.NDArray[np.str_]
CAUSE = "cause"
#: Prior mass that may be left out.
OMITTED_TARGET = 2e-3
#: Times that rows labelled with a repair group are given their likeliest cause in that group, and learned from.
ROUNDS = 2
#: How far a regression may be heard; the rows that it and the model are taught with to find out; fewest rows to judge by.
HEARD, TAUGHT_ON, FEWEST = (0.0, 0.2, 0.4, 0.6, 0.8), 0.7, 20
#: No chance counts as less in a pool, so that neither can rule out what it has not met.
LEAST = 1e-6


@dataclass(frozen=True)
class Modelled:
    """A taught appliance by itself. `classes` (K,) are the answers that were taught, sorted; `columns` what each is made of, as
    indices of main causes; `gaps` what gaps say."""

    suspects: Suspects
    gaps: Gaps
    classes: Words
    columns: tuple[tuple[int, ...], ...]

    def chances(self, frame: pd.DataFrame) -> Floats:
        """(N, K) chance of each class, given that it is one of them."""
        odds = main_cause_odds(self.suspects, frame, self.gaps)
        p = np.stack([odds[:, list(each)].sum(axis=1) for each in self.columns], axis=1)
        # All taught classes ruled out: nothing to choose between them.
        p += 1e-300
        return np.asarray(p / p.sum(axis=1, keepdims=True))


@dataclass(frozen=True)
class Taught:
    """A taught appliance, and beside it a regression that hears what no model of a machine does, such as which checks a shop makes
    on a hunch. Their chances are multiplied, the regression's to the power `heard` and the appliance's to the rest (a logarithmic
    pool of opinions); `heard` is what forecast the rows best that were held back from both.
    """

    model: Modelled
    regression: Any
    knowledge: Knowledge
    heard: float

    @property
    def classes(self) -> Words:
        """(K,) answers that were taught, sorted."""
        return self.model.classes

    def chances(self, frame: pd.DataFrame) -> Floats:
        """(N, K) chance of each class, given that it is one of them."""
        chances = self.model.chances(frame)
        if not self.heard:
            return chances
        return pooled(chances, _regressed(self.regression, frame, self.knowledge, self.classes), self.heard)


def pooled(model: Floats, regression: Floats, heard: float) -> Floats:
    """(N, K) chances of two forecasts multiplied, each to its power."""
    log = (1.0 - heard) * np.log(np.maximum(model, LEAST)) + heard * np.log(np.maximum(regression, LEAST))
    p = np.exp(log - log.max(axis=1, keepdims=True))
    return np.asarray(p / p.sum(axis=1, keepdims=True))


def teach(appliance: str, frame: pd.DataFrame, answers: Words, worth: float | None) -> Taught:
    """Learn every number of the knowledge file from rows whose cause is known, and a regression from the same rows.

    `answers` (N,) are main causes, or repair groups. A repair group with several causes does not say which: such rows are
    learned from with the cause in the group that the numbers so far find likeliest, and once more with what came out.
    Raises UnknownName for an answer that is neither, and as the clean log does for columns and words it does not know.
    """
    knowledge = load(appliance)
    rows = _rows(frame)
    model = _model(knowledge, rows, answers, worth)
    # A worth says how far the rows are believed, so nothing beside it believes them further.
    heard = _heard(knowledge, rows, answers) if worth is None else 0.0
    return Taught(model, _regression(rows, answers, knowledge) if heard else None, knowledge, heard)


def _heard(knowledge: Knowledge, rows: pd.DataFrame, answers: Words) -> float:
    """How far the regression is heard: what forecasts best, of rows held back, with both taught by the others."""
    order = np.random.default_rng(0).permutation(len(rows))
    cut = round(TAUGHT_ON * len(rows))
    past, rest = order[:cut], order[cut:]
    rest = rest[np.isin(answers[rest], answers[past])]
    if len(rest) < FEWEST or len(np.unique(answers[past])) < 2:
        return 0.0
    model = _model(knowledge, rows.iloc[past].reset_index(drop=True), answers[past], None)
    new = rows.iloc[rest].reset_index(drop=True)
    place = np.searchsorted(model.classes, answers[rest])
    one = model.chances(new)
    other = _regressed(_regression(rows.iloc[past], answers[past], knowledge), new, knowledge, model.classes)
    scores = [np.log(pooled(one, other, heard)[np.arange(len(new)), place]).sum() for heard in HEARD]
    return HEARD[int(np.argmax(scores))]


def _regression(rows: pd.DataFrame, answers: Words, knowledge: Knowledge) -> Any:
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # not quite converged: no news to whoever cross-validates
        return logistic().fit(gaps_as_level(as_numbers(rows, knowledge)), answers)


def _regressed(regression: Any, frame: pd.DataFrame, knowledge: Knowledge, classes: Words) -> Floats:
    out = np.zeros((len(frame), len(classes)))
    told = regression.predict_proba(gaps_as_level(as_numbers(frame, knowledge)))
    out[:, np.searchsorted(classes, regression.classes_)] = told
    return out


def _model(knowledge: Knowledge, rows: pd.DataFrame, answers: Words, worth: float | None) -> Modelled:
    """The appliance taught by rows."""
    mains = main_cause_states(knowledge)
    classes = np.unique(answers)
    made_of = _made_of(classes, repair_groups(knowledge), mains)
    suspects = compile_suspects(knowledge, OMITTED_TARGET)
    several = any(len(each) > 1 for each in made_of.values())
    for _ in range(ROUNDS if several else 1):
        causes = _likeliest(main_cause_odds(suspects, rows), answers, made_of, mains)
        learned = _learned(knowledge, rows, causes, worth)
        suspects = compile_suspects(learned.knowledge, OMITTED_TARGET)
    return Modelled(suspects, gaps_of(suspects, knowledge, learned), classes, tuple(made_of[c] for c in classes))


def _rows(frame: pd.DataFrame) -> pd.DataFrame:
    """The columns there are to learn from; others are refused, so that none is ignored unseen."""
    other = [str(c) for c in frame.columns if not str(c).startswith((FACT, FOUND))]
    if other:
        raise FaultoddsError(
            f"the column '{other[0]}' is neither a fact nor a finding. Keep the columns that start with '{FACT}' or '{FOUND}': "
            "X = X.filter(regex='^(fact|found):')."
        )
    return frame.reset_index(drop=True)


def _made_of(classes: Words, groups: Groups, mains: tuple[str, ...]) -> dict[str, tuple[int, ...]]:
    """The main causes behind each answer; all answers main causes, or all of them groups."""
    names = {UNLISTED: UNLISTED_MODE}
    if all(names.get(c, c) in mains for c in classes):
        return {c: (mains.index(names.get(c, c)),) for c in classes}
    for c in classes:
        if c not in groups.names:
            raise unknown("main cause or repair group", str(c), [*mains, *groups.names])
    return {
        c: tuple(mains.index(m) for m, column in groups.of_main.items() if groups.names[column] == c) for c in classes
    }


def _likeliest(odds: Floats, answers: Words, made_of: dict[str, tuple[int, ...]], mains: tuple[str, ...]) -> list[str]:
    out = []
    for row, answer in zip(odds, answers, strict=True):
        behind = made_of[str(answer)]
        out.append(mains[max(behind, key=lambda c: row[c])])
    return out


def _learned(knowledge: Knowledge, rows: pd.DataFrame, causes: list[str], worth: float | None) -> Fit:
    from faultodds.tuning import KINDS, Settings, fit

    frame = rows.assign(**{JOB: [str(i) for i in range(len(rows))], CAUSE: causes})
    settings = Settings() if worth is None else Settings(strengths=dict.fromkeys(KINDS, float(worth)))
    return fit(knowledge, frame, settings)
