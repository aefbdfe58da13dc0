"""Words of the trade: spelling, order, negatives, slips of the fingers, and what stays unread."""

from __future__ import annotations

import pytest

from faultodds.joblog.cells import CellReader
from faultodds.joblog.lexicon import of_complaint, of_endings, of_repairs, of_target
from faultodds.joblog.mapping import Column
from faultodds.joblog.stems import is_blank, key, likeness, tokens, trade
from faultodds.knowledge.schema import Knowledge


def said(dryer: Knowledge, kind: str, text: str, *of: str, **assume: str) -> dict[str, str]:
    """What a cell of one column says."""
    column = Column("column", kind, of, assume=assume)  # type: ignore[arg-type]
    return {target.partition(":")[2] or target: value for target, value in CellReader(column, dryer).read(text).said}


def test_two_spellings_of_one_phrase_have_one_key() -> None:
    """Case, endings, plurals and common abbreviations make no difference."""
    assert key("Cln'd vents") == key("cleaned VENT") == key("clean the vent")
    assert key("cyc tstat") == key("cycling thermostats")


def test_every_name_in_the_word_file_is_known_or_belongs_to_another_appliance(dryer: Knowledge) -> None:
    """A misspelt name in words.toml would silently never match."""
    words = trade("gas_dryer")
    observables = dryer.observables
    for name, outcomes in words["found"].items():
        assert name in observables, name
        for outcome in outcomes:
            for each in outcome.split("|"):
                assert each.partition(":")[0] in observables[name].outcomes, (name, outcome)
    for name in words["repair"]:
        assert name in dryer.repair
    for name, values in words["fact"].items():
        known = {**dryer.context, **dryer.equipment}[name].values
        assert set(values) <= set(known), name


def test_no_phrase_means_two_things(dryer: Knowledge) -> None:
    """In one column a phrase has one meaning: two would be settled by the order of a file."""
    targets = [f"found:{name}" for name in dryer.observables] + [f"fact:{name}" for name in dryer.context]
    lexicons = [of_target(dryer, target) for target in targets]
    for lexicon in [*lexicons, of_repairs(dryer), of_endings(), of_complaint(dryer)]:
        double = {phrase: meanings for phrase, meanings in lexicon.phrases.items() if len(meanings) > 1}
        assert not double


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("takes forever, NH, damp + cool", {"dry_time": "over_twice", "heat": "none", "clothes": "cool_damp"}),
        ("no burning smell", {"burning_smell": "no"}),
        ("haets then goes cold", {"heat": "cools_off"}),
        ("takes long; takes forever", {"dry_time": "over_twice"}),
        ("customer says dryer takes 3 cycles and lint on clothes", {"dry_time": "over_twice", "lint_around": "yes"}),
        ("Loud squeal", {"noise": "squeal"}),
        ("glows but no flame", {"glow": "glow_no_flame"}),
        ("no glow", {"glow": "no_glow"}),
        ("n/a", {}),
        ("zorbly frobnication", {}),
    ],
)
def test_complaints_in_words(dryer: Knowledge, text: str, expected: dict[str, str]) -> None:
    """A complaint is taken apart into symptoms; a negative turns a symptom round and is never lost."""
    assert said(dryer, "complaint", text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("cln duct; coil set", "clean_duct;coil_set"),
        ("HL + TCO kit", "high_limit_kit"),
        ("thermal fuse and cleaned ducting", "thermal_fuse;clean_duct"),
        ("ignter", "igniter"),
        ("cleaned vent; vent clng", "clean_duct"),
        ("belt + idler, rollers", "belt_idler;rollers"),
    ],
)
def test_repairs_in_words(dryer: Knowledge, text: str, expected: str) -> None:
    """Repairs are read one by one, in order, each once."""
    assert said(dryer, "repairs", text) == {"repairs": expected}


@pytest.mark.parametrize(
    ("name", "text", "expected"),
    [
        ("fuse_continuity", "no cont", "open"),
        ("gas_cock_look", "open", "open"),
        ("fuse_continuity", "open", "open"),
        ("seal_test", "bad", "loose"),
        ("hood_flap", "bad", "weak:0.5|none:0.5"),
        ("hood_flap", "ok", "strong"),
        ("dry_time", "2.6x", "over_twice"),
        ("dry_time", "2x", "longer:0.5|over_twice:0.5"),
        ("dry_time", "x1", "normal"),
        ("dry_time", "140 min", "over_twice"),
        ("diagnostic_codes", "0", "none"),
    ],
)
def test_findings_in_words(dryer: Knowledge, name: str, text: str, expected: str) -> None:
    """ "Open" is good news of a cock and bad of a fuse; "bad" is every outcome but the normal one, alike."""
    assert said(dryer, "finding", text, name) == {name: expected}


@pytest.mark.parametrize(
    ("name", "text", "expected"),
    [
        ("age", "~7", "to_8"),
        ("age", "18 months", "to_3"),
        ("vent_length", "2.0 m", "to_10"),
        ("vent_length", "abt 32ft", "to_35"),
        ("duct_cleaned", "never", "over_36"),
        ("duct_cleaned", "2 yr", "to_36"),
        ("loads_per_week", "9/wk", "over_7"),
        ("fuel", "LP", "propane"),
        ("place", "bsmt", "open_room"),
    ],
)
def test_facts_in_words_and_numbers(dryer: Knowledge, name: str, text: str, expected: str) -> None:
    """Numbers fall in the span of the fact, in its unit; words are the trade's."""
    assert said(dryer, "fact", text, name) == {name: expected}


def test_a_word_that_could_be_said_of_two_checks_is_left_open(dryer: Knowledge) -> None:
    """Two checks in one column: two words stand in order, one plain "ok" is nobody's, unless only one check fits."""
    column = Column("contacts", "finding", ("timer_contacts", "centrifugal_contacts"))
    reader = CellReader(column, dryer)
    assert reader.read("ok").status == "either"
    assert reader.read("ok").unclear == ("ok",)
    assert dict(reader.read("OL; ok").said) == {"found:timer_contacts": "burnt", "found:centrifugal_contacts": "good"}
    assert dict(reader.read("ok", {"control": "board"}).said) == {"found:centrifugal_contacts": "good"}


def test_the_shops_own_words_come_first(dryer: Knowledge) -> None:
    """A word in the mapping beats the trade; "-" makes it say nothing, "?" leaves it as it was."""
    column = Column("hood", "finding", ("hood_flap",), words={"ok": "weak", "zing": "none", "dog": "-", "bop": "?"})
    reader = CellReader(column, dryer)
    assert reader.read("OK").said == (("found:hood_flap", "weak"),)
    assert reader.read("zing").said == (("found:hood_flap", "none"),)
    assert reader.read("dog").status == "silent"
    assert reader.read("bop").status == "unknown"


def test_headings_are_alike_by_abbreviation_and_order() -> None:
    """Headings match by words, whatever their order, spelt out or short; unlike ones do not."""
    assert likeness(tokens("lint_scrn"), tokens("lint screen")) == 1.0
    assert likeness(tokens("coil_ohm"), tokens("Ohms, coils")) == 1.0
    assert 0.5 < likeness(tokens("therm ohms"), tokens("thermistor ohms")) < 1.0
    assert likeness(tokens("cust"), tokens("blower")) == 0.0


def test_what_counts_as_blank() -> None:
    """Dashes and "n/a" say nothing; 0 and "none" say something."""
    assert all(map(is_blank, ["", " - ", "N/A", "?", "unknown"]))
    assert not any(map(is_blank, ["0", "none", "no", "x1"]))
