"""Where job logs are kept: the folder `logs` in the user's data folder, a few files for each log."""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from faultodds.errors import FaultoddsError, unknown
from faultodds.files import bytes_of, forget_left, held_folder, own_folder, synced
from faultodds.joblog import clean
from faultodds.names import fold

FOLDER: Final = "logs"
_FINISHED: Final = ".whole"
_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,60}")


@dataclass(frozen=True)
class LogFiles:
    """The files of one log: clean log, report for programs and for people, rows set aside, mapping."""

    folder: Path
    name: str

    @property
    def clean(self) -> Path:
        """The clean log."""
        return self.folder / f"{self.name}.parquet"

    @property
    def report(self) -> Path:
        """The cleaning report, JSON."""
        return self.folder / f"{self.name}.report.json"

    @property
    def report_text(self) -> Path:
        """The cleaning report, text."""
        return self.folder / f"{self.name}.report.txt"

    @property
    def aside(self) -> Path:
        """The rows that were set aside, CSV."""
        return self.folder / f"{self.name}.set_aside.csv"

    @property
    def phrases(self) -> Path:
        """Every phrase and what it became, CSV."""
        return self.folder / f"{self.name}.phrases.csv"

    @property
    def mapping(self) -> Path:
        """The mapping of the log's columns."""
        return self.folder / f"{self.name}.mapping.toml"


def log_folder(data: str | os.PathLike[str] | None = None) -> Path:
    """The folder of logs beside the job store; `data` as in `store.store_path`."""
    from faultodds.job import store_path

    return store_path(data).parent / FOLDER


def files_of(name: str, data: str | os.PathLike[str] | None = None) -> LogFiles:
    """The files of a log of that name, there or not; raises FaultoddsError for what cannot be a name."""
    if not _NAME.fullmatch(name):
        raise FaultoddsError(
            f"'{name}' cannot be a log's name: small letters, digits, - and _ only, at most 60. "
            f"Give for example --name {name_for(Path(name))}."
        )
    return LogFiles(log_folder(data), name)


def name_for(path: Path) -> str:
    """A log's name from its file's."""
    return fold(path.stem)[:60].strip("_") or "log"


def names_in(data: str | os.PathLike[str] | None = None) -> list[str]:
    """The logs there are, by name."""
    folder = log_folder(data)
    if not folder.is_dir():
        return []
    with contextlib.suppress(OSError):  # logs can be looked at where nothing can be written
        _finish(folder)
    return sorted(path.stem for path in folder.glob("*.parquet"))


def find_log(name: str, data: str | os.PathLike[str] | None = None) -> Path:
    """The clean log of that name, or at that path; raises UnknownName with the nearest one."""
    known = names_in(data)
    if name in known:
        return files_of(name, data).clean
    path = Path(name).expanduser()
    if path.is_file():
        return path
    raise unknown("job log", name, known, "Import one first: faultodds log import FILE.")


def phrase_file(name: str, data: str | os.PathLike[str] | None = None) -> Path:
    """The table of phrases of an imported log; raises UnknownName for a log that is not there or has none."""
    known = [each for each in names_in(data) if files_of(each, data).phrases.exists()]
    if name not in known:
        raise unknown("job log with a table of phrases", name, known, "Import one first: faultodds log import FILE.")
    return files_of(name, data).phrases


@contextlib.contextmanager
def all_or_nothing(files: LogFiles) -> Iterator[LogFiles]:
    """A place to write a log's files to; they take the places of the old ones at the end, or not at all after an error or a kill.

    Once all of them are on disk the place is given the name of one that is finished: from then on whoever looks at the logs puts
    them where they belong (`_finish`), should the import be killed before it has.
    """
    try:
        own_folder(files.folder)
        with held_folder(files.folder, files.name) as place:
            yield LogFiles(place, files.name)
            for path in place.iterdir():
                synced(path)
            synced(place)
            os.replace(place, place.with_suffix(_FINISHED))
            synced(files.folder)
    except OSError as error:
        raise FaultoddsError(
            f"the log could not be written to {files.folder} ({error.strerror or error}). Nothing was changed. Free some space, "
            "make it writable, or set FAULTODDS_DATA to a folder of yours."
        ) from None
    with contextlib.suppress(OSError):  # it is kept by now; the next look at the logs tries again
        _finish(files.folder)


def _finish(folder: Path) -> None:
    """Put the files of finished imports where they belong, and remove what killed ones left. Done twice it does no harm."""
    forget_left(folder)
    for place in sorted(folder.glob(f".*{_FINISHED}")):
        # The clean log comes last: until it is there, the log is the old one.
        for path in sorted(place.iterdir(), key=lambda p: p.suffix == ".parquet"):
            with contextlib.suppress(FileNotFoundError):  # another program is quicker
                path.chmod(0o600)
                os.replace(path, folder / path.name)
        synced(folder)
        shutil.rmtree(place, ignore_errors=True)


def refuse_other_source(name: str, source: str, data: str | os.PathLike[str] | None = None) -> None:
    """Raise FaultoddsError when a log of that name was made from a file of another name."""
    files = files_of(name, data)
    before = report_of(files).get("source")
    if files.clean.exists() and before not in (None, source):
        raise FaultoddsError(
            f"there is a log called '{name}' already, made from {before}. Give another name with --name, or add --force "
            "to replace it."
        )


def report_of(files: LogFiles) -> dict[str, Any]:
    """The report that was kept with a log; empty when there is none to read."""
    try:
        found = json.loads(bytes_of(files.report))
    except (OSError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def summaries(data: str | os.PathLike[str] | None = None) -> list[dict[str, Any]]:
    """Every log in a few words, by name; `damaged` says why one cannot be read."""
    found = []
    for name in names_in(data):
        files = files_of(name, data)
        visits, damaged = 0, ""
        try:
            visits = clean.visits(files.clean)
        except FaultoddsError as error:
            damaged = str(error)
        report = report_of(files)
        told = {
            key: str(report.get(key) or "") for key in ("source", "appliance", "first_day", "last_day", "imported_at")
        }
        found.append({"log": name, "visits": visits, **told, "damaged": damaged})
    return found
