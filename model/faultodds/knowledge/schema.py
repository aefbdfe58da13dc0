"""What a knowledge file says, as plain records.

The records are standard-library dataclasses on purpose: pydantic validates a TOML file into them (`knowledge.py`), msgspec
stores and reloads them beside the compiled arrays (`cache.py`), and the everyday commands use them with neither imported
at full weight.

Words used here and everywhere else:

* a *mode* is a way a component can be bad, written `component.mode`, for example `coils.drop_out_hot`;
* a *mechanism* is a named physical state that follows from the modes for sure, written `mechanism.state`;
* an *observable* is a symptom or a check; its first outcome is the normal one;
* an *access item* is something that is opened, shut off or moved to get at a part (`front_open`, `unplugged`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, ClassVar, Literal

from faultodds.readings import ReadingSpec

OK = "ok"
NOTHING_WRONG = "nothing_wrong"
UNLISTED = "unlisted"
UNLISTED_MODE = "unlisted.present"
# Failures of one repair on one job go together: a part bad out of the box, a wrong diagnosis, a thing that cannot be done here.
# Common practice, no source.
FAILS_AGAIN = 0.6

Hazard = Literal["power", "energised", "gas", "fire", "co", "heat", "sharp", "moving", "fall"]

# Read by pydantic when it validates: a key that no record has is an error, never ignored.
STRICT: dict[str, Any] = {"extra": "forbid"}


@dataclass(frozen=True)
class Header:
    """Name and standing of the file. `shares_per` is what the shares add up to (100 calls, say)."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    id: str
    title: str
    format: int
    calls: str
    note: str = ""
    shares_per: float = 100.0
    first_request: str = ""


@dataclass(frozen=True)
class Costs:
    """Money and time that belong to no single check. `labour_rate` is per hour, the rest per event, in `currency`.

    `fails_again`: chance that a repair that did not take does not take when it is done again; a repair may have its own.
    `ask_minutes`: what asking the customer something, or a glance at the machine, takes; common practice, no source.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    labour_rate: float
    callback: float
    refer: float
    verify: str
    currency: str = "USD"
    travel: float = 0.0
    fails_again: float = FAILS_AGAIN
    ask_minutes: float = 0.5


@dataclass(frozen=True)
class OtherCauses:
    """Shares of the two main causes that are no component, and the companion rate a mode has unless it states one.

    `new_a_year`: faults that one machine gets in a year, of the kind that this file is about; common practice, no source.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    nothing_wrong: float
    unlisted: float
    companion: float = 0.003
    new_a_year: float = 0.1


@dataclass(frozen=True)
class Mode:
    """One failure mode.

    `share` is its share as main cause, in `Header.shares_per`; `companion` the chance that it is present beside some other
    main cause; `brings_on` maps another mode to the chance that it is present when *this* one is the main cause.
    `cause_shown_by`: checks that show what brings it on; once it is found or put right, a normal outcome of one of them is owed
    before the job is closed, unless what brings it on was put right as well.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    title: str
    share: float = 0.0
    companion: float | None = None
    brings_on: dict[str, float] = field(default_factory=dict)
    advice: str = ""
    cause_shown_by: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Component:
    """A part of the machine, its installation, its laundry or its use."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    title: str
    modes: dict[str, Mode]


@dataclass(frozen=True)
class ContextFact:
    """A fact asked at intake. `usual` is its spread on calls in general; `more_often` says by what factor a value is
    more common when a mode (or any mode of a component) is the main cause; `advice` what to say of a value, whatever the fault."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    ask: str
    values: dict[str, str]
    usual: dict[str, float]
    advice: dict[str, str] = field(default_factory=dict)
    more_often: dict[str, dict[str, float]] = field(default_factory=dict)


@dataclass(frozen=True)
class EquipmentFact:
    """What this machine has. `lacks` maps a value to the components that a machine with that value does not have."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    ask: str
    values: dict[str, str]
    usual: dict[str, float]
    lacks: dict[str, list[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Access:
    """Something opened, shut off or moved to work. Minutes each way; `requires` must be so before it is opened.
    `shut_first` must be so while it is moved either way, not afterwards.

    `blocks_running`: the machine cannot run while this is so. `makes_safe` marks the items that shut off a hazard.
    `also_by`: items that open the same parts, so that work behind this one can be done with one of them open instead.
    `close_while`: items that, if open, are still open when this one is closed (a gas cock is opened, and its joints tested,
    before the machine is pushed back over it). `lets_out`: hazards that come out into the room when the machine runs with
    this open (never with heat, and the gas shut); then `watch` is what whoever runs it is told first, with "{minutes}" in
    it, `watch_tools` what that takes, and `not_while` maps a fact or symptom to the values under which it is not run like
    that at all. `shut_title` is what it is called when it is not so ("plugged in").
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    title: str
    open_step: str
    close_step: str
    open_minutes: float
    close_minutes: float
    requires: list[str] = field(default_factory=list)
    shut_first: list[str] = field(default_factory=list)
    blocks_running: bool = True
    makes_safe: Literal["power", "gas"] | None = None
    also_by: list[str] = field(default_factory=list)
    close_while: list[str] = field(default_factory=list)
    lets_out: list[Hazard] = field(default_factory=list)
    watch: str = ""
    watch_tools: list[str] = field(default_factory=list)
    not_while: dict[str, list[str]] = field(default_factory=dict)
    cautions: list[str] = field(default_factory=list)
    shut_title: str = ""

    def called(self, is_open: bool) -> str:
        """What it is called as it is."""
        return self.title if is_open else self.shut_title or f"not {self.title}"

    @property
    def put_back(self) -> str:
        """What putting it back is called in short: the gas is never opened again without its soap test."""
        return f"{self.called(False)}{' (soap-test)' if self.makes_safe == 'gas' else ''}"


@dataclass(frozen=True)
class Mechanism:
    """A physical state that follows from the modes for sure; the first state is the normal one.

    `worst_of`: the state furthest down the list that any cause brings. `first_of`: the first cause in the order written
    decides. `adds_up`: each cause adds that many steps down the list, up to the last state.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    title: str
    states: dict[str, str]
    rule: Literal["worst_of", "first_of", "adds_up"]
    causes: dict[str, str | int]


@dataclass(frozen=True, kw_only=True)
class Observable:
    """A symptom or check: outcomes (name to words, the first one normal) and how they come about.

    Either `leak` and `links` (noisy-OR, or noisy-MAX over the order of the outcomes: every cause present has its own
    chance to bring each outcome, the worst one brought shows), or `depends_on` and `table` (a row per combination of the
    states of what it depends on, written "state" or "state, state", each row summing to 1; `other` for the rest).
    A number instead of a mapping is the chance of the one outcome that is not normal. `lets_out`: outcomes that say that
    the machine lets a hazard out into the room as it stands.

    `stops_run` maps an outcome to what to do at once: while it stands, and until a repair, nothing is offered that runs the
    machine; `stops_heat` likewise, for work that is not `unheated`;
    `stops_away` likewise, for work that nobody stands beside. `watch_tools`: what whoever stands beside it then needs.
    `before_leaving`: where what stops the machine may be so by the odds of its causes, nobody leaves who has not looked.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    title: str
    outcomes: dict[str, str]
    ask: str = ""
    leak: float | dict[str, float] = 0.0
    links: dict[str, float | dict[str, float]] = field(default_factory=dict)
    depends_on: list[str] = field(default_factory=list)
    table: dict[str, dict[str, float]] = field(default_factory=dict)
    needs: dict[str, str] = field(default_factory=dict)
    lets_out: dict[str, list[Hazard]] = field(default_factory=dict)
    stops_run: dict[str, str] = field(default_factory=dict)
    stops_heat: dict[str, str] = field(default_factory=dict)
    stops_away: dict[str, str] = field(default_factory=dict)
    watch_tools: list[str] = field(default_factory=list)
    before_leaving: bool = False

    @property
    def stops(self) -> dict[str, str]:
        """Every outcome after which the machine is not run, or not with heat -> what to do at once."""
        return {**self.stops_run, **self.stops_heat}

    @property
    def harms(self) -> set[str]:
        """Every outcome that can hurt whoever is near: the machine is not run, or not lit and then watched."""
        return {*self.stops_run, *(self.stops_heat.keys() & self.stops_away.keys())}

    @property
    def bars(self) -> set[str]:
        """Every outcome after which the machine is not run, not with heat, or not with nobody beside it."""
        return {*self.stops, *self.stops_away, *self.lets_out}


@dataclass(frozen=True, kw_only=True)
class Symptom(Observable):
    """What the customer reports or anybody sees without tools. `looked_at`: not asked for, since the machine has to run.
    `seen_running`: not asked for once something was done on the running machine, which showed it. `unless` maps a symptom or
    check to the outcomes after which it is not asked for: of a dead machine nobody can tell the heat."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    looked_at: bool = False
    seen_running: bool = False
    unless: dict[str, list[str]] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Work:
    """What checks and repairs share: time, money, the machine state they need, who may do them, what to watch.

    `tools` are those that not every technician has at hand, a second person (`helper`) among them. `access` lists what must
    be open, `closed` what must not be; `access_by` maps an equipment fact and its value to what must be open instead on such
    a machine (`fitted`); `running` closes everything that keeps the machine from running. `run_minutes`: how long it runs at
    most with something open that lets a hazard out; `away`: whoever does it does not stand by the machine while it runs;
    `unheated`: it runs without heat. `unless` maps a symptom or check to the outcomes after which it is not offered.

    The steps come in parts, each in its own machine state, and are printed with the moves between them: `run_first` closed up
    and running, on the way in; `fit` with the access open and dead (energised work: leads, manometer); `steps`, the work
    itself; `unfit`, dead again; `tight`, gas on and power still off (soap test); `prove` closed up and running, after it all.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    title: str
    minutes: float
    cost: float = 0.0
    access: list[str] = field(default_factory=list)
    access_by: dict[str, dict[str, list[str]]] = field(default_factory=dict)
    closed: list[str] = field(default_factory=list)
    running: bool = False
    needs: dict[str, str] = field(default_factory=dict)
    unless: dict[str, list[str]] = field(default_factory=dict)
    qualified: bool = False
    energised: bool = False
    gas_work: bool = False
    run_minutes: float = 0.0
    away: bool = False
    unheated: bool = False
    tools: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    run_first: list[str] = field(default_factory=list)
    fit: list[str] = field(default_factory=list)
    steps: list[str] = field(default_factory=list)
    unfit: list[str] = field(default_factory=list)
    tight: list[str] = field(default_factory=list)
    prove: list[str] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class Check(Observable, Work):
    """A check a technician does. `minutes` is hands-on time with the machine already in the state it needs;
    `reason` finishes the sentence "it pays because ...". With an `ask`, a customer can answer it on the telephone from what they
    have seen anyway: nothing is opened, touched or switched on for it.

    `unless_open` names access items that, open by the technician's own hand, make it tell nothing.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    reason: str = ""
    unless_open: list[str] = field(default_factory=list)
    shown_only: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Repair(Work):
    """A repair. `fixes` lists modes or whole components; `cost` is the part; `success` the chance that it takes.

    `fails_again`: instead of that under `costs`. `by_others`: somebody else does it (the gas supplier, a duct cleaner); the
    price is then all in `cost`.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    fixes: list[str]
    success: float = 0.97
    fails_again: float | None = None
    by_others: bool = False


@dataclass(frozen=True)
class LogHabits:
    """What a job log says of the truth without meaning to; first guesses. Coming back is read on a callback as well, the rest by
    learning only.

    A customer comes back within `window_days` with chance `back_if_wrong` when something is still wrong, `back_if_right`
    when nothing is. A repair is done with chance `done_if_needed` on a machine with a fault it puts right, `done_anyway` on
    one without (guesses, precautions).
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    window_days: float = 30.0
    back_if_wrong: float = 0.8
    back_if_right: float = 0.03
    done_if_needed: float = 0.8
    done_anyway: float = 0.03


@dataclass(frozen=True)
class Caution:
    """A caution shown whenever it applies. `covers` names the hazards it speaks to."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    text: str
    source: str = "common practice, no source"
    covers: list[Hazard] = field(default_factory=list)


@dataclass(frozen=True)
class Stop:
    """A sign that stops everything (gas smell, CO alarm, fire): asked first, never weighed. `covers`: the hazards it tells of.
    `shown_by` maps a check to the outcomes that are this sign. `owed`: what is done before the complaint is gone. `made_sure`:
    words of which one is in what is said when it is safe again; without any, whatever was tested or put right will do. `proved`:
    words of which one is said beside it of how that was measured; without any, a mending will do. `running`: what is measured
    with the machine off shows nothing."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    title: str
    ask: str
    steps: list[str]
    source: str = "common practice, no source"
    covers: list[Hazard] = field(default_factory=list)
    shown_by: dict[str, list[str]] = field(default_factory=dict)
    owed: str = ""
    made_sure: list[str] = field(default_factory=list)
    proved: list[str] = field(default_factory=list)
    running: bool = False


@dataclass(frozen=True)
class Knowledge:
    """One appliance: everything a shop may read and edit."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    appliance: Header
    costs: Costs
    other_causes: OtherCauses
    component: dict[str, Component]
    access: dict[str, Access]
    mechanism: dict[str, Mechanism]
    symptom: dict[str, Symptom]
    check: dict[str, Check]
    repair: dict[str, Repair]
    caution: dict[str, Caution]
    context: dict[str, ContextFact] = field(default_factory=dict)
    equipment: dict[str, EquipmentFact] = field(default_factory=dict)
    reading: dict[str, ReadingSpec] = field(default_factory=dict)
    stop: dict[str, Stop] = field(default_factory=dict)
    log: LogHabits = field(default_factory=LogHabits)

    def modes(self) -> Iterator[tuple[str, Mode]]:
        """Every `component.mode` with its record, in file order; `unlisted.present` is not among them."""
        for name, component in self.component.items():
            for mode, record in component.modes.items():
                yield f"{name}.{mode}", record

    @cached_property
    def observables(self) -> dict[str, Symptom | Check]:
        """Symptoms then checks, in file order."""
        return {**self.symptom, **self.check}

    @cached_property
    def barring(self) -> dict[str, Symptom | Check]:
        """Those of the observables with an outcome that bears on whether the machine may run, or alone."""
        return {n: each for n, each in self.observables.items() if each.bars}

    @cached_property
    def causes_owed(self) -> dict[str, list[str]]:
        """Faults that something brings on, and that owe their cause -> the modes that bring each on."""
        bringing = [(cause, mode.brings_on) for cause, mode in self.modes() if mode.brings_on]
        owing = [name for name, mode in self.modes() if mode.cause_shown_by]
        return {name: [cause for cause, brings in bringing if name in brings] for name in owing}

    @cached_property
    def shaping(self) -> frozenset[str]:
        """The facts that a way in or the bands of a reading depend on."""
        works = (*self.check.values(), *self.repair.values())
        return frozenset([*(f for w in works for f in w.access_by), *(r.fact for r in self.reading.values() if r.fact)])

    @cached_property
    def made_so(self) -> dict[frozenset[tuple[str, str]], Knowledge]:
        """The file for every machine met so far, by its shaping facts (`fitted`)."""
        return {}

    def tools(self) -> list[str]:
        """Every tool that some check or repair needs, in file order; a second person is called `helper`."""
        return list(dict.fromkeys(t for work in (*self.check.values(), *self.repair.values()) for t in work.tools))

    def needing(self, tools: Iterable[str]) -> list[str]:
        """The checks and repairs that cannot be done without one of these tools."""
        lacking = set(tools)
        return [name for name, work in {**self.check, **self.repair}.items() if lacking & set(work.tools)]

    def lacking(self, skipped: Collection[str]) -> set[str]:
        """The tools that are taken not to be there: all work that needs one is left out."""
        return {tool for tool in self.tools() if set(self.needing([tool])) <= set(skipped)}

    @cached_property
    def speaks_of(self) -> dict[str, frozenset[str]]:
        """Of each observable, the modes that change what it shows, through whatever mechanisms."""
        refs = {n: (*each.links, *each.depends_on) for n, each in self.observables.items()}
        return {n: frozenset(m for ref in of for m in self._leading_to(ref)) for n, of in refs.items()}

    def _leading_to(self, ref: str) -> set[str]:
        """The modes that a link stands for; of a mechanism or one of its states, those that lead to it."""
        name, _, state = ref.partition(".")
        if name not in self.mechanism:
            return set(self.modes_under(ref))
        moved = self.mechanism[name]
        causes = moved.causes.items()
        led = [c for c, to in causes if not state or moved.rule == "adds_up" or to == state]
        return {m for cause in led for m in self._leading_to(cause)}

    def who_may(self, name: str) -> str:
        """What stands behind a check or repair that not everybody may do, wherever it is named; else nothing."""
        work = self.check.get(name) or self.repair.get(name)
        return " (qualified people only)" if work is not None and work.qualified else ""

    def has_bands(self, check: str) -> bool:
        """Whether the file says how to judge a raw reading of a check."""
        return check in self.reading and self.reading[check].has_bands

    def modes_under(self, name: str) -> list[str]:
        """The modes a name stands for: itself, or every mode of a component."""
        if name in self.component:
            return [f"{name}.{mode}" for mode in self.component[name].modes]
        return [name]

    def title_of(self, mode: str) -> str:
        """Words for a mode: "gas valve coils: drop out when hot"."""
        if mode in (UNLISTED_MODE, UNLISTED):
            return "a cause this file does not list"
        if mode == NOTHING_WRONG:
            return "nothing wrong with the machine"
        component, _, name = mode.partition(".")
        record = self.component[component]
        return f"{record.title}: {record.modes[name].title}"


def repair_modes(k: Knowledge, repair: Repair) -> list[str]:
    """The modes a repair takes away, components written out, in the order written."""
    return list(dict.fromkeys(m for target in repair.fixes for m in k.modes_under(target)))
