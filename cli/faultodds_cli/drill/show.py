"""What a drill says: at the door, when it is asked to look, and at the end. Every function returns lines; nothing here prints."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from faultodds.names import capital
from faultodds_cli.drill.beside import opened_for
from faultodds_cli.drill.debrief import Debrief, GaveAway, Moved, left_undone
from faultodds_cli.drill.game import Drill, Step, told
from faultodds_cli.drill.levels import LEVELS, TRAPS
from faultodds_cli.drill.words import Move, in_words, odds_words
from faultodds_cli.shared.text import cautions, columns, labelled, money, moneys, percent, row, sentence, wrap

if TYPE_CHECKING:
    from faultodds.knowledge import ContextFact, EquipmentFact, Knowledge, Work
    from faultodds_cli.drill.kept import Kept
    from faultodds_cli.trial.visit import TrialJob

# A step that gave away less is not spoken of; the prices are no better than that.
WORTH_A_WORD = 5.0
# A finding that raises the truth by less tells nothing.
TOLD = 0.01
# Reasons told of steps that would have been better.
REASONS = 3
_CELLS = (8, 9)
_HELP = (
    ("ask NAME", "ask the customer something: ask noise. questions lists them"),
    ("check NAME", "look or measure: check hood flap, measure igniter. checks lists them, checks fuse only those"),
    ("repair NAME", "change or mend: replace igniter. repairs lists them"),
    ("run", "the run that proves a repair"),
    ("gas off, plug out", "what you do to the machine; open lower_open, shut lower_open"),
    ("band NAME", "what a reading should be, as on the sheet in the machine"),
    ("card FAULT", "what is known of a fault on any call: card coils; what tells coils from igniter"),
    ("done", "you leave, the machine is right; refer: you hand the job over"),
    ("story, pause", "what was done so far; put the drill aside, nothing is lost"),
)


def opening(drill: Drill, kept: Kept) -> list[str]:
    """The call at the door."""
    k, call = drill.k, drill.visit.call
    level = kept.record.level
    who = "" if kept.record.qualified else " Live and gas-pressure work is for others."
    lines = wrap(f"DRILL {kept.drill}: {k.appliance.title}. Level {level}: {LEVELS[level]}. SYNTHETIC.{who}")
    lines += wrap(
        "Say your own odds of what began it (coarse is fine: duct likely, coils 1 in 4), then what you do. No odds and no "
        "advice are shown until the end. help tells what can be typed."
    )
    if kept.again:
        lines += wrap("PLAYED AGAIN: you began this call before, so it is for practice and counts for no score.")
    lines += ["", *wrap(f"Asked first, and no to all: {', '.join(s.title for s in k.stop.values())}.")]
    lines += ["", *complaint_lines(k, call.complaint)]
    lines += wrap("; ".join(facts_words(k, drill.visit.facts)), "Told: ", "  ")
    return lines + (wrap(f"Lines typed so far: {len(kept.record.lines)}. Going on.") if kept.record.lines else [])


def complaint_lines(k: Knowledge, told: dict[str, str]) -> list[str]:
    """What the customer says, a line each."""
    return ["The customer says:", *(line for text in complaint(k, told) for line in wrap(text, "  - "))]


def complaint(k: Knowledge, told: dict[str, str]) -> list[str]:
    """What the customer says, one by one; what is as usual together."""
    said = {
        k.symptom[n].title: (k.symptom[n].outcomes[o], o == next(iter(k.symptom[n].outcomes))) for n, o in told.items()
    }
    usual = "; ".join(f"{title}: {text}" for title, (text, is_usual) in said.items() if is_usual)
    odd = [f"{capital(title)}: {text}" for title, (text, is_usual) in said.items() if not is_usual]
    return [*odd, *([f"As usual: {usual}"] if usual else [])] or ["It is not right; more cannot be told."]


def facts_words(k: Knowledge, facts: dict[str, str]) -> list[str]:
    """What is known of machine and house, each in words."""
    known: dict[str, ContextFact | EquipmentFact] = {**k.equipment, **k.context}
    return [f"{name.replace('_', ' ')}: {known[name].values[value]}" for name, value in facts.items()]


def looked(drill: Drill, move: Move) -> list[str]:
    """What a look shows."""
    if move.kind == "help":
        return [line for name, text in _HELP for line in labelled(f"  {name} ", text, 22)]
    if move.kind == "so_far":
        return story(drill.k, drill.steps) or ["Nothing was done yet."]
    if move.kind == "band":
        return band_lines(drill.k, move.names[0])
    if move.kind == "card":
        return _card(drill, *move.names)
    return _list(drill, *move.names)


def band_lines(k: Knowledge, name: str) -> list[str]:
    """What a reading is held against on this machine; of a look, what it may show."""
    from faultodds.readings import describe

    outcomes = k.check[name].outcomes
    if name not in k.reading:
        return wrap(f"{name} is no reading. It shows: {'; '.join(outcomes.values())}.")
    return wrap(f"{k.check[name].title}: {describe(k.reading[name], list(outcomes))}")


def _card(drill: Drill, *named: str) -> list[str]:
    """The card of a fault, of a part its commonest one, or what parts two: nothing of it is from this call but what was told of
    the machine."""
    from faultodds.cards import card, faults_named, sides_named
    from faultodds_cli.shared.show_fault import card_lines, parting_lines

    k, ready = drill.k, drill.visit.appliance
    if not named or not all(named) or named[0].casefold().startswith("not "):
        return wrap(
            "No odds are shown before the end. Type card and a part (card coils), or what tells coils from igniter."
        )
    share = {name: mode.share for name, mode in k.modes()}
    meant = sides_named if len(named) > 1 else faults_named
    modes = [sorted(meant(k, text), key=lambda m: -share.get(m, 0.0)) for text in named]
    if len(modes) == 2:
        return parting_lines(ready, modes[0][0], modes[1][0], drill.visit.facts)
    others = ", ".join(modes[0][1:])
    return [
        *card_lines(k, card(ready, modes[0][0], drill.visit.facts)),
        *(wrap(f"Cards of the same part: {others}.") if others else []),
    ]


def _list(drill: Drill, what: str, wanted: str) -> list[str]:
    """Names by which to ask, check or repair, in the order of the file: it is no order of use."""
    k = drill.k
    if what == "faults":
        return wrap(", ".join([*k.component, "nothing_wrong", "unlisted"]))
    if what == "questions":
        asked = {n: s.title for n, s in k.symptom.items() if not s.looked_at}
        return [
            line for n, title in asked.items() if _fits(wanted, n, title) for line in labelled(f"  {n} ", title, 22)
        ]
    works: dict[str, Work] = {**(k.check if what == "checks" else k.repair)}
    fits = {
        n: w
        for n, w in works.items()
        if _fits(wanted, n, w.title) and all(drill.visit.facts.get(f) == v for f, v in w.needs.items())
    }
    lines = [line for n, w in fits.items() for line in labelled(f"  {n} ", _work_words(drill.visit, w), 26)]
    return lines or wrap(f"Nothing with '{wanted}' on this machine.")


def _fits(wanted: str, name: str, title: str) -> bool:
    return wanted.casefold() in f"{name} {name.replace('_', ' ')} {title.casefold()}"


def _work_words(visit: TrialJob, work: Work) -> str:
    price = f", {money(work.cost, visit.appliance.knowledge)}" if work.cost else ""
    opened = ", ".join(opened_for(visit, work))
    who = " FOR QUALIFIED PEOPLE." if work.qualified else ""
    runs = "; the machine runs with nobody beside it" if work.running and work.away else ""
    return f"{sentence(work.title)} {work.minutes:.4g} min{price}{f'; {opened}' if opened else ''}{runs}.{who}"


# ---- the end ----


def did(k: Knowledge, move: Move) -> str:
    """A move in words."""
    if move.kind == "ask":
        return f"ask: {k.symptom[move.names[0]].title}" if move.names[0] in k.symptom else f"ask: {move.names[0]}"
    if move.kind in ("check", "repair"):
        work = {**k.check, **k.repair}
        return ("REPAIR " if move.kind == "repair" else "") + " and ".join(work[n].title for n in move.names)
    if move.kind == "state":
        changed = [*(k.access[i].called(True) for i in move.names), *(k.access[i].put_back for i in move.shuts)]
        return "machine: " + ", ".join(changed)
    return {"close": "leave", "refer": "hand over"}[move.kind]


def first_of_all(k: Knowledge, steps: Sequence[Step], at: int) -> list[str]:
    """What has to be done at once before a step, because of what was told or found by then and not before."""
    from faultodds.safety import at_once

    before, now = (at_once(k, told(k, s.belief)) for s in (steps[max(at - 1, 0)], steps[at]))
    return [in_words(k, text) for text in now if not at or text not in before]


def story(k: Knowledge, steps: Sequence[Step], plan: bool = False) -> list[str]:
    """Steps with the clock and the money after each; of a plan, what has to be done at once as well."""
    lines = []
    for at, step in enumerate(steps):
        for text in first_of_all(k, steps, at) if plan else []:
            lines += wrap(f"At once: {text}", "  ", "    ")
        shown = f": {step.shown}" if step.move.kind in ("ask", "check") and step.shown else ""
        cells = (f"{step.minutes:.4g} min", money(step.cost, k))
        lines += row("  ", "    ", f"{capital(did(k, step.move))}{shown}", cells, _CELLS, 1)
    return lines


def ending(end: Debrief) -> list[str]:
    """The whole end of a drill."""
    drill, k, visit = end.drill, end.drill.k, end.drill.visit
    lines = ["", "THE END", *_truth(end)]
    if drill.slip:
        lines += [
            "",
            *cautions([f"SAFETY. {drill.slip}", "The drill ends here. On a real call somebody could be hurt."]),
        ]
    lines += ["", "YOUR WAY", *story(k, drill.steps)]
    lines += wrap(_parts_wasted("Ended by a safety slip.", visit) if drill.slip else how_it_ended(visit), "  ")
    lines += [
        "",
        "THE BEST PLAN, SAME CALL, SAME LUCK",
        *story(k, end.plan, plan=True),
        *wrap(plan_ended(end.best), "  "),
    ]
    if not drill.slip:
        lines += ["", *_money(end)]
    lines += ["", *_given_away(end), "", *_findings(end), *_told_most(end)]
    return lines


def _truth(end: Debrief) -> list[str]:
    k, call = end.drill.k, end.drill.visit.call
    others = sorted(call.true_modes - {call.main_cause})
    lines = wrap(f"It began with: {k.title_of(call.main_cause)}.", "  ", "    ")
    lines += [line for mode in others for line in wrap(f"There as well: {k.title_of(mode)}.", "  ", "    ")]
    brought = dict(k.modes())[call.main_cause].brings_on if "." in call.main_cause else {}
    if TRAPS[1] in end.traps:
        names = " and ".join(k.title_of(m) for m in others if m in brought)
        lines += wrap(f"Trap: {names} was brought on by it; mended alone, it comes again.", "  ", "    ")
    if TRAPS[0] in end.traps:
        lines += wrap("Trap: coils that drop out hot mostly measure good cold.", "  ", "    ")
    for name, true in call.mistaken().items():
        symptom = k.symptom[name]
        said = symptom.outcomes[call.complaint[name]]
        lines += wrap(
            f"The customer had it wrong: {symptom.title} was '{symptom.outcomes[true]}', not '{said}'.", "  ", "    "
        )
    return lines


def how_it_ended(visit: TrialJob) -> str:
    """What came of a call, and of the parts on it."""
    if visit.ending == "handed over":
        return _parts_wasted("Handed over.", visit)
    back = "IT COMES BACK: a callback and the right repair."
    return _parts_wasted(back if visit.came_back else "It stays right.", visit)


def plan_ended(visit: TrialJob) -> str:
    """The same of the plan, which goes by odds too; where it went wrong, that is said."""
    wrong = visit.came_back or visit.wrong_parts
    plain = "The plan was wrong on this call: it is best on average, and its odds were against what was so here. "
    return f"{plain if wrong else ''}{how_it_ended(visit)}"


def _parts_wasted(how: str, visit: TrialJob) -> str:
    parts = f"Parts that were not faulty: {visit.wrong_parts}." if visit.wrong_parts else "No part was wasted."
    return f"{how} {parts}"


def _money(end: Debrief) -> list[str]:
    k, mine, best = end.drill.k, end.drill.visit, end.best
    lines = columns("WHERE MONEY WENT", ("you", "plan"), _CELLS)
    stages = [s for s in mine.money if mine.money[s] or best.money[s]]
    paid = [moneys((visit.money[s] for s in stages), k) for visit in (mine, best)]
    for head, *cells in zip([*stages, "in all"], *paid, strict=True):
        lines += columns(f"  {head.replace('_', ' ')}", cells, _CELLS)
    lines += columns("  minutes", (f"{mine.minutes:.4g}", f"{best.minutes:.4g}"), _CELLS)
    if mine.cost < best.cost - 1:
        why = "the plan was wrong here" if best.came_back or best.wrong_parts else "on one call luck can do that"
        lines += wrap(f"You came out cheaper than the plan: {why}. Below is what each step was worth.", "  ")
    return lines


def _given_away(end: Debrief) -> list[str]:
    """The steps that gave something away, dearest first, by what was known then."""
    k = end.drill.k
    dear = [g for g in end.steps if (g.in_all or 0.0) >= WORTH_A_WORD]
    slipped = end.drill.steps[-1] if end.drill.slip else None
    unpriced = [g for g in end.steps if g.in_all is None and g.step is not slipped]
    lines = wrap("WHERE IT WAS LOST, by what was known at that step (not by luck)")
    if slipped is not None:
        lines += wrap(
            f"{capital(did(k, slipped.move))}: the safety slip. No price is set on it, and it outweighs all.",
            "  ",
            "    ",
        )
    undone = left_undone(end)
    for name, chance in undone:
        needed = f"{k.repair[name].title}; by what was told and found it was needed with {percent(chance)}"
        lines += wrap(f"Left undone when you went: {needed}.", "  ", "    ")
    if not dear and not unpriced:
        if undone:
            return lines
        nowhere = "Before it, nowhere" if slipped else "Nowhere"
        return [*lines, *wrap(f"{nowhere}: no step gave away as much as the prices can tell.", "  ")]
    told, questions = set[str](), set[Move]()
    for g in [*sorted(dear, key=lambda g: -(g.in_all or 0.0)), *unpriced]:
        asked, worth = g.first or (g.best, 0.0)
        if asked in questions and asked is g.best:
            continue
        how = "worth more was" if g.lost is None else f"about {money(g.lost, k)} dearer than"
        lines += wrap(sentence(f"{_at(g, k)}: {how}: {did(k, g.best)}") + _could(g), "  ", "    ")
        if g.why not in told and len(told) < REASONS:
            lines += wrap(f"Why that: {g.why}", "    ")
            told.add(g.why)
        if worth >= WORTH_A_WORD and asked not in questions:
            title = did(k, asked).removeprefix("ask: ")
            lines += wrap(f"Another {money(worth, k)} or so was lost by not asking first: {sentence(title)}", "    ")
        if asked.kind == "ask":  # what was never asked was worth as much at the next step: it was lost once
            questions.add(asked)
    return lines


def _at(g: GaveAway, k: Knowledge) -> str:
    return f"{capital(did(k, g.step.move))} (at {g.step.minutes:.4g} min)"


def _could(g: GaveAway) -> str:
    if g.step.move.kind == "close" and g.best.kind != "close":
        return f" The chance that nothing was wrong any more was {percent(g.step.belief.sound)}."
    return "" if g.told is None else f" What was done takes away {percent(g.told)} of the doubt, on average."


def _findings(end: Debrief) -> list[str]:
    """What each finding should have done to the odds, beside what it did to the learner's."""
    from faultodds.calibration import began, leading

    k = end.drill.k
    door, yours = end.drill.steps[0].belief, odds_words((end.drill.forecasts or [{}])[0])
    at_first = {**leading(door, k), end.truth: began(door, k)[end.truth]}
    lines = wrap(f"AT THE DOOR: {odds_words(at_first, rest=True)}. You: {yours}.", "", "  ")
    if not end.moved:
        return [*lines, *wrap("Nothing was asked or looked at, so nothing moved the odds.")]
    lines += wrap("WHAT EACH FINDING SHOULD HAVE DONE (chance that it began there, before and after; yours behind)")
    for moved in end.moved:
        means = f" = {moved.step.means}" if moved.step.means else ""
        lines += wrap(f"{capital(did(k, moved.step.move))}: {moved.step.shown}{means}", "  ", "    ")
        for fault, odds in moved.faults.items():
            lines += wrap(
                f"{_spelt(fault)} {_from_to(odds)}{_seen(moved, fault)}{_own(moved, fault)}", "    - ", "      "
            )
    return lines


def _told_most(end: Debrief) -> list[str]:
    """The finding that raised the truth most, on the learner's way and on the plan's."""
    from faultodds.calibration import began

    k, lines = end.drill.k, list[str]()
    for whose, steps in (("on your way", end.drill.steps), ("on the plan's", end.plan)):
        odds = [began(step.belief, k)[end.truth] for step in steps]
        rises = [
            (after - before, step, before, after) for step, before, after in zip(steps, odds, odds[1:], strict=False)
        ]
        found = [each for each in rises if each[1].shown and each[1].move.kind in ("ask", "check") and each[0] >= TOLD]
        if found:
            _, step, before, after = max(found, key=lambda each: each[0])
            what = f"{capital(did(k, step.move))}: {step.shown}{f' = {step.means}' if step.means else ''}"
            lines += wrap(
                f"What told most {whose}: {what}; {_spelt(end.truth)} {_from_to((before, after))}.", "  ", "    "
            )
    return lines


def _spelt(fault: str) -> str:
    return fault.replace("_", " ")


def _seen(moved: Moved, fault: str) -> str:
    """Why: how often one finds that on calls that began so, and on others."""
    from faultodds.cards import words

    if fault not in moved.seen:
        return ""
    with_it, without = (words.of_twenty(p) for p in moved.seen[fault])
    return f" (found on {with_it} of 20 that began so, {without} of 20 others)"


def _own(moved: Moved, fault: str) -> str:
    """The learner's own chances of a fault; one that was not named has none that he said."""
    if fault not in moved.own:
        return ""
    before, after = moved.own[fault]
    if before is None and after is None:
        return "; you: not named"
    if before is not None and after is not None:
        return f"; you: {_from_to((before, after))}"
    return f"; you: {_said(before)}, then {_said(after)}"


def _said(p: float | None) -> str:
    return "not named" if p is None else percent(p)


def _from_to(odds: tuple[float, float]) -> str:
    before, after = (percent(p) for p in odds)
    return f"stays {after}" if before == after else f"{before} to {after}"
