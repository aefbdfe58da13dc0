"""A log about to be imported: looked through, its mapping found or proposed, nothing written yet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from faultodds.joblog import clean, likely, mapping, phrases, propose, scan
from faultodds.joblog.cleaning_report import CleaningReport
from faultodds.joblog.folder import LogFiles, files_of, name_for
from faultodds.joblog.from_clean import import_clean, is_clean
from faultodds.joblog.mapping import LogMapping
from faultodds.joblog.opening import open_source
from faultodds.joblog.sources import Source
from faultodds.knowledge import Knowledge

if TYPE_CHECKING:
    from faultodds.joblog.describe import Description

PROPOSED: Final = "proposed"

Progress = Callable[[str, int, int], None]
"""Told what is going on ("reading"), rows done, rows in all."""


@dataclass(frozen=True)
class Draft:
    """A log about to be imported: its file, what the first look found, and the mapping it would be read with.

    `origin` says where the mapping comes from: "proposed", or the path of its file.
    """

    path: Path
    source: Source
    found: scan.Scan
    mapping: LogMapping
    origin: str
    name: str


@dataclass(frozen=True)
class Options:
    """How to read a file: its encoding and sheet where they are not to be found out, and whether rows with formulas are set
    aside rather than refused."""

    encoding: str | None = None
    sheet: str | None = None
    formulas_aside: bool = False


def draft(
    path: Path,
    knowledge: Knowledge,
    name: str | None = None,
    mapping_file: Path | None = None,
    options: Options | None = None,
    data: str | None = None,
    progress: Progress | None = None,
) -> Draft:
    """Look a log through and find its mapping: the file given, else one kept for the same headings, else a proposal.

    Nothing is written. Raises FaultoddsError for a file that is no log.
    """
    options = options or Options()
    files = files_of(name or name_for(path), data)
    source = open_source(path, options.encoding, options.sheet)
    chosen: list[tuple[LogMapping, str]] = []

    def day_column(sample: list[list[str]]) -> int | None:
        chosen.append(_mapping_for(source, sample, knowledge, mapping_file, files))
        column = chosen[0][0].of_kind("day")
        return source.headings.index(column.heading) if column else None

    found = scan.look_through(source, day_column, lambda n: progress("looking through", n, 0) if progress else None)
    if not options.formulas_aside and not is_clean(source.headings, knowledge):
        scan.refuse_formulas(path, source, found)
    return Draft(path, source, found, *chosen[0], files.name)


def _mapping_for(
    source: Source, sample: list[list[str]], knowledge: Knowledge, given: Path | None, files: LogFiles
) -> tuple[LogMapping, str]:
    """The mapping to use and where it comes from."""
    if given is not None:
        named = mapping.read_mapping(given, knowledge)
        mapping.refuse_other_headings(named, source.headings, str(given))
        return named.confirm(), str(given)
    saved = mapping.find_saved(files.folder, source.headings, knowledge, files.mapping)
    if saved is not None:
        return saved[0], str(saved[1])
    return propose.propose(knowledge, likely.samples(source.headings, sample)), PROPOSED


def with_phrases(draft: Draft, path: Path, knowledge: Knowledge) -> Draft:
    """A draft with what was written into a table of phrases; raises FaultoddsError for what is no such table."""
    return replace(draft, mapping=phrases.read_back(path, draft.mapping, knowledge))


def keep_proposal(draft: Draft, data: str | None = None) -> Path:
    """Keep a mapping that nobody has agreed to yet, for looking through; the path of its file."""
    files = files_of(draft.name, data)
    if draft.origin != PROPOSED:
        return Path(draft.origin)
    with clean.replacing(files.mapping) as beside:
        beside.write_text(mapping.to_toml(draft.mapping), encoding="utf-8")
    return files.mapping


def already_clean(draft: Draft, knowledge: Knowledge, data: str | None = None) -> CleaningReport | None:
    """Keep a file that is a clean log already, such as one that was exported; None when it is a shop's own."""
    if not is_clean(draft.source.headings, knowledge):
        return None
    return import_clean(draft.source, knowledge, draft.name, data)


def describe_file(path: Path, knowledge: Knowledge, data: str | None = None) -> tuple[Description | None, Draft | None]:
    """What a clean log holds; for any other file, how it would be read (and no description)."""
    from faultodds.joblog.describe import describe

    with path.open("rb") as handle:
        is_parquet = handle.read(4) == b"PAR1"
    if is_parquet and clean.is_clean_file(path):
        return describe(path, {name: next(iter(o.outcomes)) for name, o in knowledge.observables.items()}), None
    return None, draft(path, knowledge, name="described", options=Options(formulas_aside=True), data=data)
