"""A drill on paper, for a class without computers: sheets of a page like every other, HTML or PDF.

The first sheet is filled in. The second has every finding, covered by a strip of paper and uncovered one at a time, and what
everything costs. The third has the answers.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from faultodds.names import capital
from faultodds_cli.drill.beside import after_run, before_run, opened_for
from faultodds_cli.drill.debrief import Adviser, best_plan
from faultodds_cli.drill.game import NOT_KNOWN, Drill, told
from faultodds_cli.drill.levels import LEVELS, drill_of
from faultodds_cli.drill.show import band_lines, complaint, did, facts_words, first_of_all, plan_ended
from faultodds_cli.drill.words import odds_words
from faultodds_cli.shared.progress import counted
from faultodds_cli.shared.text import money

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.knowledge import Knowledge, Work
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
        "Before each step write your own odds of what began it: up to three faults and how likely each is (of 100). Then write "
        "what you do, and uncover that one finding, and no other. Add up minutes and money. Say when you are sure enough to "
        "change a part."
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
    """Every question, look and reading on the machine as it was found, in the order of the file, which is no order of use, with
    minutes and money; what repairs take below."""
    from faultodds.reports import Block

    k, call = visit.appliance.knowledge, visit.call
    drill, rows = Drill(visit, lambda question: None), list[tuple[str, ...]]()
    asking = (f"{k.costs.ask_minutes:g}", money(k.costs.ask_minutes * visit.rate, k))
    for n, symptom in k.symptom.items():
        if not symptom.looked_at and n not in call.complaint:
            rows.append((symptom.ask or symptom.title, *asking, symptom.outcomes.get(call.ask(n) or "", NOT_KNOWN)))
    asked = {n: e.ask for n, e in k.equipment.items()} | {n: c.ask for n, c in k.context.items()}
    rows += [(text, *asking, NOT_KNOWN) for n, text in asked.items() if n not in visit.facts]
    for n, check in k.check.items():
        if n != k.costs.verify and _fits(visit, check):
            visit.shown = call.check(n, visit.who)
            slip, cannot = drill.not_now(n)
            stopped = f"SLIP. {capital(slip)}" if slip else f"Not now. {capital(cannot)}" if cannot else ""
            rows.append(
                (
                    _with_cautions(k, drill, check),
                    *_takes(visit, check),
                    stopped or drill.shown_words(),
                )
            )
    how = (
        "Lay a strip of paper over the last column before anybody reads it. Uncover one row when it was done. Whoever does "
        "what shows SLIP, or opens or moves anything with plug or gas on, has slipped: there the drill ends. What shows Not now "
        "was not done, and costs nothing."
    )
    return [
        Block("sheet", f"Drill {name}: findings"),
        Block("text", how),
        Block("table", items=("Ask, look or measure", "min", k.costs.currency, "It shows"), rows=tuple(rows)),
        *_bands(visit),
        *_repairs(visit),
    ]


def _bands(visit: TrialJob) -> list[Block]:
    """What every reading on this machine is held against, as the drill tells it when it is asked."""
    from faultodds.reports import Block

    k = visit.appliance.knowledge
    bands = [" ".join(band_lines(k, n)) for n, check in k.check.items() if n in k.reading and _fits(visit, check)]
    return [Block("head", "What readings are held against"), Block("list", items=tuple(bands))] if bands else []


def _repairs(visit: TrialJob) -> list[Block]:
    """What everything else costs: repairs with their parts, opening, the run, a wrong end."""
    from faultodds.reports import Block

    k, run = visit.appliance.knowledge, visit.appliance.knowledge.check[visit.appliance.knowledge.costs.verify]
    labour = money(k.costs.labour_rate, k)
    away = "; ".join(
        f"{a.title}: {minutes:.4g} min, {money(minutes * visit.rate, k)}"
        for a in k.access.values()
        if (minutes := a.open_minutes + a.close_minutes)
    )
    run_minutes, run_price = _takes(visit, run)
    beside = "".join(f" First: {text}" for text in before_run(k, told(k, visit.belief), run))
    ends = (
        f"The run that proves a repair: {run_minutes} min, {run_price}.{beside} Coming back because it was not right: "
        f"{money(k.costs.callback + k.costs.travel, k)} and the right repair. Handing over: {money(k.costs.refer, k)}."
    )
    rows = tuple((_with_opening(visit, r), *_takes(visit, r)) for r in k.repair.values() if _fits(visit, r))
    return [
        Block("head", "What repairs and the rest cost"),
        Block(
            "text",
            f"Labour {labour} an hour, and parts, in every figure. Opening and closing, once for all work behind it "
            f"until the machine runs: {away}.",
        ),
        Block("text", ends),
        Block("table", items=("Change or mend", "min", k.costs.currency), rows=rows),
    ]


def _fits(visit: TrialJob, work: Work) -> bool:
    """Whether some work can be done on this machine, by an apprentice."""
    on_it = all(visit.facts.get(f) == v for f, v in work.needs.items())
    return on_it and not (work.qualified and not visit.qualified)


def _takes(visit: TrialJob, work: Work) -> tuple[str, str]:
    """Minutes and money of some work by itself."""
    return f"{work.minutes:.4g}", money(work.minutes * visit.rate + work.cost, visit.appliance.knowledge)


def _with_opening(visit: TrialJob, work: Work) -> str:
    """Some work with all that is opened or moved for it, from a machine closed up to one closed up again."""
    opened = ", ".join(opened_for(visit, work))
    return f"{work.title} ({opened})" if opened else work.title


def _with_cautions(k: Knowledge, drill: Drill, check: Work) -> str:
    """A check, what is said before it where the machine runs, and what goes back on after it."""
    first = [f"First: {text}" for text in before_run(k, drill.known, check)]
    told_with_it = [*first, *(f"Then: {text}" for text in after_run(k, check))]
    title = _with_opening(drill.visit, check)
    return " ".join([f"{title}." if told_with_it and title[-1] not in ".?" else title, *told_with_it])


def _answers(visit: TrialJob, name: str, adviser: Adviser) -> list[Block]:
    from faultodds.calibration import leading
    from faultodds.reports import Block

    k, call = visit.appliance.knowledge, visit.call
    there = "; ".join(k.title_of(m) for m in sorted(call.true_modes - {call.main_cause}))
    wrong = [f"{k.symptom[n].title}: it was {k.symptom[n].outcomes[t]}" for n, t in call.mistaken().items()]
    rows = [("", "At the door", "", odds_words(leading(visit.belief, k)), "", "")]
    steps = best_plan(visit, adviser)
    after = [*(s.belief for s in steps[1:]), visit.belief]
    for number, (step, belief) in enumerate(zip(steps, after, strict=True), 1):
        rows += [("", f"At once: {text}", "", "", "", "") for text in first_of_all(k, steps, number - 1)]
        done, odds = (capital(did(k, step.move)), step.shown), odds_words(leading(belief, k))
        rows.append((str(number), *done, odds, f"{step.minutes:.4g}", money(step.cost, k)))
    began = f"It began with: {k.title_of(call.main_cause)}.{f' There as well: {there}.' if there else ''}"
    heads = ("", "Step", "It showed", "Odds after it", "min so far", f"{k.costs.currency} so far")
    return [
        Block("sheet", f"Drill {name}: answers"),
        Block("text", began),
        *([Block("text", "The customer had it wrong:"), Block("list", items=tuple(wrong))] if wrong else []),
        Block("head", "The best plan, and the odds after each step"),
        Block("table", items=heads, rows=tuple(rows)),
        Block("text", plan_ended(visit)),
    ]
