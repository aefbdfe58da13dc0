"""Whether words can be relied on: who is safe to name for qualified work, and who says that it is safe again."""

from __future__ import annotations

import re
from functools import cache

from faultodds.job.sayings import plain
from faultodds.job.words import grammar, listed
from faultodds.knowledge import Stop
from faultodds.readings import CO_STOP_PPM
from faultodds.safety import denies, only_denies

# What a meter shows, or a thing made sure of, is no denial and no doubt of it.
_SOUND = frozenset({"zero", "free of", "sure", "nothing but"})
_UNFIT = r"un(?:qualif|licen|certif|regist|train|author|insur|known|sure|safe|named|clear|test|check)\w*"
_NONE_LEFT = r"none|(?:none|nothing)(?: was| is)? (?:left|found|there|now|any ?more|seen|measured|shown)"
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
    r"\b(?:re)?(?:test|measur|check|inspect|prov|soap|leak ?detect|clear|certif|repair|mend|fix|replac|chang|tight|renew|examin"
    r"|refit|remov)\w*"
    r"|\b(?:reads?|readings?|meters?|ppm|zero|made safe|signed off|taken out|new \w+ in)\b"
    r"|\blooked (?:in|at|over|behind)|\bco (?:is |was )?0\b"
)

# It is still to be done.
_PLANNED = re.compile(
    r"\b(?:will|wont|shall|going to|gonna|to be|have it|having it|tomorrow|tonight|later|next week|until|till|coming|booked|ordered"
    r"|arranged|pending|waiting|due|when (?:he|she|they)|(?:mon|tues|wednes|thurs|fri|satur|sun)day)\b"
)
# It was tested, and is not right, unless that was put right as well.
_BAD = re.compile(
    r"\b(?:loose|leak(?:s|ing|ed|y)?(?! ?(?:test|check|detect))|bubbl\w*|drops?|dropp\w*|fail\w*|alarm(?:s|ed|ing)|alarm at"
    r"|(?<!no )(?<!0 )(?<!zero )(?<!of )gas (?:at|on the|by|around|from|near|coming|there|found|detected|present)"
    r"|(?<=,  )gas(?= *(?:,|$))"
    r"|positive|fizz\w*|foam\w*|froth\w*|hiss\w*|climb\w*|rising|rises|creep\w*|off the scale|pegged|beeps|beeping"
    r"|(?:reading|reads|shows) (?:of |was |is |at )?[1-9]\d*(?! ?(?:ppm|min))"
    r"|worse|(?<!windows )(?<!window )(?<!doors )(?<!door )shut|condemned|tagged)\b"
)
_MENDED = re.compile(
    r"\b(?:re)?(?:tighten\w*|made (?:it )?(?:tight|anew)|remade|repair\w*|mend\w*|fix\w*|replac\w*|renew\w*|chang\w*|refit\w*)\b"
)
# What was measured is not said.
_NO_RESULT = re.compile(r"\b(?:measured|found|got) (?:some )?co\b(?!.*\b(?:0|zero|none|nil|nothing|no|clear|ppm)\b)")
# Parts per million, as they are said.
_LEVEL = re.compile(r"\b(\d+)\s*ppm|\b(?:co|meter|reads?|shows?|alarm)\W+(?:\w+\W+){0,2}?(\d+)\b")

# A nose tests nothing: it tires, and most leaks are too small for it.
_BY_NOSE = re.compile(
    r"\b(?:smell|sniff|nose)\w*[ -]?(?:test|check)\w*|\b(?:test|check|prov)\w* (?:\w+ ){0,4}?(?:nose|smell\w*|sniff(?!er)\w*)"
)
# A machine that is off gives off nothing that could be measured, unless it is said that it ran as well.
_AT_REST = re.compile(
    r"\b(?:\w+ (?:is |was |being )?(?:turned |shut |switched )?(?<!signed )off|unplugged|cold|not (?:on|running|lit|run)"
    r"|(?:isnt|wasnt) (?:on|running|lit)|(?:didnt|never) r[au]n|(?:before|without) (?:\w+ )?(?:ran|run|running|lit))\b"
)
_RAN = re.compile(r"\b(?:ran|run|runs|running|lit|fired|firing|\w+ (?:is |was )?on (?:high|heat|full))\b")


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
    """Whether a remark says how it was made sure that it is safe: something was tested or put right, not to be so later, with no
    bad result, denial or doubt; "no leak found" denies danger, and is none."""
    said = remark.casefold()
    if (
        "?" in said
        or not _MADE_SURE.search(said)
        or _PLANNED.search(said)
        or _NO_RESULT.search(said)
        or (_BAD.search(_denied_out(said)) and not _MENDED.search(said))
    ):
        return False
    if any(int(n) >= CO_STOP_PPM for found in _LEVEL.findall(said) for n in found if n):
        return False
    return all(_denies_danger(part) or not _turns().search(plain(part)) for part in _parts(said))


# What is expected or told by somebody else, measured elsewhere or with the room aired, or of one of several: none of it shows that
# it is safe. Common practice, no source.
_NO_PROOF = re.compile(
    r"\b(?:should|would|will|going to|gonna|supposed|probably|maybe|hopefully|must be|expect\w*"
    r"|(?:he|she|they|customer|cust|tenant|owner|landlord|son|husband|wife) (?:says?|said|tells|told|reckons)"
    r"|(?:says|said) (?:he|she|they)"
    r"|(?:in|from|at) (?:the |my |our )?(?:truck|van|car|street|yard|garden|drive(?:way)?)|outside|outdoors"
    r"|(?:windows?|doors?)(?: \w+){0,3} (?:open|opened|wide|propped)|open(?:ed)? (?:the )?(?:windows?|doors?)|aired|fan on"
    r"|lighter|(?:naked|open) flame|(?:with|by|using|struck|held|lit) (?:a |the |my )?(?:match(?:es)?|candle|flame|torch)"
    r"|(?:one|1|some|half|most|part|\d+) of (?:the |them|\d+|two|three|four|five|six|both|all)|only (?:one|the|half|some)"
    r"|half (?:the|my|his|our|her|their)"
    r"|(?:two|three|four|five) of (?:the |them|\d+|three|four|five|six)"
    r"|to (?:re)?do|to be (?:re)?done|not all|all but|all bar|except"
    r"|last (?:year|month|week|winter|summer|spring|autumn|time|visit|service)|(?:years?|months?|weeks?) ago|dogs?|cats?)\b"
)


def proves(remark: str, stop: Stop) -> bool:
    """Whether a remark says of a stop sign what it asks for: in one clause a word of `made_sure` and one of `proved`, by more
    than a nose, and of what is measured with the machine `running` not that it stood still."""
    said = _BY_NOSE.sub(" ", re.sub(r"['\u2019]", "", remark.casefold()))
    if _NO_PROOF.search(said):
        return False
    if stop.running and _AT_REST.search(said) and not _RAN.search(_AT_REST.sub(" ", said)):
        return False
    for clause in re.split(r"[,;]|\.(?!\d)", said):
        words = set(re.findall(r"[a-z]+|\d+", clause))
        words |= {word.removesuffix("s") for word in words}
        if all(not asked or words & set(asked) for asked in (stop.made_sure, stop.proved)):
            return True
    return False


def _parts(said: str) -> list[str]:
    return [part for part in re.split(r"[,;.:]|\band\b|\bbut\b", said) if part.strip()]


def _denied_out(said: str) -> str:
    return ", ".join(part for part in _parts(said) if not _denies_danger(part))


def _denies_danger(part: str) -> bool:
    return bool(only_denies(part) or re.fullmatch(_NONE_LEFT, part.strip()) or (denies(part) and len(part.split()) > 1))
