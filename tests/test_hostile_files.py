"""Files of other hands: a mapping, shop, revision or knowledge file gives an error of its own for no content whatever.

Deep: FAULTODDS_FUZZ=100000 python -m pytest -n 0 tests/test_hostile_files.py
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings, strategies as st

from faultodds.belief import compiled, open_appliance
from faultodds.errors import FaultoddsError
from faultodds.joblog import mapping
from faultodds.knowledge import parse as parse_knowledge
from faultodds.revisions.revision import _SEAL, LogSource, Number, Revision, as_text, from_bytes, lay_over
from faultodds.shop.laid_over import lay_over as lay_shop
from faultodds.shop.shop_file import parse as parse_shop, template
from run_cli import toml
from toys import raw_toy

EXAMPLES = int(os.environ.get("FAULTODDS_FUZZ", "400"))
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
MAPPING = mapping.to_toml(
    mapping.LogMapping(
        K.appliance.id,
        (
            mapping.Column("Job", "job"),
            mapping.Column(
                "Said", "finding", (SYMPTOM,), (), {"unit": "ohm"}, {"bad": next(iter(K.symptom[SYMPTOM].outcomes))}
            ),
        ),
    )
)

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


def contents(sound: str) -> st.SearchStrategy[bytes]:
    """Anything at all, mostly nearly sound."""
    text = st.text().map(lambda t: t.encode("utf-8", "replace"))
    return st.one_of(spoilt(sound), spoilt(sound), spoilt(sound), st.binary(max_size=200), text)


def use_knowledge(data: bytes) -> None:
    compiled(parse_knowledge(data, "my.toml"))


def use_shop(data: bytes) -> None:
    lay_shop(READY, parse_shop(data, "shop.toml"), Path("shop.toml"))


def use_revision(data: bytes) -> None:
    # As the program seals it, or no reading would get past the seal.
    body = data.partition(b"\n")[2]
    for each in (data, f"{_SEAL}{hashlib.sha256(body).hexdigest()}\n".encode() + body):
        with suppress(FaultoddsError):
            lay_over(K, from_bytes(each, Path("a.toml")))


def use_mapping(data: bytes) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "other.mapping.toml"
        path.write_bytes(data)
        # Another log's: whatever is in it, it stops no import.
        mapping.find_saved(Path(folder), ("Job", "Said"), K, Path(folder) / "mine.mapping.toml")
        with suppress(FaultoddsError):
            mapping.find_saved(Path(folder), ("Job", "Said"), K, path)
        mapping.read_mapping(path, K)


KINDS: dict[str, tuple[str, Callable[[bytes], None]]] = {
    "knowledge": (TOY, use_knowledge),
    "shop": (SHOP, use_shop),
    "revision": (REVISION, use_revision),
    "mapping": (MAPPING, use_mapping),
}


@pytest.mark.parametrize("kind", KINDS)
def test_the_sound_files_are_sound(kind: str) -> None:
    """What is spoilt below is usable to begin with."""
    sound, use = KINDS[kind]
    use(sound.encode())


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=EXAMPLES)
@given(data=st.data())
def test_no_content_whatever_gives_an_error_of_the_programs_own(kind: str, data: st.DataObject) -> None:
    """It is used, or refused in words that name the file."""
    sound, use = KINDS[kind]
    given_bytes = data.draw(contents(sound))
    with suppress(FaultoddsError):
        use(given_bytes)


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
