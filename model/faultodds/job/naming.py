"""Whether words can be relied on: who is safe to name for qualified work, and who says that it is safe again."""

from __future__ import annotations

import re
from functools import cache

from faultodds.job.sayings import plain
from faultodds.job.words import grammar, listed
from faultodds.safety import denies, only_denies

# What a meter shows, or a thing made sure of, is no denial and no doubt of it.
_SOUND = frozenset({"zero", "free of", "sure", "nothing but"})
_UNFIT = r"un(?:qualif|licen|certif|regist|train|author|insur|known|sure|safe|named|clear|test|check)\w*"
_NONE_LEFT = r"(?:none|nothing)(?: was| is)? (?:left|found|there|now|any ?more|seen|measured|shown)"
# No answer to the question which qualified person did it.
_NOBODY = frozenset(
    {"me", "i", "i did", "myself", "me myself", "we", "us", "yes", "y", "n", "none", "nobody", "no one", "ok"}
)
_NOT_THEM = (
    r"\b(?:me|myself|apprentic\w*|customers?|custy|clients?|trainees?|learners?|helpers?|home ?owners?|owners?|tenants?|landlords?"
    r"|handym[ae]n|neighbou?rs?|husband|wife|son|daughter|lapsed|expired|some ?(?:one|body|guy|bloke)|any ?(?:one|body)"
    r"|idk|forgot\w*|who ?ever)\b"
)

# What shows that it is safe: something was tested, read off a meter, looked into, or put right; a window was only opened.
_MADE_SURE = re.compile(
    r"\b(?:re)?(?:test|measur|check|inspect|prov|soap|leak ?detect|clear|certif|repair|mend|fix|replac|chang|cap|disconnect|isolat"
    r"|tight|renew|examin|refit|remov)\w*"
    r"|\b(?:reads?|readings?|meters?|ppm|zero|made safe|signed off|shut off at|taken out|new \w+ in)\b"
    r"|\blooked (?:in|at|over|behind)"
)


@cache
def _turns() -> re.Pattern[str]:
    words = [w for role in ("turn", "doubt") for w in listed(grammar()[role]["words"]) if w not in _SOUND]
    return re.compile(rf"\b(?:{'|'.join(map(re.escape, words))}|n|{_UNFIT}|non)\b")


def names_somebody(by: str) -> bool:
    """Whether words may name a qualified person: letters, and no denial, doubt, question, entry, or somebody who is not one."""
    said = plain(by)
    bad = "?" in by or "=" in by or "_" in by or said in _NOBODY or _turns().search(said) or re.search(_NOT_THEM, said)
    return any(c.isalpha() for c in by) and not bad


def vouches(remark: str) -> bool:
    """Whether a remark says how it was made sure that it is safe, without a denial or doubt; "no leak found" denies danger, and
    is none."""
    parts = [part for part in re.split(r"[,;.:]|\band\b|\bbut\b", remark.casefold()) if part.strip()]
    return (
        "?" not in remark
        and bool(_MADE_SURE.search(remark.casefold()))
        and all(
            only_denies(part)
            or re.fullmatch(_NONE_LEFT, part.strip())
            or (denies(part) and len(part.split()) > 1)
            or not _turns().search(plain(part))
            for part in parts
        )
    )
