"""The room a drill is played in: a person or a pipe, every line kept when typed, and a drill gone on with by reading them back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from faultodds.errors import SafetyStop
from faultodds_cli.drill import show
from faultodds_cli.drill.debrief import Debrief, debrief, result
from faultodds_cli.drill.game import Aside, Drill, Stopped
from faultodds_cli.drill.levels import OPEN_BITS, drill_of
from faultodds_cli.drill.words import FIRST, Move
from faultodds_cli.shared.progress import counted

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds_cli.drill.kept import Kept
    from faultodds_cli.shared.talk import Talk


class Room:
    """Lines kept before come first, without a word; then those of the talk, each on disk before it is answered."""

    def __init__(self, talk: Talk, kept: Kept) -> None:
        self._talk, self._kept = talk, kept
        self._left = list(kept.record.lines)

    def ask(self, question: str) -> str | None:
        """The next line."""
        if self._left:
            return self._left.pop(0)
        line = self._talk.ask(question)
        if line is not None and look_away(line) is None:
            self._kept.record.lines.append(line)
            self._kept.save()
        return line

    def tell(self, text: str) -> None:
        """Say something, unless it was said when the lines were typed; what the last of them led to is said again."""
        if not self._left:
            self._talk.tell(text)

    def say(self, lines: list[str]) -> None:
        """Lines as they are, likewise."""
        if not self._left:
            self._talk.say(lines)


def look_away(line: str) -> str | None:
    """The word that puts the drill aside: it is not kept, or going on would put it aside again."""
    return FIRST.get(line.casefold().strip()) if FIRST.get(line.casefold().strip()) == "pause" else None


def play(talk: Talk, appliance: Appliance, kept: Kept) -> None:
    """Play a drill from its beginning, or from where it was left, to its end or until it is put aside."""
    record = kept.record
    visit = drill_of(appliance, record.level, record.seed, record.qualified)
    room = Room(talk, kept)
    drill = Drill(visit, room.ask, room.tell, lambda drill, move: _look(room, drill, move))
    talk.say(show.opening(drill, kept))
    try:
        drill.play()
    except Aside:
        begun = f"Drill {kept.drill} is kept. Go on with: faultodds drill play --name {kept.path.parent.name}"
        talk.tell(begun if kept.record.lines else "Nothing was typed, so no drill was begun.")
        return
    except Stopped as danger:
        record.lines.pop()  # else going on would only stop at it again
        kept.save()
        raise SafetyStop(
            f"{danger}\nDrill {kept.drill} is kept but for that line. If it was only said in the drill, go on with "
            f"'faultodds drill play --name {kept.path.parent.name}'; "
            "a symptom to ask about is typed by its name, such as: ask burning_smell."
        ) from None
    with counted("working out the best plan") as tick:
        end = debrief(drill, drill_of(appliance, record.level, record.seed, record.qualified), tick)
    close(talk, kept, end)


def close(talk: Talk, kept: Kept, end: Debrief) -> None:
    """Keep what the drill came to, and open it."""
    kept.record.done = result(end, kept.drill, kept.record.level not in OPEN_BITS)
    kept.save()
    talk.say(show.ending(end))
    known = " It was played again, and counts for no score." if kept.again else ""
    talk.tell(
        f"\nKept.{known} How sure you may be, over all your drills: faultodds drill score {kept.path.parent.name}"
    )


def _look(room: Room, drill: Drill, move: Move) -> None:
    room.say(show.looked(drill, move))
