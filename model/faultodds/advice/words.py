"""Advice in a foreman's words: two sentences, what it tells apart or puts right, and why now.

Every figure is worked out in `reasons.py` or stands in the ranking; nothing is said that they do not say.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from faultodds.advice import reasons
from faultodds.advice.problem import Problem
from faultodds.advice.questions import QuestionPrice
from faultodds.advice.ranking import CheckPrice, Ranking
from faultodds.advice.reasons import Parts, Pointer
from faultodds.knowledge import UNLISTED, Knowledge, repair_modes
from faultodds.names import capital, whole_percents

MONEY_SIGNS = {"USD": "$", "GBP": "£", "EUR": "€"}
NUMBERS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")
# From here on a part is said to be the likely one, and from here on to be as good as found.
LIKELY, FOUND = 0.5, 0.9
# A check settles a part when a bad outcome makes it this likely.
SETTLED = 0.7
# A difference in money smaller than this is none: prices are shown in whole units.
SAME = 0.5


def money(amount: float, currency: str = "USD") -> str:
    """An amount as a technician writes it: whole units from 10 up, else two digits."""
    sign = ("-" if round(amount, 2) < 0 else "") + MONEY_SIGNS.get(currency, currency + " ")
    return f"{sign}{abs(amount):.0f}" if abs(amount) >= 9.5 else f"{sign}{abs(amount):.2f}"


def percent(p: float) -> str:
    """A chance as a whole percent, never a false 0 or 100."""
    if p > 0.995:
        return "over 99 %" if p < 1 else "100 %"
    if p < 0.005:
        return "under 1 %" if p > 0 else "0 %"
    return f"{p * 100:.0f} %"


def percents(chances: Iterable[float]) -> list[str]:
    """Chances that exclude each other: as `percent`, and together no more than 100."""
    each = list(chances)
    return [percent(w / 100.0 if 0 < w < 100 else p) for w, p in zip(whole_percents(each), each, strict=True)]


def why(ranking: Ranking, kind: str, name: str, same: float) -> str:
    """Why the move of this kind and name is next; `same` is `Advice.same_repair`."""
    if kind == "check" and name == ranking.problem.knowledge.costs.verify:
        return _why_run(ranking)
    if ranking.for_safety(name):
        title = _short_title(ranking.problem.knowledge.observables[name].title)
        return (
            f"A danger may be left: nobody has looked, with a plain answer, since the last work ({title}), and a good run does not "
            "show it. Look before you leave the machine to anybody."
        )
    if kind == "check":
        return _why_check(ranking, name)
    if kind == "repair":
        return _why_repair(ranking, same)
    if kind == "ask":
        return "The next repair is for one kind of machine only, and nobody has told yet whether this one is of it. A glance tells."
    return _why_stop(ranking) if kind == "stop" else _why_refer(ranking)


def why_ask(ranking: Ranking, asked: QuestionPrice) -> str:
    """Why a question comes first: what its answers would say, and what it saves."""
    if asked.worth < SAME:
        return "What is likeliest to be wrong is not on every machine of this kind."
    k = ranking.problem.knowledge
    parts, name = Parts(ranking.problem.belief), asked.question.name
    found = reasons.pointers(parts, name)
    move = reasons.furthest(parts, name)
    if not found and percent(move.now) == percent(move.after):
        answers = ", ".join(f"{a} {p}" for a, p in zip(asked.chances, percents(asked.chances.values()), strict=True))
        told = f"the odds stay, but what there is to do, or the way to it, goes by the answer ({answers})"
    else:
        told = _pointed(k, found) if found else _moves(k, parts, name)
    worth = money(asked.worth, k.costs.currency)
    return f"A question or a glance: {told}; the answer is worth about {worth} over the whole job."


# ---- what comes again ----------------------------------------------------------------------------------------------------


def again(ranking: Ranking, kind: str, names: Sequence[str]) -> str:
    """Why something is looked at, asked or repaired that was before, to stand before `why`; empty for what was not."""
    problem = ranking.problem
    if kind == "repair":
        return _done_before(problem, names)
    first = not names or names[0] == problem.knowledge.costs.verify or ranking.for_safety(names[0])
    return "" if first else _seen_before(problem, names[0], "answered" if kind == "ask" else "looked at")


def _seen_before(problem: Problem, name: str, how: str) -> str:
    """Why something is looked at, or asked, that was seen before; empty for what was not."""
    evidence = problem.belief.evidence
    seen = [s for s in evidence.seen if s.name == name]
    if not seen:
        return ""
    if all(s.visit < len(evidence.waits) for s in seen):
        return f"It was {how} on an earlier visit, and the complaint came back since. "
    if problem.failed:
        doubt = "said before may not hold: ask" if how == "answered" else "seen before may have been overlooked: look"
        return f"The run failed after that repair, so what was {doubt} again. "
    return f"It was {how} before the last repair, which may have changed it. "


def _done_before(problem: Problem, names: Sequence[str]) -> str:
    """Why a repair is advised where it, or another of the same fault, was done before; empty where none was."""
    evidence, k = problem.belief.evidence, problem.knowledge
    mends = {m for n in names for m in repair_modes(k, k.repair[n])}
    done = dict.fromkeys(r.name for r in evidence.repairs if mends.intersection(r.modes))
    if not done:
        return ""
    titles = " and ".join(k.repair[n].title for n in done)
    here = any(r.name in done for r in evidence.repairs[evidence.begun :])
    first = f"{titles}: done before, and {'the run after it failed' if here else 'the complaint came back'}."
    if not done.keys() & set(names):
        return f"{first} This is the next way to put the same fault right. "
    return (
        f"{first} It is still what fits best, so it may not have taken: a new part that is bad, a connector not home, a clamp left "
        "loose. Look at that work first. "
    )


# ---- a check -------------------------------------------------------------------------------------------------------------


def _why_check(ranking: Ranking, name: str) -> str:
    problem = ranking.problem
    check = next(c for c in ranking.checks if c.name == name)
    parts = Parts(problem.belief)
    told = f"{_effort(problem, check)}: {_tells(problem.knowledge, parts, name)}."
    return f"{told} {capital(_in_favour(problem, parts, check) + _against(ranking, check))}"


def _effort(problem: Problem, check: CheckPrice) -> str:
    """How long it takes from here, and what of that is opening and closing."""
    record, way = problem.knowledge.check[check.name], check.price.way
    minutes = _minutes(check.price.minutes)
    opens, closes = any(m.opens for m in way.moves), any(not m.opens for m in way.moves)
    if opens:
        rest = _plain_minutes(check.price.minutes - record.minutes)
        return f"{minutes}, {rest} of them for getting to it and putting back"
    if closes:
        return f"{minutes} on top of closing up, which has to be done anyway"
    if record.access:
        return f"{minutes} now that the way to it is open"
    return f"{minutes} with nothing {'more ' if problem.situation.state else ''}to open"


def _tells(k: Knowledge, parts: Parts, name: str) -> str:
    """What it tells apart."""
    found = reasons.pointers(parts, name)
    one = reasons.settled(parts, name, found)
    if one is not None:
        bad = found[0]
        verb = "settles" if bad.odds >= SETTLED else "tests"
        return (
            f"it {verb} {the_part(k, one.part)}, now at {_odds(parts, one.part, one.now)}: {percent(bad.odds)} if it shows "
            f"{_outcomes(bad.outcomes)}, {percent(one.after)} if {_outcomes([one.outcome])}"
        )
    if found:
        return _pointed(k, found)
    return _moves(k, parts, name)


def _moves(k: Knowledge, parts: Parts, name: str) -> str:
    """Where nothing is pointed at: what it moves furthest."""
    move = reasons.furthest(parts, name)
    return (
        f"{_outcomes([move.outcome])} ({percent(move.chance)}) moves {the_part(k, move.part)} from {percent(move.now)} "
        f"to {percent(move.after)}"
    )


def _pointed(k: Knowledge, found: Sequence[Pointer]) -> str:
    """What each outcome points at; the verb is left out where the one before it does for both."""
    said = []
    for i, (p, chance) in enumerate(zip(found, percents(p.chance for p in found), strict=True)):
        verb, to = ("points", "at") if p.firm else ("leans", "towards")
        parts = _either([the_part(k, x) for x in p.parts])
        same_verb = i > 0 and found[i - 1].firm == p.firm
        said.append(f"{_outcomes(p.outcomes)} ({chance}) {to if same_verb else f'{verb} {to}'} {parts}")
    return ", ".join(said)


def _against(ranking: Ranking, check: CheckPrice) -> str:
    """What the next best check, or no check at all, would make of the whole job."""
    problem = ranking.problem
    others: list[str] = []
    other = reasons.next_check(ranking, check.name)
    if other is not None:
        title = _short_title(problem.knowledge.check[other.name].title) + problem.knowledge.who_may(other.name)
        gap = _dearer(problem, other.expected_cost - check.expected_cost)
        others.append(f"the next best check ({title}, {other.price.minutes:.0f} min) comes out {gap}")
    kind, cost = reasons.without_checks(ranking)
    doing = {"repair": "starting repairs at once", "stop": "leaving it as it is", "refer": "handing it over now"}[kind]
    gap = _dearer(problem, cost - check.expected_cost)
    others.append(f"{doing} {gap}" if others else f"{doing} comes out {gap}")
    return f"over the whole job {', '.join(others)}."


def _in_favour(problem: Problem, parts: Parts, check: CheckPrice) -> str:
    """The checks that its opening brings within reach, or how likely the fault lies in the parts it names."""
    more = reasons.within_reach(problem, check.price.way)
    if more > 0:
        return f"{_number(more).lower()} more check{'s' * (more > 1)} then need{'s' * (more == 1)} no more opening; "
    found = reasons.pointers(parts, check.name)
    if not found or reasons.settled(parts, check.name, found) is not None:
        return ""
    named = list(dict.fromkeys(x for p in found for x in p.parts))
    return f"{percent(parts.any(named))} that the fault lies there; "


# ---- a run, a repair, leaving, handing over ----------------------------------------------------------------------------------


def _why_run(ranking: Ranking) -> str:
    """Why to run the machine before anything else."""
    problem = ranking.problem
    run = next(c for c in ranking.checks if c.name == problem.knowledge.costs.verify)
    closing = round(run.price.way.minutes)
    minutes = f"{_minutes(problem.verify.minutes).lower()} of running"
    if not problem.stage:
        after = f", after {closing} of closing up" if closing else ""
        return (
            f"There may be nothing wrong with the machine ({percent(problem.belief.sound)}), and {minutes} it will show "
            f"that{after}. {capital(_against(ranking, run))}"
        )
    passes = next(iter(run.outcomes.values()))
    after = f", after {closing} of closing up," if closing else ""
    return (
        f"A repair is not done until the machine has run: {minutes}{after} tell whether to leave or to go on. "
        f"It should pass with a chance of {percent(passes)}; a fault still there is better found now than on a callback at "
        f"{money(problem.callback_cost, problem.knowledge.costs.currency)}."
    )


def _why_repair(ranking: Ranking, same: float) -> str:
    """Why to stop checking and repair."""
    problem, repair = ranking.problem, ranking.repairs[0]
    k = problem.knowledge
    part, odds = next(iter(reasons.mended(problem, (repair.name, *repair.together)).items()))
    does = "these repairs together put" if repair.together else "this repair puts"
    cost = money(repair.price.cost, k.costs.currency)
    first = (
        f"{_suspicion(problem, part, odds)}, and {does} the machine right {percent(repair.chance)} of the time for {cost}, "
        "the run after it included."
    )
    other = reasons.next_check(ranking)
    if other is None:
        return f"{first} Nothing is left to check{' that would tell anything' if ranking.checks else ''}."
    title = _short_title(k.check[other.name].title) + k.who_may(other.name)
    gap = _dearer(problem, other.expected_cost - repair.expected_cost)
    return (
        f"{first} Over the whole job the best check left ({title}, {other.price.minutes:.0f} min) comes out {gap}, "
        f"and everything left to check would point elsewhere {_seldom(1.0 - same)}."
    )


def _suspicion(problem: Problem, part: str, odds: float) -> str:
    named, told = the_part(problem.knowledge, part), _odds(Parts(problem.belief), part, odds)
    if odds >= FOUND:
        return f"It is as good as certain to be {named} ({told})"
    if odds >= LIKELY:
        return f"It is most likely {named} ({told})"
    return f"The odds of {named} are {told}"


def _odds(parts: Parts, part: str, odds: float) -> str:
    """A part's odds; the table of faults shows them fault by fault, so it is said where they are those of several."""
    several = percent(odds) != percent(parts.likeliest_of(part))
    return percent(odds) + (", all its faults together" if several else "")


def _seldom(p: float) -> str:
    return "hardly ever" if p < 0.005 else f"about {percent(p)} of the time"


def _why_stop(ranking: Ranking) -> str:
    """Why to close the job."""
    problem = ranking.problem
    currency = problem.knowledge.costs.currency
    save = max(ranking.stop_cost - ranking.full_information_cost, 0.0)
    return (
        f"The machine has passed its run, and the chance that anything is still wrong is {percent(1 - problem.belief.sound)}. "
        f"Leaving on that costs {_about(ranking.stop_cost, currency)} on average in callbacks, and all further looking together "
        f"could save {_about(save, currency)} of it at most."
    )


def _why_refer(ranking: Ranking) -> str:
    """Why to hand the job over."""
    problem = ranking.problem
    k = problem.knowledge
    if problem.beyond_us:
        seen = [(k.observables[n], o) for n, o in problem.beyond_us]
        found = "; ".join(f"{each.title}: {each.outcomes[o]}" for each, o in seen)
        return (
            f"Found: {found}. What is behind that is not for anybody here to put right, and until it is, the machine stays shut "
            "off. Say so to the customer, and write it down."
        )
    if problem.unverified and problem.unwatched:
        wanted = {t for each in (*k.access.values(), *k.observables.values()) for t in each.watch_tools}
        tools = " or ".join(t.replace("_", " ") for t in sorted(wanted & k.lacking(problem.situation.skipped)))
        return (
            f"The repair cannot be proved here: a run now wants somebody beside it with what is not there ({tools}). Have that "
            "brought, or hand it over; it stays shut off until then."
        )
    if problem.verified and problem.look_again:
        return (
            f"The run passed, but {' and '.join(k.observables[n].title for n in problem.look_again)} was a danger, and "
            "still is or cannot be looked at here. It stays shut off until somebody has found it safe."
        )
    if problem.verified and problem.unexplained:
        found = " and ".join(dict.fromkeys(k.observables[n].title for n, _ in problem.unexplained))
        return (
            f"The run passed, but {found} was a danger, and what makes it was not put right: a good look by itself mends nothing. "
            "It stays shut off until that is found."
        )
    part, odds = Parts(problem.belief).leading()
    best = max(ranking.repairs, key=lambda r: r.chance, default=None)
    can = (
        "no repair on offer puts it right"
        if best is None or best.chance < 0.005
        else f"the likeliest repair would put the machine right only {percent(best.chance)} of the time"
    )
    going_on = min(
        [c.expected_cost for c in ranking.checks[:1]] + [r.expected_cost for r in ranking.repairs[:1]], default=None
    )
    first = f"What leads is {the_part(k, part)} ({_odds(Parts(problem.belief), part, odds)}), and {can}."
    over = f"the {money(problem.refer_cost, k.costs.currency)} of handing it over"
    if going_on is None:
        return f"{first} With nothing left to do here, {over} is what remains."
    gap = _dearer(problem, going_on - problem.refer_cost)
    return f"{first} Against {over}, going on comes out {gap}."


# ---- phrases -------------------------------------------------------------------------------------------------------------


def _dearer(problem: Problem, gap: float) -> str:
    """How much dearer, in whole units: what is shown elsewhere is rounded too."""
    if gap < SAME:
        return "about the same"
    return f"{_about(gap, problem.knowledge.costs.currency)} dearer"


def _about(amount: float, currency: str) -> str:
    """An average in whole units."""
    sign = MONEY_SIGNS.get(currency, currency + " ")
    return f"under {sign}1" if amount < 0.5 else f"about {sign}{amount:.0f}"


def _minutes(minutes: float) -> str:
    """Minutes in words, to begin a sentence with: "Three minutes"."""
    whole = round(minutes)
    if whole < 1:
        return "Under a minute"
    return f"{_number(whole)} minute{'s' * (whole != 1)}"


def _plain_minutes(minutes: float) -> str:
    return f"{round(minutes)}"


def _number(n: int) -> str:
    return NUMBERS[n] if n < len(NUMBERS) else str(n)


def the_part(k: Knowledge, component: str) -> str:
    """A part by the short form of its title: "the exhaust duct"."""
    if component == UNLISTED:
        return "something that is not on this list"
    title = k.component[component].title
    for mark in (",", ":", " (", " or "):
        title = title.partition(mark)[0]
    return f"the {title}"


def _short_title(title: str) -> str:
    """A check's title inside a sentence: no capital, no place in front ("Outdoors:"), no question mark."""
    place, colon, rest = title.partition(": ")
    title = (rest if colon and " " not in place else title).rstrip("?.")
    return title[:1].lower() + title[1:] if title[1:2].islower() else title


def _outcomes(names: Sequence[str]) -> str:
    """Outcomes as they are typed, without the underscores."""
    return _either([n.replace("_", " ") for n in names])


def _either(names: Sequence[str]) -> str:
    return " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
