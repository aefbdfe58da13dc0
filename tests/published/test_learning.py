"""Learning, held against published and worked-out figures, through the project's own learner.

Status of each figure as in the other modules here: S source text seen, M from memory, C computed from a seen figure, D derived and
confirmed by brute force.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.sparse import csr_matrix

from faultodds.knowledge.loading import from_mapping
from faultodds.knowledge.schema import Knowledge
from faultodds.knowledge.tables import Floats
from faultodds.tuning.encode import Chunk, Encoder
from faultodds.tuning.fitting import fit
from faultodds.tuning.gibbs import sample
from faultodds.tuning.maximise import maximise
from faultodds.tuning.settings import KINDS, Settings
from faultodds.tuning.statistics import statistics
from faultodds.tuning.structure import Structure, structure_of
from toys import raw_toy

#: The file's numbers count for next to nothing, so that the log alone speaks.
NOTHING = dict.fromkeys(KINDS, 1e-6)
#: The file's numbers cannot move.
FIXED = 1e12


def _check(**entry: Any) -> dict[str, Any]:
    outcomes = entry.pop("outcomes", {"no": "no", "yes": "yes"})
    return {"title": "check", "outcomes": outcomes, "minutes": 1, **entry}


def _small(
    shares: dict[str, float], checks: dict[str, Any], nothing: float = 0.0, companion: float = 0.0, **more: Any
) -> Knowledge:
    """An appliance whose faults are `shares`, each a component of one mode called "bad", with a repair each."""
    modes = {n: {"title": n, "modes": {"bad": {"title": "bad", "share": s}}} for n, s in shares.items()}
    raw = raw_toy(
        component=modes,
        mechanism={},
        symptom={},
        check={
            "run_test": _check(outcomes={"good": "g", "bad": "b"}, links={f"{n}.bad": 0.9 for n in shares}),
            **checks,
        },
        repair=more.pop("repair", {f"fix_{n}": {"title": n, "fixes": [n], "minutes": 1} for n in shares}),
        other_causes={"nothing_wrong": nothing, "unlisted": 0, "companion": companion},
        **more,
    )
    raw["appliance"] = {**raw["appliance"], "shares_per": sum(shares.values()) + nothing}
    return from_mapping(raw, "small")


def _log(rows: list[tuple[int, dict[str, str]]]) -> pd.DataFrame:
    """A clean log with every row as often as the number before it says."""
    cells = [cells for times, cells in rows for _ in range(times)]
    frame = pd.DataFrame(cells).astype("category")
    frame.insert(0, "job", [str(i) for i in range(len(frame))])
    return frame


# --- two coins -----------------------------------------------------------------------------------------------------

TOSSES = [(5, 5), (9, 1), (8, 2), (4, 6), (7, 3)]


def _coins() -> tuple[Structure, Chunk, Floats]:
    """Five sets of ten tosses of one of two coins, each as likely; the check's "bad" outcome is heads."""
    checks = {"toss": _check(outcomes={"tails": "t", "heads": "h"}, links={"a.bad": 0.6, "b.bad": 0.5})}
    structure = structure_of(_small({"a": 50, "b": 50}, checks), 0.0)
    frame = pd.DataFrame({"job": [str(i) for i in range(5)], "found:toss": pd.Categorical(["heads"] * 5)})
    chunk = Encoder(structure, merge=False).encode(frame)
    times = np.zeros(chunk.evidence.shape)
    times[:, structure.row_of["toss", "heads"]] = [h for h, _ in TOSSES]
    times[:, structure.row_of["toss", "tails"]] = [t for _, t in TOSSES]
    pseudo = structure.families.spread_strengths({**NOTHING, "shares": FIXED})
    return structure, replace(chunk, evidence=csr_matrix(times.astype(np.float32))), pseudo


def _heads(structure: Structure, theta: Floats) -> tuple[float, float]:
    entry = structure.families.entry
    return float(theta[entry("check/toss/links/a.bad", "heads")]), float(
        theta[entry("check/toss/links/b.bad", "heads")]
    )


def test_two_coins() -> None:
    """From .6 and .5, one pass gives .71301224 and .58133931, ten give .79674415 and .51965866.

    Do and Batzoglou 2008, Nature Biotechnology 26:897 (S).
    """
    structure, chunk, pseudo = _coins()
    theta = structure.families.prior
    seen = {}
    for turn in range(1, 11):
        theta = maximise(structure.families, pseudo, statistics(structure, chunk, theta).counts)
        seen[turn] = _heads(structure, theta)
    assert seen[1] == pytest.approx((0.71301224, 0.58133931), abs=2e-6)
    assert seen[10] == pytest.approx((0.79674415, 0.51965866), abs=2e-6)


# --- verification bias ---------------------------------------------------------------------------------------------


def _scans() -> pd.DataFrame:
    def row(scan: str, biopsy: str | None) -> dict[str, str]:
        return {"found:scan": scan} | ({"found:biopsy": biopsy} if biopsy else {})

    cells = [
        (231, "yes", "yes"),
        (32, "yes", "no"),
        (166, "yes", None),
        (27, "no", "yes"),
        (54, "no", "no"),
        (140, "no", None),
    ]
    return _log([(n, row(scan, biopsy)) for n, scan, biopsy in cells])


def test_verification_bias() -> None:
    """Sensitivity .836 and specificity .738, where verified cases alone say .895 and .628.

    Liver scans, verified more often when positive: Begg and Greenes 1983, Biometrics 39:207 (figures S, cells M). Test choice that
    depends only on what is on record does no harm when every job counts.
    """
    checks = {"scan": _check(leak=0.4, links={"liver.bad": 0.7}), "biopsy": _check(links={"liver.bad": 1.0})}
    knowledge = _small({"liver": 50}, checks, nothing=50)
    learned = fit(knowledge, _scans(), Settings(strengths=NOTHING, iterations=500, tolerance=0.0, omitted_target=0.0))
    leak, link = (learned.numbers[f"check/scan/{n}/yes"] for n in ("leak", "links/liver.bad"))
    assert 1 - (1 - leak) * (1 - link) == pytest.approx(0.836, abs=1e-3)
    assert 1 - leak == pytest.approx(0.738, abs=1e-3)
    assert pytest.approx((0.895, 0.628), abs=1e-3) == (231 / (231 + 27), 54 / (54 + 32))


# --- how sure ------------------------------------------------------------------------------------------------------


def test_fractional_updating_and_the_full_posterior() -> None:
    """One positive test on Beta(2, 8): mean .22994652; the draws have the exact variance .016643, not the .014756 of
    fractional updating, which overstates what is known.

    Setting of Spiegelhalter and Lauritzen 1990, Networks 20:579; figures derived (D).
    """
    checks = {"test": _check(leak=0.2, links={"sick.bad": 1 - 0.1 / 0.8})}
    knowledge = _small({"sick": 20}, checks, nothing=80)
    log = _log([(1, {"found:test": "yes"})])
    settings = Settings(strengths={**dict.fromkeys(KINDS, FIXED), "shares": 10.0}, omitted_target=0.0, iterations=1)
    structure = structure_of(knowledge, 0.0)
    chunk = Encoder(structure).encode(log)
    pseudo = structure.families.spread_strengths(settings.worth())
    theta = maximise(structure.families, pseudo, statistics(structure, chunk, structure.families.prior).counts)
    mean = theta[structure.families.entry("shares", "sick.bad")]
    assert mean == pytest.approx(0.22994652, abs=1e-6)
    assert mean * (1 - mean) / 12 == pytest.approx(0.014756, rel=0.01)
    drawn = sample(knowledge, log, settings, sweeps=6000, burn=10).of("component/sick/modes/bad/share") / 100
    assert drawn.mean() == pytest.approx(0.22994652, abs=0.01)
    assert drawn.var() == pytest.approx(0.016643, rel=0.08)
    assert drawn.var() > (0.016643 + 0.014756) / 2


def test_conjugate_update() -> None:
    """1,299 repaired of 2,281 large home appliances on Beta(1, 1): mean .5694.

    Open Repair Data 2025-07, eight partner files (CC BY-SA 4.0), counted for this project (C).
    """
    knowledge = _small({"fixed": 50}, {}, nothing=50)
    log = pd.DataFrame({"job": [str(i) for i in range(2281)], "cause": ["fixed.bad"] * 1299 + ["nothing_wrong"] * 982})
    learned = fit(knowledge, log, Settings(strengths={"shares": 2.0}, omitted_target=0.0))
    assert learned.numbers["component/fixed/modes/bad/share"] / 100 == pytest.approx(0.5694, abs=1e-4)


# --- noisy-OR, and labels that are noisy ---------------------------------------------------------------------------


def test_noisy_or_is_recovered() -> None:
    """From population proportions, EM finds links .8 and .6 and a leak of .05 again (D)."""
    known = {"see_a": _check(links={"a.bad": 1.0}), "see_b": _check(links={"b.bad": 1.0})}
    wrong = {"alarm": _check(leak=0.2, links={"a.bad": 0.5, "b.bad": 0.5})}
    knowledge = _small({"a": 40, "b": 40}, {**known, **wrong}, nothing=20, companion=0.4)
    rows = []
    for a in (0, 1):
        for b in (0, 1):
            positive = round(1000 * (1 - 0.95 * (1 - 0.8 * a) * (1 - 0.6 * b)))
            cells = {"found:see_a": ("no", "yes")[a], "found:see_b": ("no", "yes")[b]}
            rows += [(positive, {**cells, "found:alarm": "yes"}), (1000 - positive, {**cells, "found:alarm": "no"})]
    learned = fit(knowledge, _log(rows), Settings(strengths=NOTHING, iterations=400, tolerance=0.0, omitted_target=0.0))
    found = [learned.numbers[f"check/alarm/{n}/yes"] for n in ("links/a.bad", "links/b.bad", "leak")]
    assert found == pytest.approx([0.8, 0.6, 0.05], abs=2e-3)


def test_a_replaced_part_is_a_noisy_label() -> None:
    """The share of fault a is .70; counting replacements says .65, counting those that helped .717.

    Technicians replace a when it is a with chance .8, and when it is b with chance .3; the machine then runs with chance .95 or .10
    (D). The two repairs exclude each other here: as labels of their own they get chances (.5 and .2 of a, .3 and .5 of b) under
    which half of the jobs have just one of them, in those proportions.
    """
    run = {"run_test": _check(outcomes={"good": "g", "bad": "b"}, links={"a.bad": 0.9, "b.bad": 0.9})}
    took = (0.95 - 0.10) / (1 - 0.10)
    repairs = {f"fix_{n}": {"title": n, "fixes": [n], "minutes": 1, "success": took} for n in "ab"}
    structure = structure_of(_small({"a": 50, "b": 50}, run, repair=repairs), 0.0)
    f = structure.families
    theta, learns = f.prior.copy(), f.kind[f.of] == KINDS.index("shares")
    done = {("a", "leak"): 0.3, ("a", "a.bad"): 2 / 7, ("b", "leak"): 0.2, ("b", "b.bad"): 3 / 8}
    for (repair, cause), chance in done.items():
        for outcome, value in (("done", chance), ("not_done", 1 - chance)):
            theta[f.entry(f"log/done/fix_{repair}/{cause}", outcome)] = value
    rows, counts = _replacements()
    assert counts["replaced"] == pytest.approx(0.65)
    assert counts["helped"] == pytest.approx(0.717, abs=1e-3)
    chunk = Encoder(structure).encode(_log(rows))
    for _ in range(300):
        found = statistics(structure, chunk, theta).counts
        theta = np.where(learns, maximise(f, 1e-6 * f.prior, found), theta)
    assert theta[f.entry("shares", "a.bad")] == pytest.approx(0.70, abs=2e-3)


def _replacements() -> tuple[list[tuple[int, dict[str, str]]], dict[str, float]]:
    """Rows in population proportions, and what two ways of counting make of them."""
    number: dict[tuple[str, str], float] = {}
    for truth, share, replaces_a in (("a", 0.7, 0.8), ("b", 0.3, 0.3)):
        for repair, chance in (("a", replaces_a), ("b", 1 - replaces_a)):
            good = 0.95 if repair == truth else 0.10
            for run, p in (("good", good), ("bad", 1 - good)):
                number[repair, run] = number.get((repair, run), 0.0) + 10_000 * share * chance * p
    rows = [(round(n), {"repairs": f"fix_{r}", "after:run_test": run}) for (r, run), n in number.items()]
    helped = number["a", "good"] / (number["a", "good"] + number["b", "good"])
    return rows, {"replaced": (number["a", "good"] + number["a", "bad"]) / 10_000, "helped": helped}
