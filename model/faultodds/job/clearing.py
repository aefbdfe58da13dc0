"""What somebody says of a danger that was told of, to go on: how it was made sure that it is over, and what that showed.

It takes a test or a look for the danger itself, and a good result told in plain words. What is denied, doubted, planned, heard
from somebody else, or found bad and not put right since, shows nothing; neither does a test of which no result is told. The
words are in `clearing.toml`. Where the steps of a stop send for somebody else, it takes their word as well. Common practice, no
source.
"""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from faultodds.job.naming import turned
from faultodds.job.retracting import takes_back
from faultodds.knowledge import Stop
from faultodds.safety import as_heard, hear, only_denies

# From this on there is carbon monoxide in a room that somebody has to find: the dryer's `co_room`. Common practice, no source.
CO_FOUND_PPM = 9
# An earth of more is none to rely on, and insulation of less is none. Common practice, no source.
EARTH_OHMS = 1
INSULATION_MEGOHMS = 1
# One leg and both of a 120 V service, or 230 V, a tenth either way. Common practice, no source.
SUPPLY_VOLTS = ((108, 132), (207, 264))

_NUMBER = r"(?<![\d.])(\d+(?:\.\d+)?)"
_VOLTS = re.compile(
    rf"{_NUMBER} ?(?:v|volts?)\b"
    rf"|\bvoltage(?: (?:is|was|steady|stable|good|now|at|of|reads|reading))* {_NUMBER}(?![\d.])(?! ?(?:a|amps?|ohms?|hz|min\w*)\b)"
)
_OHMS = re.compile(rf"{_NUMBER} ?ohms?\b")
_MEGOHMS = re.compile(rf"{_NUMBER} ?(?:m|meg) ?ohms?\b")
_BARE_TEST = re.compile(r"\|(?= *(?:(?:and|then) )?(?:soap(?:ed)?|(?:re)?test(?:ed)?|check(?:ed)?|proved) *(?:\||$))")


def lacking(remark: str, hazard: str | None, stop: Stop | None = None) -> str:
    """What a remark lacks to show that a danger is over, in words; empty when it shows that: the danger was looked for, where a
    `stop` sign says so by its words and with the machine running, the result was good, and nothing speaks against it."""
    said = _compiled("words", "by_nose").sub(" ", re.sub(r"\b(?:as|like) it should\b", "", as_heard(remark)))
    kind = "co" if hazard == "ill" else hazard or ""
    rest = _without_results(said)
    if "?" in remark:
        return "it asks, and does not say"
    if back := takes_back(remark):
        return f"'{back}' takes back what stands before it"
    for against in _words()["against"]:
        found = re.search(rf"\b(?:{against['words']})\b", rest) if kind in against.get("dangers", [kind]) else None
        if found:
            return f"'{found[0]}' {against['told']}"
    well = _told_well(said, kind)
    results = [*(found.start() for found in _good(kind).finditer(said)), *(start for start, _ in well)]
    if bad := _bad(rest, kind, results) or _bad_number(said, kind):
        return f"'{bad}' is a bad result, and nothing after it says that it was put right and then tested good"
    for start, end in well:
        rest = f"{rest[:start]}{' ' * (end - start)}{rest[end:]}"
    parts = [part for part in re.split(r"[|;]|\band\b|\bbut\b", rest) if part.strip() and not only_denies(part)]
    if found := next((turn for part in parts if (turn := turned().search(part))), None):
        return f"'{found[0]}' denies or doubts it"
    if not _compiled("words", "test").search(said) or (stop is not None and not looked_for(said, stop)):
        return "it does not say what was tested, and how"
    if kind == "co" and not any(_compiled("words", name).search(said) for name in ("ran", "metered")):
        return "it does not say with what it was measured, and whether the machine ran"
    return "" if results else "it does not say what the test showed"


def only_mistyped(remark: str) -> bool:
    """Whether a remark says that a line was typed in the wrong place, or an alarm is false, and plainly that there was nothing."""
    said = as_heard(remark)
    told = _compiled("mistyped", "place").search(said) and _compiled("mistyped", "nothing").search(said)
    return bool(told) and "?" not in remark and hear(remark) is None and not _compiled("mistyped", "but").search(said)


def left_to(shown: str) -> str:
    """To whom the steps of a stop, as `shown`, leave it to make that safe: a name in `[left_to]`; empty when to nobody else."""
    title, _, steps = shown.partition("\n")
    told = title.partition(": ")[2].casefold()
    for name, each in _words()["left_to"].items():
        if re.search(each["steps"], steps) and re.search(each.get("told", ""), told):
            return str(name)
    return ""


def lacks_whose(remark: str, to: str, qualified: bool = True) -> str:
    """What a remark lacks to be the word of those that a stop is left `to`; empty when it is theirs, or that of a technician who
    says to be licensed for it and is not known to be not `qualified`."""
    if not to:
        return ""
    w = _whose(to)
    said = w["related"].sub(" ", w["absent"].sub(" ", as_heard(remark)))
    mine = bool(w["by_me"].search(said))
    for clause in re.split(r"[|;]|\band\b|\bbut\b", _without_results(said)):
        if turned().search(clause):
            continue
        them = w["of_them"].sub(" ", clause)
        if w["named"].search(them) and not mine and not w["away"].search(clause) and not w["unfit"].search(clause):
            return ""
        if qualified and w["oneself"].search(them) and not w["another"].search(clause):
            return ""
    return (
        f"the steps leave this to {_words()['left_to'][to]['people']}. Say which of them made sure, or that you are licensed for "
        "it yourself"
    )


@cache
def _whose(to: str) -> dict[str, re.Pattern[str]]:
    """The patterns of `[whose]`, and those of one of `[left_to]`, written out."""
    whose, each = _words()["whose"], _words()["left_to"][to]
    lists = {name: f"(?:{words})" for name, words in {**whose, "folk": each["named"]}.items()}
    found = {}
    for name in ("named", "oneself", "absent", "related", "of_them", "by_me", "unfit", "away", "another"):
        text = rf"\b(?:{each.get(name) or whose[name]})\b"
        for _ in range(3):  # a list may use another
            for inner, words in lists.items():
                text = text.replace(f"{{{inner}}}", words)
        found[name] = re.compile(text)
    return found


def looked_for(said: str, stop: Stop) -> bool:
    """Whether a clause has a word of `made_sure` and one of `proved`, and what is measured running was not measured at rest."""
    at_rest, ran = _compiled("words", "at_rest"), _compiled("words", "ran")
    if stop.running and at_rest.search(said) and not ran.search(at_rest.sub(" ", said)):
        return False
    for clause in _BARE_TEST.sub(" ", said).split("|"):  # a bare "retested" is of what was spoken of before
        words = set(re.findall(r"[a-z]+|\d+", clause))
        words |= {word.removesuffix("s") for word in words}
        if all(not asked or words & set(asked) for asked in (stop.made_sure, stop.proved)):
            return True
    return False


def _told_well(said: str, kind: str) -> list[tuple[int, int]]:
    """Where a clause tells of a good result in one word: beside a test, or by itself after one."""
    w, well = _words()["words"], _any("well", kind)
    beside = re.compile(rf"\b(?:{well})\b(?= *(?:$|(?:{w['behind']})\b))")
    alone = re.compile(
        rf" *(?:{w['thing']} )?(?:(?:{w['before']}) )*(?:{well}|{_words()['well']['alone']})(?: (?:{w['trailing']}))* *"
    )
    found, at, tested = [], 0, False
    for clause in said.split("|"):
        has_test = bool(_compiled("words", "test").search(clause))
        hit = beside.search(clause) if has_test else alone.fullmatch(clause) if tested else None
        if hit:
            found.append((at + hit.start(), at + hit.end()))
        tested, at = tested or has_test, at + len(clause) + 1
    return found


def _bad(rest: str, kind: str, results: list[int]) -> str:
    """A bad result that is not both put right and followed by a good one; empty for none."""
    for found in re.finditer(rf"\b(?:{_any('bad', kind)})(?!\w)", rest):
        mended = _compiled("words", "mended").search(rest, rest.rfind("|", 0, found.start()) + 1)
        if not mended or not any(start > found.start() for start in results):
            return found[0].strip()
    shut = {"gas": "gas_off", "shock": "power_off"}.get(kind)
    off = _compiled("words", shut).search(rest) if shut else None
    return off[off.lastindex or 0] if off else ""


def _bad_number(said: str, kind: str) -> str:
    """A reading that is not good; empty for none."""
    if kind == "co":
        counts = re.findall(rf"(?<!at )(?<!after )(?<!for ){_NUMBER}\b{_words()['words']['unit']}", said)
        return next((n for n in counts if float(n) >= CO_FOUND_PPM), "")
    if kind != "shock":
        return ""
    told = []
    for clause in said.split("|"):
        volts = ["".join(each) for each in _VOLTS.findall(clause)]
        told += [f"{n} V" for n in volts if float(n) >= 1 and not _sound_supply(clause, float(n))]
        if _compiled("words", "earth").search(clause):
            told += [f"{n} ohm" for n in _OHMS.findall(clause) if float(n) > EARTH_OHMS]
        told += [f"{n} megohm" for n in _MEGOHMS.findall(clause) if float(n) < INSULATION_MEGOHMS]
    return next(iter(told), "")


def _sound_supply(clause: str, volts: float) -> bool:
    """Whether volts in a clause are those of a sound supply, and not of what nobody should find them on."""
    of_supply = _compiled("words", "supply").search(clause) and not _compiled("words", "not_supply").search(clause)
    return bool(of_supply) and any(low <= volts <= high for low, high in SUPPLY_VOLTS)


def _without_results(said: str) -> str:
    """A remark with "~" where it says that something dangerous is not there, so that its "no" denies nothing else."""
    for kind in _words()["gone"]:
        said = _good(kind).sub(lambda found: "~" * len(found[0]), said)
    return said


@cache
def _good(kind: str) -> re.Pattern[str]:
    """Plain good results: what is not there any more, a meter that reads nothing, a reading that is good."""
    w, every = _words()["words"], _words()["gone"]
    gone = every.get(kind) or "|".join(every.values())
    forms = [
        rf"{w['none']}(?: (?:{w['of_it']}|{gone})\b)* (?:{gone})\b{w['not_it']}(?: (?:or|nor|and no) (?:{gone})\b)*",
        rf"\b(?:{gone}) (?:\| )?(?:(?:is|are|was|were|reads?|reading|shows?|measured|found|levels?|at) )*(?:{w['zero']}|normal\b)",
        w["found_none"],
        rf"{w['reads']} {w['zero']}" if kind in ("gas", "co", "") else "",
        r"(?<![\d.])[0-8](?:\.\d+)? ?ppm\b" if kind == "co" else "",
        r"(?<![\d.])(?:0(?:\.\d+)? ?(?:v|volts?)|(?:0(?:\.\d+)?|1) ?ohms?|[1-9]\d*(?:\.\d+)? ?(?:m|meg) ?ohms?)\b"
        if kind == "shock"
        else "",
        rf"{w['works']}|(?<![\d.])0(?:\.\d+)? ?ohms?\b" if kind == "defeated" else "",
    ]
    return re.compile("|".join(form for form in forms if form))


def _any(family: str, kind: str) -> str:
    words = _words()[family]
    return "|".join(words[name] for name in ("any", kind) if name in words)


@cache
def _compiled(family: str, name: str) -> re.Pattern[str]:
    return re.compile(_words()[family][name])


@cache
def _words() -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_name("clearing.toml").read_text("utf-8"))
