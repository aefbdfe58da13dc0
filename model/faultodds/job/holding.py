"""A stored job in somebody's hands: where it stands, whose hands they are, and danger listened for in all that is typed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple, NoReturn

from faultodds.advice import Situation, State
from faultodds.belief import Appliance
from faultodds.errors import ClashError, FaultoddsError, SafetyStop, StaleJobError, StoreError
from faultodds.job.clearing import lacking, lacks_whose, left_to, looked_for, only_mistyped
from faultodds.job.gates import only_qualified
from faultodds.job.job import ASKED, NOT_SAFE, UNTOLD, Job
from faultodds.job.standing import Standing
from faultodds.job.steps import Danger, Hands, Kept, Note, Payload, Safe
from faultodds.job.taking import situation_of, stop_if_danger, told_by_reading
from faultodds.job.typed import asked, stop_sign_named
from faultodds.knowledge import Knowledge, Stop
from faultodds.names import fold
from faultodds.safety import (
    dangers_in,
    has_no_alarm,
    has_to_be_mended,
    hazard_of,
    hear,
    no_alarm_works,
    put_right,
    speaks_of_danger,
    stop_text,
    together,
    told_over,
    usual_steps,
)

if TYPE_CHECKING:
    from faultodds.job.store import Store

# Who says that it is safe, and how that was made sure, takes more than one word.
FEWEST_WORDS = 2
_TRIES = 3
NO_ALARM = "No alarm there to warn you: carry a CO meter, switched on, before any run with heat and while it lasts."


_QUOTED = re.compile(r'^STOP\. [^\n"]*"([^\n]*)"', re.MULTILINE)


class _Told(NamedTuple):
    """A danger that was told of: the `stop` sign that says what shows that it is over, and the words that told of what was `out` of
    use or left untested, if it was; to whom the steps that were shown leave it (`left_to`)."""

    hazard: str | None
    stop: Stop | None
    title: str
    out: str
    left_to: str

    @property
    def owed(self) -> str:
        """What is to be shown."""
        title = self.title
        return f"{title} ({self.stop.owed})" if self.stop and self.stop.owed else title


class HeldJob:
    """A stored job in somebody's hands.

    `qualified`: whether energised and gas-pressure work may be offered, None for what the job says; what the job or its shop
    has switched off stays off. `labour_rate` overrides the file's, per hour; `ambient` is the room's temperature for readings
    that need it.
    """

    def __init__(
        self,
        appliance: Appliance,
        store: Store,
        job: Job,
        *,
        qualified: bool | None = None,
        labour_rate: float | None = None,
        ambient: str | None = None,
    ) -> None:
        self.appliance = appliance
        self.store = store
        self.job = job
        self.qualified = qualified
        self.labour_rate = labour_rate
        self.ambient = ambient
        self._kept = job
        self._now: Standing | ClashError | None = None

    @property
    def knowledge(self) -> Knowledge:
        """The appliance's knowledge file."""
        return self.appliance.knowledge

    @property
    def situation(self) -> Situation:
        """Where the technician stands."""
        allowed = self.qualified is not False and self.job.qualified
        return situation_of(self.appliance, self.job, allowed, self.labour_rate)

    @property
    def state(self) -> State:
        """The access items that are open, shut off or moved now."""
        return self.situation.state

    def keep_hands(self) -> None:
        """Keep with the job that work for qualified people is not offered, or is again, when that was said here."""
        shop = self.appliance.shop
        said = False if shop is not None and not shop.qualified else self.qualified
        if said is not None and said != self.job.qualified and not self.job.is_closed:
            self._append(Hands(said))

    def keep_technician(self) -> None:
        """Keep with the job who goes, where the shop file says so."""
        who = self.appliance.shop.technician if self.appliance.shop is not None else ""
        if who and who not in self.job.kept("technician"):
            self._append(Kept("technician", who))

    def for_the_qualified(self, work: Iterable[str]) -> list[str]:
        """Those of some checks and repairs that these hands may not do: energised or gas-pressure work, where none is offered."""
        return [] if self.situation.qualified else only_qualified(self.knowledge, work)

    def stop_sign(self, sign: str, value: str, before: str = "") -> bool:
        """Whether `sign` is a stop sign that `value` plainly denies; raises SafetyStop, noted in the job,
        unless it does. That there is no alarm that could sound, here or in an unclear answer `before` it, is noted, once, with
        what to do about it."""
        named = stop_sign_named(self.knowledge, sign)
        if named is None:
            return False
        try:
            denied = stop_if_danger(self.knowledge, named, value)
        except SafetyStop as stop:
            self._stop(str(stop))
        sign_of = self.knowledge.stop[named]
        none_works = no_alarm_works if hazard_of(named, sign_of.title) == "co" else has_no_alarm
        said = next((each.strip() for each in (value, before) if none_works(each)), "")
        if said and not any(NO_ALARM in note for note in self.job.notes):
            self._append(Note(f"{sign_of.ask} {said}. {NO_ALARM}"))
        return denied

    def stop_untold(self, told: str) -> NoReturn:
        """Keep with the job a yes to all stop signs at once; raises SafetyStop with what holds for each. Which it was is told next;
        until then all of them are to be shown to be over."""
        _, steps = usual_steps("untold")
        self._stop(stop_text(f'{UNTOLD}: "{" ".join(told.split())}"', steps))

    def listen(self, *texts: str, over: bool = False) -> None:
        """Raise SafetyStop, kept with the job, when one of the texts speaks of danger in whatever words; where they answer how it
        was cleared (`over`), of danger that is there now. A stop sign by its name ("gas_smell=no") is left to `stop_sign`."""
        signs = {name: (sign.title, sign.steps) for name, sign in self.knowledge.stop.items()}
        names = self._names()
        for text in texts:
            if "=" in text and stop_sign_named(self.knowledge, text.partition("=")[0]):
                continue
            name, _, value = text.partition("=")
            told = told_by_reading(self.knowledge, name, value) or text
            if dangers := dangers_in(told, signs, names, over):
                self._stop(*dangers)

    def safe(self, text: str) -> None:
        """Enter that it is safe again, by whose word and how; raises FaultoddsError without that, and when nothing was wrong."""
        self.listen(text, over=True)
        if self.job.stopped is None:
            raise FaultoddsError(f"job {self.job.id} is not stopped: nothing dangerous was told of.")
        if only_mistyped(text) and not self._danger_ever_told():
            self._append(Safe(text.strip()))
            return
        dangers = self._dangers()
        example = "; ".join(dict.fromkeys(told_over(each.hazard, each.out) for each in dangers)) or told_over(None)
        if len(text.split()) < FEWEST_WORDS:
            raise FaultoddsError(
                "who says that it is safe again, how was that made sure, and what did the test show? Say it in a few words, kept "
                f'with the job: faultodds job safe {self.job.typed} --note "{example}"'
            )
        able = self.situation.qualified
        lacks = {each.owed: why for each in dangers if (why := lacking(text, each.hazard, each.stop))}
        lacks |= {
            f"whose word it is ({each.title})": why
            for each in dangers
            if each.owed not in lacks and (why := lacks_whose(text, each.left_to, able))
        }
        left = [*lacks, *(f"put right: {each.out}" for each in dangers if each.out and not put_right(each.out, text))]
        if left:
            again = any(NOT_SAFE in note for note in self.job.notes[-1:])
            self._append(Note(f"{NOT_SAFE}{text.strip()}"))
            why = next(iter(lacks.values()), "it does not say that it is put right")
            if again:  # all of it was said just before
                raise FaultoddsError(
                    f"'{text.strip()}': {why}. Kept as a note; the job stays stopped, until that is shown."
                )
            raise FaultoddsError(
                f"'{text.strip()}': {why}. It is kept as a note, and the job stays stopped. Not shown yet: {'; '.join(left)}. When "
                f"it is safe, say in one line who made sure of it, how, and what that showed, such as: {example}."
            )
        self._append(Safe(text.strip()))

    def _danger_ever_told(self) -> bool:
        """Whether words of danger, or a yes or doubt about one, were ever entered; a stop that keeps no words counts."""
        asked = [*(stop.ask for stop in self.knowledge.stop.values()), NOT_SAFE]
        for step in self.job.steps:
            if isinstance(step.payload, Danger):
                said = _QUOTED.findall(step.payload.text)
                if not said or any(speaks_of_danger(each) for each in said):
                    return True
            elif isinstance(step.payload, Note) and not step.payload.text.startswith(ASKED):
                text = step.payload.text
                text = next((text.removeprefix(ask) for ask in asked if text.startswith(ask)), text)
                if hear(text) is not None:
                    return True
        return False

    def _dangers(self) -> list[_Told]:
        """The dangers that were told of since it was safe last. A test that was left out is no sign itself: the sign that it would
        have proved asks for it."""
        signs = self.knowledge.stop
        stops = {f"STOP. {stop.title}": stop for stop in signs.values()}
        found = []
        for shown in self.job.dangers:
            title, _, words = shown.partition("\n")[0].rstrip(".").partition(": ")
            to = left_to(shown)
            if title == f"STOP. {UNTOLD}":
                found += [_Told(hazard_of(name, s.title), s, s.title, "", to) for name, s in signs.items()]
                continue
            hazard = hazard_of("", title)
            same = (s for name, s in signs.items() if hazard is not None and hazard_of(name, s.title) == hazard)
            stop = stops.get(title) or next(same, None)
            tested_by = None if stop else next((s for s in stops.values() if s.proved and looked_for(words, s)), None)
            owing = tested_by or stop
            about = hazard_of("", owing.title) if owing else hazard
            title = tested_by.title if tested_by else title
            out = words if hazard == "defeated" or has_to_be_mended(words) else ""
            found.append(_Told(about, owing, title.removeprefix("STOP. "), out, to))
        return found

    @contextmanager
    def together(self) -> Iterator[None]:
        """Make all that is entered within one transaction (`Store.together`); when none of it was kept, the job is as before."""
        if self.store.joined:
            yield
            return
        self._kept = self.job
        try:
            with self.store.together():
                yield
        except BaseException:
            self._now = None
            if not self.store.kept:
                self.job = self._kept
            raise

    def settle(self) -> None:
        """Within `together`: put on disk what was entered so far, before somebody is told of it, or asked."""
        self.store.settle()
        self._kept = self.job

    # --- inside ---

    def _names(self) -> frozenset[str]:
        """The names of the knowledge file, and its titles as names."""
        k = self.knowledge
        titled = {**k.observables, **k.repair, **k.access, **k.component}
        return frozenset((*titled, *asked(k), *(fold(each.title) for each in titled.values())))

    def _stop(self, *texts: str) -> NoReturn:
        text = together(texts)
        for _ in range(_TRIES):
            try:
                self._append(*map(Danger, texts))
                self._refuse_while_stopped()
            except StaleJobError:
                continue  # another terminal was here: danger holds, whatever was entered there
            except StoreError as error:
                raise SafetyStop(f"{text}\nThis could not be kept with job {self.job.id}: {error}") from None
        raise SafetyStop(text)

    def _refuse_while_stopped(self) -> None:
        if self.job.stopped is not None:
            raise SafetyStop(
                f"{self.job.stopped.text}\nJob {self.job.id} is kept, and stands still until it is safe. Then type: "
                f'faultodds job safe {self.job.typed} --note "who says so, how, and what that showed", or '
                f"faultodds bench {self.job.typed}"
            )

    def _append(self, *payloads: Payload, minutes: float | None = None) -> None:
        self._now = None
        entries = [(payload, minutes if payload is payloads[-1] else None) for payload in payloads]
        try:
            self.job = self.store.append_all(self.job.id, entries, expected_seq=self.job.last_seq)
        except FaultoddsError as error:
            self.job = getattr(error, "job", self.job)  # another terminal was here: go on from what it left
            raise
