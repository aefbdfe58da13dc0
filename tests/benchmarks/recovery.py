"""Does learning give the truth back: python tests/benchmarks/recovery.py [--shops 100] [--jobs 1000] [--missing 0.7].

Every shop's truth is drawn from the prior (the file's numbers, worth `WORTH` jobs), its log is drawn from that truth through the
network's tables, and the posterior is sampled from the log alone. Printed: how often 90 % intervals hold the truth, overall and by
kind of number (nominal 90), and whether the truth's rank among the draws is uniform (simulation-based calibration, Talts et al.
2018; chi-square over ten bins, on every tenth draw). It runs on as many processes as asked.
"""

from __future__ import annotations

import argparse
import dataclasses
import time

import numpy as np
from joblib import Parallel, delayed
from scipy.stats import chisquare

from faultodds.knowledge import overlay
from faultodds.knowledge.loading import load
from faultodds.tuning.draw import draw_log
from faultodds.tuning.fitting import encoded, fit
from faultodds.tuning.gibbs import Chain, effective_size
from faultodds.tuning.places import numbers, places_of
from faultodds.tuning.settings import KINDS, WORTH, Settings
from faultodds.tuning.structure import structure_of

LEVEL, BINS = 0.9, 10


def shop(seed: int, jobs: int, missing: float, sweeps: int, burn: int, target: float) -> tuple[np.ndarray, ...]:
    """One shop: (P,) whether the interval holds the truth, (P,) rank bin of the truth, (P,) effective draws."""
    knowledge = load("gas_dryer")
    settings = Settings(strengths=WORTH, omitted_target=target, recentre=False)
    structure = structure_of(knowledge, target)
    f = structure.families
    rng = np.random.default_rng(seed)
    theta = np.maximum(f.scaled(np.maximum(rng.standard_gamma(f.spread_strengths(dict(WORTH))), 1e-290)), 1e-30)
    truth = overlay.apply(knowledge, numbers(places_of(knowledge, structure.suspects, f), theta))
    log = draw_log(truth, jobs, seed, missing, theta=theta, guesses_of=structure)
    learned = fit(knowledge, log, settings)
    # From the prior's middle, not from the fitted mode, which the draws would have to leave first.
    start = dataclasses.replace(learned, theta=f.prior)
    chain = Chain(structure, encoded(structure, log, settings, merge=False)[0], start, seed)
    # The drawn logs have no repairs in place of the right ones (`draw.py`).
    chain.pseudo[f.wrong] = 1e9, 1e-3
    chain.theta[f.wrong] = 1.0, 1e-12
    for _ in range(burn):
        chain.sweep()
    draws = np.stack([chain.sweep() for _ in range(sweeps)])
    low, high = np.quantile(draws, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=0)
    # One draw fewer than a multiple of the bins, so that every bin has as many ranks.
    thin = draws[np.linspace(0, sweeps - 1, 4 * BINS - 1).astype(int)]
    rank = (thin < theta).sum(axis=0) + rng.random(len(theta)) * (thin == theta).sum(axis=0)
    size = np.array([effective_size(draws[:, e]) for e in range(0, draws.shape[1], 25)])
    return (low <= theta) & (theta <= high), (rank * BINS // (len(thin) + 1)).astype(int), size


def main() -> None:
    """Print coverage by kind of number, and the ranks."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--shops", type=int, default=100)
    parser.add_argument("--jobs", type=int, default=1000)
    parser.add_argument("--missing", type=float, default=0.7)
    parser.add_argument("--sweeps", type=int, default=300)
    parser.add_argument("--burn", type=int, default=100)
    parser.add_argument("--target", type=float, default=5e-3, help="prior mass that may be left out")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    started = time.perf_counter()
    told = (args.jobs, args.missing, args.sweeps, args.burn, args.target)
    found = Parallel(n_jobs=args.workers)(delayed(shop)(args.seed + i, *told) for i in range(args.shops))
    inside, ranks = np.array([r[0] for r in found]), np.array([r[1] for r in found])
    families = structure_of(load("gas_dryer"), args.target).families
    kind = families.kind[families.of]
    # Of what is left out of a log, and who comes back with an unlisted fault, the drawn logs know nothing.
    drawn = ~np.array([n.startswith(("log/written", "log/wrong", "log/back_if_unlisted")) for n in families.names])
    drawn = drawn[families.of]
    # A truth that is zero to the last digit has no place among draws that are zero as well.
    print(
        f"{args.shops} shops x {args.jobs} jobs, {args.missing:.0%} of cells missing, {args.sweeps} sweeps: 90 % intervals"
    )
    print(f"{'':<12}{'numbers':>8}{'hold the truth':>16}{'ranks uniform, p':>18}")
    for k, name in [*enumerate(KINDS), (-1, "all")]:
        chosen = drawn & (kind == k) if k >= 0 else drawn
        share = inside[:, chosen].mean()
        p = chisquare(np.bincount(ranks[:, chosen][:, ::2].ravel(), minlength=BINS)).pvalue
        print(f"{name:<12}{int(chosen.sum()):>8}{share:>15.1%} {p:>17.3f}")
    sizes = np.concatenate([r[2] for r in found])
    print(
        f"effective draws of {args.sweeps}: median {np.median(sizes):.0f}, lowest tenth {np.quantile(sizes, 0.1):.0f}"
    )
    took = time.perf_counter() - started
    print(f"{took:.0f} s, {took / args.shops:.1f} s a shop")


if __name__ == "__main__":
    main()
