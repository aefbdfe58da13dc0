"""One simulated service call: what policy trials and drills play against.

Random numbers are common to all who play the same call: what a check shows on call `i` depends on the seed,
the call, the check and how often it has been done, never on what was asked before. (What has been *repaired*
before matters, of course.) Calls are made in blocks, so that the physics of a block is run at once; every
state that can be reached by taking away some of a call's faults is run with it.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.random import PCG64, Generator, SeedSequence

from . import facts as intake
from .cases import Cases, draw_cases
from .checks import read
from .errors import SimError, pick
from .hazards import MODE_NAMES
from .instruments import LateView, View, view
from .machines import Machines, stack
from .names import CHECK_NEEDS, CHECKS, NOTHING, SYMPTOMS
from .psychro import Array, Codes
from .repairs import CURES, REPAIRS, restore, withstands
from .symptoms import UNTOLD, answer, complaint, troubles, truth
from .technicians import Technician, technician
from .typed_readings import UNITS, text

BLOCK = 512
DT, DRAW_DT = 20.0, 30.0


@dataclass(frozen=True)
class Observation:
    """What a check gave: outcome by name, value (None for a look), unit, the raw reading, and the room's
    temperature (F).
    """

    check: str
    outcome: str
    value: float | None
    unit: str
    text: str
    ambient_f: float | None = None


@dataclass
class _Block:
    """A block of calls with everything that was run for it; `views` is keyed by a machine's parameters."""

    seed: int
    number: int
    cases: Cases
    told: dict[str, Codes]
    facts: dict[str, Codes]
    equipment: dict[str, Codes]
    views: dict[bytes, View]


def _stream(*key: int) -> Generator:
    return Generator(PCG64(SeedSequence(key[0], spawn_key=key[1:])))


def _one(v: View, i: int) -> View:
    here = slice(i, i + 1)
    return View(v.m.take(here), v.used.take(here), v.bench.take(here), v.verified.take(here))


def _reachable(cases: Cases) -> Machines:
    """Every machine as found, sound, and with each part of its faults cured (up to four faults a machine)."""
    states = [cases.now, cases.sound]
    for row in range(len(cases)):
        cures = [CURES[mode][0] for mode in sorted(cases.modes(row)) if mode in CURES]
        for size in range(1, len(cures) if len(cures) < 5 else 1):
            states += [_cured(cases, row, chosen) for chosen in combinations(cures, size)]
    return stack(states)


def _cured(cases: Cases, row: int, chosen: tuple[str, ...]) -> Machines:
    one, sound = cases.now.take(slice(row, row + 1)), cases.sound.take(slice(row, row + 1))
    for repair in chosen:
        restore(one, sound, repair)
    return one


@lru_cache(
    maxsize=2
)  # a drill is met again at its end; nothing of a block but `views` grows, and that by the physics alone
def _make_block(seed: int, number: int, town: int) -> _Block:
    rng = _stream(seed, number)
    cases = draw_cases(BLOCK, rng, DRAW_DT, 90.0, town=town)
    machines = _reachable(cases)
    seen = view(machines, DT)
    views = {machines.data[:, i].tobytes(): _one(seen, i) for i in range(len(machines))}
    found = View(cases.now, *(run.take(slice(BLOCK)) for run in (seen.used, seen.bench, seen.verified)))
    told = complaint(found, cases.normal_min, cases.houses.candour, rng)
    known = dict(intake.told_facts(cases.houses, cases.sudden(), rng))
    return _Block(seed, number, cases, told, known, dict(intake.equipment(cases.houses)), views)


class SimCall:
    """One service call on one simulated machine.

    Attributes
    ----------
    seed, number : which call this is. facts, equipment, complaint : dicts of names to words; what is unknown
    is absent. true_modes : frozenset of "component.mode" there at arrival ("nothing_wrong" and "unlisted"
    stand alone). main_cause : the one that the customer's call goes back to. repairs_done : names in order.
    """

    def __init__(self, block: _Block, row: int) -> None:
        self._block, self._row = block, row
        self.seed, self.number = block.seed, block.number * BLOCK + row
        cases = block.cases
        self.true_modes: frozenset[str] = cases.modes(row)
        self.main_cause = MODE_NAMES[int(cases.main[row])]
        self.equipment = intake.words(intake.EQUIPMENT, block.equipment, row)
        self.facts = intake.words(intake.FACTS, block.facts, row)
        self.complaint = {k: SYMPTOMS[k][int(c[row])] for k, c in block.told.items() if int(c[row]) != UNTOLD}
        self._sound = cases.sound.take(slice(row, row + 1))
        self._normal_min: Array = cases.normal_min[row : row + 1]
        self.reset()

    def reset(self) -> None:
        """Put the machine back as it was found, for the next policy."""
        self._m = self._block.cases.now.take(slice(self._row, self._row + 1))
        self._modes = self.true_modes
        self._times: dict[str, int] = {}
        self.repairs_done: list[str] = []
        self._seen: View | None = None

    @property
    def modes_left(self) -> frozenset[str]:
        """Modes that no repair has cured yet."""
        return self._modes

    def possible(self, check: str) -> bool:
        """Whether the machine has what the check looks at."""
        fact, value = CHECK_NEEDS.get(pick("check", check, CHECKS), ("", ""))
        return not fact or self.equipment[fact] == value

    def check(self, name: str, who: Technician | str | float = "T2", rng: Generator | None = None) -> Observation:
        """Do a check and return what a technician makes of it.

        `who` is a technician, an id such as "T1", or a skill from 0 to 1. With `rng` the reading is drawn
        from it instead of from the call's own numbers. Raises `UnknownNameError` for a check that does not
        exist, `SimError` for one that this machine has no part for.
        """
        if not self.possible(name):
            raise SimError(
                f"check {name!r} does not fit this machine: its {CHECK_NEEDS[name][0]} is "
                f"{self.equipment[CHECK_NEEDS[name][0]]!r}; ask `possible` first"
            )
        skill = _skill(who)
        reading = read(name, self._view(), rng or self._next(name), np.array([skill]))
        value, outcome = float(reading.value[0]), CHECKS[name][int(reading.code[0])]
        room_f = round(float(self._m.room_c[0]) * 1.8 + 32.0)
        return Observation(
            name, outcome, None if np.isnan(value) else value, UNITS.get(name, ""), text(name, value, outcome), room_f
        )

    def repair(self, name: str) -> bool:
        """Do a repair; return whether the work itself came off (which the technician does not see).

        A repair of a sound part changes nothing. Raises `UnknownNameError` for a repair that does not exist.
        """
        plan = REPAIRS[pick("repair", name, REPAIRS)]
        before = self._m.data.copy()
        came_off = bool(self._next(name).random() < plan.succeeds)
        if not withstands(name, self._modes):
            restore(self._m, self._sound, name, 1.0 if came_off else plan.otherwise)
        if came_off:
            self._modes = frozenset(mode for mode in self._modes if name not in CURES.get(mode, ()))
        if not np.array_equal(before, self._m.data):
            self._seen = None
        self.repairs_done.append(name)
        return came_off

    def ask(self, symptom: str) -> str | None:
        """What the customer says of a symptom when asked, now and then wrong; None where they cannot tell. After a repair the
        customer has not used the machine, and the technician looks.
        """
        looked = bool(self.repairs_done)
        return answer(self._view(), self._normal_min, symptom, self._next(f"ask {symptom}"), looked)

    def mistaken(self) -> dict[str, str]:
        """What the customer told that is not so, each with what is; of the machine as it was found."""
        found = self._block.cases.now.take(slice(self._row, self._row + 1))
        true = truth(self._block.views[found.data[:, 0].tobytes()], self._normal_min)
        is_so = {name: SYMPTOMS[name][int(true[name][0])] for name in self.complaint}
        return {name: is_so[name] for name, said in self.complaint.items() if said != is_so[name]}

    def works(self) -> bool:
        """Whether the customer would now have nothing to complain of, by the physics of the customer's own
        use.
        """
        return not bool(troubles(self._view(), self._normal_min).any()[0])

    def verify(self, who: Technician | str | float = "T2") -> str:
        """Run the timed wet load and return its outcome."""
        return self.check("verification_run", who).outcome

    def comes_back(self) -> bool:
        """Whether the shop hears from this customer again within 30 days.

        True when the machine does not do its work, and when a fuse that was changed without its cause gives
        out again (its run comes within 3 C of opening). A few customers call for no reason, a few put up with
        a lot.
        """
        roll = float(_stream(self.seed, self.number, zlib.crc32(b"comes_back")).random())
        close = bool(self._view().used.peak_fuse_c[0] > self._m.fuse_open_c[0] - 3.0)
        if not self.works() or close:
            return self.main_cause == NOTHING or roll > 0.08
        return roll < 0.012

    def _view(self) -> View:
        if self._seen is None:
            key = self._m.data[:, 0].tobytes()
            if key not in self._block.views:
                self._block.views[key] = LateView(self._m.copy(), DT)
            self._seen = self._block.views[key]
        return self._seen

    def _next(self, name: str) -> Generator:
        """The call's own random numbers for the n-th doing of `name`."""
        nth = self._times.get(name, 0)
        self._times[name] = nth + 1
        return _stream(self.seed, self.number, zlib.crc32(name.encode()), nth)


def _skill(who: Technician | str | float) -> float:
    if isinstance(who, Technician):
        return who.skill
    return technician(who).skill if isinstance(who, str) else float(who)


def calls(n: int, seed: int = 0, town: int = 0) -> Iterator[SimCall]:
    """Yield the first `n` calls of a seed and a town, the same ones whatever `n` is.

    Raises `SimError` when `n` is negative.
    """
    if n < 0:
        raise SimError(f"cannot make {n} calls; give a number of 0 or more")
    for number in range(-(-n // BLOCK)):
        block = _make_block(seed, number, town)
        for row in range(min(BLOCK, n - number * BLOCK)):
            yield SimCall(block, row)
