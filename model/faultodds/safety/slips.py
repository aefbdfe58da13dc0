"""Slips of the finger in a word: letters missed, doubled, swapped or wrong."""

from __future__ import annotations

import re

# From this length on, one wrong letter is forgiven as well.
LONG = 8


def squeezed(word: str) -> str:
    """A word with every doubled letter once."""
    return re.sub(r"(.)\1+", r"\1", word)


def slip(word: str, known: str) -> bool:
    """Whether a word misses or has too many a letter of another, or swaps two of it; in a long one, whether one is wrong."""
    if len(word) == len(known):
        wrong = [i for i in range(len(word)) if word[i] != known[i]]
        swapped = len(wrong) == 2 and wrong[1] == wrong[0] + 1 and sorted(word) == sorted(known)
        return swapped or (len(wrong) == 1 and len(known) >= LONG)
    short, long = sorted((word, known), key=len)
    if len(long) != len(short) + 1:
        return False
    last = len(long) if len(known) >= LONG else len(long) - 1
    return any(long[:i] + long[i + 1 :] == short for i in range(1, last))


def slips(word: str, known: str) -> int:
    """How many letters are missing, too many, wrong, or swapped with the next one."""
    rows: list[list[int]] = [[*range(len(known) + 1)]]
    for i, letter in enumerate(word, 1):
        row = [i]
        for j, wanted in enumerate(known, 1):
            best = min(rows[-1][j] + 1, row[-1] + 1, rows[-1][j - 1] + (letter != wanted))
            if i > 1 and j > 1 and letter == known[j - 2] and word[i - 2] == wanted:
                best = min(best, rows[-2][j - 2] + 1)
            row.append(best)
        rows.append(row)
    return rows[-1][-1]
