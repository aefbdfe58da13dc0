"""TOML from other hands, read in bounds: the standard parser takes the square of a key's parts, and any number of digits."""

from __future__ import annotations

import re
from typing import Any

MOST_PARTS, LONGEST_WORD = 20, 300

# Strings and comments, as the parser sees them; one that nothing closes ends with its line or the file, where the parser gives up.
_QUOTED = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*+(?:"{3,5})?'
    r"|'''(?:[^']|'(?!''))*+(?:'{3,5})?"
    r'|"(?:[^"\\\n]|\\.)*+"?'
    r"|'[^'\n]*+'?"
    r"|#[^\n]*+",
    re.DOTALL,
)
_LONG_WORD = re.compile(rf"(?<![\w-])[\w-]{{{LONGEST_WORD}}}")
_LONG_KEY = re.compile(rf'(?<![\w"-])(?:[\w"-]++[ \t]*+\.[ \t]*+){{{MOST_PARTS}}}')


def toml_tables(data: bytes) -> dict[str, Any]:
    """The tables in a file's bytes. ValueError in words for what is none, and for what no file of ours needs: numbers and names of
    hundreds of characters, keys of many parts, deep nesting."""
    import tomllib

    text = data.decode("utf-8")
    bare = _QUOTED.sub('""', text)
    if _LONG_WORD.search(bare):
        raise ValueError(f"a number, or a name without quotes, has {LONGEST_WORD} characters or more")
    if _LONG_KEY.search(bare):
        raise ValueError(f"a key has over {MOST_PARTS} parts with dots between them")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise ValueError("its lists or tables are nested too deeply") from None
