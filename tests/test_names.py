"""Names as people type them, and the one wording for names that are not there."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from faultodds.errors import UnknownName, nearest, unknown
from faultodds.knowledge.loading import load
from faultodds.names import fold, match, whole_percents

DRYER = sorted(load("gas_dryer").observables)
NAMES = ["igniter_ohms", "igniter_look", "hood_air_speed", "fuse_continuity", "heat"]
WORDS = {
    "igniter_ohms": "Igniter resistance",
    "hood_air_speed": "Air at the outside hood",
    "heat": "Heat in the drum",
}


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("igniter_ohms", "igniter_ohms"),
        ("Igniter Ohms", "igniter_ohms"),
        ("IGNITER-OHMS", "igniter_ohms"),
        ("  igniter   ohms ", "igniter_ohms"),
        ("igniter resistance", "igniter_ohms"),
        ("fuse", "fuse_continuity"),
        ("ig oh", "igniter_ohms"),
        ("i lo", "igniter_look"),
        ("hood speed", "hood_air_speed"),
        ("ho", "hood_air_speed"),
        ("outside", "hood_air_speed"),
        ("heat", "heat"),
    ],
)
def test_other_spellings_beginnings_and_words_are_matched(typed: str, name: str) -> None:
    """A name in any case or spacing, a unique beginning, beginnings of its parts, or its words."""
    assert match("check", typed, NAMES, WORDS) == name


def test_what_fits_two_names_is_asked_about() -> None:
    """An ambiguous beginning lists what it could be."""
    with pytest.raises(UnknownName) as caught:
        match("check", "ig", NAMES)
    assert str(caught.value) == (
        "'ig' fits more than one check: 'igniter_ohms', 'igniter_look'. Type a little more of the name."
    )


def test_what_fits_nothing_gets_the_nearest_name() -> None:
    """A near miss is never taken silently: it is answered with a question."""
    with pytest.raises(UnknownName) as caught:
        match("check", "ignitor_ohm", NAMES, next_step="Type 'faultodds appliance show'.")
    assert str(caught.value) == (
        "there is no check called 'ignitor_ohm'. Did you mean 'igniter_ohms'? "
        "Known: igniter_ohms, igniter_look, hood_air_speed, fuse_continuity, heat. Type 'faultodds appliance show'."
    )


@pytest.mark.parametrize("typed", ["", "   ", "--", "?!"])
def test_nothing_typed_matches_nothing(typed: str) -> None:
    """Blank input or bare punctuation is refused rather than taken for the first name."""
    with pytest.raises(UnknownName, match="there is no check called"):
        match("check", typed, NAMES)


@given(st.text(max_size=30))
def test_any_text_gives_a_known_name_or_one_clear_error(typed: str) -> None:
    """Whatever is typed, the answer is a name from the list or an UnknownName, and nothing else."""
    assert _answer(typed) in NAMES or _answer(typed).startswith(("there is no check called", "'"))


def _answer(typed: str) -> str:
    try:
        return match("check", typed, NAMES, WORDS)
    except UnknownName as error:
        return str(error)


@given(st.sampled_from(DRYER), st.data())
def test_every_shipped_name_matches_itself_in_any_spelling(name: str, data: st.DataObject) -> None:
    """Each symptom and check of the dryer is found by its name with other case and separators."""
    separators = data.draw(st.sampled_from(["_", " ", "-", "  "]))
    typed = name.replace("_", separators)
    typed = data.draw(st.sampled_from([typed, typed.upper(), typed.title()]))
    assert match("check", typed, DRYER) == name


@given(st.text())
def test_folding_twice_is_folding_once(text: str) -> None:
    """A folded name stays as it is."""
    assert fold(fold(text)) == fold(text)


def test_nearest_is_none_when_nothing_is_close() -> None:
    """A name far from everything gets no guess."""
    assert nearest("zzzzqq", NAMES) is None
    assert nearest("Igniter-Ohm", NAMES) == "igniter_ohms"


def test_unknown_lists_at_most_twelve_names() -> None:
    """A long list is cut, with the number left out and what lists them all; what nothing lists is told whole, and what stands in a
    file that cannot be opened. An empty list says none; `where` comes first."""
    names = [f"name{i:02}" for i in range(20)]
    text = str(unknown("symptom or check", "other", names, where="dryer.toml"))
    assert text.startswith("dryer.toml: there is no symptom or check called 'other'.")
    assert text.endswith("name11 and 8 more; 'faultodds appliance show' lists them all.")
    assert str(unknown("job log", "other", names)).endswith("8 more; 'faultodds log list' lists them all.")
    assert str(unknown("kind of column", "other", names)).endswith("name18, name19.")
    assert str(unknown("repair", "other", names, in_file=True)).endswith("name18, name19.")
    assert str(unknown("fact", "x", [])) == "there is no fact called 'x'. Known: none."


@given(st.lists(st.integers(0, 1000), min_size=1, max_size=9).filter(any), st.booleans())
def test_shares_of_a_whole_add_up(parts: list[int], last_untold: bool) -> None:
    """To 100 where all are told, else to no more; none is off by a whole percent, and a larger share never shows as smaller."""
    exact = [p / sum(parts) for p in parts][: -1 if last_untold else None]
    whole = whole_percents(exact)
    if not last_untold:
        assert sum(whole) == 100
    assert sum(whole) <= 100
    assert all(abs(w - 100 * p) < 1 for w, p in zip(whole, exact, strict=True))
    ordered = sorted(zip(exact, whole, strict=True))
    assert [w for _, w in ordered] == sorted(whole)
