"""The advice and simpler rules against the exact optimum, on 300 random small problems: what each costs over it.

Run `python tests/benchmarks/bench_optimal.py [PROBLEMS [FIRST_SEED]]`; some 3 s a problem. The problems are those of
`tests/small_problems.py`. The advice is what `best_move` says, asked anew after every finding and repair, to the end of the job.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from exact_plans import cheapest_job
from rules_played import base_rule, cost_of_advice, cost_of_rule, information_rule, one_step_rule
from small_problems import random_problem

NAMES = ("advice", "one-step rule of 1995", "base policy (0.4)", "information per cost")
WORST = 5


def excess(seed: int) -> list[float]:
    """What the rules cost over the optimum in one problem, as shares of it."""
    ranking = random_problem(seed)
    policy = ranking.policy
    rules = (one_step_rule(policy), base_rule(policy, 0.4), information_rule(policy))
    costs = [cost_of_advice(ranking.problem.appliance), *(cost_of_rule(policy, rule) for rule in rules)]
    optimum = cheapest_job(policy)
    return [cost / optimum - 1.0 for cost in costs]


def main() -> None:
    """Print mean, 95th percentile and worst excess of every rule, and the seeds where the advice does worst."""
    asked = [int(x) for x in sys.argv[1:]]
    problems, first = [*asked, *(300, 0)[len(asked) :]]
    found = []
    for seed in range(first, first + problems):
        found.append(excess(seed))
        print(f"seed {seed}: " + "  ".join(f"{x:.2%}" for x in found[-1]), file=sys.stderr, flush=True)
    print(f"cost over the exact optimum, {problems} random problems")
    for name, column in zip(NAMES, np.array(found).T, strict=True):
        spread = f"mean {column.mean():8.3%}   95 % under {np.quantile(column, 0.95):7.2%}   worst {column.max():7.2%}"
        print(f"  {name:22} {spread}")
    worst = sorted(range(problems), key=lambda i: -found[i][0])[:WORST]
    print("advice does worst at seeds " + ", ".join(f"{first + i} ({found[i][0]:.2%})" for i in worst))


if __name__ == "__main__":
    main()
