"""A drill on paper, for a class without computers: sheets of a page like every other, HTML or PDF.

The first sheet is filled in. The second has every finding, covered by a strip of paper and uncovered one at a time. The third
has the answers.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from faultodds.names import capital
from faultodds_cli.drill.debrief import Adviser, best_plan
from faultodds_cli.drill.game import Drill
from faultodds_cli.drill.levels import LEVELS, drill_of
from faultodds_cli.drill.show import complaint, did, facts_words
from faultodds_cli.drill.words import odds_words
from faultodds_cli.shared.progress import counted
from faultodds_cli.shared.text import money

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.reports import Block
    from faultodds_cli.trial.visit import TrialJob

# Rows to fill in on the first sheet.
ROWS = 7
SAFETY = (
    "Before anything is opened or moved: plug out, gas cock shut. Live and gas-pressure work is for qualified people. The maker's "
    "instructions and the local code go before this sheet."
)


def write_sheet(appliance: Appliance, level: int, seed: int, path: Path, paper: str, force: bool = False) -> None:
    """Write the three sheets of a drill."""
    from faultodds.reports import Page, refuse_page, save

    refuse_page(path, "drill.html", paper, force)
    name = f"{level}-{seed}"
    visit = drill_of(appliance, level, seed)
    blocks = [*_pupils(visit, level), *_findings(visit, name)]
    with counted("working out the best plan") as tick:
        blocks += _answers(drill_of(appliance, level, seed), name, Adviser(tick))
    title = f"Drill {name}: {visit.appliance.knowledge.appliance.title}"
    save(Page(title, tuple(blocks), (SAFETY,)), path, paper, force)


def _pupils(visit: TrialJob, level: int) -> list[Block]:
    from faultodds.reports import Block

    k = visit.appliance.knowledge
    how = (
        "Before each step write your own odds: up to three faults and how likely each is (of 100). Then write what you do, and "
        "uncover that one finding, and no other. Add up minutes and money. Say when you are sure enough to change a part."
    )
    heads = ("", "Your odds", "What you do", "It showed", "min", k.costs.currency)
    return [
        Block("text", f"Simulated. Level {level}: {LEVELS[level]}."),
        Block("text", SAFETY),
        Block("head", "The customer says"),
        Block("list", items=tuple(complaint(k, visit.call.complaint))),
        Block("head", "Told"),
        Block("text", "; ".join(facts_words(k, visit.facts))),
        Block("head", "Your way"),
        Block("text", how),
        Block("form", items=heads, rows=tuple((str(n), "", "", "", "", "") for n in range(1, ROWS + 1))),
        Block("form", items=("What began it", "What you change"), rows=(("", ""),)),
    ]


def _findings(visit: TrialJob, name: str) -> list[Block]:
    """Every question, look and reading on the machine as it was found, in the order of the file, which is no order of use."""
    from faultodds.reports import Block

    k, call = visit.appliance.knowledge, visit.call
    drill, rows = Drill(visit, lambda question: None), list[tuple[str, str, str]]()
    for n, symptom in k.symptom.items():
        if not symptom.looked_at and (answer := call.ask(n)) is not None and n not in call.complaint:
            rows.append((symptom.ask or symptom.title, f"{k.costs.ask_minutes:g}", symptom.outcomes[answer]))
    for n, check in k.check.items():
        fits = all(visit.facts.get(f) == v for f, v in check.needs.items())
        if fits and n != k.costs.verify and not (check.qualified and not visit.qualified):
            visit.shown = call.check(n, visit.who)
            opened = f" ({', '.join(k.access[i].title for i in check.access)})" if check.access else ""
            rows.append((f"{check.title}{opened}", f"{check.minutes:.0f}", drill.shown_words()))
    labour = money(k.costs.labour_rate, k)
    away = "; ".join(f"{a.title}: {a.open_minutes + a.close_minutes:.0f} min" for a in k.access.values())
    how = "Lay a strip of paper over the last column before anybody reads it. Uncover one row when it was done."
    return [
        Block("sheet", f"Drill {name}: findings"),
        Block("text", how),
        Block("text", f"Opening and closing, once: {away}. Labour {labour} an hour."),
        Block("table", items=("Ask, look or measure", "min", "It shows"), rows=tuple(rows)),
    ]


def _answers(visit: TrialJob, name: str, adviser: Adviser) -> list[Block]:
    from faultodds.calibration import leading
    from faultodds.reports import Block

    k, call = visit.appliance.knowledge, visit.call
    there = "; ".join(k.title_of(m) for m in sorted(call.true_modes - {call.main_cause}))
    wrong = [f"{k.symptom[n].title}: it was {k.symptom[n].outcomes[t]}" for n, t in call.mistaken().items()]
    rows = [("", odds_words(leading(visit.belief, k)), "At the door", "", "", "")]
    steps = best_plan(visit, adviser)
    after = [*(s.belief for s in steps[1:]), visit.belief]
    for number, (step, belief) in enumerate(zip(steps, after, strict=True), 1):
        cells = (odds_words(leading(belief, k)), capital(did(k, step.move)), step.shown, f"{step.minutes:.0f}")
        rows.append((str(number), *cells, money(step.cost, k)))
    began = f"It began with: {k.title_of(call.main_cause)}.{f' There as well: {there}.' if there else ''}"
    heads = ("", "Odds after it", "Step", "It showed", "min", k.costs.currency)
    return [
        Block("sheet", f"Drill {name}: answers"),
        Block("text", began),
        *([Block("text", "The customer had it wrong:"), Block("list", items=tuple(wrong))] if wrong else []),
        Block("head", "The best plan, and the odds after each step"),
        Block("table", items=heads, rows=tuple(rows)),
    ]
