"""Rules for the next move against the exact optimum, on 300 random small problems: what each costs over it.

Run `python tests/benchmarks/bench_optimal.py [PROBLEMS]`. Four faults, three noisy checks with three outcomes, parts behind two
panels, repairs that may not take (`tests/small_problems.py`); the seeds are 0, 1, 2 ...
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from faultodds.textbook.exact import cheapest_job
from faultodds.textbook.measure import base_rule, cost_of_rule, information_rule, one_step_rule, rollout_rule
from small_problems import random_problem


def main() -> None:
    """Print mean and worst excess of every rule."""
    problems = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    excess: dict[str, list[float]] = {}
    for seed in range(problems):
        policy = random_problem(seed).policy
        optimum = cheapest_job(policy)
        rules = {
            "rollout": rollout_rule(policy),
            "one-step look-ahead": one_step_rule(policy),
            "base policy (0.4)": base_rule(policy, 0.4),
            "information per cost": information_rule(policy),
        }
        for name, rule in rules.items():
            excess.setdefault(name, []).append(cost_of_rule(policy, rule) / optimum - 1.0)
    print(f"cost over the exact optimum, {problems} random problems")
    for name, found in excess.items():
        print(f"  {name:22} mean {np.mean(found):8.3%}   worst {np.max(found):7.2%}")


if __name__ == "__main__":
    main()
