"""The guided call: safety first, then the machine, the complaint, and one finding after another until the
job is closed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from faultodds.errors import BadReading, ClashError, FaultoddsError, SafetyStop, UnknownName
from faultodds.job import OpenJob, typed
from faultodds_cli.bench import screen as bench_screen
from faultodds_cli.bench.commands import COMMANDS, beginning, exact, near_miss
from faultodds_cli.bench.talk import Talk
from faultodds_cli.shared import show

PROMPT = ">"


@dataclass(frozen=True)
class Question:
    """A symptom or check that was named, and what is still to be said about it: its unit, the room, or
    everything."""

    name: str
    value: str
    again: bool


@dataclass
class BenchCall:
    """One guided call in progress.

    `numbered` is what the numbers on the screen stand for; `question` waits for an answer.
    """

    visit: OpenJob
    talk: Talk
    numbered: list[str] = field(default_factory=list)
    question: Question | None = None
    over: bool = False

    def run(self) -> None:
        """Show where the job stands, then take lines until the call is left or closed, or the input ends."""
        if not self.over:
            self.show()
        while not self.over:
            line = self.talk.ask(PROMPT)
            if line is None:
                self.talk.say(self.goodbye())
                return
            if line:
                self.take(line)

    def take(self, line: str) -> None:
        """One line: done, and saved, or answered with what to type instead."""
        try:
            self.watch_for_danger(line)
            if self.obey(line) and not self.over:
                self.show()
        except ClashError as clash:
            self.talk.say(bench_screen.clash_lines(clash))
        except FaultoddsError as error:
            if isinstance(error, SafetyStop):
                raise
            self.talk.tell(str(error), "?  ")

    def show(self) -> None:
        """The screen, and the numbers that go with it."""
        self.talk.rule()
        self.talk.say(bench_screen.screen(self.visit))
        try:
            self.numbered = [c.name for c in self.visit.now.advice.telling_checks[: bench_screen.CHECKS_SHOWN]]
        except ClashError:
            self.numbered = []

    def obey(self, line: str) -> bool:
        """Do what a line says; true when the screen is to be shown anew."""
        question, self.question = self.question, None
        word, _, rest = line.partition(" ")
        command = exact(word)
        if question and command in (None, "open", "shut") and self.answer(question, line):
            return self.question is None
        if command is None:
            found = self.findings(line, question)
            if found is not None:
                return self.enter_all(found)
            command = beginning(word, bool(rest.strip()))
        assert command is not None
        return COMMANDS[command].run(self, rest.strip())

    def findings(self, line: str, question: Question | None) -> list[typed.Typed] | None:
        """The findings on a line; None when it is an abbreviated command.

        Raises FaultoddsError when it is neither.
        """
        word, _, rest = line.partition(" ")
        command = beginning(word, bool(rest.strip()))
        try:
            found = typed.findings(self.visit.knowledge, line, self.numbered)
            if command is not None and not all(each.value for each in found):
                return None
            self.try_out(found)
        except BadReading:
            return found
        except UnknownName as problem:
            if command is not None:
                return None
            self.question = question
            raise near_miss(word, problem) from None
        return found

    def try_out(self, found: Iterable[typed.Typed]) -> None:
        """Judge all of a line before any of it is entered."""
        for each in found:
            if each.value:
                self.visit.judge(each.name, each.value)

    def enter_all(self, found: Iterable[typed.Typed]) -> bool:
        """Enter every finding of a line; true when at least one was taken."""
        taken = [self.enter(each.name, each.value) for each in found]
        return any(taken)

    def enter(self, name: str, value: str, again: bool = False) -> bool:
        """Enter one finding, or ask for what is missing; true when it was taken."""
        if not value:
            self.question = Question(name, "", again)
            self.talk.tell(bench_screen.outcome_question(self.visit.knowledge, name), "?  ")
            return False
        replaced = not again and self.seen_already(name)
        try:
            taken = self.visit.find(name, value, again=again)
        except BadReading as problem:
            self.ask_back(Question(name, value, again), problem)
            return False
        self.talk.say(bench_screen.taken_lines(self.visit, taken))
        if replaced:
            self.talk.tell(f"It takes the place of the earlier one. To count both: undo, then again {name} {value}.")
        return True

    def seen_already(self, name: str) -> bool:
        """Whether `name` was found before at this stage of this visit."""
        job = self.visit.job
        return any((p.finding.name, p.stage, p.visit) == (name, job.stage, job.visit) for p in job.findings)

    def ask_back(self, question: Question, problem: BadReading) -> None:
        """Ask about a reading that cannot be taken yet; the next line may be the answer alone."""
        self.question = question
        self.talk.tell(str(problem).replace("--ambient ", ""), "?  ")
        self.talk.tell("The answer alone will do; any other line leaves it.", "   ")

    def answer(self, question: Question, line: str) -> bool:
        """Whether a line answers what was asked; it is entered then, or leads to the next question."""
        k = self.visit.knowledge
        options = (
            [typed.value_of(k, question.name, line)]
            if not question.value
            else typed.reading_again(question.value, line)
        )
        problem: tuple[str, BadReading] | None = None
        for value in options:
            try:
                self.visit.judge(question.name, value, again=question.again)
            except BadReading as error:
                problem = problem or (value, error)
            except UnknownName:
                continue
            else:
                self.enter(question.name, value, question.again)
                return True
        if problem is None or self.makes_sense(line):
            return False
        self.ask_back(Question(question.name, problem[0], question.again), problem[1])
        return True

    def makes_sense(self, line: str) -> bool:
        """Whether a line can be read as a command or a finding of its own."""
        try:
            self.findings(line, None)
        except FaultoddsError:
            return False
        return True

    def watch_for_danger(self, line: str) -> None:
        """Stop when a line names a stop sign; ask when it speaks of one."""
        name, sign, value = line.partition("=")
        if refuse(self.talk, self.visit, name.strip(), value.strip() if sign else "yes"):
            raise FaultoddsError("Good. Go on.")
        spoken = typed.stop_sign_in(self.visit.knowledge, line)
        reply: str | None = ""
        while spoken is not None and not reply:
            reply = self.talk.ask(f"{self.visit.knowledge.stop[spoken].ask} (a plain no, or everything stops)")
            if reply is None:
                self.over = True
                return
        if spoken is not None and reply:
            refuse(self.talk, self.visit, spoken, reply)

    def advised(self) -> str:
        """The name of what is advised now; raises FaultoddsError when it is neither a check nor a repair."""
        name = self.visit.now.advice.name
        if not name:
            raise FaultoddsError("which one? Type its name or its number after the word.")
        return name

    def verify_words(self) -> str:
        """The outcomes of the verification run, as typed."""
        return " or ".join(self.visit.knowledge.check[self.visit.knowledge.costs.verify].outcomes)

    def symptoms(self) -> list[str]:
        """The symptoms that this machine can show."""
        facts = self.visit.job.facts
        known = self.visit.knowledge.symptom.items()
        return [n for n, s in known if all(facts.get(f, v) == v for f, v in s.needs.items())]

    def goodbye(self) -> list[str]:
        """What is said on leaving."""
        job = self.visit.job
        if job.is_closed:
            return show.wrap(f"Job {job.id} is closed and kept.")
        lines = show.wrap(f"Job {job.id} is saved. Go on with: faultodds bench {job.id}")
        left = [self.visit.knowledge.access[i].title for i in self.visit.knowledge.access if i in self.visit.state]
        return lines + (
            show.wrap(f"Left like this: {', '.join(left)}. Do not leave it so with people about.") if left else []
        )


def refuse(talk: Talk, visit: OpenJob, sign: str, reply: str) -> bool:
    """Note the answer to a stop question; unless it is a plain no, say that the job is kept and raise
    SafetyStop."""
    try:
        return visit.stop_sign(sign, reply)
    except SafetyStop:
        talk.tell(f"Job {visit.job.id} is kept. Once it is safe, go on with: faultodds bench {visit.job.id}")
        raise
