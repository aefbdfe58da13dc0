"""One fault as lines: its card; how it stands on a call, and why not; what parts two. Whole jobs explained."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from faultodds.cards import (
    Account,
    Calls,
    Card,
    account,
    apart,
    card,
    changes,
    chapters,
    faults_meant,
    faults_named,
    is_none,
    leading,
    sides_named,
    told as chain_told,
    two_named,
    words,
)
from faultodds.errors import FaultoddsError, UnknownName
from faultodds.job import RepairDone, typed
from faultodds.knowledge import repair_modes
from faultodds.names import capital, fold, rounded
from faultodds_cli.shared.show_advice import QUALIFIED_ONLY
from faultodds_cli.shared.show_odds import course_lines
from faultodds_cli.shared.text import cautions, money, percent, percent_fine, wrap

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.cards import Shown
    from faultodds.job import OpenJob
    from faultodds.knowledge import Knowledge

PARTINGS_SHOWN = 3


def card_lines(k: Knowledge, it: Card) -> list[str]:
    """A fault's card: what shows it and what puts it right first."""
    lines = wrap(f"{capital(it.title)} [{it.mode}]")
    for fact, values in it.only_on.items():
        lines += wrap(f"Only on machines with {' or '.join(f'{fact}={v}' for v in values)}.")
    lines += wrap(
        f"Main cause of {percent_fine(it.share)} of the calls; beside another fault on {percent_fine(it.beside)}."
    )
    lines += _shown(k, "Shown by, of 20 calls with it and of 20 others:", it.shows)
    for at, name in enumerate(it.repairs):
        r = k.repair[name]
        head = "Or by: " if at else "Put right by: "
        lines += wrap(
            f"{head}{r.title} [{name}], {r.minutes:.0f} min, {money(r.cost, k)} {'by others' if r.by_others else 'in parts'}.",
            "",
            "  ",
        )
        lines += cautions([QUALIFIED_ONLY]) if r.qualified else []
    lines += wrap(f"What it does: {chain_told(list(it.chain))}.", "", "  ") if it.chain else []
    lines += _shown(k, "The customer says, or it is seen without tools:", it.said)
    lines += ["Looks like it:"] if it.alike else []
    for other, part in it.alike:
        how = "no check parts the two well."
        if part is not None:
            how = f"parted by: {words.parting_words(k, part, 'this fault', 'that one')}"
        lines += wrap(f"{k.title_of(other)}; {how}", "  - ", "    ")
    for head, others in (("Brings on", it.brings), ("Brought on by", it.brought_by)):
        said = "; ".join(
            f"{k.title_of(m)} ({_in_hundred(p)})" for m, p in sorted(others.items(), key=lambda x: -x[1])[:4]
        )
        lines += wrap(f"{head}: {said}.", "", "  ") if said else []
    advice = [it.advice] if it.advice else []
    return [*lines, *cautions([*advice, *it.cautions])]


def card_answer(it: Card) -> dict[str, Any]:
    """The object of a card."""
    from msgspec import to_builtins

    def plain(value: Any) -> Any:
        if isinstance(value, float):
            return rounded(value)
        if isinstance(value, dict):
            return {name: plain(each) for name, each in value.items()}
        return [plain(each) for each in value] if isinstance(value, list | tuple) else value

    answer: dict[str, Any] = plain(to_builtins(it))
    answer["alike"] = [{"mode": mode, "parted_by": part} for mode, part in answer["alike"]]
    return answer


def _in_hundred(p: float) -> str:
    return f"{p * 100:.3g} in 100"


def _shown(k: Knowledge, head: str, shown: Sequence[Shown]) -> list[str]:
    if not shown:
        return []
    lines = wrap(head)
    for x in shown:
        seen = k.observables[x.name]
        said = f"{capital(seen.title)}{k.who_may(x.name)} [{x.name}]: {seen.outcomes[x.outcome]}"
        lines += wrap(f"{said}: {words.of_twenty(x.with_it)}, and {words.of_twenty(x.without)}.", "  - ", "    ")
    return lines


def parting_lines(appliance: Appliance, a: str, b: str, facts: Mapping[str, str] | None = None) -> list[str]:
    """The checks that part two faults, the one to do first on top."""
    k = appliance.knowledge
    calls = Calls(appliance, facts)
    if absent := [line for each in (a, b) if (why := calls.absent(each)) for line in wrap(why)]:
        return absent
    lines = wrap(f"{capital(k.title_of(a))}, or {k.title_of(b)}:")
    found = [p for p in calls.partings(a, b) if p.apart > 0][:PARTINGS_SHOWN]
    for at, part in enumerate(found):
        said = words.parting_words(k, part, "the first", "the second")
        lines += wrap(capital(said), "  Then: " if at else "  First: ", "    ")
    return lines if found else [*lines, *wrap("No check of this file parts the two; shares and facts do.", "  ")]


def why_told(visit: OpenJob, text: str, numbered: Sequence[str] = (), in_full: str = "why all") -> list[str] | str:
    """Why: the job as it stands (nothing typed, or all), a fault, why not a fault, what parts two; or the name of a check, whose
    reasons the caller tells. `in_full`: what is typed for the full sum."""
    said, k = text.strip().rstrip("?"), visit.knowledge
    if not said or said.casefold() in ("all", "full", "sum"):
        return job_lines(visit, "" if said else in_full)
    observables = k.observables
    exact = {fold(n) for n in observables} | {fold(o.title) for o in observables.values()}
    if said.isdigit() or fold(said) in exact:
        return typed.observable(k, said, numbered)
    first, _, rest = said.partition(" ")
    if first.casefold() == "not":
        if not rest.strip():
            raise FaultoddsError("why not what? Name a fault: why not the igniter.")
        return why_not_lines(visit, faults_named(k, rest))
    two = two_named(said)
    if two is not None and (apart(said) or all(is_none(each) or faults_meant(k, each) for each in two)):
        a, b = (_likeliest(visit, sides_named(k, each)) for each in two)
        return parting_lines(visit.appliance, a, b, visit.now.belief.evidence.facts)
    if meant := faults_meant(k, said):
        return fault_lines(visit, meant)
    if repair := next((n for n, r in k.repair.items() if fold(said) in (fold(n), fold(r.title))), None):
        return _repair_lines(visit, repair)
    try:
        return typed.observable(k, said, numbered)
    except UnknownName as problem:
        try:
            return fault_lines(visit, faults_named(k, said))
        except UnknownName:
            raise UnknownName(
                f"'{said}' is no part, fault, check or symptom of this machine. Type why and a part (coils), a check by its name "
                "or number, not and a part, or nothing more."
            ) from problem


def _repair_lines(visit: OpenJob, name: str) -> list[str]:
    """When a repair was done on this job, if it was, and how likely what it puts right is now."""
    k, repair = visit.knowledge, visit.knowledge.repair[name]
    odds = {o.name: o.probability for o in visit.now.belief.fault_odds()}
    done = [s.at.astimezone() for s in visit.job.steps if isinstance(s.payload, RepairDone) and s.payload.name == name]
    when = f"done on {' and on '.join(f'{at:%Y-%m-%d at %H:%M}' for at in done)}" if done else "not done on this job"
    lines = wrap(f"{capital(repair.title)} [{name}]: {when}. What it puts right, as likely now:")
    for mode in sorted(repair_modes(k, repair), key=lambda m: -odds.get(m, 0.0)):
        lines += wrap(f"{k.title_of(mode)}: {percent(odds.get(mode, 0.0))}", "  - ", "    ")
    return lines


def _likeliest(visit: OpenJob, modes: Sequence[str]) -> str:
    odds = {o.name: o.probability for o in visit.now.belief.fault_odds()}
    return max(modes, key=lambda m: odds.get(m, 0.0))


def _accounts(visit: OpenJob, modes: Sequence[str]) -> list[Account] | str:
    """How the odds of some faults came about, likeliest first; of none that this machine can have, why it cannot."""
    calls = Calls(visit.appliance, visit.now.belief.evidence.facts)
    made = [account(visit.now.belief, mode) for mode in modes if calls.there(mode)]
    if not made:
        return calls.absent(modes[0])
    return sorted(made, key=lambda each: -each.now)


def _left(visit: OpenJob) -> list[str]:
    return [c.name for c in visit.now.advice.checks]


def fault_lines(visit: OpenJob, modes: Sequence[str]) -> list[str]:
    """How the likeliest of some faults stands on this call and why, then its card."""
    k, told = visit.knowledge, _accounts(visit, modes)
    if isinstance(told, str):
        return wrap(told)
    lines = wrap(capital(words.line(k, told[0]))) + wrap(words.paragraph(k, told[0]))
    if len(told) > 1:
        lines += wrap(
            "Of the same part: " + "; ".join(f"{k.title_of(t.mode)} {percent(t.chance)}" for t in told[1:]) + "."
        )
    return [*lines, "", *card_lines(k, card(visit.appliance, told[0].mode, visit.now.belief.evidence.facts))]


def why_not_lines(visit: OpenJob, modes: Sequence[str]) -> list[str]:
    """What speaks against some faults, and what would have to be seen to bring them back."""
    k, told = visit.knowledge, _accounts(visit, modes)
    if isinstance(told, str):
        return wrap(told)
    lines: list[str] = []
    lead = leading(visit.now.belief, k)
    for each in told:
        if each.mode == lead:
            lines += wrap(f"It may well be: {k.title_of(each.mode)} leads with {percent(each.chance)}.")
        else:
            lines += wrap(f"{capital(k.title_of(each.mode))}: {percent(each.chance)}; {k.title_of(lead)} leads.")
        lines += wrap(words.paragraph(k, each), "  ")
        if each.mode != lead:
            lines += wrap(words.back(k, changes(visit.now.belief, k, _left(visit), each.mode)), "  ")
    return lines


def job_lines(visit: OpenJob, in_full: str) -> list[str]:
    """The job explained: a line, a paragraph, what would change one's mind; and what is typed for the full sum, or, where
    nothing is, the sum itself."""
    k, view = visit.knowledge, visit.now  # a job that was stopped is not explained, it is stopped
    parts = chapters(visit.appliance, visit.job)
    lines = wrap(words.job_line(k, parts))
    for text in words.job_paragraphs(k, parts):
        lines += wrap(text, "  ")
    if not visit.job.is_closed:
        advice = view.advice
        lines += wrap(words.mind(k, changes(parts[-1].belief, k, _left(visit))), "  ")
        lines += wrap(
            f"From here the job is likely to cost about {money(advice.expected_cost, k)}. Even knowing the fault for certain "
            f"would save at most {money(advice.evpi, k)} of that.",
            "  ",
        )
    if in_full:
        return [*lines, *(wrap(f"The full sum: {in_full}", "  ") if visit.job.findings else [])]
    for part in parts:
        head = " and ".join(k.repair[n].title for n in part.repairs)
        modes = [told.mode for told in part.accounts] if head else []
        lines += ["", *(wrap(f"{capital(head)}:") if head else []), *course_lines(k, part.belief, modes)]
    return lines
