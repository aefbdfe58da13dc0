"""A guided call in progress: the job, what is on the screen, what was asked; findings entered, dangers watched for."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from faultodds.errors import BadReading, ClashError, FaultoddsError, SafetyStop
from faultodds.job import Finding, OpenJob, names_somebody, sayings, typed
from faultodds_cli.bench.machine import Guess, guess_of, settled
from faultodds_cli.bench.show import outcome_question, taken_lines
from faultodds_cli.shared.show_advice import standing_cautions
from faultodds_cli.shared.show_job import CHECKS_SHOWN, awaited_text, machine_now, screen, state_called
from faultodds_cli.shared.show_known import misfit_text, replaced_text, run_texts
from faultodds_cli.shared.talk import Talk
from faultodds_cli.shared.text import wrap

# What stands open, and a resistance read on a machine that is live, in the words that are used for it.
_STANDS_OPEN = re.compile(r"(?i)\b(?:off|open|out|apart|unhooked|disconnected)\b")
_LIVE = re.compile(
    r"(?i)\b(?:still |its |it'?s |it is |all )(?:plugged in|powered|switched on)\b|(?<!no )(?<!not )\blive\b(?! (?:test|check))"
)
# A voltage is read live, by whoever may.
_VOLTAGE = re.compile(r"(?i)\d ?v\b|\bvolt\w*")
_RESISTANCE = re.compile(
    r"(?i)\bohms?\b|\bcontinuity\b|\bOL\b|\bopen line\b|\dk\b|\b(?:leads?|probes?) (?:are |still )*(?:on|across|clipped)\b"
)
NOBODY = frozenset({"nobody", "no one", "none", "no", "n"})


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

    `numbered` is what the numbers on the screen stand for; `question` waits for an answer; `doubted` findings, which do not fit
    what was found before, wait for somebody to say that they are so; `standing` are the cautions that the last screen told or
    that stood from the one before; `told` is the work whose steps it told; `unnoted` the last line, if nothing came of it;
    `half_told` what would stop the machine and was told with a doubt; `if_yes` the line that a yes stands for; `is_command`
    tells the program's own words.
    """

    visit: OpenJob
    talk: Talk
    numbered: list[str] = field(default_factory=list)
    question: Question | None = None
    unnoted: str = ""
    half_told: str = ""
    if_yes: str = ""
    doubted: list[Question] = field(default_factory=list)
    standing: set[str] = field(default_factory=set)
    told: set[str] = field(default_factory=set)
    over: bool = False
    shown: str = ""
    is_command: Callable[[str], bool] = lambda word: False

    def show(self) -> None:
        """The screen, and the numbers that go with it."""
        self.talk.rule()
        self.talk.say(screen(self.visit, self._still_standing()))
        try:
            self.numbered = [c.name for c in self.visit.now.advice.telling_checks[:CHECKS_SHOWN]]
            self.standing = standing_cautions(self.visit.now)
        except ClashError:
            self.numbered, self.standing = [], set()
        self.told = set(self.told_now())
        now = self.visit.now.advice if self._advises() else None
        self.shown = now.name if now is not None else ""

    def _still_standing(self) -> set[str]:
        """The cautions told before that need not be told again; how a live machine is made dead is told each time it is live."""
        k = self.visit.knowledge
        live = any(item.makes_safe == "power" and name not in self.visit.state for name, item in k.access.items())
        return {c for c in self.standing if not (live and "power" in k.caution[c].covers)}

    def try_out(self, found: Iterable[typed.Typed]) -> None:
        """Judge all of a line before any of it is entered."""
        for each in found:
            if each.value:
                self.visit.judge(each.name, each.value)

    def enter_all(self, found: Iterable[typed.Typed]) -> bool:
        """Enter every finding of a line; true when at least one was taken."""
        taken = [self.enter(each.name, each.value) for each in found]
        return any(taken)

    def enter(self, name: str, value: str, again: bool = False, sure: bool = False) -> bool:
        """Enter one finding, or ask for what is missing, or whether it is so when it does not fit and nobody is `sure`; true
        when it was taken."""
        if not value:
            self.question = Question(name, "", again)
            self.talk.tell(outcome_question(self.visit.appliance.fitted(self.visit.job.facts).knowledge, name), "?  ")
            return False
        earlier = [] if again else self._earlier(name)
        before, since, off = self.visit.state, self.visit.job.last_seq, self._heat_barred(name)
        try:
            if not sure and self._doubts(Question(name, value, again)):
                return False
            judged = self.visit.judge(name, value, again=again).finding
            work, kept = [judged.name], self.visit.keeps_earlier(judged)
            guess = self.guess(work)
            taken = self.visit.find(name, value, again=again, by=self.who_did(work), bring=guess is None)
        except BadReading as problem:
            self.ask_back(Question(name, value, again), problem)
            return False
        self.talk.say(taken_lines(self.visit, taken, value))
        if off:
            self.talk.tell(f"That run was not to be made. {' '.join(off)}", "!! ")
        self.tell_state(before, guess)
        for text in run_texts(self.visit, since, f"take back {taken.finding.name}"):
            self.talk.tell(text, "!! ")
        if earlier and kept:
            self.talk.tell(
                f"The earlier one stops the machine and stays on record: a good look by itself mends nothing. Only if it was typed "
                f"wrong: take back {taken.finding.name} twice, then enter it anew."
            )
        for old in self.visit.job.replaced_since(since):
            self.talk.tell(f"{replaced_text(old, 'undo')} To count both: undo, then again {name} {value}.")
        return True

    def _heat_barred(self, name: str) -> tuple[str, ...]:
        """What is said of a run with heat while none is to be made; nothing of any other work."""
        return self.visit.at_once() if name == self.visit.knowledge.costs.verify else ()

    def _doubts(self, said: Question) -> bool:
        odd = None if self.visit.job.is_closed else self.visit.misfit(said.name, said.value, again=said.again)
        if odd is None:
            return False
        self.doubted.append(said)
        older = " or ".join(dict.fromkeys(f"take back {p.finding.name}" for p in odd.against))
        self.talk.tell(misfit_text(odd), "?  ")
        self.talk.tell(
            f"Look once more. Type keep if it is so; {older} if that was wrong. Anything else leaves it out.", "   "
        )
        return True

    def who_did(self, work: Iterable[str]) -> str:
        """Who did work that is for qualified people, asked where no such work is offered; empty when nothing is asked, or nobody
        says: then it is not taken."""
        barred = self.visit.for_the_qualified(work)
        if not barred:
            return ""
        names = " and ".join(barred)
        question = f"{names} is for qualified people. Which qualified person did it? (nobody: it is left out)"
        who = self.talk.answer(question)
        if who and sayings.plain(who) not in NOBODY and not self._is_person(who):
            self.talk.tell(f"'{who}' is no qualified person's name. A name, or nobody:", "?  ")
            first, who = who, self.talk.answer(question)
            if not self._is_person(who):
                self.visit.remark(
                    f"{names}: not taken, no qualified person named: {'; '.join(w for w in (first, who) if w)}"
                )
        return who if self._is_person(who) else ""

    def _is_person(self, who: str) -> bool:
        """Whether an answer may be the name of a qualified person; danger in it stops."""
        self.visit.listen(who)
        word = who.partition(" ")[0]
        return names_somebody(who) and not self.is_command(word) and not sayings.understand(self.visit.knowledge, who)

    def ask_half_told(self) -> None:
        """Ask once more about what would stop the machine and was told with a doubt, until it is found; where nobody can look, it
        is noted as the doubt that it is."""
        name, job = self.half_told, self.visit.job
        if not name or job.is_closed or self.seen_already(name):
            self.half_told = ""
        elif name in job.skipped:
            self.half_told = ""
            good, *others = (seen := self.visit.knowledge.observables[name]).outcomes
            self.talk.tell("Nobody can look, so the doubt counts.")
            self.enter(name, f"{good} 50 / {next(o for o in others if o in seen.bars)} 50")
        elif self.question is None and not self.over:
            self.enter(name, "")
            self.talk.tell(f"It would stop the machine: look before it runs. skip {name} if nobody can.", "   ")

    def warn_if_on(self, line: str) -> None:
        """What comes first where a line of which nothing came speaks of what shuts the open machine off ("plug back in i
        think"), or of something that stands open ("lint path done front is still off")."""
        access = self.visit.knowledge.access
        spoken = {
            sayings.machine_item(self.visit.knowledge, n) for n in sayings.things_named(self.visit.knowledge, line)
        }
        shut = [access[i] for i in access if i in spoken and access[i].makes_safe and self.visit.state]
        if spoken and not shut and _STANDS_OPEN.search(line) and not line.rstrip().endswith("?"):
            told = "Nothing was noted of how the machine is. Say it by itself, all of it, such as: unplugged, gas off, front off."
            self.talk.tell(told, "!! ")
        if shut and not line.rstrip().endswith("?"):
            steps = " ".join(a.open_step for a in shut)
            self.talk.tell(
                f"If that may be on: hands off. {steps} Then say how it is, such as: unplugged, gas off.", "!! "
            )

    def warn_if_live(self, line: str) -> None:
        """What comes first where a line tells of a resistance read on a live machine: that is read on a dead one."""
        access = self.visit.knowledge.access
        if _LIVE.search(line) and _RESISTANCE.search(line) and not (_VOLTAGE.search(line) or self.over):
            steps = " ".join(a.open_step for a in access.values() if a.makes_safe == "power")
            self.talk.tell(f"Hands off it: a resistance is read on a dead machine only. {steps}", "!! ")

    def doubts_named(self) -> str:
        """The doubted findings, as they were typed."""
        return "; ".join(f"{each.name} {each.value}" for each in self.doubted)

    def try_doubted_again(self) -> None:
        """Enter the doubted findings after all when they fit by now; ask again when they do not."""
        doubted, self.doubted = self.doubted, []
        for each in doubted:
            self.enter(each.name, each.value, each.again)

    def guess(self, work: Collection[str]) -> Guess | None:
        """How the machine would be after some work, where that is to be asked: its steps were not on the screen."""
        return None if self.told.issuperset(work) else guess_of(self.visit, work)

    def tell_state(self, before: Collection[str], guess: Guess | None) -> None:
        """Say how the machine is taken to be, when work that was told of brought another state with it. A `guess` is asked about;
        where nobody says, the call is left."""
        if guess is not None and not settled(self.visit, self.talk, self.is_command, before, guess):
            self.talk.tell("How the machine is has to be plain before anything goes on: the call is left here.", "!! ")
            self.over = True
            self.talk.say(self.goodbye())
        if guess is None and set(self.visit.state) != set(before):
            now = state_called(self.visit.knowledge, self.visit.state, before)
            self.talk.tell(f"So the machine is taken to be: {now}. If it is not, say so, such as: gas on.")

    def close_panels(self, panels: Iterable[str]) -> bool:
        """Take it that these are on again, and what is shut off still is, which is said."""
        before = self.visit.state
        self.visit.set_state(dict.fromkeys(panels, False))
        now = state_called(self.visit.knowledge, self.visit.state, before)
        self.talk.tell(f"Noted. So the machine is taken to be: {now}. If it is not, say so, such as: gas on.")
        return True

    def seen_already(self, name: str) -> bool:
        """Whether `name` was found before at this stage of this visit."""
        return bool(self._earlier(name))

    def _earlier(self, name: str) -> list[Finding]:
        job = self.visit.job
        return [p.finding for p in job.findings if (p.finding.name, p.stage, p.visit) == (name, job.stage, job.visit)]

    def ask_back(self, question: Question, problem: BadReading) -> None:
        """Ask about a reading that cannot be taken yet; the next line may be the answer alone."""
        self.question = question
        self.talk.tell(str(problem).replace("--ambient ", ""), "?  ")
        self.talk.tell("The answer alone will do; any other line leaves it.", "   ")

    def advised(self) -> str:
        """The name of what is advised now; raises FaultoddsError when it is neither a check nor a repair."""
        work = self.visit.job.awaited or self.visit.now.advice.work
        if not work:
            raise FaultoddsError("which one? Type its name or its number after the word.")
        return work[0]

    @property
    def asked(self) -> str:
        """The fact or symptom that the screen asks; empty when it shows something else."""
        return self.shown if self.shown in {**self.visit.knowledge.symptom, **typed.asked(self.visit.knowledge)} else ""

    def told_now(self) -> tuple[str, ...]:
        """The work whose steps are on the screen."""
        return self.visit.now.advice.work if self._advises() else ()

    def _advises(self) -> bool:
        """Whether the screen shows advice: the call has not ended, waits for nobody, and its findings do not clash."""
        job = self.visit.job
        return not (job.is_closed or job.awaited or self.visit.clash())

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
            return wrap(f"Job {job.id} is closed and kept.")
        lines = wrap(f"Left out: {self.doubts_named()}.") if self.doubted else []
        lines += wrap(f"Job {job.id} is saved. Go on with: faultodds bench {job.typed}")
        lines += [line for name in job.awaited for line in wrap(awaited_text(self.visit, name))]
        lines += wrap(job.unsettled, "!! ") if job.unsettled else []
        left = machine_now(self.visit)
        sure = "Left like this, as far as is known" if job.unsettled else "Left like this"
        return lines + (wrap(f"{sure}: {left}. Do not leave it so with people about.") if left else [])


@contextmanager
def forgiving(talk: Talk) -> Iterator[None]:
    """What cannot be taken is answered with what to type instead; a safety stop stops all the same."""
    try:
        yield
    except SafetyStop:
        raise
    except FaultoddsError as error:
        talk.tell(str(error), "?  ")
