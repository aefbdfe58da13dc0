"""Who may be named for qualified work, and the words that turn or doubt what somebody vouches for."""

from __future__ import annotations

import re
from functools import cache

from faultodds.job.sayings import plain
from faultodds.job.words import grammar, listed

# What a meter shows, or a thing made sure of, is no denial and no doubt of it.
_SOUND = frozenset({"zero", "free of", "sure", "nothing but"})
_UNFIT = r"un(?:qualif|licen|certif|regist|train|author|insur|known|sure|safe|named|clear|test|check)\w*"
# No answer to the question which qualified person did it.
_NOBODY = frozenset(
    {"me", "i", "i did", "myself", "me myself", "we", "us", "yes", "y", "n", "none", "nobody", "no one", "ok"}
)
_NOT_THEM = (
    r"\b(?:me|myself|apprentic\w*|customers?|custy|clients?|trainees?|learners?|helpers?|home ?owners?|owners?|tenants?|landlords?"
    r"|handym[ae]n|neighbou?rs?|husband|wife|son|daughter|lapsed|expired|some ?(?:one|body|guy|bloke)|any ?(?:one|body)"
    r"|idk|forgot\w*|who ?ever)\b"
)


@cache
def turned() -> re.Pattern[str]:
    """A word that denies or doubts what stands beside it."""
    words = [w for role in ("turn", "doubt") for w in listed(grammar()[role]["words"]) if w not in _SOUND]
    return re.compile(rf"\b(?:{'|'.join(map(re.escape, words))}|n|{_UNFIT}|non)\b")


def names_somebody(by: str) -> bool:
    """Whether words may name a qualified person: letters, and no denial, doubt, question, entry, or somebody who is not one."""
    said = plain(by)
    bad = "?" in by or "=" in by or "_" in by or said in _NOBODY or turned().search(said) or re.search(_NOT_THEM, said)
    return any(c.isalpha() for c in by) and not bad
