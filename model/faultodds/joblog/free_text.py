"""Free text of a log, a cell at a time: its sentences, and what the order they stand in says of them."""

from __future__ import annotations

from faultodds.joblog import told_in_order
from faultodds.joblog.clean import AFTER, ENDED, FAILED, FOUND, REPAIRS, UNKNOWN
from faultodds.joblog.log_words import nothing_done, sentences_of
from faultodds.joblog.sentences import Sentences, Told


class FreeText(Sentences):
    """Reads the cells of one column of free text."""

    def read(self, text: str) -> Told:
        """What a cell says."""
        if self._tells_work and (rest := told_in_order.nothing_found(text)) is not None:
            return self._beside_nothing_found(rest)
        told = (self._in_order(text) if self._work else None) or self._read(text)
        if self._only_work and not (told.said or told.left) and told_in_order.tells_cause(text):
            told.left = [text]  # "tried a new board, no good, it was the timer": something was done
        return told

    def _beside_nothing_found(self, rest: str) -> Told:
        """What is told beside that nothing was found: a run that was good is what the machine did, and no finding."""
        run, rest = told_in_order.good_run(self._knowledge.appliance.id, rest)
        told = self.read(rest) if rest else Told()
        if run and not any(column == REPAIRS for column, _ in told.said):
            told.said.append((AFTER + self._knowledge.costs.verify, run))
        return told

    def _in_order(self, text: str) -> Told | None:
        """The repairs that a run showed to have failed, and what is told behind that run; None where there is no such order."""
        found = told_in_order.parted(self._knowledge.appliance.id, text)
        before, after = found or told_in_order.before_cause(text) or ("", "")
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
