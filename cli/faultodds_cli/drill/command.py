"""`faultodds drill`: a simulated call for an apprentice, his marks, a class, and the drill on paper."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from faultodds.errors import FaultoddsError
from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.text import wrap

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds_cli.drill.kept import Kept

app = options.new_app(
    "Learn to reason: a simulated call that asks for your odds before it tells, and how good they were."
)

Level = Annotated[
    int,
    typer.Option("--level", metavar="N", min=1, max=4, help="1 little is open, 2 a good deal, 3 nearly all; 4 traps."),
]
Seed = Annotated[
    int | None,
    typer.Option(
        "--seed",
        metavar="S",
        min=0,
        max=2**63 - 1,
        help="The same call for a whole class; the next one of your own without.",
    ),
]
Data = Annotated[
    str | None,
    typer.Option(
        "--data", metavar="FOLDER", help="Where drills are kept, instead of your data folder (or FAULTODDS_DATA)."
    ),
]
Qualified = Annotated[
    bool,
    typer.Option(
        "--qualified-work/--no-qualified-work", help="Whether live and gas-pressure work may be done in the drill."
    ),
]
Name = Annotated[str, typer.Argument(metavar="[NAME]", help="The name that the drills are kept by.")]


def _dryer() -> Appliance:
    from faultodds.belief import open_appliance
    from faultodds.files import USUAL
    from faultodds_cli.trial.bridge import must_fit

    ready = open_appliance(USUAL, revision="file")
    must_fit(ready.knowledge)
    return ready


def _nobody(name: str, word: str, data: str | None) -> FaultoddsError:
    from faultodds_cli.drill.kept import people

    known = ", ".join(people(data)) or "nobody"
    return FaultoddsError(f"there are no drills of '{name}'. Kept: {known}. Type faultodds drill {word} and a name.")


@app.command()
def play(
    level: Level = 1,
    seed: Seed = None,
    name: Annotated[
        str, typer.Option("--name", metavar="NAME", help="Any name you like, to keep your drills by.")
    ] = "me",
    new: Annotated[bool, typer.Option("--new", help="A new drill, though one was left half way.")] = False,
    qualified: Qualified = False,
    data: Data = None,
) -> None:
    """Play a drill, or go on with the one that was left half way.

    A simulated dryer, a customer who may have it wrong, readings with the meter's error. You say your odds, then what you do;
    the end opens the truth, the best plan, and what each finding should have done to your odds. A safety slip ends it.

    Example: faultodds drill play --level 2 --seed 7
    """
    from faultodds_cli.drill.kept import begin, drills
    from faultodds_cli.drill.talk import play as play_on
    from faultodds_cli.shared.talk import Talk

    mine = drills(name, data)
    half = next((k for k in reversed(mine) if k.record.done is None), None)
    if half is None or new or (seed is not None and (half.record.level, half.record.seed) != (level, seed)):
        half = begin(name, data, level, _next_seed(mine, level) if seed is None else seed, qualified)
    play_on(Talk(), _dryer(), half)


def _next_seed(mine: list[Kept], level: int) -> int:
    """The seed after the last of this level, so that no drill is met twice."""
    return max((k.record.seed for k in mine if k.record.level == level), default=0) + 1


@app.command()
def score(
    name: Name = "me",
    figure: options.Figure = None,
    force: options.Force = False,
    data: Data = None,
    as_json: options.Json = False,
) -> None:
    """How good a person's odds were, over all drills: how sure against how often right, which faults are called too often. With
    --figure, a picture of how sure against how often right.

    Example: faultodds drill score bench3
    """
    from faultodds_cli.drill.kept import drills, played
    from faultodds_cli.drill.marks import answer, draw, person_lines

    options.refuse_figure(figure, force, "score.png")
    k = _dryer().knowledge
    mine = played(drills(name, data))
    if figure is not None:
        draw(k, name, mine.done, figure)
    if as_json:
        say_json(answer(k, {name: mine}))
    else:
        say(person_lines(k, name, mine))


@app.command("class")
def class_(
    names: Annotated[
        list[str] | None, typer.Argument(metavar="[NAME ...]", help="Who is in it; everybody here without.")
    ] = None,
    table: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Also write a line a person and drill.")
    ] = None,
    force: options.Force = False,
    data: Data = None,
    as_json: options.Json = False,
) -> None:
    """The trainer's page: a line a person, the drills that cost most, the faults that the class calls too often.

    Example: faultodds drill class --csv class.csv
    """
    from faultodds_cli.drill.kept import drills, people, played
    from faultodds_cli.drill.marks import answer, class_lines, write_csv

    k = _dryer().knowledge
    here = people(data)
    for name in (n for n in names or here if n not in here):
        raise _nobody(name, "class", data)
    every = {name: drills(name, data) for name in names or here}
    by = {name: played(kept) for name, kept in every.items()}
    if table is not None:
        write_csv(table, every, force)
    if as_json:
        say_json(answer(k, by))
        return
    say(class_lines(k, by))
    if table is not None:
        say(wrap(f"Written: {table}."))


@app.command()
def sheet(
    level: Level = 1,
    seed: Annotated[int, typer.Option("--seed", metavar="S", min=0, max=2**63 - 1, help="Which call.")] = 1,
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="drill.html or drill.pdf.")] = Path("drill.html"),
    paper: options.Paper = "letter",
    force: options.Force = False,
) -> None:
    """A drill on paper: a page to fill in, the findings to uncover one by one, and the answers on pages of their own.

    Example: faultodds drill sheet --level 2 --seed 7 --to drill.html
    """
    from faultodds_cli.drill.sheet import write_sheet

    write_sheet(_dryer(), level, seed, to, paper, force)
    say(wrap(f"Written: {to}. Open it and print it; keep back what is headed 'answers'."))


@app.command()
def forget(name: Annotated[str, typer.Argument(metavar="NAME", help="Whose drills.")], data: Data = None) -> None:
    """Take away all that is kept of a person's drills.

    Example: faultodds drill forget bench3
    """
    from faultodds_cli.drill.kept import forget as take_away

    count = take_away(name, data)
    if not count:
        raise _nobody(name, "forget", data)
    say(f"Taken away: {count} drill{'s' if count > 1 else ''} of {name}.")
