"""A drill on paper, for a class without computers: one page of its own style and nothing fetched, every text escaped.

The first sheet is filled in. The second has every finding, covered by a strip of paper and uncovered one at a time. The third
has the answers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from faultodds.names import capital
from faultodds_cli.drill.debrief import Adviser, best_plan
from faultodds_cli.drill.game import Drill, Step, odds_words
from faultodds_cli.drill.levels import LEVELS, drill_of
from faultodds_cli.drill.show import did, facts_words
from faultodds_cli.drill.words import Move
from faultodds_cli.shared.progress import counted
from faultodds_cli.shared.text import money, percent

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.knowledge import Knowledge
    from faultodds_cli.trial.visit import TrialJob

# Rows to fill in on the first sheet.
ROWS = 7
_STYLE = """
body{font:12pt/1.35 sans-serif;color:#111;background:#fff;max-width:46em;margin:0 auto;padding:1em}
h1{font-size:1.4em}h2{font-size:1.1em;margin:1.2em 0 .3em}
table{border-collapse:collapse;width:100%}th,td{border:1px solid #555;padding:.25em .4em;text-align:left;vertical-align:top}
th{background:#eee}.fill td{height:2.2em}.fold td:last-child{border-left:3px double #111}
.sheet+.sheet{margin-top:3em;break-before:page}tr{break-inside:avoid}td,li,p{overflow-wrap:break-word}th{white-space:nowrap}
@media(max-width:40em){body{font-size:11pt;padding:.5em}table{font-size:.8em}th{white-space:normal}
.fill th,.fill td,.fold th,.fold td{padding:.2em}}
@media print{body{font-size:10pt;max-width:none;padding:0}}
"""
SAFETY = (
    "Before anything is opened or moved: plug out, gas cock shut. Live and gas-pressure work is for qualified people. The maker's "
    "instructions and the local code go before this sheet."
)


def write_sheet(appliance: Appliance, level: int, seed: int, path: Path, force: bool = False) -> None:
    """Write the three sheets of a drill."""
    from faultodds.files import cannot_write, refuse_taken, written_whole

    refuse_taken(path, "--to", "drill.html", kind="a sheet", endings=(".html", ".htm"), force=force)
    name = f"{level}-{seed}"
    visit = drill_of(appliance, level, seed)
    body = [_pupils(visit, name, level), _findings(visit, name)]
    with counted("working out the best plan") as tick:
        body.append(_answers(drill_of(appliance, level, seed), name, Adviser(tick)))
    try:
        with written_whole(path, shared=True) as beside:
            beside.write_text(_page(f"Drill {name}", body), encoding="utf-8")
    except OSError as problem:
        raise cannot_write(path, "--to", problem) from None


def _page(title: str, sheets: Iterable[str]) -> str:
    head = '<meta charset="utf-8"><meta name="viewport" content="width=device-width,initial-scale=1">'
    sections = "\n".join(f'<section class="sheet">{sheet}</section>' for sheet in sheets)
    return (
        f'<!doctype html>\n<html lang="en"><head>{head}<title>{escape(title)}</title><style>{_STYLE}</style></head>\n'
        f"<body><main>\n{sections}\n</main></body></html>\n"
    )


def _table(kind: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    head = "".join(f'<th scope="col">{escape(h)}</th>' for h in heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f'<table class="{kind}"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def _items(texts: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(t)}</li>" for t in texts) + "</ul>"


def _pupils(visit: TrialJob, name: str, level: int) -> str:
    k, call = visit.appliance.knowledge, visit.call
    told = [f"{capital(k.symptom[n].title)}: {k.symptom[n].outcomes[o]}" for n, o in call.complaint.items()]
    how = (
        "Before each step write your own odds: up to three faults and how likely each is (of 100). Then write what you do, and "
        "uncover that one finding, and no other. Add up minutes and money. Say when you are sure enough to change a part."
    )
    rows = [(str(n), "", "", "", "", "") for n in range(1, ROWS + 1)]
    return (
        f"<h1>Drill {escape(name)}: {escape(k.appliance.title)}</h1><p>Simulated. Level {level}: {escape(LEVELS[level])}.</p>"
        f"<p>{escape(SAFETY)}</p><h2>The customer says</h2>{_items(told)}"
        f"<h2>Told</h2><p>{escape('; '.join(facts_words(k, visit.facts)))}</p><h2>Your way</h2><p>{escape(how)}</p>"
        + _table("fill", ("", "Your odds", "What you do", "It showed", "min", k.costs.currency), rows)
        + "<p>What began it: ______________________ What you change: ______________________</p>"
    )


def _findings(visit: TrialJob, name: str) -> str:
    """Every question, look and reading on the machine as it was found, in the order of the file, which is no order of use."""
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
    return (
        f"<h1>Drill {escape(name)}: findings</h1><p>Lay a strip of paper over the last column before anybody reads it. Uncover "
        f"one row when it was done.</p><p>Opening and closing, once: {escape(away)}. Labour {escape(labour)} "
        f"an hour.</p>" + _table("fold", ("Ask, look or measure", "min", "It shows"), rows)
    )


def _answers(visit: TrialJob, name: str, adviser: Adviser) -> str:
    k, call = visit.appliance.knowledge, visit.call
    first = Step(Move("close"), None, visit.belief, visit.situation)
    steps = best_plan(visit, adviser)
    there = "; ".join(k.title_of(m) for m in sorted(call.true_modes - {call.main_cause}))
    wrong = (f"{k.symptom[n].title}: it was {k.symptom[n].outcomes[t]}" for n, t in call.mistaken().items())
    rows = [("", _leading(first, k), "At the door", "", "", "")]
    after = [*(s.belief for s in steps[1:]), visit.belief]
    for number, (step, belief) in enumerate(zip(steps, after, strict=True), 1):
        odds = _leading(Step(step.move, None, belief, step.situation), k)
        rows.append(
            (str(number), odds, capital(did(k, step.move)), step.shown, f"{step.minutes:.0f}", money(step.cost, k))
        )
    return (
        f"<h1>Drill {escape(name)}: answers</h1><p>It began with: <strong>{escape(k.title_of(call.main_cause))}</strong>."
        f"{escape(f' There as well: {there}.') if there else ''}</p>"
        + (f"<p>The customer had it wrong:</p>{_items(wrong)}" if call.mistaken() else "")
        + "<h2>The best plan, and the odds after each step</h2>"
        + _table("plan", ("", "Odds after it", "Step", "It showed", "min", k.costs.currency), rows)
        + f"<p>{escape(SAFETY)}</p>"
    )


def _leading(step: Step, k: Knowledge) -> str:
    from faultodds.calibration import NAMED, began

    odds = sorted(began(step.belief, k).items(), key=lambda o: -o[1])[:NAMED]
    return odds_words(dict(odds)) if odds[0][1] < 1.0 else f"{odds[0][0]} {percent(odds[0][1])}"
