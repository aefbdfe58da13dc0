"""What comes from other hands, and how it is used: one entry of `KINDS` each, with sound examples to spoil.

A use raises nothing but errors of the program's own, whatever the bytes; it takes no more than `MOST_SECONDS` and no more than
`MOST_MEMORY` beyond what was taken before. `test_hostile_files.py` spoils by chance, `guided_fuzz.py` by which code is reached.
"""

from __future__ import annotations

import functools
import hashlib
import json
import math
import re
import resource
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

from faultodds.belief import Appliance, compiled, open_appliance
from faultodds.belief.appliance import _load, _save
from faultodds.belief.array_file import MAGIC
from faultodds.errors import FaultoddsError
from faultodds.files.shop_file import appliance_in
from faultodds.job import Job, Store, evidence_of, job_line, story
from faultodds.job.rows import read_job
from faultodds.joblog import draft, import_log, mapping
from faultodds.joblog.from_store import visits
from faultodds.knowledge import parse as parse_knowledge
from faultodds.readings import judge
from faultodds.revisions.decisions import _decision, standing
from faultodds.revisions.revision import _SEAL, LogSource, Number, Revision, as_text, from_bytes, lay_over
from faultodds.safety import stop_first
from faultodds.shop.laid_over import lay_over as lay_shop
from faultodds.shop.shop_file import parse as parse_shop, template
from run_cli import toml
from said import heard_from
from shop_logs import ROWS, SEASIDE, log_text
from toys import raw_toy

MOST_SECONDS = 10.0
MOST_MEMORY = 1 << 20  # KB
SHM = "/dev/shm" if Path("/dev/shm").is_dir() else None

TOY = "".join(f"{k} = {toml(v)}\n" for k, v in raw_toy().items())
READY = compiled(parse_knowledge(TOY.encode()))
K = READY.knowledge
SHOP = re.sub(r"(?m)^# (?=[\[\w\"]+.*(=|\]))", "", template(K))
PATH = "component/pump/modes/dead/share"
REVISION = as_text(
    Revision(
        "2026-11-25-a",
        "toy",
        "ab",
        datetime(2026, 11, 25, tzinfo=UTC),
        LogSource("log", "cd", 300),
        {PATH: Number(20.0, 30.0, 15.0, 26.0, 61.5)},
        {"worth": "auto"},
        ("a note",),
    )
)
SYMPTOM = next(iter(K.symptom))
OUTCOME = next(iter(K.symptom[SYMPTOM].outcomes))
COLUMNS = (
    mapping.Column("Job", "job"),
    mapping.Column("Said", "finding", (SYMPTOM,), (), {"unit": "ohm"}, {"bad": OUTCOME}),
)
MAPPING = mapping.to_toml(mapping.LogMapping(K.appliance.id, COLUMNS))
AT = "2025-03-04T08:30:00+00:00"
ROW = f'1\n{AT}\nfinding\n2.5\n{{"name": "{SYMPTOM}", "outcome": "{OUTCOME}", "raw": "1.15k", "take": 0}}'
OTHER_ROWS = (
    f'1\n{AT}\nfinding\n\n{{"name": "{SYMPTOM}", "likelihood": {{"{OUTCOME}": 0.7}}}}',
    f'3\n{AT}\nclosed\n0\n{{"outcome": "came_back", "on": "2025-03-05", "note": ""}}',
    f'2\n{AT}\nmachine_state\n1\n{{"changes": {{"unplugged": true}}}}',
    f'2\n{AT}\nundo\n\n{{"seq": 1}}',
)
READINGS = (
    "igniter_ohms\n155",
    "coil_ohms\n1.15k/1.35k/OL",
    "meter_clock\n2 cu ft in 345 s",
    "manifold_pressure\n3.5 in wc",
)
LINES = (
    "coil_ohms 1.15k/1.35k/OL",
    "hood flap weak, fuse no beep, gas off",
    "put new coils on, all 3",
    "undo",
    "2 weak",
)


@functools.cache
def dryer() -> Appliance:
    """The shipped dryer."""
    return open_appliance("gas_dryer", revision="file")


def use_knowledge(data: bytes) -> None:
    """As a command does: stop signs first, then the appliance."""
    with TemporaryDirectory(dir=SHM) as folder:
        path = Path(folder) / "my.toml"
        path.write_bytes(data)
        stop_first(str(path), ["warm"])
        open_appliance(str(path), cache=Path(folder))


def use_shop(data: bytes) -> None:
    with TemporaryDirectory(dir=SHM) as folder, suppress(FaultoddsError):
        path = Path(folder) / "shop.toml"
        path.write_bytes(data)
        appliance_in(path)
    lay_shop(READY, parse_shop(data, "shop.toml", K), Path("shop.toml"))


def use_revision(data: bytes) -> None:
    # As the program seals it, or no reading would get past the seal.
    body = data.partition(b"\n")[2]
    for each in (data, f"{_SEAL}{hashlib.sha256(body).hexdigest()}\n".encode() + body):
        with suppress(FaultoddsError):
            lay_over(K, from_bytes(each, Path("a.toml")))


def use_mapping(data: bytes) -> None:
    with TemporaryDirectory(dir=SHM) as folder:
        path = Path(folder) / "other.mapping.toml"
        path.write_bytes(data)
        # Another log's: whatever is in it, it stops no import.
        mapping.find_saved(Path(folder), ("Job", "Said"), K, Path(folder) / "mine.mapping.toml")
        with suppress(FaultoddsError):
            mapping.find_saved(Path(folder), ("Job", "Said"), K, path)
        mapping.read_mapping(path, K)


def use_history(data: bytes) -> None:
    standing([_decision(n, line) for n, line in enumerate(data.decode("utf-8", "replace").split("\n")) if line.strip()])


def use_log(data: bytes) -> None:
    with TemporaryDirectory(dir=SHM) as folder:
        path = Path(folder) / "jobs.csv"
        path.write_bytes(data)
        found = draft(path, dryer().knowledge, data=folder)
        import_log(found, dryer().knowledge, data=folder)


def use_row(data: bytes) -> None:
    """A row of a job's steps as it might stand in a damaged store, read, told and taken as evidence."""
    parts = [*data.decode("utf-8", "replace").split("\n", 4), "", "", "", "", ""]
    seq, at, kind, minutes, payload = parts[:5]
    number = int(seq) if seq.isascii() and seq.isdigit() and len(seq) < 18 else seq
    spent = float(minutes) if re.fullmatch(r"-?\d{1,9}(\.\d{1,9})?", minutes) else minutes or None
    row = SimpleNamespace(seq=number, at=at, kind=kind, payload=payload, minutes=spent)
    header = SimpleNamespace(
        id=1, appliance="toy", revision="", title=payload[:40], opened_at=at, source="", fingerprint=""
    )
    job = read_job(Path("jobs.sqlite"), "", header, [row])  # type: ignore[arg-type]
    if not isinstance(job, Job):
        raise job
    json.dumps([job_line(job), [line.text for line in story(job)], job.minutes])
    visits(job, K.costs.verify)
    evidence_of(READY, job)


def use_cache(data: bytes) -> None:
    # As it is, and with a head that is whole, or nothing would get past its digest.
    at = len(MAGIC)
    size = int.from_bytes(data[at + 32 : at + 40], "little")
    head = hashlib.sha256(data[at + 40 : at + 40 + size]).digest()
    with TemporaryDirectory(dir=SHM) as folder:
        entry = Path(folder) / "toy-0.arrays"
        for each in (data, data[:at] + head + data[at + 32 :]):
            entry.write_bytes(each)
            _load(entry)


def use_reading(data: bytes) -> None:
    name, _, text = data.decode("utf-8", "replace").partition("\n")
    k = dryer().knowledge
    check = name if name in k.reading else [*k.reading][len(name) % len(k.reading)]
    judged = judge(k.reading[check], list(k.check[check].outcomes), text, ambient="72F")
    assert math.isclose(sum(judged.outcomes.values()), 1.0, abs_tol=1e-9)
    assert judged.value is None or math.isfinite(judged.value)


@functools.cache
def _lines_folder() -> TemporaryDirectory[str]:
    return TemporaryDirectory(dir=SHM)


@functools.cache
def _store() -> Store:
    return Store.open(Path(_lines_folder().name))


def use_line(data: bytes) -> None:
    line = data.decode("utf-8", "replace").replace("\n", " ")
    if line.strip():
        heard_from(dryer(), _store(), line)


@functools.cache
def _cached() -> bytes:
    with TemporaryDirectory() as folder:
        _save(Path(folder) / "toy-0.arrays", READY)
        return (Path(folder) / "toy-0.arrays").read_bytes()


@dataclass(frozen=True)
class Kind:
    """Sound examples of one kind, how they are used, and how many are spoilt where the quickest kind spoils one."""

    use: Callable[[bytes], None]
    sound: tuple[bytes, ...]
    weight: float = 1.0


def _texts(*texts: str) -> tuple[bytes, ...]:
    return tuple(text.encode() for text in texts)


HISTORY = '{"at": "2026-11-25T08:00:00+00:00", "action": "accept", "revision": "2026-11-25-a"}\n'
KINDS: dict[str, Kind] = {
    "knowledge": Kind(use_knowledge, _texts(TOY)),
    "shop": Kind(use_shop, _texts(SHOP)),
    "revision": Kind(use_revision, _texts(REVISION)),
    "mapping": Kind(use_mapping, _texts(MAPPING)),
    "history": Kind(use_history, _texts(HISTORY * 2)),
    "log": Kind(use_log, _texts(log_text(*ROWS), SEASIDE), 0.02),
    "row": Kind(use_row, _texts(ROW, *OTHER_ROWS)),
    "cache": Kind(use_cache, (_cached(),)),
    "reading": Kind(use_reading, _texts(*READINGS)),
    "line": Kind(use_line, _texts(*LINES), 0.2),
}


@contextmanager
def within_bounds() -> Iterator[None]:
    """Fails what takes too long or too much memory."""

    def too_long(*_: object) -> None:
        raise AssertionError(f"took over {MOST_SECONDS:g} s of work")

    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    old = signal.signal(signal.SIGPROF, too_long)
    signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, old)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < MOST_MEMORY, "took over 1 GB"


def used(kind: str, data: bytes) -> None:
    """Use it: taken, or refused in words of the program's own; anything else is raised."""
    with within_bounds(), suppress(FaultoddsError):
        KINDS[kind].use(data)
