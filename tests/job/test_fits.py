"""Which rules a thought fulfils."""

from __future__ import annotations

import tomllib
from pathlib import Path

from faultodds.belief import open_appliance
from faultodds.job.clauses import clauses
from faultodds.job.fits import Fit, fitting_of, outcomes_of, rules_of, used_by
from faultodds.job.words import words_of

LINES = tomllib.loads((Path(__file__).parent / "lines.toml").read_text("utf-8"))["line"]


def test_no_rule_is_passed_over() -> None:
    """Found by its first word, every rule that a thought fulfils, in the order of the rules, as if each had been tried."""
    k = open_appliance("gas_dryer", revision="file").knowledge
    words = words_of("gas_dryer")
    assert words is not None
    rules = rules_of(outcomes_of(k), words)
    fitting, found = fitting_of(words, outcomes_of(k)), 0
    for line in LINES[::2]:
        for pieces in clauses(words, line["text"]):
            items = [item for piece in pieces for item in piece]
            tried = [Fit(rule, used) for rule in rules if (used := used_by(rule.parts, items))]
            assert list(fitting.fits(items)) == tried, line["text"]
            found += len(tried)
    assert found > 250
