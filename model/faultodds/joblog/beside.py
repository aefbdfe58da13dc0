"""What may stand beside a part in a sentence of a log and turn it: how it was found, that it is planned, ordered or refused."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from faultodds.job import Hearer, Item
from faultodds.joblog.clean import REPAIRS
from faultodds.joblog.log_words import around_a_part, nothing_done, states, written
from faultodds.knowledge import Knowledge

_NAME: Final = re.compile(r"[a-z]{3,}")
_MEASURED: Final = ("ohm", "pressure", "speed", "ppm")
"""What is measured of a part; volts, degrees and lengths are printed on new ones as well."""
_SHORT: Final = re.compile(r"\b[a-z]/[a-z]\b", re.I)
"""What is written so short and is not known may say that a part is not fitted ("n/f")."""
_HOURS: Final = re.compile(r"\b(?:h|hrs?|hours?|mins?|minutes?)\b", re.I)
_EITHER: Final = re.compile(r"\bor\b", re.I)
_CLAUSE: Final = re.compile(r"\s*[,;:()]\s*|\s+[-\u2013\u2014]+\s+|\s+/\s+")
_ASIDE: Final = frozenset({"<plan>", "<somebody>", "<hedge>", "<doubt>"})
PUT_OFF: Final = re.compile(r"<(?:doubt|plan|hedge|report|somebody|missing)>")
_ROLE: Final = re.compile(r"<(?:turn|doubt|plan|hedge|report|somebody|missing)>")
_PARTICIPLE: Final = re.compile(r"[a-z]{3,}(?:ed|ing)")


class Beside:
    """Tells what stands beside the parts in the sentences of one column."""

    _knowledge: Knowledge
    _hearer: Hearer | None
    _only_work: bool

    @property
    def _small(self) -> frozenset[str]:
        return self._hearer.words.small if self._hearer else frozenset()

    def _items(self, text: str) -> list[Item]:
        return self._hearer.items(written(self._knowledge.appliance.id, text)) if self._hearer else []

    def _nouns(self, text: str) -> list[Item]:
        words = self._hearer.words if self._hearer else None
        return [i for i in self._items(text) if words and i.names & words.nouns - words.itself]

    def _turns(self, text: str, roles: re.Pattern[str] = _ROLE) -> bool:
        verbs = self._hearer.words.verbs if self._hearer and roles is PUT_OFF else frozenset()
        items = [
            item for item in self._items(text) if not item.names & verbs
        ]  # "vetn cleaning" names work, and plans none
        return any(roles.search(name) for item in items for name in item.names) or "?" in text

    def _is_bare(self, text: str) -> bool:
        """Whether a text is one part and nothing that is said of it: "1x ign", "drum seal rear"."""
        if not self._only_work or not self._hearer or self._turns(text) or _SHORT.search(text):
            return False
        nouns, free = self._hearer.words.nouns, around_a_part()
        items = self._items(text)
        return (
            any(i.names & nouns for i in items)
            and all(i.names & nouns or i.text in free or i.number or not i.names for i in items)
            and not self._finds(text)
        )

    def _finds(self, text: str) -> bool:
        """Whether a text of work tells how a part was found, or that it was taken off, and of no work on it."""
        if not self._only_work or not self._hearer:
            return False
        words = self._hearer.words
        items = [i for i in self._items(text) if not i.names & words.nouns or i.names & words.itself]
        if any(i.names & (words.verbs - {"removed"}) for i in items):
            return False  # "blown out", "tested open"
        return any(i.has("removed") or i.measures in _MEASURED for i in items) or _is_state(items)

    def _is_left_open(self, text: str, after: str, found: Sequence[tuple[str, str]]) -> bool:
        """Whether work that was heard is put off or refused right behind it ("new igniter (ordered)", "cleaned duct -
        refused"), or is one of two ("coils or igniter")."""
        done = [value for column, value in found if column == REPAIRS]
        if len(done) > 1 and _EITHER.search(text):
            return True
        clauses = [each for each in _CLAUSE.split(text) if each.strip()]
        behind = [b for a, b in pairwise([*clauses, after]) if self._nouns(a) and not self._is_put_off(a)]
        return bool(done) and any(map(self._is_put_off, behind))

    def _is_put_off(self, text: str) -> bool:
        """Whether a clause says of work only that it is planned, ordered or refused, and names no part."""
        rest = nothing_done().sub(" ", text)
        if _HOURS.search(text):
            return False  # "half hr wait" is time on the job
        items = self._items(rest)
        said = [i for i in items if i.names - _ASIDE and i.text not in around_a_part()]
        told = rest != text or any(i.has("<plan>") for i in items)
        return told and not said and all(i.names or not _NAME.fullmatch(i.text) or i.text in self._small for i in items)


def _is_state(items: Sequence[Item]) -> bool:
    """Whether there is a word for how a part is found: one of the trade's, or a participle that nobody knows ("perished")."""
    text = " ".join(i.text for i in items)
    return bool(states().search(text)) or any(not i.names and _PARTICIPLE.fullmatch(i.text) for i in items)
