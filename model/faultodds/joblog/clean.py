"""The clean log: one row a visit, as `faultodds.tuning` and `faultodds.audit` read it.

A pandas data frame, kept as Parquet. Every column but `job` may be left out, and a missing cell means "not done" or "not
known", which is never the same as "done, normal". Text columns are categoricals.

    job                   id of the visit
    day                   date of the visit (datetime64)
    technician            who went, a code and never a name
    branch                which of the shop's branches, as the mapping lists them
    fact:NAME             value of a context or equipment fact
    found:NAME            what a symptom or check showed before any repair on this visit: an outcome, or weights of
                          several such as "open:0.7|closed:0.3" (likelihoods, from an uncertain or raw reading)
    repairs               names of all repairs done on this visit, in order, joined by ";"
    failed                the leading ones of them, after which a run still showed the fault
    after:CHECK           outcome of the run after the last repair (CHECK is the file's `costs.verify`)
    ended                 gone, came_back, referred or unknown
    back_after_days       days until the customer called again, for came_back
    followed_days         days from the visit to the last day in the log: how long it could have been heard of again
    minutes, bill         time on the job, money asked; kept for the shop, not learned from
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from faultodds.errors import FaultoddsError, UnknownName, unknown
from faultodds.files import made_folder, written_whole
from faultodds.job import asked
from faultodds.knowledge import Knowledge

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa
    import pyarrow.parquet as pq

JOB: Final = "job"
DAY: Final = "day"
TECHNICIAN: Final = "technician"
BRANCH: Final = "branch"
FACT: Final = "fact:"
FOUND: Final = "found:"
AFTER: Final = "after:"
REPAIRS: Final = "repairs"
FAILED: Final = "failed"
ENDED: Final = "ended"
BACK_AFTER: Final = "back_after_days"
FOLLOWED: Final = "followed_days"
MINUTES: Final = "minutes"
BILL: Final = "bill"

GONE, CAME_BACK, REFERRED, UNKNOWN = ENDINGS = ("gone", "came_back", "referred", "unknown")
NUMBERS: Final = (BACK_AFTER, FOLLOWED, MINUTES, BILL)
"""Columns of numbers; `day` is a date and all others are text."""
SURE: Final = 0.995
"""A weight from here up is written as the outcome alone."""
CHUNK: Final = 50_000


def columns_of(knowledge: Knowledge) -> list[str]:
    """Every column that a clean log of this appliance can have, in order."""
    facts = [FACT + name for name in [*knowledge.context, *knowledge.equipment]]
    verify = knowledge.costs.verify
    found = [FOUND + name for name in knowledge.observables if name != verify]
    tail = [REPAIRS, FAILED, AFTER + verify, ENDED, *NUMBERS]
    return [JOB, DAY, TECHNICIAN, BRANCH, *facts, *found, *tail]


# --- a finding in one cell -----------------------------------------------------------------------------------------


def weights(cell: str) -> dict[str, float]:
    """A cell of a `found:` column as likelihood weights: "open" -> {open: 1}, "open:0.7|closed:0.3" -> both.

    Raises FaultoddsError when a weight is not a number above 0.
    """
    if ":" not in cell:
        return {cell: 1.0}
    found: dict[str, float] = {}
    for part in cell.split("|"):
        outcome, _, weight = part.partition(":")
        try:
            found[outcome] = float(weight)
        except ValueError:
            found[outcome] = -1.0
        if not 0 < found[outcome] < float("inf"):
            raise FaultoddsError(
                f"'{cell}' is not a finding: write an outcome, or weights above 0 such as open:0.7|closed:0.3."
            )
    return found


def cell_of(likelihood: Mapping[str, float]) -> str:
    """Likelihood weights as a cell, two digits, the likeliest first; one that is all but sure by its name alone."""
    total = sum(likelihood.values())
    shares = sorted(((w / total, o) for o, w in likelihood.items() if w > 0), key=lambda pair: -pair[0])
    if shares[0][0] >= SURE:
        return shares[0][1]
    return "|".join(f"{outcome}:{max(share, 0.001):.2g}" for share, outcome in shares if share >= 1e-4)


# --- reading and writing -------------------------------------------------------------------------------------------


def write_clean(frame: pd.DataFrame, path: str | os.PathLike[str]) -> None:
    """Write a clean log as Parquet: all of it or, when anything fails, nothing."""
    import pyarrow as pa

    table = pa.Table.from_pandas(frame, preserve_index=False)
    table = table.cast(pa.schema([field(name) for name in table.column_names]))
    write_tables(path, [table], table.schema)


def write_tables(path: str | os.PathLike[str], tables: Iterable[pa.Table], schema: pa.Schema) -> None:
    """Write pieces of one table as Parquet beside `path`, then put the file in its place."""
    with replacing(Path(path)) as beside, writer(beside, schema) as written:
        for table in tables:
            written.write_table(table)


def writer(path: Path, schema: pa.Schema) -> pq.ParquetWriter:
    """What writes a clean log: with checksums, so that no damaged byte is read as a finding."""
    import pyarrow.parquet as pq

    return pq.ParquetWriter(path, schema, compression="zstd", write_page_checksum=True)


@contextlib.contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """A file beside `path` to write to; at the end it takes the place of `path`, after an error it is gone.

    OSError becomes FaultoddsError naming the folder.
    """
    try:
        made_folder(path.parent)
        with written_whole(path) as beside:
            yield beside
    except OSError as error:
        raise FaultoddsError(
            f"{path} cannot be written ({error.strerror or error}). Free some space or make the folder writable; "
            "to keep logs somewhere else, set FAULTODDS_DATA to a folder of yours."
        ) from None


def read_clean(path: str | os.PathLike[str]) -> pd.DataFrame:
    """A clean log as a data frame, text as categoricals; raises FaultoddsError when there is none to read."""
    path = Path(path)
    with _refused(path):
        return _frame(_opened(path).read())


def read_chunks(path: str | os.PathLike[str], rows: int = CHUNK) -> Iterator[pd.DataFrame]:
    """A clean log in pieces of at most `rows` rows, for logs larger than memory; categories differ by piece."""
    path = Path(path)
    with _refused(path):
        batches = _opened(path).iter_batches(batch_size=rows)
    while True:
        with _refused(path):
            batch = next(batches, None)
            piece = None if batch is None else _frame_of(batch)
        if piece is None:
            return
        yield piece


def visits(path: str | os.PathLike[str]) -> int:
    """How many visits a clean log has, every byte of it looked at; raises FaultoddsError for a damaged one."""
    path = Path(path)
    with _refused(path):
        return sum(batch.num_rows for batch in _opened(path).iter_batches(batch_size=CHUNK))


def is_clean_file(path: Path) -> bool:
    """Whether a Parquet file is a clean log; raises FaultoddsError for a damaged one."""
    import pyarrow.parquet as pq

    with _refused(path):
        return JOB in pq.read_schema(path).names


@contextlib.contextmanager
def _refused(path: Path) -> Iterator[None]:
    """Whatever pyarrow and pandas make of damaged bytes is one refusal: there is no end to the errors they raise."""
    try:
        yield
    except FaultoddsError:
        raise
    except Exception as error:
        raise FaultoddsError(
            f"{path} cannot be read as a clean log: it is damaged, or none ({' '.join(str(error).split())[:120]}). "
            "Import the shop's log again with --force: faultodds log import FILE."
        ) from None


def _opened(path: Path) -> Any:
    import pyarrow.parquet as pq

    if not path.is_file():
        raise FaultoddsError(f"there is no clean log at {path}. Type 'faultodds log list' to see those that are there.")
    schema = pq.read_schema(path)
    if JOB not in schema.names:
        raise FaultoddsError(
            f"{path} is not a clean log: it has no column 'job'. Import it first: faultodds log import {path.name}."
        )
    text = [name for name in schema.names if name != DAY and name not in NUMBERS]
    return pq.ParquetFile(path, read_dictionary=text, page_checksum_verification=True)


def _frame_of(batch: pa.RecordBatch) -> pd.DataFrame:
    import pyarrow as pa

    return _frame(pa.Table.from_batches([batch]))


def _frame(table: pa.Table) -> pd.DataFrame:
    import pandas as pd

    frame: pd.DataFrame = table.to_pandas()
    for name in frame.columns:
        if name == DAY:
            frame[name] = pd.to_datetime(frame[name])
        elif name in NUMBERS:
            frame[name] = frame[name].astype(float)
        elif frame[name].dtype != "category":
            frame[name] = frame[name].astype("category")
    return frame


def field(name: str) -> pa.Field:
    """How a column of the clean log is stored: a date, a number, or text."""
    import pyarrow as pa

    if name == DAY:
        return pa.field(name, pa.timestamp("ms"))
    return pa.field(name, pa.float64() if name in NUMBERS else pa.string())


# --- validating ----------------------------------------------------------------------------------------------------


def validate(frame: pd.DataFrame, knowledge: Knowledge) -> None:
    """Check every name in a clean log against the knowledge file.

    Raises UnknownName for a column, outcome, value, repair or ending that the file does not have, with the nearest one;
    FaultoddsError when `job` is missing. Only the different values of a column are looked at, so it is fast.
    """
    import pandas as pd

    if JOB not in frame.columns:
        raise FaultoddsError("the log has no column 'job'. Import it first: faultodds log import FILE.")
    known = columns_of(knowledge)
    for column in frame.columns:
        if column not in known:
            raise unknown("column of a clean log", str(column), known)
        if column not in (JOB, DAY, TECHNICIAN, BRANCH, *NUMBERS):
            for cell in pd.unique(frame[column].dropna()):
                _validate_cell(str(column), str(cell), knowledge)


def _validate_cell(column: str, cell: str, knowledge: Knowledge) -> None:
    kind, allowed = allowed_in(column, knowledge)
    if column.startswith((FOUND, AFTER)):
        names = list(weights(cell))
    else:
        names = [name for name in cell.split(";") if name] if column in (REPAIRS, FAILED) else [cell]
    for name in names:
        if name not in allowed:
            raise _unknown_in(column, kind, name, allowed)


def allowed_in(column: str, knowledge: Knowledge) -> tuple[str, list[str]]:
    """What a text column of the clean log may hold: the kind of name, for messages, and the names."""
    if column in (REPAIRS, FAILED):
        return "repair", list(knowledge.repair)
    if column == ENDED:
        return "ending", list(ENDINGS)
    prefix, _, name = column.partition(":")
    if prefix + ":" == FACT:
        return f"value of '{name}'", list(asked(knowledge)[name].values)
    return f"outcome of '{name}'", list(knowledge.observables[name].outcomes)


def _unknown_in(column: str, kind: str, name: str, allowed: Iterable[str]) -> UnknownName:
    return unknown(kind, name, allowed, "Import the log again, or correct its mapping.", f"column '{column}'")
