"""A drill being played: the learner's odds and moves, what each showed and cost, and the safety slip that ends it.

What is asked and what is said go through `ask` and `tell`, so that a person, a pipe, a record read back and a simulated learner
all play the same drill. Money and minutes are kept by the books of `trial`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from faultodds.errors import FaultoddsError, SafetyStop
from faultodds_cli.drill import words
from faultodds_cli.drill.beside import after_run, before_run
from faultodds_cli.drill.words import Move, in_words, odds_words

if TYPE_CHECKING:
    from faultodds.advice import Situation, Way
    from faultodds.belief import Belief
    from faultodds.knowledge import Knowledge, Work
    from faultodds_cli.trial.visit import TrialJob

ODDS = "Your odds of what began it, up to three faults"
DO = "What do you do?"
NOT_KNOWN = "cannot tell"
SHUT = "What do you shut off before it is opened or moved?"


class Slip(Exception):
    """A safety slip, with its reason; it ends the drill."""


class Stopped(Exception):
    """Danger was told of while the drill was played: it may be real, and the drill stands still."""


class Aside(Exception):
    """The drill is put aside: the input ended, or the learner asked for it."""


@dataclass
class Step:
    """One move: the odds before it (none where nothing had been learned since the last), where the job stood, what was done and
    what it showed (`means`: what a reading says), and minutes and money when it was done."""

    move: Move
    named: dict[str, float] | None
    belief: Belief
    situation: Situation
    shown: str = ""
    means: str = ""
    minutes: float = 0.0
    cost: float = 0.0


def told(k: Knowledge, belief: Belief) -> dict[str, dict[str, float]]:
    """What has been told and found, and nothing else; of what stops the run and was worked on since, what may be left."""
    from faultodds.advice import may_be

    evidence = belief.evidence
    names = {*evidence.facts, *(s.name for s in evidence.seen)}
    return {n: v for n, v in may_be(k, evidence, belief).items() if n in names}


@dataclass
class Drill:
    """A drill in progress. `ask` returns a line, or None at the end of input; `looks` answers what costs nothing to ask."""

    visit: TrialJob
    ask: Callable[[str], str | None]
    tell: Callable[[str], None] = lambda text: None
    looks: Callable[[Drill, Move], None] = lambda drill, move: None
    steps: list[Step] = field(default_factory=list)
    named: dict[str, float] = field(default_factory=dict)
    slip: str = ""
    news: bool = True

    def __post_init__(self) -> None:
        self.k = self.visit.appliance.knowledge

    @property
    def forecasts(self) -> list[dict[str, float]]:
        """The odds that were said, one for each time that something had been learned."""
        return [s.named for s in self.steps if s.named is not None]

    @property
    def known(self) -> dict[str, dict[str, float]]:
        """What has been told and found."""
        return told(self.k, self.visit.belief)

    def play(self) -> None:
        """Until the learner leaves the machine, or slips. Raises Aside when he puts the drill aside, Stopped at danger."""
        while not self.over:
            self.turn()

    @property
    def over(self) -> bool:
        """Whether it has ended."""
        return self.visit.over or bool(self.slip)

    def turn(self) -> None:
        """The odds, where something has been learned since the last, and one move."""
        if self.news:
            self.stand()
            self._odds()
        self.news = self._step()

    def _step(self) -> bool:
        """One move, asked for until it is one that can be done; true when it taught something."""
        while True:
            move, named = self._move(), dict(self.named) if self.news else None
            step = Step(move, named, self.visit.belief, self.visit.situation)
            try:
                news = self.do(step)
            except Slip as slip:
                self.slip, news = str(slip), False
            except FaultoddsError as problem:
                self._told(str(problem))
                continue
            step.minutes, step.cost = self.visit.minutes, self.visit.cost
            self.steps.append(step)
            return news

    def stand(self) -> None:
        """Where the job stands, above the question for the odds."""
        from faultodds_cli.shared.text import money

        number = sum(s.named is not None for s in self.steps) + 1
        visit = self.visit
        self.tell(
            f"\n{number}. {visit.minutes:.4g} min, {money(visit.cost, self.k)} so far. Machine: {self.state_words()}."
        )

    # --- what is asked ---

    def _odds(self) -> None:
        before = f" (Enter: as before, {odds_words(self.named)})" if self.named else " (Enter: no idea)"
        kept, unclear = dict[str, float](), [""]
        while unclear:
            line = self._line(
                f"The rest (Enter: only {odds_words(kept)}; one named again: all anew):" if kept else f"{ODDS}{before}:"
            )
            try:
                kept, unclear = words.odds(self.k, line, kept) if line else (kept, [])
            except FaultoddsError as problem:
                is_move = words.is_move(self.k, line)
                self._told(f"First your odds, or Enter; then: {line}" if is_move else str(problem), line)
                continue
            for text in unclear:
                self._told(text)
        if line or kept:
            self._take(kept)

    def _take(self, named: dict[str, float]) -> None:
        """Odds as they are taken, said back."""
        from faultodds.calibration import bounded

        self.named = bounded(named)
        if not named:
            self.tell("Taken as no idea: any fault as likely as any other.")
            return
        scaled = sum(named.values()) > sum(self.named.values()) + 1e-9
        more = " Nobody knows for certain: 99 % is the most in all." if scaled else ""
        self.tell(f"Taken as {odds_words(self.named, rest=True)}.{more}")
        if "nothing_wrong" in named and self.visit.belief.evidence.repairs:
            self.tell(
                "Nothing wrong is taken as: nothing was wrong when you came. The odds are of what began it, after a repair too. "
                "Type them anew if you meant that it is right now."
            )

    def _move(self) -> Move:
        while True:
            line = self._line(DO)
            try:
                if line:
                    return words.move(self.k, line)
            except FaultoddsError as problem:
                self._late_odds(line, str(problem))

    def _late_odds(self, line: str, problem: str) -> None:
        """Odds where a move was asked for: taken in place of those before, as long as nothing was learned since."""
        from faultodds.calibration import reads_as_odds

        try:
            named, unclear = words.odds(self.k, line, {})
        except FaultoddsError as of_odds:
            named, unclear = {}, [str(of_odds)]
        if not named or unclear:
            self._told(unclear[0] if unclear and reads_as_odds(line) else problem, line)
        elif self.news:
            self._take(named)
        else:
            self._told(
                "nothing was learned since your last odds, so they stand. They are asked for after the next finding."
            )

    def _line(self, question: str) -> str:
        """An answer; what only looks is shown, and the question asked again."""
        from faultodds.safety import stop_first

        while True:
            line = self.ask(question)
            try:
                if line is None or (looked := words.look(self.k, line)) == Move("pause"):
                    raise Aside
                stop_first(self.k.appliance.id, [line])
                if looked is None:
                    return line.strip()
                self.looks(self, looked)
            except SafetyStop as stop:
                raise Stopped(str(stop)) from None
            except FaultoddsError as problem:
                self._told(str(problem))

    def _told(self, text: str, line: str = "") -> None:
        asked = line.rstrip().endswith("?")
        self.tell(f"?  {'No advice before the end. help tells what can be typed.' if asked else text}")

    # --- what is done ---

    def do(self, step: Step) -> bool:
        """Do a move if it may be done; true when it taught something. Raises Slip, and FaultoddsError for what cannot be done."""
        move = step.move
        self._not_after_a_stop(move)
        if move.kind in ("check", "repair"):
            for name in move.names:
                self._may({**self.k.check, **self.k.repair}[name], name)
        elif move.kind == "close":
            self._may_leave()
        elif move.kind == "ask":
            words.refuse_told(self.k, self.visit.facts, move.names[0])
        self.carry_out(step)
        if step.shown:
            self.tell(f"{self._title(move)}{step.shown}")
            for text in after_run(self.k, self.k.check[move.names[0]]) if move.kind == "check" else ():
                self.tell(f"Then: {text}")
        return move.kind in ("ask", "check")

    def carry_out(self, step: Step) -> None:
        """Do a move that may be done, and put down what it shows."""
        move, visit = step.move, self.visit
        if move.kind == "ask":
            visit.ask(move.names[0])
            step.shown = self._answer(move.names[0])
        elif move.kind == "check":
            visit.check(move.names[0])
            step.shown = "" if visit.over else self.shown_words()
            says = self.k.check[move.names[0]].outcomes.get(visit.last(move.names[0]), "")
            step.means = says if step.shown and not step.shown.startswith(says) else ""
        elif move.kind == "repair":
            visit.mend(move.names)
            step.shown = "Done. Whether it took, a run shows."
        elif move.kind == "state":
            step.shown = self._set(move)
        elif move.kind == "close":
            visit.close()
        else:
            visit.hand_over()

    def _title(self, move: Move) -> str:
        if move.kind == "ask":
            name = move.names[0]
            return (
                f"The customer, on {self.k.symptom[name].title if name in self.k.symptom else name.replace('_', ' ')}: "
            )
        return f"{self.k.check[move.names[0]].title}: " if move.kind == "check" else ""

    def _answer(self, symptom: str) -> str:
        if symptom in self.visit.unknown:
            return NOT_KNOWN
        return self.k.symptom[symptom].outcomes[self.visit.last(symptom)]

    def shown_words(self) -> str:
        """What the last check gave, as one sees it: the raw reading where the file has a band for it, else in words."""
        from faultodds_cli.trial.bridge import as_typed

        shown = self.visit.shown
        assert shown is not None
        check = self.k.check[shown.check]
        raw = as_typed(shown)
        if raw is not None and shown.check in self.k.reading:
            return f"{raw} ohm" if shown.unit == "ohm" and raw[-1] in "0123456789k" else raw
        read = shown.value is not None and shown.check != self.k.costs.verify
        value = f" (read {shown.text})" if read else ""
        by = "" if shown.check not in self.k.reading or self.k.has_bands(shown.check) else ", by the maker's sheet"
        return f"{check.outcomes[shown.outcome]}{by}{value}"

    def _not_after_a_stop(self, move: Move) -> None:
        """Where a check has shown a stop sign, nothing is done but to go and hand over."""
        latest = {s.name: self.visit.last(s.name) for s in self.visit.seen}
        for stop in self.k.stop.values():
            shown = next((n for n, outcomes in stop.shown_by.items() if latest.get(n) in outcomes), None)
            if shown is not None and move.kind not in ("refer", "close"):
                raise Slip(
                    f"{shown} showed it: {stop.title}. {' '.join(stop.steps)} Nothing else is done on such a call."
                )

    def _may(self, work: Work, name: str) -> None:
        """Whether some work may be done now. What was told or found forbids it: a slip. What only may be so, or has no sense:
        it cannot be done."""
        visit, k = self.visit, self.k
        lacks = next((f for f, v in work.needs.items() if visit.facts.get(f) != v), None)
        if lacks is not None:
            raise FaultoddsError(f"{name}: not on this machine ({lacks} is {visit.facts.get(lacks, 'not known')}).")
        if work.qualified and not visit.qualified:
            raise Slip(
                f"{name} is live or gas-pressure work, for qualified people. An apprentice calls one, or hands over."
            )
        latest = {
            s.name: visit.last(s.name) for s in visit.seen if s.stage == len(visit.repaired) or s.name in k.symptom
        }
        unless = getattr(work, "unless", {})
        against = next((n for n, outcomes in unless.items() if latest.get(n) in outcomes), None)
        if against is not None and not visit.repaired:
            raise FaultoddsError(f"{name} shows nothing with {against}={latest[against]}.")
        slips, cannot = self.not_now(name)
        if slips:
            raise Slip(f"{work.title}: {slips}")
        if cannot:
            raise FaultoddsError(f"{name}, not now: {cannot}")
        self._get_there(visit.machine.to_steps(visit.state, work))
        for text in before_run(k, self.known, work):
            self.tell(f"First: {text}")

    def not_now(self, name: str) -> tuple[str, str]:
        """Why some work is not for now: by what was told or found, and by what only may be so; empty where it may be done."""
        from faultodds.advice import may_be
        from faultodds.safety import not_run_now

        k, belief = self.k, self.visit.belief
        found, doubted = (not_run_now(k, known) for known in (self.known, may_be(k, belief.evidence, belief)))
        return in_words(k, found.get(name, "")), in_words(k, doubted.get(name, ""))

    def _get_there(self, way: Way) -> None:
        """What is opened or moved on the way is told; what has to be shut off first is the learner's to say."""
        access = self.k.access
        opened = [m.item for m in way.moves if m.opens]
        missing = {i for i in opened if access[i].makes_safe} - self.visit.state
        behind = [access[i].title for i in opened if not access[i].makes_safe]
        if missing and behind:
            self._shut_off(missing, f"On the way there: {', '.join(dict.fromkeys(behind))}.")
        for step in dict.fromkeys(access[m.item].close_step for m in way.moves if not m.opens):
            self.tell(f"First: {step}")

    def _shut_off(self, missing: set[str], why: str) -> None:
        """Ask for what makes it safe until all of it was named. That nothing or nothing more is shut off, or that something is
        left on, is a slip; any other line is no answer. Raises FaultoddsError for a changed mind: nothing was opened then."""
        access, left = self.k.access, set(missing)
        while left:
            line = self._line(f"{why} {SHUT}")
            said = words.shut_off(self.k, line)
            if words.SHUTS_NOTHING.fullmatch(line) or (said and left.intersection(said.shuts)):
                break
            news = left.intersection(said.names if said else ())
            if not news and words.NEVER_MIND.fullmatch(line):
                raise FaultoddsError("Then nothing was opened or moved.")
            left -= news
            heard = ", ".join(access[i].title for i in access if i in missing - left) or "nothing"
            why = f"Heard so far: {heard}. Say all of it, such as: unplugged, gas off; or never mind, to do something else."
        if left:
            named = " and ".join(access[i].title for i in access if i in left)
            raise Slip(
                f"It was opened or moved without: {named}. {' '.join(access[i].open_step for i in sorted(left))}"
            )

    def _set(self, move: Move) -> str:
        """Open, shut and shut off as said, in that order; what is opened asks for what is shut off first, and a state that is not
        safe is a slip."""
        from faultodds.safety import refuse_unsafe_state

        visit = self.visit
        for item in move.names:
            way = visit.machine.way(visit.state, {item})
            self._get_there(way)
            visit.go(way)
        for item in (i for i in move.shuts if i in visit.state):
            try:
                refuse_unsafe_state(self.k, visit.state - {item})
            except FaultoddsError as problem:
                raise Slip(str(problem).partition(" Then say so")[0]) from None
            visit.go(visit.machine.way(visit.state, (), closed={item}))
            self.tell(f"First: {self.k.access[item].close_step}")
        return f"Now: {self.state_words()}."

    def state_words(self) -> str:
        """How the machine is."""
        return (
            ", ".join(a.title for i, a in self.k.access.items() if i in self.visit.state) or "closed up, ready to run"
        )

    def _may_leave(self) -> None:
        """Nobody leaves a machine in use that must not run, by what was told and found."""
        from faultodds.safety import barred

        stops = barred(self.k, self.known)
        if stops:
            name, outcome = stops[0]
            left = in_words(self.k, f"the machine was left in use with {name}={outcome}")
            raise Slip(f"{left}: it must not run, or not with heat, until mended.")
