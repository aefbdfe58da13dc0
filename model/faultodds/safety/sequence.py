"""A sequence of instructions as it is printed: moves of access items, and the steps of some work between them."""

from __future__ import annotations

from typing import Literal

from msgspec import Struct

# The parts of a piece of work, in the order of `knowledge.Work`; "watch" and "clear" are what is said before the machine
# runs with something open, "move" is what changes an access item.
Part = Literal["move", "watch", "run_first", "fit", "clear", "steps", "unfit", "tight", "prove"]
HANDS_OUT = "Hands, tools and sleeves out. Until it is off again nothing of it is touched but its start and stop."


class Move(Struct, frozen=True):
    """One access item opened (`opens`) or closed."""

    item: str
    opens: bool


class Line(Struct, frozen=True):
    """One printed instruction: a move, or a step of `work`; `cautions` name those that belong to it."""

    text: str
    move: Move | None = None
    work: str = ""
    part: Part = "move"
    cautions: tuple[str, ...] = ()
