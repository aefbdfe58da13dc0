"""The mapping of a shop's log: what each of its columns is, which words mean what, and what is taken as given.

A mapping is proposed (`propose.py`), looked through by whoever keeps the log, and kept as a TOML file that can be edited;
a log with the same headings finds it again by itself.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Literal, get_args

from faultodds.errors import FaultoddsError, nearest, unknown
from faultodds.files import bytes_of
from faultodds.joblog.clean import AFTER, ENDED, ENDINGS, FACT, FOUND, REPAIRS
from faultodds.joblog.dates import Order
from faultodds.joblog.stems import OTHER, machine_called
from faultodds.knowledge import Knowledge, read_toml

FORMAT: Final = 1
NOT_KNOWN, SAYS_NOTHING = "?", "-"

Kind = Literal[
    "job",
    "customer",
    "day",
    "technician",
    "branch",
    "fact",
    "finding",
    "complaint",
    "repairs",
    "findings",
    "notes",
    "verify",
    "ended",
    "recalled",
    "machine",
    "minutes",
    "bill",
    "left_out",
    "personal",
]
KINDS: Final[tuple[str, ...]] = get_args(Kind)
ASSUMPTIONS: Final = ("unit", "dial", "rated", "room", "lone_winding", "bare", "usual_minutes", "yes", "blank")
ONE_ONLY: Final = ("job", "customer", "day", "technician", "branch", "recalled", "machine", "bill", "verify")


@dataclass(frozen=True)
class Column:
    """One column of the shop's log.

    `of` names the facts, or the symptoms and checks, that it speaks of; `lead` those that a word is about that could be
    said of several. `assume` is what a reading needs and the cells do not say; `words` what single words mean ("?" not
    known, "-" nothing), before the trade's own vocabulary. `sure` (0 to 1) and `why` are the proposal's.
    """

    heading: str
    kind: Kind
    of: tuple[str, ...] = ()
    lead: tuple[str, ...] = ()
    assume: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    sure: float = 1.0
    why: str = ""

    def targets(self, knowledge: Knowledge) -> list[str]:
        """The columns of the clean log that this one can fill."""
        match self.kind:
            case "fact":
                return [FACT + name for name in self.of]
            case "finding":
                return [FOUND + name for name in self.of]
            case "complaint":
                return [FOUND + name for name in knowledge.symptom]
            case "verify":
                return [AFTER + knowledge.costs.verify]
            case "repairs":
                return [REPAIRS]
            case "findings":
                return [FOUND + name for name in knowledge.check]
            case "notes":
                return [
                    *(FOUND + name for name in knowledge.observables if name != knowledge.costs.verify),
                    REPAIRS,
                    ENDED,
                ]
            case _:
                return []


@dataclass(frozen=True)
class LogMapping:
    """A whole log's mapping. `no_ending` is what a blank ending counts as; `confirmed` whether somebody has looked at it."""

    appliance: str
    columns: tuple[Column, ...]
    order: Order | None = None
    no_ending: str = "auto"
    confirmed: bool = False

    @property
    def headings(self) -> tuple[str, ...]:
        """The log's headings, in order: what a mapping is found again by."""
        return tuple(column.heading for column in self.columns)

    def of_kind(self, kind: Kind) -> Column | None:
        """The first column of a kind."""
        return next((column for column in self.columns if column.kind == kind), None)

    def confirm(self) -> LogMapping:
        """The same mapping, looked at."""
        return replace(self, confirmed=True)


# --- as TOML -------------------------------------------------------------------------------------------------------

_HEAD = """\
# What the columns of this job log are. Change what is wrong, save, and run the same import again.
#
# is     {kinds}
# of     the facts, or the symptoms and checks, that the column speaks of
# lead   which of them a word is about that could be said of several (leave empty: such a word is not guessed at)
# words  what a word in this column means: an outcome, a value or a repair; name=outcome where the column has several, or for
#        any other symptom or check; "?" = not known yet, write what it means; "-" or "ignore" = it says nothing;
#        of the machine the appliance's name (dryer) or other, for the rows to be read or left out;
#        of the technician the codes that are kept as they are, or the code for a spelling; others are tech_1, tech_2 ...
# assume what the cells do not say: unit, dial, rated, room, lone_winding, bare, usual_minutes; of a column that says how it ended,
#        what a "yes" and what a blank stand for (came_back, gone; "?" for a blank that says neither)
# sure   how sure the proposal was; for you to look at, not used
"""


def to_toml(mapping: LogMapping) -> str:
    """A mapping as the text of its file."""
    kinds = ", ".join(KINDS)
    lines = [_HEAD.format(kinds=kinds), f"format = {FORMAT}", f"appliance = {_text(mapping.appliance)}"]
    lines += [f"confirmed = {str(mapping.confirmed).lower()}", f"date_order = {_text(mapping.order or '')}"]
    lines += [
        f"no_ending = {_text(mapping.no_ending)}            # a blank ending counts as: auto, gone or unknown",
        "",
    ]
    for column in mapping.columns:
        lines += ["[[column]]", f"heading = {_text(column.heading)}", f"is = {_text(column.kind)}"]
        lines += [f"of = {_list(column.of)}"] if column.of else []
        lines += [f"lead = {_list(column.lead)}"] if column.lead else []
        lines += [f"assume = {_table(column.assume)}"] if column.assume else []
        lines += [f"sure = {column.sure:.2f}"] + ([f"why = {_text(column.why)}"] if column.why else [])
        if column.words:
            lines += ["[column.words]", *(f"{_text(w)} = {_text(m)}" for w, m in column.words.items())]
        lines.append("")
    return "\n".join(lines)


def _text(text: str) -> str:
    # A JSON string is a TOML basic string, but for DEL, which TOML wants spelt out.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _list(items: Iterable[str]) -> str:
    return "[" + ", ".join(map(_text, items)) + "]"


def _table(items: Mapping[str, str]) -> str:
    return "{ " + ", ".join(f"{k} = {_text(v)}" for k, v in items.items()) + " }"


def read_mapping(path: Path, knowledge: Knowledge) -> LogMapping:
    """Read and check a mapping file; raises FaultoddsError naming the file, the column and what is allowed."""
    return from_raw(_raw(path), knowledge, path.name)


def _raw(path: Path) -> dict[str, Any]:
    """The tables of a mapping file, whatever is in them."""
    try:
        data = bytes_of(path)
    except FileNotFoundError:
        raise FaultoddsError(f"there is no mapping file at {path}. Leave --mapping out to have one proposed.") from None
    except OSError as error:
        raise FaultoddsError(f"{path} cannot be read ({error}). Give another --mapping FILE.") from None
    return read_toml(data, str(path), FaultoddsError)


def from_raw(raw: Mapping[str, Any], knowledge: Knowledge, where: str) -> LogMapping:
    """A mapping from the tables of its file, every name in it checked."""
    if raw.get("format") != FORMAT or not isinstance(raw.get("column"), list):
        raise FaultoddsError(
            f"{where} is not a mapping of a job log (format = {FORMAT} and [[column]] tables are missing). "
            "Leave --mapping out to have one proposed."
        )
    order = raw.get("date_order", "")
    if order not in ("", "month first", "day first"):
        raise unknown("date order", str(order), ["month first", "day first"], where=where)
    no_ending = raw.get("no_ending", "auto")
    if no_ending not in ("auto", "gone", "unknown"):
        raise unknown("no_ending", str(no_ending), ["auto", "gone", "unknown"], where=where)
    columns = tuple(_column(entry, knowledge, where) for entry in raw["column"])
    _refuse_twice(columns, where)
    return LogMapping(
        str(raw.get("appliance", "")), columns, order or None, no_ending, bool(raw.get("confirmed", False))
    )


def _column(raw: Any, knowledge: Knowledge, where: str) -> Column:
    heading = str(raw.get("heading", "")) if isinstance(raw, dict) else ""
    place = f"{where}: column '{heading}'"
    if not isinstance(raw, dict) or "heading" not in raw or "is" not in raw:
        raise FaultoddsError(f'{place}: a column needs heading and is. Write for example is = "left_out".')
    kind = str(raw["is"])
    if kind not in KINDS:
        raise unknown("kind of column", kind, KINDS, where=place)
    of, lead = (_names(raw.get(part, []), kind, knowledge, place) for part in ("of", "lead"))
    if kind in ("fact", "finding") and not of:
        raise FaultoddsError(f'{place}: say which {kind} it is, for example of = ["{_example(kind, knowledge)}"].')
    assume, words = (_texts(raw.get(part, {}), part, place) for part in ("assume", "words"))
    for name in assume:
        if name not in ASSUMPTIONS:
            raise unknown("assumption", name, ASSUMPTIONS, where=place)
    sure = raw.get("sure", 1.0)
    if isinstance(sure, bool) or not isinstance(sure, int | float) or not 0 <= sure <= 1:
        raise FaultoddsError(
            f"{place}: sure = {_short(sure)}: it is a number from 0 to 1. It is not used; leave it out."
        )
    column = Column(heading, kind, of, lead, assume, {}, float(sure), str(raw.get("why", "")))  # type: ignore[arg-type]
    for word, meaning in words.items():
        meanings(column, meaning, knowledge, f"{place}, word '{word}'")
    return replace(column, words={word: in_short(column, meaning) for word, meaning in words.items()})


def _names(raw: Any, kind: str, knowledge: Knowledge, place: str) -> tuple[str, ...]:
    listed = [raw] if isinstance(raw, str) else raw
    if not isinstance(listed, list) or not all(isinstance(name, str) for name in listed):
        raise FaultoddsError(
            f'{place}: of and lead are lists of names, such as ["{_example(kind, knowledge)}"], not {_short(raw)}.'
        )
    names = tuple(listed)
    known = known_names(kind, knowledge)
    for name in names:
        if name not in known:
            raise unknown("fact" if kind == "fact" else "symptom or check", name, known, where=place)
    return names


def _texts(raw: Any, part: str, place: str) -> dict[str, str]:
    if not isinstance(raw, dict) or not all(isinstance(text, str) for text in raw.values()):
        raise FaultoddsError(
            f'{place}: {part} is a table of texts, such as {part} = {{ name = "text" }}, not {_short(raw)}.'
        )
    return raw


def _short(raw: Any) -> str:
    try:
        text = str(raw)
    except ValueError:  # a number of thousands of digits
        return "that number"
    return text if len(text) < 60 else f"{text[:57]}..."


def known_names(kind: str, knowledge: Knowledge) -> list[str]:
    """What a column of this kind may be `of`."""
    if kind == "fact":
        return [*knowledge.context, *knowledge.equipment]
    return list(knowledge.observables) if kind == "finding" else []


def _example(kind: str, knowledge: Knowledge) -> str:
    return next(iter(known_names(kind, knowledge)), "name")


def _refuse_twice(columns: Sequence[Column], where: str) -> None:
    for kind in ONE_ONLY:
        several = [column.heading for column in columns if column.kind == kind]
        if len(several) > 1:
            raise FaultoddsError(
                f"{where}: {len(several)} columns are said to be '{kind}': {', '.join(several)}. "
                'Keep one and write is = "left_out" for the others.'
            )


# --- what a word in a mapping means --------------------------------------------------------------------------------


def meanings(column: Column, text: str, knowledge: Knowledge, where: str) -> tuple[tuple[str, str], ...]:
    """A word's meaning in a mapping as (clean column, value) pairs; empty for "?" and "-".

    Any word but one of facts or endings may mean any repair, and any outcome told as name=outcome. Raises UnknownName for an
    outcome, value or repair that the appliance does not have.
    """
    if in_short(column, text) in (NOT_KNOWN, SAYS_NOTHING) or column.kind in ("technician", "branch"):
        return ()
    if column.kind == "machine":
        _check_machine(text, knowledge, where)
        return ()
    return tuple(_meaning(column, part.strip(), knowledge, where) for part in text.split(";"))


def _check_machine(text: str, knowledge: Knowledge, where: str) -> None:
    allowed = [machine_called(knowledge.appliance.id), OTHER]
    if in_short(Column("", "machine"), text) not in allowed:
        raise unknown("machine", text, allowed, "The row is about this machine, or another.", where)


def in_short(column: Column, text: str) -> str:
    """A meaning with "nothing" and "ignore" written as "-", and "unknown" as "?" where it is no ending."""
    said = {
        "nothing": SAYS_NOTHING,
        "ignore": SAYS_NOTHING,
        **({} if column.kind == "ended" else {"unknown": NOT_KNOWN}),
    }
    plain = text.strip().casefold()
    return said.get(plain, plain if column.kind == "machine" else text.strip())


def _meaning(column: Column, text: str, knowledge: Knowledge, where: str) -> tuple[str, str]:
    name, sign, value = text.rpartition("=")
    targets = column.targets(knowledge)
    if column.kind == "ended":
        return ENDED, _checked(ENDED, value, knowledge, where)
    if column.kind != "fact" and not sign and value in knowledge.repair:
        return REPAIRS, value
    if ENDED in targets and not sign and value in ENDINGS:
        return ENDED, value
    chosen = [t for t in targets if t.partition(":")[2] == name] if sign else targets
    if sign and column.kind != "fact" and not chosen and name in knowledge.observables:
        chosen = [(AFTER if name == knowledge.costs.verify else FOUND) + name]
    if len(chosen) == 1:
        return chosen[0], _checked(chosen[0], value, knowledge, where)
    known = [t.partition(":")[2] for t in targets if ":" in t]
    if column.kind in ("fact", "finding") and not sign:
        raise unknown("name", text, known, "Write name=outcome.", where)
    if sign:
        allowed = known if column.kind == "fact" else list(knowledge.observables)
        raise unknown("symptom or check", name, allowed, "Write name=outcome.", where)
    raise unknown("repair", text, list(knowledge.repair), f"{_OR_ELSE[0]} {_OR_ELSE[1]}", where)


_OR_ELSE: Final = ("Or write name=outcome of a symptom or check,", '"?" (not known) or "-" (says nothing).')


def _checked(target: str, value: str, knowledge: Knowledge, where: str) -> str:
    from faultodds.joblog.clean import allowed_in, weights

    kind, allowed = allowed_in(target, knowledge)
    hint = " ".join(_OR_ELSE) if target == REPAIRS else f"Or write {_OR_ELSE[1]}"
    for outcome in weights(value):
        if outcome not in allowed:
            raise unknown(kind, outcome, allowed, hint, where)
    return value


def find_saved(
    folder: Path, headings: Sequence[str], knowledge: Knowledge, own: Path | None = None
) -> tuple[LogMapping, Path] | None:
    """The saved mapping whose headings are these, a confirmed one before others; None when there is none.

    `own` is where this log's own mapping is, or would be: that one is complained of when it cannot be used, since it would be
    written over; any other that cannot be used is passed by.
    """
    fitting = []
    for path in sorted(folder.glob("*.mapping.toml")):
        try:
            raw = _raw(path)
        except FaultoddsError:
            if path == own:
                raise
            continue
        columns = raw.get("column")
        saved = (
            [e.get("heading") if isinstance(e, dict) else None for e in columns] if isinstance(columns, list) else []
        )
        if path == own and (not saved or None in saved):
            read_mapping(path, knowledge)  # says what is wrong with it
        if saved == list(headings) and raw.get("appliance") == knowledge.appliance.id:
            fitting.append((path != own, not raw.get("confirmed"), path))
    for _, _, path in sorted(fitting):
        try:
            return read_mapping(path, knowledge), path
        except FaultoddsError:
            if path == own:
                raise
    return None


def refuse_other_headings(mapping: LogMapping, headings: Sequence[str], where: str) -> None:
    """Raise FaultoddsError when a mapping is for a log with other headings, naming the first that differs."""
    missing = [h for h in mapping.headings if h not in headings]
    new = [h for h in headings if h not in mapping.headings]
    if not missing and not new:
        return
    first = (missing or new)[0]
    close = nearest(first, new if missing else mapping.headings)
    what = f"the log has no column '{first}'" if missing else f"the log's column '{first}' is not in it"
    raise FaultoddsError(
        f"{where} is for another log: {what}{f' (nearest: {close!r})' if close else ''}. "
        "Leave --mapping out to have a new one proposed."
    )
