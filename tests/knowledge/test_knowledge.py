"""Knowledge files: what is wrong is refused with one message that names file and key and says what to change."""

from __future__ import annotations

import ast
import copy
import dataclasses
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from faultodds.errors import KnowledgeError
from faultodds.files.knowledge_files import find, fingerprint, read_bytes, shipped
from faultodds.knowledge import rules as module
from faultodds.knowledge.loading import from_mapping, load, load_file, parse
from faultodds.knowledge.schema import NOTHING_WRONG, UNLISTED, UNLISTED_MODE, Check, Costs, repair_modes
from faultodds.knowledge.tables import shares
from toys import raw_toy

Raw = dict[str, Any]
MODES = "pump.dead, pump.weak, belt.broken, fuse.open"
REFS = f"{MODES}, unlisted.present, flow.good, flow.low, flow.none"


def _set(path: str, value: Any) -> Callable[[Raw], None]:
    """A change to the toy: put `value` at a path written "check/listen/leak"."""

    def change(raw: Raw) -> None:
        *way, last = path.split("/")
        place = raw
        for key in way:
            place = place.setdefault(key, {})
        place[last] = value

    return change


def _drop(path: str) -> Callable[[Raw], None]:
    def change(raw: Raw) -> None:
        *way, last = path.split("/")
        place = raw
        for key in way:
            place = place[key]
        del place[last]

    return change


def _all(*changes: Callable[[Raw], None]) -> Callable[[Raw], None]:
    def change(raw: Raw) -> None:
        for one in changes:
            one(raw)

    return change


def _context(**fact: Any) -> Callable[[Raw], None]:
    whole = {"ask": "?", "values": {"new": "n", "old": "o"}, "usual": {"new": 1, "old": 1}, **fact}
    return _set("context", {"age": whole})


def _equipment(**fact: Any) -> Callable[[Raw], None]:
    whole = {"ask": "?", "values": {"full": "f", "bare": "b"}, "usual": {"full": 1, "bare": 1}, **fact}
    return _set("equipment", {"kind": whole})


def _check(**spec: Any) -> Callable[[Raw], None]:
    whole = {
        "title": "p",
        "minutes": 1,
        "outcomes": {"no": "n", "yes": "y"},
        "links": {"fuse.open": 0.9},
        **spec,
    }
    return _set("check/probe", {k: v for k, v in whole.items() if v is not None})


def _table(**table: Any) -> Callable[[Raw], None]:
    rows = {"good": {"no": 1.0}, "low": {"yes": 1.0}, "none": {"no": 0.5, "yes": 0.5}} | table
    return _check(links=None, depends_on=["flow"], table={k: v for k, v in rows.items() if v is not None})


def _mechanism(**spec: Any) -> Callable[[Raw], None]:
    whole = {
        "title": "m",
        "states": {"fine": "f", "hot": "h"},
        "rule": "worst_of",
        "causes": {"fuse.open": "hot"},
    }
    return _all(_set("mechanism/heat", whole | spec), _check(links={"fuse.open": 0.5}))


ENERGISED = {"energised": True, "qualified": True, "running": True}
LIVE = _set("caution/live", {"text": "Live.", "covers": ["energised"]})

PROBLEMS: list[tuple[str, Callable[[Raw], None], str]] = [
    # Types and keys.
    (
        "unknown_key",
        _set("costs/labor_rate", 60),
        "costs.labor_rate: this key is not known. Did you mean 'labour_rate'? "
        f"Allowed here: {', '.join(f.name for f in dataclasses.fields(Costs))}.",
    ),
    (
        "unknown_key_far",
        _set("check/listen/zzz", 1),
        f"check.listen.zzz: this key is not known. "
        f"Allowed here: {', '.join(f.name for f in dataclasses.fields(Check))}.",
    ),
    ("missing_key", _drop("check/listen/minutes"), "check.listen.minutes: this key is missing; add it."),
    ("missing_table", _drop("caution"), "caution: this key is missing; add it."),
    (
        "two_problems",
        _all(_drop("check/listen/minutes"), _drop("repair/new_pump/fixes")),
        "check.listen.minutes: this key is missing; add it.",
    ),
    (
        "wrong_type",
        _set("check/listen/minutes", "two"),
        "check.listen.minutes: found 'two'; write a number, without quotes.",
    ),
    (
        "wrong_rule",
        _set("mechanism/flow/rule", "best_of"),
        "mechanism.flow.rule: found 'best_of'; write 'worst_of', 'first_of' or 'adds_up'.",
    ),
    # Header and costs.
    ("format", _set("appliance/format", 2), "appliance.format: found 2; this version reads format 1."),
    (
        "verify",
        _set("costs/verify", "run_tests"),
        "costs.verify: there is no check called 'run_tests'. Did you mean 'run_test'? "
        "Known: fuse_test, listen, run_test.",
    ),
    ("labour_rate", _set("costs/labour_rate", -1), "costs.labour_rate: found -1.0; a cost is 0 or more."),
    ("travel_nan", _set("costs/travel", float("nan")), "costs.travel: found nan; a cost is 0 or more."),
    # Names.
    (
        "bad_name",
        _set("symptom/Slow Run", {"title": "s", "outcomes": {"a": "a", "b": "b"}, "links": {"fuse.open": 0.5}}),
        "symptom.Slow Run: a name is lower-case letters, digits and single underscores, and starts with a letter.",
    ),
    (
        "double_underscore",
        _set("mechanism/a__1", {"title": "a", "states": {"x": "x", "y": "y"}, "rule": "worst_of", "causes": {}}),
        "mechanism.a__1: a name is lower-case letters, digits and single underscores, and starts with a letter.",
    ),
    (
        "name_taken",
        _set("symptom/fuse", {"title": "s", "outcomes": {"a": "a", "b": "b"}, "links": {"fuse.open": 0.5}}),
        "symptom.fuse: the name 'fuse' is already taken by component.fuse; choose another.",
    ),
    (
        "name_reserved",
        _set(
            "symptom/main_cause",
            {"title": "s", "outcomes": {"a": "a", "b": "b"}, "links": {"fuse.open": 0.5}},
        ),
        "symptom.main_cause: the name 'main_cause' is already taken by the main cause; choose another.",
    ),
    (
        "mode_called_ok",
        _set("component/fuse/modes/ok", {"title": "fine"}),
        "component.fuse.modes.ok: a mode's name is lower-case letters, digits and single underscores, and not 'ok'.",
    ),
    # Shares, companions, brought-on modes.
    (
        "share",
        _set("component/fuse/modes/open/share", -3),
        "component.fuse.modes.open.share: found -3.0; a share is 0 or more.",
    ),
    (
        "companion",
        _set("component/fuse/modes/open/companion", 1.0),
        "component.fuse.modes.open.companion: found 1.0; a chance is from 0 to under 1.",
    ),
    (
        "brings_on_unknown",
        _set("component/fuse/modes/open/brings_on", {"pump.ded": 0.1}),
        f"component.fuse.modes.open.brings_on: there is no mode called 'pump.ded'. Did you mean 'pump.dead'? Known: {MODES}.",
    ),
    (
        "brings_on_same_component",
        _set("component/pump/modes/dead/brings_on", {"pump.weak": 0.1}),
        "component.pump.modes.dead.brings_on: 'pump.weak' belongs to the same component; a component has one mode at a time.",
    ),
    (
        "brings_on_chance",
        _set("component/fuse/modes/open/brings_on", {"pump.weak": 1.0}),
        "component.fuse.modes.open.brings_on.pump.weak: found 1.0; a chance is from 0 to under 1.",
    ),
    (
        "nothing_wrong",
        _set("other_causes/nothing_wrong", -1),
        "other_causes.nothing_wrong: found -1.0; it is 0 or more.",
    ),
    (
        "shares_sum",
        _all(
            *(_set(f"component/{c}/modes/{m}/share", 0) for c, m in (p.split(".") for p in MODES.split(", "))),
            _set("other_causes/nothing_wrong", 0),
            _set("other_causes/unlisted", 0),
        ),
        "the shares of all main causes add up to nothing; give at least one fault a share above 0.",
    ),
    (
        "no_modes",
        _set("component/seal", {"title": "seal", "modes": {}}),
        "component.seal: has no modes; add one or take the component out.",
    ),
    (
        "companions_sum",
        _all(_set("component/pump/modes/dead/companion", 0.6), _set("component/pump/modes/weak/companion", 0.5)),
        "component.pump: the companion chances of its modes add up to 1.1; keep them under 1.",
    ),
    (
        "new_a_year",
        _set("other_causes/new_a_year", -1.0),
        "other_causes.new_a_year: found -1.0; it is 0 or more.",
    ),
    ("fails_again", _set("costs/fails_again", 1.0), "costs.fails_again: found 1.0; a chance from 0 and below 1."),
    (
        "repair_fails_again",
        _set("repair/new_pump/fails_again", 1.5),
        "repair.new_pump.fails_again: found 1.5; a chance from 0 and below 1.",
    ),
    (
        "unless_name",
        _check(unless={"slou": ["yes"]}),
        "check.probe.unless: there is no symptom or check called 'slou'. Did you mean 'slow'? Known: slow, fuse_test, listen, "
        "run_test, probe.",
    ),
    (
        "unless_outcome",
        _check(unless={"slow": ["yess"]}),
        "check.probe.unless.slow: there is no outcome called 'yess'. Did you mean 'yes'? Known: no, yes.",
    ),
    (
        "stops_run_outcome",
        _check(stops_run={"yess": "why"}),
        "check.probe.stops_run: there is no outcome called 'yess'. Did you mean 'yes'? Known: no, yes.",
    ),
    (
        "stops_run_normal",
        _check(stops_run={"no": "why"}),
        "check.probe.stops_run: 'no' is the normal outcome; only one that is not normal stops the run.",
    ),
    # Facts.
    (
        "one_value",
        _context(values={"new": "n"}, usual={"new": 1}),
        "context.age.values: a fact needs at least two values.",
    ),
    (
        "usual_unknown",
        _context(usual={"new": 1, "old": 1, "ancient": 1}),
        "context.age.usual: there is no value called 'ancient'. Known: new, old.",
    ),
    (
        "usual_weight",
        _context(usual={"new": -1, "old": 1}),
        "context.age.usual.new: found -1.0; a weight is 0 or more.",
    ),
    (
        "usual_missing",
        _context(usual={"new": 1}),
        "context.age.usual: 'old' has no weight; give every value a weight above 0.",
    ),
    (
        "more_often_cause",
        _context(more_often={"pumps": {"old": 2}}),
        "context.age.more_often: there is no mode or component called 'pumps'. Did you mean 'pump'? "
        f"Known: {MODES}, pump, belt, fuse, nothing_wrong, unlisted.",
    ),
    (
        "more_often_value",
        _context(more_often={"pump": {"olde": 2}}),
        "context.age.more_often.pump: there is no value called 'olde'. Did you mean 'old'? Known: new, old.",
    ),
    (
        "more_often_factor",
        _context(more_often={"pump": {"old": 0}}),
        "context.age.more_often.pump.old: found 0.0; a factor is above 0 (1 changes nothing).",
    ),
    (
        "lacks_value",
        _equipment(lacks={"bar": ["pump"]}),
        "equipment.kind.lacks: there is no value called 'bar'. Did you mean 'bare'? Known: full, bare.",
    ),
    (
        "lacks_component",
        _equipment(lacks={"bare": ["pmp"]}),
        "equipment.kind.lacks.bare: there is no component called 'pmp'. Did you mean 'pump'? Known: pump, belt, fuse.",
    ),
    (
        "lacks_everywhere",
        _equipment(lacks={"bare": ["pump"], "full": ["pump", "belt"]}),
        "equipment.kind.lacks: every value lacks 'pump'; then no machine has it.",
    ),
    # Mechanisms.
    (
        "mechanism_states",
        _mechanism(states={"fine": "f"}),
        "mechanism.heat.states: a mechanism needs at least two states, the normal one first.",
    ),
    (
        "mechanism_causes",
        _mechanism(causes={}),
        "mechanism.heat.causes: nothing brings this mechanism about; add a cause or take it out.",
    ),
    (
        "mechanism_state_name",
        _mechanism(states={"fine": "f", "too hot": "h"}, causes={"fuse.open": "too hot"}),
        "mechanism.heat.states.too hot: a state's name is lower-case letters, digits and single underscores.",
    ),
    (
        "mechanism_ref",
        _mechanism(causes={"fuse.opn": "hot"}),
        "mechanism.heat.causes: there is no mode or mechanism state called 'fuse.opn'. Did you mean 'fuse.open'? "
        f"Known: {REFS}, heat.fine, heat.hot.",
    ),
    (
        "mechanism_normal_ref",
        _mechanism(causes={"flow.good": "hot"}),
        "mechanism.heat.causes: 'flow.good' is the normal state; a cause must be a state that is not normal.",
    ),
    (
        "adds_up_steps",
        _mechanism(rule="adds_up", causes={"fuse.open": 0}),
        "mechanism.heat.causes.fuse.open: found 0; with rule 'adds_up' a cause adds 1 or more whole steps.",
    ),
    (
        "mechanism_effect",
        _mechanism(causes={"fuse.open": "hott"}),
        "mechanism.heat.causes.fuse.open: there is no state called 'hott'. Did you mean 'hot'? Known: fine, hot.",
    ),
    (
        "mechanism_normal_effect",
        _mechanism(causes={"fuse.open": "fine"}),
        "mechanism.heat.causes.fuse.open: 'fine' is the normal state; a cause brings a state that is not normal.",
    ),
    (
        "circle",
        _all(_mechanism(causes={"flow.low": "hot"}), _set("mechanism/flow/causes/heat.hot", "low")),
        "mechanisms go in a circle: flow -> heat -> flow. Take one of these causes out.",
    ),
    # Symptoms and checks.
    (
        "one_outcome",
        _check(outcomes={"no": "n"}),
        "check.probe.outcomes: at least two outcomes are needed, the normal one first.",
    ),
    (
        "outcome_name",
        _check(outcomes={"no": "n", "40 ohm": "y"}),
        "check.probe.outcomes.40 ohm: an outcome's name is lower-case letters, digits and single underscores.",
    ),
    (
        "both_ways",
        _check(depends_on=["flow"], table={"other": {"no": 1.0}}),
        "check.probe: has both 'depends_on' and 'links' or 'leak'; use one way or the other.",
    ),
    (
        "no_way",
        _check(links=None),
        "check.probe: can never inform anything: it has neither 'links' nor 'depends_on'.",
    ),
    (
        "leak_number",
        _check(outcomes={"no": "n", "yes": "y", "more": "m"}, leak=0.1, links={"fuse.open": {"more": 0.5}}),
        "check.probe.leak: found one number, but there are 3 outcomes; write { outcome = chance }.",
    ),
    ("leak_range", _check(leak=1.5), "check.probe.leak: found 1.5; a chance is from 0 to 1."),
    (
        "link_ref",
        _check(links={"fuse.closed": 0.5}),
        "check.probe.links: there is no mode or mechanism state called 'fuse.closed'. Did you mean 'fuse.open'? "
        f"Known: {REFS}.",
    ),
    (
        "link_normal",
        _check(links={"flow.good": 0.5}),
        "check.probe.links: 'flow.good' is the normal state; a cause must be a state that is not normal.",
    ),
    (
        "link_outcome",
        _check(links={"fuse.open": {"yess": 0.5}}),
        "check.probe.links.fuse.open: there is no outcome called 'yess'. Did you mean 'yes'? Known: no, yes.",
    ),
    (
        "link_chance",
        _check(links={"fuse.open": {"yes": -0.5}}),
        "check.probe.links.fuse.open.yes: found -0.5; a chance is from 0 to 1.",
    ),
    (
        "link_sum",
        _check(outcomes={"no": "n", "yes": "y", "more": "m"}, links={"fuse.open": {"yes": 0.7, "more": 0.6}}),
        "check.probe.links.fuse.open: the chances add up to 1.3; they must not pass 1 (the rest is 'no').",
    ),
    (
        "link_normal_sum",
        _check(links={"fuse.open": {"no": 0.3, "yes": 0.5}}),
        "check.probe.links.fuse.open: names the normal outcome, so the chances must add up to 1; they add up to 0.8.",
    ),
    (
        "needs_fact",
        _all(_equipment(), _check(needs={"kinds": "full"})),
        "check.probe.needs: there is no equipment fact called 'kinds'. Did you mean 'kind'? Known: kind.",
    ),
    (
        "needs_value",
        _all(_equipment(), _check(needs={"kind": "fully"})),
        "check.probe.needs.kind: there is no value called 'fully'. Did you mean 'full'? Known: full, bare.",
    ),
    # Tables.
    (
        "depends_on",
        _check(links=None, depends_on=["flows"], table={"other": {"no": 1.0}}),
        "check.probe.depends_on: there is no component or mechanism called 'flows'. Did you mean 'flow'? "
        "Known: pump, belt, fuse, flow, unlisted.",
    ),
    (
        "row_name",
        _table(loww={"no": 1.0}),
        "check.probe.table: there is no row called 'loww'. Did you mean 'low'? Known: good, low, none.",
    ),
    (
        "row_outcome",
        _table(low={"yess": 1.0}),
        "check.probe.table.low: there is no outcome called 'yess'. Did you mean 'yes'? Known: no, yes.",
    ),
    (
        "row_chance",
        _table(low={"no": -0.5, "yes": 1.5}),
        "check.probe.table.low.no: found -0.5; a chance is from 0 to 1.",
    ),
    (
        "row_sum",
        _table(low={"yes": 0.9}),
        "check.probe.table.low: the outcomes add up to 0.9; they must add up to 1.",
    ),
    (
        "row_missing",
        _table(low=None),
        "check.probe.table: there is no row for 'low'; add it, or a row called 'other'.",
    ),
    # Readings.
    (
        "reading_check",
        _set("reading", {"lissten": {"kind": "continuity"}}),
        "reading: there is no check called 'lissten'. Did you mean 'listen'? Known: fuse_test, listen, run_test.",
    ),
    (
        "reading_spec",
        _set("reading", {"listen": {"kind": "continuity", "unit": "V"}}),
        "reading.listen: unit is 'V': continuity is read in ohm.",
    ),
    (
        "reading_fact",
        _set("reading", {"listen": {"kind": "continuity", "unit": "ohm", "fact": "kindd"}}),
        "reading.listen.fact: there is no fact called 'kindd'. Known: none.",
    ),
    (
        "reading_fact_value",
        _all(
            _equipment(),
            _set(
                "reading", {"listen": {"kind": "continuity", "unit": "ohm", "fact": "kind", "bands_for": {"ful": {}}}}
            ),
        ),
        "reading.listen: there is no value of 'kind' called 'ful'. Did you mean 'full'? Known: full, bare.",
    ),
    # Work: access, cautions, hazards.
    (
        "closed_and_open",
        _all(_set("check/fuse_test/closed", ["panel"])),
        "check.fuse_test.closed: 'panel' is needed open by this very work; take it out of one of the lists.",
    ),
    (
        "access",
        _set("check/listen/access", ["panal"]),
        "check.listen.access: there is no access item called 'panal'. Did you mean 'panel'? Known: unplugged, panel.",
    ),
    (
        "access_by_fact",
        _set("check/listen/access_by", {"lid": {"yes": ["panel"]}}),
        "check.listen.access_by: there is no equipment fact called 'lid'. Known: none.",
    ),
    (
        "access_by_value",
        _all(_equipment(), _set("check/listen/access_by", {"kind": {"fully": ["panel"]}})),
        "check.listen.access_by.kind: there is no value called 'fully'. Did you mean 'full'? Known: full, bare.",
    ),
    (
        "access_by_item",
        _all(_equipment(), _set("check/listen/access_by", {"kind": {"full": ["panal"]}})),
        "check.listen.access_by.kind.full: there is no access item called 'panal'. Did you mean 'panel'? "
        "Known: unplugged, panel.",
    ),
    (
        "access_by_rules",
        _all(_equipment(), _set("check/listen/access_by", {"kind": {"full": ["panel"]}})),
        "check.listen: runs the machine with a panel off, so it is energised work: add 'energised = true'.",
    ),
    (
        "also_by",
        _set("access/panel/also_by", ["lid"]),
        "access.panel.also_by: there is no access item called 'lid'. Known: unplugged, panel.",
    ),
    (
        "caution",
        _set("check/listen/cautions", ["unplugs"]),
        "check.listen.cautions: there is no caution called 'unplugs'. Did you mean 'unplug'? Known: unplug.",
    ),
    (
        "repair_needs",
        _set("repair/new_pump/needs", {"kind": "full"}),
        "repair.new_pump.needs: there is no equipment fact called 'kind'. Known: none.",
    ),
    (
        "repair_needs_value",
        _all(_equipment(), _set("repair/new_pump/needs", {"kind": "fully"})),
        "repair.new_pump.needs.kind: there is no value called 'fully'. Did you mean 'full'? Known: full, bare.",
    ),
    ("minutes", _set("repair/new_pump/minutes", -5), "repair.new_pump.minutes: found -5.0; it is 0 or more."),
    ("cost", _set("repair/new_pump/cost", float("inf")), "repair.new_pump.cost: found inf; it is 0 or more."),
    (
        "energised_unqualified",
        _check(energised=True, running=True),
        "check.probe: is energised work, so it needs 'qualified = true'.",
    ),
    (
        "energised_caution",
        _check(**ENERGISED),
        "check.probe.cautions: energised work needs a caution that covers 'energised'.",
    ),
    (
        "energised_wrong_caution",
        _check(**ENERGISED, cautions=["unplug"]),
        "check.probe.cautions: energised work needs a caution that covers 'energised'.",
    ),
    (
        "gas_caution",
        _check(gas_work=True),
        "check.probe.cautions: gas work needs a caution that covers 'gas'.",
    ),
    (
        "running_and_off",
        _check(running=True, access=["unplugged"]),
        "check.probe: needs the machine running and shut off at once; take one out.",
    ),
    (
        "running_panel_off",
        _check(running=True, access=["panel"]),
        "check.probe: runs the machine with a panel off, so it is energised work: add 'energised = true'.",
    ),
    (
        "access_requires",
        _set("access/panel/requires", ["unplug"]),
        "access.panel.requires: there is no access item called 'unplug'. Did you mean 'unplugged'? "
        "Known: unplugged, panel.",
    ),
    (
        "access_caution",
        _set("access/panel/cautions", ["sharp"]),
        "access.panel.cautions: there is no caution called 'sharp'. Known: unplug.",
    ),
    (
        "access_minutes",
        _set("access/panel/close_minutes", -1),
        "access.panel.close_minutes: found -1.0; minutes are 0 or more.",
    ),
    (
        "access_circle",
        _set("access/unplugged/requires", ["panel"]),
        "access.unplugged.requires: 'unplugged' in the end requires itself; take one requirement out.",
    ),
    # Repairs and stop signs.
    (
        "fixes",
        _set("repair/new_fuse/fixes", ["fuse.opn"]),
        "repair.new_fuse.fixes: there is no mode or component called 'fuse.opn'. Did you mean 'fuse.open'? "
        f"Known: {MODES}, pump, belt, fuse.",
    ),
    (
        "fixes_nothing",
        _set("repair/new_fuse/fixes", []),
        "repair.new_fuse.fixes: fixes nothing; name a mode or a component.",
    ),
    (
        "success",
        _set("repair/new_fuse/success", 0),
        "repair.new_fuse.success: found 0.0; a chance above 0 and up to 1.",
    ),
    (
        "no_repair",
        _drop("repair/new_fuse"),
        "component.fuse.modes.open: no repair fixes this mode; add one, or add the mode to a repair's 'fixes'.",
    ),
    (
        "stop_steps",
        _set("stop", {"gas": {"title": "gas", "ask": "gas?", "steps": []}}),
        "stop.gas.steps: a stop sign needs its steps.",
    ),
    # Reach.
    (
        "unreachable_mode",
        _all(
            _set("component/fuse/modes/loose", {"title": "loose", "companion": 0.1}),
            _set("repair/new_fuse/fixes", ["fuse"]),
        ),
        "component.fuse.modes.loose: no mechanism, symptom or check ever shows this mode; link it or take it out.",
    ),
    (
        "unread_mechanism",
        _mechanism(),
        "mechanism.heat: no symptom, check or other mechanism reads it; link it or take it out.",
    ),
    (
        "tells_nothing",
        _check(links={"fuse.open": 0.0}),
        "check.probe: can never inform anything: its chances are the same whatever is wrong.",
    ),
    (
        "table_tells_nothing",
        _check(links=None, depends_on=["flow"], table={"other": {"no": 0.5, "yes": 0.5}}),
        "check.probe: can never inform anything: its chances are the same whatever is wrong.",
    ),
    (
        "outcome_never_shown",
        _check(outcomes={"no": "no", "yes": "yes", "odd": "odd"}, links={"fuse.open": {"yes": 0.9}}),
        "check.probe.outcomes.odd: nothing ever brings this outcome; give it a chance in leak or links, or take it out.",
    ),
    (
        "outcome_never_in_the_table",
        _check(
            outcomes={"no": "no", "yes": "yes", "odd": "odd"},
            links=None,
            depends_on=["flow"],
            table={"good": {"no": 1.0}, "other": {"yes": 1.0}},
        ),
        "check.probe.outcomes.odd: nothing ever brings this outcome; give it a chance in the table, or take it out.",
    ),
]


@pytest.mark.parametrize(("change", "message"), [p[1:] for p in PROBLEMS], ids=[p[0] for p in PROBLEMS])
def test_a_file_with_one_mistake_gets_its_own_message(change: Callable[[Raw], None], message: str) -> None:
    """A mistake in a sound file is told with the file and the key, before what follows from it."""
    raw = copy.deepcopy(raw_toy())
    change(raw)
    with pytest.raises(KnowledgeError) as caught:
        from_mapping(raw, "toy.toml")
    assert caught.value.problems[0] == message
    assert str(caught.value).startswith("toy.toml: ")
    assert message in str(caught.value)


@given(st.lists(st.sampled_from(PROBLEMS), min_size=2, max_size=4, unique_by=lambda p: p[0]))
@settings(max_examples=400)
def test_all_mistakes_are_told_at_once(mistakes: list[tuple[str, Callable[[Raw], None], str]]) -> None:
    """Several mistakes at once: nothing but a KnowledgeError, no problem twice, and all of the same layer (what is written in the
    wrong form; what does not fit together) that do not undo each other."""
    raw = copy.deepcopy(raw_toy())
    try:
        for _, change, _ in mistakes:
            change(raw)
    except (KeyError, TypeError, AttributeError):
        return  # one took away what another changes
    with pytest.raises(KnowledgeError) as caught:
        from_mapping(raw, "toy.toml")
    found = caught.value.problems
    assert len(set(found)) == len(found)
    assert len(str(caught.value).splitlines()) in (1, len(found) + 1)


def test_independent_mistakes_are_each_told() -> None:
    """Three of the form, then three of the sense: each in one message, in the keys of the file."""
    raw = copy.deepcopy(raw_toy())
    for change in (
        _set("component/pump/modes/dead/share", "many"),
        _set("check/listen/minutes", "long"),
        _set("costs/hourly", 3),
    ):
        change(raw)
    said = _problem_of(raw)
    assert said.startswith("toy.toml: 3 things to mend:\n")
    for line in (
        "  - component.pump.modes.dead.share: found 'many'; write a number, without quotes.",
        "  - check.listen.minutes: found 'long'; write a number, without quotes.",
        "  - costs.hourly: this key is not known.",
    ):
        assert line in said
    raw = copy.deepcopy(raw_toy())
    for change in (
        _set("component/pump/modes/dead/share", -3.0),
        _set("check/listen/minutes", -1),
        _set("costs/verify", "nothing"),
    ):
        change(raw)
    said = _problem_of(raw)
    assert said.startswith("toy.toml: 3 things to mend:\n")
    for line in (
        "component.pump.modes.dead.share: found -3.0",
        "check.listen.minutes: found -1",
        "costs.verify: there is",
    ):
        assert f"\n  - {line}" in said


@given(st.floats(0.01, 1000.0), st.sampled_from(["pump/modes/dead", "fuse/modes/open"]))
def test_one_share_can_be_raised_without_touching_the_others(share: float, mode: str) -> None:
    """Whatever the shares add up to, each is read as a part of all of them."""
    raw = copy.deepcopy(raw_toy())
    _set(f"component/{mode}/share", share)(raw)
    k = from_mapping(raw, "toy.toml")
    every = [r.share for _, r in k.modes()] + [k.other_causes.unlisted, k.other_causes.nothing_wrong]
    assert shares(k).tolist() == pytest.approx([each / sum(every) for each in every])


def test_every_message_of_the_validation_is_in_the_table() -> None:
    """No check of a file's meaning goes untested: every line that words a problem is reached by one of the mistakes."""
    source = Path(module.__file__)
    wording = {n.lineno for n in ast.walk(ast.parse(source.read_text())) if isinstance(n, ast.Yield)}
    reached: set[int] = set()

    def watch(frame: Any, event: str, arg: object) -> Any:
        if frame.f_code.co_filename != str(source):
            return None
        reached.add(frame.f_lineno)
        return watch

    before = sys.gettrace()
    for _, change, _ in PROBLEMS:
        raw = copy.deepcopy(raw_toy())
        change(raw)
        sys.settrace(watch)
        try:
            from_mapping(raw, "toy.toml")
        except KnowledgeError:
            pass
        finally:
            sys.settrace(before)
    lines = source.read_text().splitlines()
    assert [lines[n - 1].strip() for n in sorted(wording - reached)] == []


def test_energised_work_with_all_that_it_needs_is_accepted() -> None:
    """Qualified, running, with a caution that covers it: no complaint."""
    raw = raw_toy()
    _all(LIVE, _check(**ENERGISED, access=["panel"], cautions=["live"]))(raw)
    assert from_mapping(raw).check["probe"].energised


def test_a_sound_toy_has_no_problem() -> None:
    """The toy that the mistakes are put into is itself accepted."""
    assert [m for m, _ in from_mapping(raw_toy()).modes()] == MODES.split(", ")


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"\xff\xfe", "f.toml: is not UTF-8 text (byte 0); save it as UTF-8."),
        (b"[appliance\n", "f.toml: is not valid TOML: "),
        (b"a = 1\na = 2\n", "f.toml: is not valid TOML: Cannot overwrite a value (at line 2, column 6)."),
        (b"", "f.toml: 10 things to mend:\n  - appliance: this key is missing; add it.\n  - costs:"),
    ],
)
def test_what_is_no_toml_is_refused(data: bytes, message: str) -> None:
    """Bytes that are no text, text that is no TOML, and an empty file each say so."""
    with pytest.raises(KnowledgeError) as caught:
        parse(data, "f.toml")
    assert str(caught.value).startswith(message)


@given(st.binary(max_size=60))
def test_any_bytes_give_one_clear_error(data: bytes) -> None:
    """Whatever a file holds, the answer is a KnowledgeError that names the file."""
    with pytest.raises(KnowledgeError, match=r"^f\.toml: "):
        parse(data, "f.toml")


@given(st.sampled_from(sorted(load("gas_dryer").component)), st.data())
def test_a_damaged_value_anywhere_never_escapes_as_another_error(name: str, data: st.DataObject) -> None:
    """A value of the wrong kind in a mode is refused with its key, not with a traceback."""
    raw = raw_toy()
    key = data.draw(st.sampled_from(["share", "companion", "brings_on", "title", "advice"]))
    value = data.draw(
        st.one_of(st.none(), st.lists(st.integers(), max_size=2), st.text(max_size=3).map(lambda t: {t: t}))
    )
    raw["component"]["pump"]["modes"]["dead"][key] = value
    said = _problem_of(raw)
    assert not said or said.startswith("toy.toml: component.pump")


def _problem_of(raw: Raw) -> str:
    try:
        from_mapping(raw, "toy.toml")
    except KnowledgeError as error:
        return str(error)
    return ""


def test_files_are_found_by_shipped_name_or_path(tmp_path: Path) -> None:
    """A shipped name, a path, and the errors for neither, each naming what is shipped."""
    names = ", ".join(shipped())
    assert find("gas_dryer").is_file()
    with pytest.raises(KnowledgeError) as caught:
        find("gas_drier")
    assert str(caught.value) == (
        f"there is no appliance called 'gas_drier'. Did you mean 'gas_dryer'? Shipped: {names}. "
        "Type 'faultodds appliance list', or give the path of a knowledge file."
    )
    missing = str(tmp_path / "none.toml")
    with pytest.raises(KnowledgeError) as caught:
        find(missing)
    assert str(caught.value) == f"there is no knowledge file at '{missing}'. Shipped: {names}."


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    """A folder in a file's place, or no file, is an error with the path."""
    with pytest.raises(KnowledgeError) as caught:
        read_bytes(tmp_path)
    assert str(caught.value) == f"{tmp_path}: cannot be read (Is a directory)."


def test_messages_name_the_file_that_was_read(tmp_path: Path) -> None:
    """The message starts with the file's own name."""
    path = tmp_path / "my dryer.toml"
    path.write_text("[appliance]\n")
    with pytest.raises(KnowledgeError, match=r"^my dryer\.toml: "):
        load_file(path)


def test_the_fingerprint_names_the_content() -> None:
    """One changed byte gives another fingerprint."""
    assert fingerprint(b"a") == fingerprint(b"a") != fingerprint(b"b")


@pytest.mark.parametrize("name", shipped())
def test_shipped_files_are_sound(name: str) -> None:
    """Every shipped file passes its own validation and says which calls it is for."""
    knowledge = load(name)
    assert knowledge.appliance.id == name
    assert knowledge.appliance.calls
    assert knowledge.stop


def test_titles_and_names_of_modes() -> None:
    """A mode has words; a component's name stands for all its modes; a repair lists modes once."""
    knowledge = from_mapping(raw_toy())
    assert knowledge.title_of("pump.dead") == "pump: dead"
    assert knowledge.title_of(UNLISTED_MODE) == knowledge.title_of(UNLISTED) == "a cause this file does not list"
    assert knowledge.title_of(NOTHING_WRONG) == "nothing wrong with the machine"
    assert knowledge.modes_under("pump") == ["pump.dead", "pump.weak"]
    assert knowledge.modes_under("fuse.open") == ["fuse.open"]
    assert repair_modes(knowledge, knowledge.repair["new_pump"]) == ["pump.dead", "pump.weak"]


def _tables(raw: Raw, place: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    yield place
    for name, value in raw.items():
        if isinstance(value, dict):
            yield from _tables(value, (*place, name))


@pytest.mark.parametrize("odd", ["{", "(a)", "a|b", "int", "float", "dict[str,float]"])
def test_a_key_of_any_name_in_any_table_is_told_by_its_place(odd: str) -> None:
    """A name that looks like one of the program's own is nevertheless the file's, and none is dropped from what is said."""
    for place in _tables(raw_toy()):
        raw = table = raw_toy()
        for name in place:
            table = table[name]
        table[odd] = [1]
        with pytest.raises(KnowledgeError) as caught:
            from_mapping(raw)
        assert any(odd in line and line.count(place[-1] if place else "") for line in str(caught.value).split("\n"))
