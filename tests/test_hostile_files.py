"""What comes from other hands (`hostile.py`): no content whatever gives an error of the program's own.

Deep: FAULTODDS_FUZZ=130000 python -m pytest -n 0 tests/test_hostile_files.py -k content --hypothesis-seed=N (over a million
inputs; with another seed, others).
Guided by what the code does with them: python tests/guided_fuzz.py KIND.
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings, strategies as st

from faultodds.belief import open_appliance
from faultodds.errors import FaultoddsError
from faultodds.files import toml_tables
from faultodds.files.toml_text import MOST_PARTS
from faultodds.joblog import mapping
from hostile import KINDS, MAPPING, K, used

EXAMPLES = int(os.environ.get("FAULTODDS_FUZZ", "1300"))

# What a slip, a bad disk or an unkind hand puts in the place of a value.
ODD_WORDS = [
    "",
    "0",
    "-1",
    "1e308",
    "-1e308",
    "1e400",
    "inf",
    "-inf",
    "nan",
    "true",
    "[]",
    "{}",
    "[[]]",
    "{a=1}",
    '["a",1]',
]
ODD_WORDS += [
    '""',
    '"x"',
    '"\\ud800"',
    '"\\u0000"',
    '"a=b;c:d|e"',
    '"a:nan"',
    '"a:inf|b:-1"',
    '"²"',
    '"①"',
    "'" * 3,
    "#",
    "=",
]
ODD_WORDS += ["2062-01-01", "25:61:00", "2026-02-30", "\x00", "\x1b[2J", "\n"]
ODD = st.one_of(
    st.sampled_from([*ODD_WORDS, "9" * 5000, "0x" + "f" * 400, "[" * 3000 + "]" * 3000, '"' + "=" * 50 + '"']),
    st.integers().map(str),
    st.floats().map(str),
    st.text(max_size=20),
    st.text(max_size=20).map(json.dumps),
)
TOKEN = re.compile(r'"(?:[^"\\\n]|\\.)*"|[-+]?\d[\d.eE+-]*|[\w.-]+|[\[\]{}=,\n]')


@st.composite
def spoilt(draw: st.DrawFn, sound: str) -> bytes:
    """A sound file with one to three of its words, signs or numbers replaced, or its bytes cut, turned over or doubled."""
    text = sound
    for _ in range(draw(st.integers(1, 3))):
        tokens = list(TOKEN.finditer(text))
        if not tokens:
            break
        token = draw(st.sampled_from(tokens))
        text = text[: token.start()] + draw(ODD) + text[token.end() :]
    data = text.encode("utf-8", "surrogatepass")
    if draw(st.integers(0, 4)) == 0 and data:
        at = draw(st.integers(0, len(data) - 1))
        data = draw(
            st.sampled_from(
                [data[:at], data[:at] + bytes([data[at] ^ (1 << (at % 8))]) + data[at + 1 :], data[at:] + data]
            )
        )
    return data


@st.composite
def turned_over(draw: st.DrawFn, data: bytes) -> bytes:
    """Bytes with some of them replaced, taken out or doubled; the head, where most is told, more often."""
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, max(len(data) - 1, 0)) | st.integers(0, min(len(data), 600)))
        data = data[:at] + draw(st.binary(max_size=4)) + data[at + draw(st.integers(0, 4)) :]
    return data


def contents(kind: str) -> st.SearchStrategy[bytes]:
    """Anything at all, mostly nearly sound."""
    sound = st.sampled_from(KINDS[kind].sound)
    if kind == "cache":
        return st.one_of(sound.flatmap(turned_over), sound.flatmap(turned_over), st.binary(max_size=200))
    nearly = sound.flatmap(lambda s: spoilt(s.decode()))
    text = st.text().map(lambda t: t.encode("utf-8", "replace"))
    return st.one_of(nearly, nearly, nearly, st.binary(max_size=200), text)


@pytest.mark.parametrize("kind", KINDS)
def test_the_sound_files_are_sound(kind: str) -> None:
    """What is spoilt below is usable to begin with."""
    for sound in KINDS[kind].sound:
        KINDS[kind].use(sound)


@pytest.mark.parametrize("kind", KINDS)
def test_no_content_whatever_gives_an_error_of_the_programs_own(kind: str) -> None:
    """It is used, or refused in words; nothing takes long or fills the memory."""

    @settings(max_examples=max(1, round(EXAMPLES * KINDS[kind].weight)), derandomize="FAULTODDS_FUZZ" not in os.environ)
    @given(contents(kind))
    def holds(data: bytes) -> None:
        nonlocal tried
        used(kind, data)
        tried += 1

    tried = 0
    try:
        holds()
    finally:  # when it is broken off as well
        print(f"{kind}: {tried:,} inputs used or refused in words")


MEGABYTE = 1_000_000
# What a megabyte of TOML or of lines may be; "{}" is counted up.
LONG = [
    ("k{} = 1\n", "", ""),
    ("[a.b{}]\n", "", ""),
    ("a.b{}.c = 1\n", "", ""),
    ("[[a]]\n", "", ""),
    (".a", "a", " = 1\n"),
    (' . "b c"', "[a", "]\n"),
    ("9", "a = ", "\n"),
    ("f", "a = 0x", "\n"),
    ("f", 'a = ["""x"""", 0x', "]\n"),
    ("9", "a = 1.", "\n"),
    ("1,", "a = [", "]\n"),
    ("[", "a = ", ""),
    ("{a=", "a = ", ""),
    ("\\u00e9", 'a = "', '"\n'),
    ('\\"', 'a = "', ""),
    ('"""', "a = ", ""),
    ("'", "a = ", ""),
    ("#", "", ""),
    ("a", "", " = 1"),
    (" ", "a", ".b = 1"),
    ("\0", "", ""),
]


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in ("log", "line")])
def test_a_megabyte_of_anything_is_used_or_refused_in_time(kind: str) -> None:
    """Behind what is sound; no ten seconds, no gigabyte, no error of the program's own. Logs and lines: `tests/joblog`."""
    for unit, before, after in LONG:
        times = MEGABYTE // len(unit)
        filled = "".join(unit.format(n) for n in range(times)) if "{}" in unit else unit * times
        used(kind, KINDS[kind].sound[0] + f"\n{before}{filled}{after}".encode())


# Strings as the parser takes them, and what may stand behind them on a line.
STRINGS = [
    '"""x""""',
    '"""x"""""',
    "'''x''''",
    '"""\n"\n"""',
    "'''\n'\n'''",
    '"a\\"b"',
    "'it\"'",
    '"it\'s"',
    '"#"',
    "'#'",
    '""',
    "''",
]
STRINGS += ['"\\\\"', "'\\'", '"""\\""""""', '"0.0"']
COMMENTS = ["", "# it's", '# "', "# '''", '# """']


@given(st.lists(st.tuples(st.sampled_from(STRINGS), st.sampled_from(COMMENTS)), max_size=4), st.booleans())
def test_no_long_number_or_key_hides_behind_a_string(before: list[tuple[str, str]], key: bool) -> None:
    """However strings and comments stand about it, in the same list or the line after; and none of them is taken for one."""
    told = "".join(f"{text}, {comment}\n" if comment else f"{text}, " for text, comment in before)
    sound = f"a = [{told} 1]\n"
    assert toml_tables(sound.encode()) == tomllib.loads(sound)
    bad = sound + ".".join("k" * (MOST_PARTS + 1)) + " = 1" if key else f"a = [{told} 0x{'f' * 400}]"
    assert tomllib.loads(bad)
    with pytest.raises(ValueError, match=r"300 characters or more|dots between them"):
        toml_tables(bad.encode())


def test_the_mapping_of_another_log_stops_no_import_and_ones_own_is_complained_of(tmp_path: Path) -> None:
    """Broken files beside a sound one are passed by; a log's own, which would be written over, is named."""
    for name, text in {"a": "column = 5", "b": "[[", "c": 'format = 1\ncolumn = [1, "x"]', "d": ""}.items():
        (tmp_path / f"{name}.mapping.toml").write_text(text)
    (tmp_path / "e.mapping.toml").mkdir()
    (tmp_path / "sound.mapping.toml").write_text(MAPPING)
    found = mapping.find_saved(tmp_path, ("Job", "Said"), K, tmp_path / "mine.mapping.toml")
    assert found is not None
    assert found[1].name == "sound.mapping.toml"
    for name in "abcde":
        with pytest.raises(FaultoddsError, match=f"{name}.mapping.toml"):
            mapping.find_saved(tmp_path, ("Job", "Said"), K, tmp_path / f"{name}.mapping.toml")


def test_an_own_knowledge_file_that_is_damaged_stops_no_shipped_one(tmp_path: Path) -> None:
    """It is named when it is asked for, and nothing else minds."""
    path = tmp_path / "my.toml"
    path.write_text("[" * 5000)
    with pytest.raises(FaultoddsError, match=r"my\.toml"):
        open_appliance(str(path), cache=tmp_path / "cache")
