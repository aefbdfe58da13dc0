"""Jobs played under every policy, on several processes, the same whatever their number."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds_cli.trial.priors import Priors
    from faultodds_cli.trial.visit import TrialJob
    from faultodds_sim.call import SimCall

FLOOR, OURS = "clairvoyant", "faultodds"
#: Policies in the order of the table: name -> module of this package that has the function of that name.
POLICIES = {
    "checklist": "checklist",
    "cheapest": "choosers",
    "likeliest": "choosers",
    "information": "choosers",
    OURS: "choosers",
    FLOOR: "clairvoyant",
}
#: What each of them does, in a few words. The rest are names of priors, which say themselves what they are.
IN_WORDS = {
    "checklist": "the usual list, in order",
    "cheapest": "cheapest check first",
    "likeliest": "likeliest fault first",
    "information": "what tells most for its price first",
    OURS: "what faultodds advises",
    FLOOR: "whoever knows the fault",
}
#: Jobs that a process takes at a time.
SHARE = 4
#: Whoever comes to job n is the n-th of these, over and over.
TECHNICIANS = ("T1", "T2", "T3", "T4")


@dataclass(frozen=True)
class Setting:
    """What a trial runs on. `appliance` is a name or a path, `policies` names of `POLICIES`.

    With `priors`, the policy of `faultodds next` plays once under each of them instead, and the floor beside them.
    """

    appliance: str
    jobs: int
    seed: int
    policies: tuple[str, ...]
    qualified: bool = True
    priors: tuple[Priors, ...] = ()
    town: int = 0

    @property
    def players(self) -> tuple[str, ...]:
        """Who plays, in the order of the table: policies, or names of priors and the floor."""
        return (*(p.name for p in self.priors), FLOOR) if self.priors else self.policies

    @property
    def reference(self) -> str:
        """Whom the others are held against: `faultodds`, or the first priors."""
        return self.priors[0].name if self.priors else OURS

    def policy(self, player: str) -> str:
        """The policy that a player plays."""
        return player if player == FLOOR or not self.priors else OURS


@dataclass(frozen=True)
class Played:
    """One job under one policy (or priors). `job` counts from 1; `money` is by stage, in the file's currency."""

    job: int
    policy: str
    money: dict[str, float]
    minutes: float
    checks: int
    live_checks: int
    repairs: int
    wrong_parts: int
    put_right: bool
    came_back: bool
    handed_over: bool

    @property
    def cost(self) -> float:
        """Everything that the job cost."""
        return sum(self.money.values())


def policy_of(name: str) -> Callable[[TrialJob], None]:
    """The function that plays a policy."""
    from importlib import import_module

    found: Callable[[TrialJob], None] = getattr(import_module(f"faultodds_cli.trial.{POLICIES[name]}"), name)
    return found


def played(appliance: Appliance, call: SimCall, name: str, qualified: bool = True) -> TrialJob:
    """One call played to its end under one policy."""
    from faultodds_cli.trial.visit import TrialJob

    visit = TrialJob(appliance, call, TECHNICIANS[call.number % len(TECHNICIANS)], qualified)
    policy_of(name)(visit)
    return visit


def opened(setting: Setting) -> dict[str, Appliance]:
    """The compiled appliance of every player; the floor goes by the first."""
    from faultodds.belief import open_appliance

    if not setting.priors:
        return dict.fromkeys(setting.policies, open_appliance(setting.appliance))
    found = {priors.name: priors.open() for priors in setting.priors}
    return {**found, FLOOR: found[setting.reference]}


def one_call(job: int, seed: int, town: int = 0) -> SimCall:
    """The call of job number `job`, from 1."""
    from faultodds_sim.call import calls

    return next(islice(calls(job, seed, town), job - 1, None))


def first_calls(jobs: int, seed: int) -> Iterator[SimCall]:
    """The calls of a series from its first."""
    from faultodds_sim.call import calls

    yield from calls(jobs, seed)


def play_all(setting: Setting, workers: int, tick: Callable[[int, int], None] = lambda done, of: None) -> list[Played]:
    """Every job under every policy, by job and then by policy; `tick` is told of the jobs done so far, of how many."""
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor, as_completed

    shares = [range(at, min(at + SHARE, setting.jobs)) for at in range(0, setting.jobs, SHARE)]
    results: list[Played] = []
    with _one_thread_each():
        context = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(min(workers, len(shares)), context, _start, (setting,))
        try:
            waiting = {pool.submit(_play_share, share): share for share in shares}
            for done in as_completed(waiting):
                results += done.result()
                tick(len(results) // len(setting.players), setting.jobs)
        finally:
            pool.shutdown(cancel_futures=True)
    order = {name: i for i, name in enumerate(setting.players)}
    return sorted(results, key=lambda r: (r.job, order[r.policy]))


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Child processes do their sums on one thread: as fast here, and the last bits are the same on any machine."""
    names = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
    before = {name: os.environ.get(name) for name in names}
    os.environ.update(dict.fromkeys(names, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


class _Desk:
    """What one process keeps between its shares: the compiled appliances, and how far it has come in the calls."""

    def __init__(self, setting: Setting) -> None:
        from faultodds_sim.call import calls

        self.setting = setting
        self.appliances = opened(setting)
        self._calls = calls(setting.jobs, setting.seed, setting.town)
        self._next = 0

    def take(self, jobs: range) -> list[SimCall]:
        """The calls of some jobs; shares come in ascending order."""
        taken = list(islice(self._calls, jobs.start - self._next, jobs.stop - self._next))
        self._next = jobs.stop
        return taken


_desks: list[_Desk] = []


def _start(setting: Setting) -> None:
    _desks[:] = [_Desk(setting)]


def _play_share(jobs: range) -> list[Played]:
    desk = _desks[0]
    return [
        _record(
            played(desk.appliances[name], call, desk.setting.policy(name), desk.setting.qualified),
            call.number + 1,
            name,
        )
        for call in desk.take(jobs)
        for name in desk.setting.players
    ]


def _record(visit: TrialJob, job: int, policy: str) -> Played:
    return Played(
        job=job,
        policy=policy,
        money=dict(visit.money),
        minutes=visit.minutes,
        checks=visit.checks,
        live_checks=visit.live_checks,
        repairs=len(visit.repaired),
        wrong_parts=visit.wrong_parts,
        put_right=visit.put_right,
        came_back=visit.came_back,
        handed_over=visit.ending == "handed over",
    )


def chosen(names: Sequence[str]) -> tuple[str, ...]:
    """Policies by name, in the table's order and each once; the floor is always among them.

    Raises UnknownName with the nearest name.
    """
    from faultodds.errors import unknown

    for name in names:
        if name not in POLICIES:
            raise unknown("policy", name, POLICIES, "Type for example --policies checklist,faultodds.", "--policies")
    return tuple(name for name in POLICIES if name in names or name == FLOOR)
