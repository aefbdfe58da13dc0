"""Answers as text for an 80-column terminal without colour. Every function returns lines; nothing prints.

The order is that of need: what to do, why, what can hurt, the steps; the other checks; then the odds.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from faultodds_cli.shared.options import View
from faultodds_cli.shared.text import (
    BAR_CELLS,
    bar,
    capital,
    money,
    paragraphs,
    percent,
    percent_fine,
    title_lines,
    width,
    wrap,
)

if TYPE_CHECKING:
    from faultodds.advice import Action, CheckPrice
    from faultodds.belief import Appliance, Belief
    from faultodds.job import Finding
    from faultodds.knowledge import Knowledge
    from faultodds.readings import Judgement

__all__ = [
    "BAR_CELLS",
    "action_lines",
    "actions",
    "advice_lines",
    "bar",
    "capital",
    "check_lines",
    "evidence_lines",
    "judgement_lines",
    "left_out_lines",
    "likelihood_words",
    "money",
    "odds_lines",
    "outcomes_of",
    "paragraphs",
    "percent",
    "repair_lines",
    "revision_lines",
    "shop_lines",
    "unlisted_lines",
    "weight_lines",
    "weight_words",
    "width",
    "work_lines",
    "wrap",
]

# Weights of evidence under this, in decibans, are not worth a line; shares left out under this are not worth a word.
NEXT_TO_NOTHING = 1.0
LEFT_OUT_SAID = 0.001
# Repairs with less than this share of the best one's chance are not what anybody would start with.
HARDLY = 0.1

FOR_THE_QUALIFIED = (
    "QUALIFIED PEOPLE ONLY, as the local code asks. If that is not you, ask again with --no-qualified-work."
)


# ---- what to do ----


def advice_lines(view: View) -> list[str]:
    """The next move: what, why, what can hurt, the steps there, and what to tell afterwards."""
    return work_lines(view) + _tell_lines(view)


def work_lines(view: View) -> list[str]:
    """The next move without what to tell afterwards."""
    advice, k = view.advice, view.appliance.knowledge
    lines = wrap(_headline(view), "DO NEXT: ", "         ")
    lines += wrap(advice.why, "  ")
    if advice.kind in ("check", "repair"):
        todo = actions(view, (advice.name, *advice.together))
        for action in todo:
            # One piece of work is in the headline already; its title would only be said twice.
            lines += ["", *action_lines(action, k)[len(_title_lines(action)) if len(todo) == 1 else 0 :]]
    else:
        closing = _closing_steps(view)
        lines += ["", *_numbered(closing)] if closing else []
    for note in advice.notes:
        lines += ["", *wrap(note, "  Note: ")]
    return lines


def _headline(view: View) -> str:
    advice, k = view.advice, view.appliance.knowledge
    if advice.kind == "stop":
        return "stop here and close the job."
    if advice.kind == "refer":
        return f"hand the job over (about {money(k.costs.refer, k)})."
    if advice.kind == "repair":
        titles = [k.repair[n].title for n in (advice.name, *advice.together)]
        return f"REPAIR. {capital(' and '.join(titles))}. Then verify."
    (action,) = actions(view, (advice.name,))
    return f"CHECK. {capital(action.title)} ({action.price.minutes:.0f} min, {money(action.price.cost, k)})."


def actions(view: View, names: Iterable[str]) -> list[Action]:
    """How to do these one after the other, from the machine state as it is."""
    from faultodds.advice import action

    state, out = view.situation.state, []
    for name in names:
        out.append(action(view.appliance, name, state, view.situation.labour_rate))
        state = out[-1].price.way.after
    return out


def action_lines(action: Action, knowledge: Knowledge) -> list[str]:
    """One check or repair: its cautions, clearly marked and before the work, then its numbered steps."""
    work = knowledge.check.get(action.name) or knowledge.repair[action.name]
    lines = _title_lines(action)
    if work.qualified:
        lines += wrap(FOR_THE_QUALIFIED, "  !! ")
    for caution in action.cautions:
        lines += wrap(caution, "  !! ")
    return lines + _numbered(action.steps)


def _title_lines(action: Action) -> list[str]:
    return wrap(f"{capital(action.title)} [{action.name}]", "  ")


def _numbered(steps: Sequence[str]) -> list[str]:
    return [line for i, step in enumerate(steps, 1) for line in wrap(step, f"  {i:2}. ")]


def _closing_steps(view: View) -> list[str]:
    from faultodds.advice import MachineStates

    machine = MachineStates(view.appliance.knowledge)
    return machine.sentences(machine.closing_up(view.situation.state))


def _tell_lines(view: View) -> list[str]:
    """What to enter when the advised work is done."""
    advice, k = view.advice, view.appliance.knowledge
    if advice.kind == "check":
        outcomes = " | ".join(k.check[advice.name].outcomes)
        typed = f"Then enter what it shows: {advice.name}={outcomes}"
        return ["", *wrap(typed + (", or the raw reading." if advice.name in k.reading else ""), "  ")]
    if advice.kind == "repair":
        typed = outcomes_of(k, k.costs.verify)
        return ["", *wrap(f"Then run the machine and enter what it shows: {typed}", "  ")]
    return []


def outcomes_of(knowledge: Knowledge, name: str) -> str:
    """A symptom or check with all it can show, as typed: "glow=yes | no"."""
    return f"{name}=" + " | ".join(knowledge.observables()[name].outcomes)


# ---- the other things one could do ----


def check_lines(view: View, checks: Sequence[CheckPrice]) -> list[str]:
    """Some checks: minutes, cost, what the whole job then costs, and why."""
    if not view.advice.checks:
        return ["CHECKS: none left that can be done now."]
    if not checks:
        return ["CHECKS: none that would tell anything now."]
    lines = [_columns("CHECKS, BEST FIRST", "min", "cost", "whole job")]
    for number, check in enumerate(checks, 1):
        lines += _check(view, number, check)
    return lines


def _check(view: View, number: int, check: CheckPrice) -> list[str]:
    k = view.appliance.knowledge
    record = k.check[check.name]
    lines = _row(
        f"{number}. {capital(record.title)}", f"{check.price.minutes:.0f}",
        money(check.price.cost, k), money(check.expected_cost, k),
    )  # fmt: skip
    reason = f"because {record.reason.rstrip('.')}" if record.reason else "may change what to do next"
    only = " (qualified people only)" if record.qualified else ""
    return lines + wrap(f"{check.name}: {reason}{only}.", "     ")


def repair_lines(view: View, count: int = 3) -> list[str]:
    """The repairs worth naming, cheapest expected job first."""
    k = view.appliance.knowledge
    best = max((r.chance for r in view.advice.repairs), default=0.0)
    repairs = [r for r in view.advice.repairs if r.chance >= max(0.01, HARDLY * best)][:count]
    if not repairs:
        return []
    lines = [_columns("REPAIRS, IF YOU WOULD START NOW", "fixes it", "cost", "whole job")]
    for r in repairs:
        title = " and ".join(k.repair[name].title for name in (r.name, *r.together))
        title = f"{capital(title)} [{' + '.join((r.name, *r.together))}]"
        lines += _row(title, percent(r.chance), money(r.price.cost, k), money(r.expected_cost, k))
    return lines


_CELLS = (10, 8, 11)


def _columns(head: str, *cells: str) -> str:
    return head.ljust(width() - sum(_CELLS)) + "".join(c.rjust(w) for c, w in zip(cells, _CELLS, strict=True))


def _row(head: str, *cells: str) -> list[str]:
    room = width() - sum(_CELLS) - 2
    first, *more = textwrap.wrap(head, room, subsequent_indent="   ", break_on_hyphens=False)
    return [_columns(f"  {first}", *cells), *(f"  {line}" for line in more)]


# ---- the odds ----


def odds_lines(view: View, count: int = 8, before: Belief | None = None) -> list[str]:
    """Bars for the likeliest faults, with what they were: before any finding, or at `before`."""
    belief, k = view.belief, view.appliance.knowledge
    odds = belief.fault_odds()
    was = {o.name: o.prior for o in odds}
    if before is not None:
        was = {o.name: o.probability for o in before.fault_odds()}
    shown = [o for o in odds[:count] if o.probability >= 0.001]
    rows = [(k.title_of(o.name), o.probability, was[o.name]) for o in shown]
    if belief.sound >= 0.005:
        rows.append(("nothing wrong with the machine", belief.sound, _sound_before(belief, before)))
    lines = [_odds_row("FAULT ODDS", "", "now", "was" if before is not None else "at first")]
    for title, p, w in rows:
        first, *rest = title_lines(title, _odds_room() - 2)
        lines.append(_odds_row(f"  {first}", bar(p), percent(p), percent(w)))
        lines += [f"    {line}" for line in rest]
    return lines


def _sound_before(belief: Belief, before: Belief | None) -> float:
    return before.sound if before is not None else float(belief.prior[belief.suspects.sound])


def _odds_room() -> int:
    return width() - BAR_CELLS - 22


def _odds_row(title: str, drawn: str, now: str, was: str) -> str:
    return f"{title:<{_odds_room()}}  {drawn:<{BAR_CELLS}}{now:>10}{was:>10}"


def weight_lines(view: View, count: int = 3) -> list[str]:
    """What each finding says about the leading faults: what it multiplies the odds by, and in words."""
    from faultodds.belief import weights_of_evidence

    k = view.appliance.knowledge
    leading = [o.name for o in view.belief.fault_odds()[:count]]
    weights = weights_of_evidence(view.belief, leading)
    if not weights:
        return ['FINDINGS: none yet. Add one with --found NAME=OUTCOME or --reading CHECK="1.15k".']
    lines = ["WHAT EACH FINDING DOES TO THE ODDS"]
    for column, mode in enumerate(leading):
        lines += wrap(k.title_of(mode), "  ")
        ranked = sorted(((float(row[column]), label) for label, row in weights.items()), key=lambda item: -abs(item[0]))
        for weight, label in ranked:
            if abs(weight) >= NEXT_TO_NOTHING:
                lines += wrap(f"{_times(weight):>8}  {label} {weight_words(weight)}", "  ", " " * 12)
        silent = [label for weight, label in ranked if abs(weight) < NEXT_TO_NOTHING]
        if silent:
            verb = "says" if len(silent) == 1 else "say"
            lines += wrap(f"{', '.join(silent)} {verb} next to nothing", " " * 12)
    return lines


def _times(decibans: float) -> str:
    """A weight of evidence as what it multiplies the odds by, or divides them by."""
    times = 10 ** (abs(decibans) / 10)
    shown = f"{times:.1f}" if times < 9.95 else f"{min(times, 9999):.0f}"
    return f"x {shown}" if decibans > 0 else f": {shown}"


def weight_words(decibans: float) -> str:
    """A weight of evidence in plain words."""
    size = abs(decibans)
    side = "for it" if decibans > 0 else "against it"
    if size < NEXT_TO_NOTHING:
        return "says next to nothing"
    if size < 5:
        return f"speaks a little {side}"
    if size < 10:
        return f"speaks {side}"
    if size < 20:
        return f"speaks strongly {side}"
    return "all but proves it" if decibans > 0 else "all but rules it out"


def evidence_lines(view: View) -> list[str]:
    """What is known so far, in the words of the file."""
    k, job = view.appliance.knowledge, view.job
    said = [f"{name}={value}" for name, value in job.facts.items()]
    for stage in range(len(job.repairs) + 1):
        # What was seen after a repair is said after it: the same symptom may be there twice, of two different machines.
        if stage:
            said.append(f"then repaired: {k.repair[job.repairs[stage - 1]].title}")
        said += [_finding_words(placed.finding) for placed in job.findings if placed.stage == stage]
    return wrap("; ".join(said) or "nothing yet", "Known: ")


def _finding_words(finding: Finding) -> str:
    shown = finding.outcome if finding.outcome is not None else likelihood_words(finding.likelihood or {})
    return f"{finding.name}={shown}" + (f' ("{finding.raw}")' if finding.raw else "")


def likelihood_words(likelihood: Mapping[str, float]) -> str:
    """A likelihood over outcomes, largest first, as shares: "good 97 % / off 3 %"."""
    total = sum(likelihood.values())
    parts = sorted(((w / total, o) for o, w in likelihood.items() if w > 0), key=lambda x: (-x[0], x[1]))
    if parts[0][0] > 0.995:
        return parts[0][1]
    return " / ".join(f"{o} {percent(w)}" for w, o in parts if w >= 0.005)


def left_out_lines(view: View) -> list[str]:
    """What the odds leave out, and the facts about the machine that are still worth telling."""
    k = view.appliance.knowledge
    lines = []
    if view.belief.omitted_mass >= LEFT_OUT_SAID:
        share = percent_fine(view.belief.omitted_mass)
        lines += wrap(f"Left out: rare combinations of faults, {share} of such calls.")
    open_facts = [f for f in k.equipment if f not in view.belief.evidence.facts]
    if open_facts:
        asked = "; ".join(f"{f}={'|'.join(k.equipment[f].values)}" for f in open_facts)
        lines += wrap(f"Not told about this machine: {asked}. Work that depends on it is not offered until you do.")
    return lines


def revision_lines(appliance: Appliance) -> list[str]:
    """Which learned numbers these odds come from, and what in the knowledge file they overrule; nothing for the file's own."""
    if appliance.revision == "file":
        return []
    lines = wrap(f"Numbers: learned, revision {appliance.revision}; --revision file gives the knowledge file's own.")
    over = appliance.overruled
    if over:
        what = over[0] if len(over) == 1 else f"{over[0]} and {len(over) - 1} more"
        lines += wrap(
            f"The knowledge file was changed after this revision was learned, without effect: the revision stands over {what}. "
            "Learn anew with 'faultodds tune', or go back with 'faultodds revision rollback'.",
            "  !! ",
        )
    return lines


def shop_lines(appliance: Appliance) -> list[str]:
    """Whose prices and minutes these are; nothing for the knowledge file's own."""
    used = appliance.shop
    if used is None:
        return []
    whose = f"{used.name} ({used.path})" if used.name else str(used.path)
    who = f"; technician {used.technician}" if used.technician else ""
    who += "" if used.qualified else ", no energised or gas-pressure work"
    return wrap(f"Prices and minutes: {whose}{who}. --shop none gives the knowledge file's own.")


def unlisted_lines(view: View) -> list[str]:
    """A plain word when a cause that the file does not list leads."""
    return [line for note in view.advice.notes if "file's list" in note for line in wrap(note, "Note: ")]


# ---- readings ----


def judgement_lines(knowledge: Knowledge, name: str, judgement: Judgement) -> list[str]:
    """One raw reading, what it was held against and what it says."""
    check = knowledge.check[name]
    verdict = check.outcomes.get(judgement.verdict, judgement.verdict)
    lines = wrap(f"{capital(check.title)} [{name}]: {judgement.text}")
    said = f"{judgement.verdict} ({verdict})" if verdict != judgement.verdict else verdict
    lines += wrap(said, "  Says:    ")
    lines += wrap(judgement.spec, "  Against: ")
    lines += wrap(likelihood_words(judgement.outcomes), "  Odds:    ")
    if judgement.note:
        lines += wrap(judgement.note, "  Note:    ")
    return lines
