"""What the guided call shows when it is asked. Every function returns lines; nothing here prints."""

from __future__ import annotations

import re

from faultodds.advice import CheckPrice
from faultodds.job import Finding, JudgedFinding, OpenJob, Tells, tells, typed
from faultodds.knowledge import Knowledge
from faultodds.names import capital, fold
from faultodds_cli.shared.show_advice import action_lines, outcomes_of
from faultodds_cli.shared.show_known import finding_text, judgement_lines
from faultodds_cli.shared.text import money, percent, percents, wrap

# Chances of faults that are told together, from where on they need a word.
WHOLE = 1.005
SEVERAL = "Where these are over 100 % together: several faults may be there at once."


def why_check_lines(visit: OpenJob, name: str) -> list[str]:
    """What one check would tell: for each outcome its chance and the faults that lead after it, and what
    the check is worth."""
    k = visit.knowledge
    observable = k.observables[name]
    lines = wrap(f"{capital(observable.title)}{k.who_may(name)} [{name}]")
    found = tells(visit, name)
    for t, chance in zip(found, percents(t.chance for t in found), strict=True):
        lines += _tells(k, t, chance)
    if any(sum(o.probability for o in t.leading) > WHOLE for t in found):
        lines += wrap(SEVERAL, "  ")
    price = next((c for c in visit.now.advice.checks if c.name == name), None)
    if name in k.symptom:
        return lines
    return lines + (
        _worth(visit, price)
        if price
        else wrap("It is not offered now: shown already, skipped, without its tool, or not for this machine.", "  ")
    )


def _tells(knowledge: Knowledge, t: Tells, chance: str) -> list[str]:
    told = [o for o in t.leading if o.probability >= 0.01]
    whole = percents(o.probability for o in told)
    leading = "; ".join(f"{knowledge.title_of(o.name)} {p}" for o, p in zip(told, whole, strict=True))
    return wrap(f"{t.outcome} ({chance}): then {leading or 'nothing stands out'}", "  if ", "       ")


def _worth(visit: OpenJob, price: CheckPrice) -> list[str]:
    k, advice = visit.knowledge, visit.now.advice
    reason = k.check[price.name].reason
    best = advice.repairs[0].expected_cost if advice.repairs else None
    unknown = visit.now.belief.missing_bits
    text = f"{price.price.minutes:.0f} min, {money(price.price.cost, k)}; "
    if price.priced:
        text += f"the whole job then costs about {money(price.expected_cost, k)}"
        text += f", against {money(best, k)} with the best repair at once." if best is not None else "."
    else:
        text += "others promise more for their money."
    told = f" It takes away {percent(price.bits / unknown)} of the doubt, on average." if unknown > 0 else ""
    return wrap(f"{capital(reason.rstrip('.'))}." if reason else "", "  ") + wrap(text + told, "  ")


def how_lines(visit: OpenJob, name: str) -> list[str]:
    """The steps and cautions of one check or repair from where the machine is now."""
    action = visit.how(name)
    k = visit.knowledge
    lines = action_lines(action, k)
    lines += wrap(f"About {action.price.minutes:.0f} min, {money(action.price.cost, k)}.", "  ")
    if name in k.check:
        here = visit.appliance.fitted(visit.job.facts).knowledge
        meter = ", or the raw reading" if here.has_bands(name) else ""
        lines += meaning_lines(here, name)
        lines += wrap(f"Then enter what it shows: {outcomes_of(k, name)}{meter}.", "  ")
    return lines


def meaning_lines(knowledge: Knowledge, check: str) -> list[str]:
    """What each outcome of a check looks like: the bands of its reading, or its words."""
    from faultodds.readings import describe

    outcomes = knowledge.check[check].outcomes
    if check in knowledge.reading:
        return wrap(f"It reads: {describe(knowledge.reading[check], list(outcomes))}.", "  ")
    return wrap(f"It shows: {'; '.join(f'{outcome}: {words}' for outcome, words in outcomes.items())}.", "  ")


def outcome_question(knowledge: Knowledge, name: str) -> str:
    """What to type for a symptom or check that was named without what it showed."""
    observable = knowledge.observables[name]
    if name in knowledge.reading:
        outcomes = ", ".join(observable.outcomes)
        asked = "what does it read? Or say" if knowledge.has_bands(name) else "by the maker's sheet, say"
        return f"{capital(observable.title)}: {asked} {outcomes}."
    choices = ", ".join(_choice(i, o, w) for i, (o, w) in enumerate(observable.outcomes.items(), 1))
    return f"{capital(observable.title)}: {choices}?"


def _choice(number: int, outcome: str, words: str) -> str:
    return f"{number} {outcome}" if words in (outcome, "") else f"{number} {outcome} ({words})"


def taken_lines(visit: OpenJob, taken: JudgedFinding, said: str) -> list[str]:
    """How a finding was understood; with its words where it was `said` in others than its name."""
    if taken.judgement is not None:
        lines = judgement_lines(visit.knowledge, taken.finding.name, taken.judgement)
        return lines + _not_judged(visit, taken.finding, lines[0])
    outcome = taken.finding.outcome
    words = visit.knowledge.observables[taken.finding.name].outcomes.get(outcome, "") if outcome else ""
    plain = not outcome or fold(outcome) in fold(said) or fold(words) == fold(outcome)
    return wrap(f"Noted: {finding_text(taken.finding)}{'' if plain else f' ({words})'}.")


def _not_judged(visit: OpenJob, finding: Finding, head: str) -> list[str]:
    """The numbers of a range of temperatures that its odds do not come from, so that none is dropped unsaid."""
    if visit.knowledge.reading[finding.name].kind != "temperature":
        return []
    left = [n for n in re.findall(r"\d+(?:\.\d+)?", (finding.raw or "").partition(" at ")[0]) if n not in head]
    return wrap(f"Judged by that one alone; {', '.join(left)} stays on record and tells nothing here.") if left else []


def symptom_lines(visit: OpenJob, names: list[str]) -> list[str]:
    """The symptoms with their numbers, what each can be, and what was noted of it last on this visit."""
    lines, now = [], visit.job.visit
    for number, name in enumerate(names, 1):
        symptom = visit.knowledge.symptom[name]
        known = next(
            (p.finding for p in reversed(visit.job.findings) if (p.finding.name, p.visit) == (name, now)), None
        )
        if list(symptom.outcomes) == ["no", "yes"]:
            choices = ""
        else:
            choices = ": " + ", ".join(f"{i} {o}" for i, o in enumerate(symptom.outcomes, 1))
        noted = f"  [{known.outcome or 'not sure'}]" if known else ""
        lines += wrap(f"{capital(symptom.title)}{choices}{noted}", f"  {number:2} ", "     ")
    return lines


def fact_lines(visit: OpenJob) -> list[str]:
    """Every intake fact with the answer given, or the answers there are."""
    lines = []
    for name, fact in typed.asked(visit.knowledge).items():
        given = visit.job.facts.get(name)
        text = f"{name} = {given} ({fact.values[given]})" if given else f"{name} = ? ({' | '.join(fact.values)})"
        lines += wrap(text, "  ", "      ")
    return lines
