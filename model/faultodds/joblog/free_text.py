"""Free text of a log, a cell at a time: its sentences, and what the order they stand in says of them."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from typing import Final

from faultodds.joblog import told_in_order
from faultodds.joblog.beside import PUT_OFF
from faultodds.joblog.clean import AFTER, ENDED, FAILED, FOUND, REPAIRS, UNKNOWN
from faultodds.joblog.explained import APART
from faultodds.joblog.log_words import nothing_done, sentences_of, states
from faultodds.joblog.sentences import PLAN, Sentences, Told

_WOULD: Final = re.compile(r"\b(?:would|could|might|may|if)\b", re.I)


_UNSURE: Final = re.compile(r"<(?:doubt|plan|hedge|report|somebody)>")
_TURNED: Final = re.compile(r"<(?:turn|doubt|plan|hedge|report|somebody)>")
_WITHOUT: Final = re.compile(r"\bwithout\b.*", re.I)
_EITHER: Final = re.compile(r"\b(?:or|nor|neither|either)\b", re.I)


class FreeText(Sentences):
    """Reads the cells of one column of free text."""

    @property
    def _appliance(self) -> str:
        return self._knowledge.appliance.id

    def read(self, text: str) -> Told:
        """What a cell says, with the phrases that the shop has explained as words of the trade."""
        told = self._stood_in(self._explained.stand_in(self._without_silent(text)))
        back = self._explained.back
        return replace(told, left=[*map(back, told.left)], silent=[*map(back, told.silent)])

    def _without_silent(self, text: str) -> str:
        """A cell without the parts that the shop has said to mean nothing; what denies or puts off its neighbours stays: "igniter,
        not needed"."""
        pieces = APART.split(text)
        kept = [n for n in range(0, len(pieces), 2) if not self._is_idle(pieces[n])]
        if len(kept) == len(pieces[::2]):
            return text
        return told_in_order.bared("".join("".join(pieces[n : n + 2]) for n in kept))

    def _is_idle(self, part: str) -> bool:
        return self._explained.is_silent(part) and bool(self._nouns(part)) and not self._turns(part)

    def _stood_in(self, text: str) -> Told:
        if self._tells_work and (rest := told_in_order.nothing_found(text)) is not None:
            return self._beside_nothing_found(rest)
        if self._ends and told_in_order.is_remark(self._appliance, text):
            return Told(silent=[text])  # of the machine after the work, which another column may tell of
        if self._tells_work:
            text = told_in_order.without_remarks(self._appliance, text, self._tells_of_work)
        text = _run_on().sub(r"\1, ", text) if self._work else text
        told = (self._undone(text) or self._in_order(text) if self._work else None) or self._read(text)
        if self._work and told.left and not _repairs(told):
            told = self._beside_doubt(text) or told
        if self._work and not _repairs(told):
            told = self._beside_fine(text) or told
        if self._work and not (told.said or told.left) and self._hides_work(text):
            told.left = [text]  # "tried a new board, no good, it was the timer": something was done
        return told

    def _hides_work(self, text: str) -> bool:
        """Whether a text tells of a repair though nothing was read: of its cause, or in a clause that nothing turns."""
        if self._only_work and told_in_order.tells_cause(text):
            return True
        done = self._hearer.words.verbs - {"handled", "removed", "advised", "referred"} if self._hearer else frozenset()
        clauses = [] if nothing_done().search(text) or not self._nouns(text) else told_in_order.clauses_of(text)
        said = [{name for i in self._items(_WITHOUT.sub("", each)) for name in i.names} for each in clauses]
        return any(names & done and not _TURNED.search(" ".join(names)) for names in said)

    def _beside_nothing_found(self, rest: str) -> Told:
        """What is told beside that nothing was found: a run that was good is what the machine did, and no finding."""
        run, rest = told_in_order.good_run(self._appliance, rest)
        told = self.read(rest) if rest else Told()
        if run and not any(column == REPAIRS for column, _ in told.said):
            told.said.append((AFTER + self._knowledge.costs.verify, run))
        return told

    def _tells_of_work(self, text: str) -> bool:
        """Whether a text tells of work on a part: done, put off, or left."""
        words = self._hearer.words if self._hearer else None
        work = words is not None and any(i.names & (words.verbs - {"handled"}) for i in self._items(text))
        return work or bool(self._nouns(text) and self._turns(text, PLAN)) or told_in_order.left_alone(text)

    def _says_done(self, text: str) -> bool:
        """Whether a text says outright that some part was worked on: "new fuse", and not "fuse"."""
        words = self._hearer.words if self._hearer else None
        done = words.verbs - {"handled", "removed", "advised", "referred"} if words else frozenset()
        return bool(self._nouns(text)) and any(i.names & done for i in self._items(text)) and not self._turns(text)

    def _undone(self, text: str) -> Told | None:
        """What is told behind work that was undone again, with that left to be asked about; None where none was."""
        found = told_in_order.reverted(text)
        if found is None:
            return None
        before, words, after = found
        whole = re.search(r"\bnew$|\bback$", words, re.I) and self._nouns(text[: len(text) - len(after)])
        if not whole and not self._says_done(before):
            return None
        told = self.read(after) if after else Told()
        told.left.insert(0, text[: len(text) - len(after)].strip(" ,;.-"))
        return told

    def _beside_doubt(self, text: str) -> Told | None:
        """Plain work with doubts and plans about other parts behind it, which alone are asked about; None where it is not so."""
        clauses = told_in_order.clauses_of(text)
        kept = len(clauses)
        while kept > 1 and (self._turns(clauses[kept - 1], PUT_OFF) or _WOULD.search(clauses[kept - 1])):
            kept -= 1
        plain, rest = "".join(clauses[:kept]), "".join(clauses[kept:])
        named, doubted = ({n for i in self._nouns(each) for n in i.names} for each in (plain, rest))
        if not rest or not doubted or named & doubted or "instead" in rest:
            return None
        told = self._read(plain)
        told.left.append(rest.strip(" ,;.-"))
        return told if self._says_done(plain) and _repairs(told) else None

    def _beside_fine(self, text: str) -> Told | None:
        """Work on a part behind others that were fine ("duct not blocked, belt snapped - changed"); None where it is not so."""
        clauses = told_in_order.clauses_of(text)
        at = next((n for n, each in enumerate(clauses) if not self._is_fine(each)), 0)
        fine, rest = "".join(clauses[:at]), "".join(clauses[at:]).lstrip(" ,;.-")
        if not fine or _EITHER.search(text) or nothing_done().search(text) or self._turns(rest, _TURNED):
            return None
        named, worked = ({n for i in self._nouns(each) for n in i.names} for each in (fine, rest))
        told = self._read(rest)
        if named & worked or not _repairs(told):
            return None
        before = [pair for pair in self._read(fine).said if pair[0].startswith(FOUND)]
        return Told([*before, *told.said], told.left, [fine, *told.silent])

    def _is_fine(self, text: str) -> bool:
        """Whether a clause says of a part that it is good, or denies what it might have, and tells of no work."""
        items = self._items(text)
        words = self._hearer.words if self._hearer else None
        names = {name for item in items for name in item.names}
        fine = bool(names & {"good", "<turn>"}) and words is not None and not names & (words.verbs - {"handled"})
        return fine and bool(self._nouns(text)) and not self._turns(text, _UNSURE)

    def _is_part_alone(self, text: str) -> bool:
        """Whether a text names one part and says nothing of it."""
        items, nouns = self._items(text), self._nouns(text)
        return bool(nouns) and all(i in nouns or i.text in self._small for i in items) and not self._turns(text)

    def _in_order(self, text: str) -> Told | None:
        """The repairs that a run showed to have failed, and what is told behind that run; None where there is no such order."""
        found = told_in_order.parted(self._appliance, text)
        if found is None and (behind := told_in_order.behind_work(text)):
            before, work, after, found_so = behind
            found = (before, after) if self._says_done(told_in_order.tried(work or before)) else None
            if found and found_so and not after:
                return Told(left=[text])  # how it was found, or that it did not help?
        before, after = found or told_in_order.before_cause(text) or ("", "")
        before = told_in_order.tried(before) if found else before
        first = self.read(before) if before else Told()
        tried = _repairs(first)
        if not tried:
            return None
        if not self._is_done_last(before):
            whole = self._read(
                text
            )  # "cleaned duct, ran with duct off, no change": of the work, or of what was looked at?
            whole.left += [text] if found and not whole.left else []
            return whole
        after = told_in_order.then_fitted(after, self._is_part_alone) if found and "then" in text.split() else after
        then = self.read(told_in_order.with_causes(after, self._is_fitted)) if after else Told()
        held = _repairs(then)
        if found is None and (not held or set(held) & set(tried)):
            return None
        told = [*((REPAIRS, name) for name in tried), *((FAILED, name) for name in tried if name not in held)]
        told += [pair for pair in then.said if not pair[0].startswith(FOUND)]
        return Told([*(p for p in first.said if p[0] != REPAIRS), *told], first.left + then.left, then.silent)

    def _is_done_last(self, text: str) -> bool:
        """Whether the last that a text tells is work, or a run after it, and no look at another part."""
        last = told_in_order.last(text)
        return bool(_repairs(self._read(last))) or not self._nouns(last)

    def _is_fitted(self, part: str, after: str) -> bool:
        """Whether a part that is named as the cause was fitted: this is a column of work, and nothing puts it off."""
        return self._is_bare(part) and bool(self._part(part)) and not self._is_turned_by(after)

    def _read(self, text: str) -> Told:
        told, sentences = self._by_sentences(text), sentences_of(text, self._work)
        if len(sentences) > 1 and (told.left or told.silent) and not self._work:
            # "auto bad / timed fine": one thought, however it is parted
            whole = self._hear(", ".join(sentences))
            if whole and len(whole) > len(told.said):
                return Told(whole)
        if not self._work or any(column == REPAIRS for column, _ in told.said):
            return told
        undone = nothing_done().search(text)
        if undone or any(map(self.is_foreign, told.left)):
            told.said.append((ENDED, UNKNOWN))
        if undone:
            told.left = [sentence for sentence in told.left if not nothing_done().search(sentence)]
        return told


def _repairs(told: Told) -> list[str]:
    return [name for column, name in told.said if column == REPAIRS]


@cache
def _run_on() -> re.Pattern[str]:
    """Where a part that is fine ends and one that is found bad begins, with nothing between: "belt ok rollers flat"."""
    return re.compile(rf"\b(ok|okay|fine|good|sound) (?=(?:[a-z]+ ){{1,2}}(?:flat\b|{states().pattern}))", re.I)
