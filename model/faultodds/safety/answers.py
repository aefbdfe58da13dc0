"""Answers to a question about danger: a plain no, a yes, an alarm that could not have sounded. The words are in `danger.toml`."""

from __future__ import annotations

import re

from faultodds.safety.danger import as_heard, hear, the_rules


def denies(reply: str) -> bool:
    """Whether an answer to "is there danger?" is a plain no: "nah", "no smell", "nothing at all", "no to all". Every clause of
    it begins with a no, and every word is one that may stand beside a no; whatever else is said makes it none."""
    denial = the_rules().denial
    said = re.sub(r"['\u2019]", "", reply.casefold())
    clauses = [" ".join(part.split()) for part in re.split(r"[^\w ]+", said) if part.strip()]
    if not clauses or "?" in reply or hear(reply) is not None:
        return False
    first, *rest = clauses
    return has_no_alarm(reply) or bool(
        denial["plain_no"].fullmatch(first)
        and all(denial["plain_no"].fullmatch(part) or denial["courtesy"].fullmatch(part) for part in rest)
    )


def admits(reply: str, over: bool = False) -> bool:
    """Whether an answer to "is there danger?" is a yes: a plain one, however small or late ("yeah", "a bit", "think so", "no
    wait, yes"), or one that tells that it happened ("no. went off on sunday", "only when it starts"); with `over`, none that it
    tells is put right."""
    denial, bare = the_rules().denial, " ".join(re.sub(r"[^\w? ]+", " ", _bare(reply)).split())
    if denial["yes"].match(_bare(reply).strip()) or denial["leaning_yes"].fullmatch(bare):
        return True
    if "?" not in reply and denial["late_yes"].search(bare):
        return True
    line = as_heard(reply)
    if "?" in reply or (over and the_rules().cleared["over"].search(line)):
        return False
    clauses = [part.strip() for part in re.split(r"[|;]|\b(?:but|though|tho)\b", denial["leading_no"].sub("", line))]
    return any(
        denial["any_more"].search(part) or (denial["happened"].search(part) and not denial["denied"].search(part))
        for part in clauses
    )


def may_answer(reply: str) -> bool:
    """Whether a reply to "is there danger?" may be an answer: it has a no, a yes, a doubt, or a word of a danger or of somebody who
    says so. "Still slow, came back today" is none."""
    no = the_rules().denial["denied"].search(_bare(reply))
    return bool(no) or speaks_of_danger(reply) or no_alarm_works(reply)


def speaks_of_danger(text: str) -> bool:
    """Whether a text has a word of danger, a yes to it, or a doubt."""
    said = f"{as_heard(text)} | {_bare(text)}"
    return (
        admits(text) or hear(text) is not None or any(the_rules().denial[n].search(said) for n in ("unclear", "speaks"))
    )


def _bare(text: str) -> str:
    return re.sub(r"['\u2019]", "", text.casefold())


def has_no_alarm(reply: str) -> bool:
    """Whether an answer says that there is no alarm that could sound: "no alarm in the house"."""
    said = " ".join(re.sub(r"['\u2019.!]", "", reply.casefold()).split())
    return bool(the_rules().denial["no_alarm"].match(said))


def no_alarm_works(reply: str) -> bool:
    """Whether an answer about a carbon monoxide alarm tells of none that could sound: none there, flat, unplugged, too old."""
    return has_no_alarm(reply) or bool(the_rules().denial["no_alarm_works"].search(as_heard(reply)))


def only_denies(text: str) -> bool:
    """Whether a text does nothing but deny danger: "no smell of gas, no smoke", "cant smell gas"."""
    no, unclear = (the_rules().denial[name].search for name in ("before", "unclear"))
    plain = re.sub(r"['\u2019]", "", text.casefold())
    parts = [part.strip().partition(" ") for part in re.split(r"[,;.]|\band\b", plain) if part.strip()]
    return bool(parts) and all(
        no(f"{first} ") and hear(rest) and not hear(f"{first} {rest}") and not unclear(rest) for first, _, rest in parts
    )
