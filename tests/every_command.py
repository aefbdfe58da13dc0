"""Every command, with arguments that make it do something: those that write, and those that only look."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from importlib import import_module
from typing import Any

import typer

from faultodds_cli.main import COMMANDS

TALK = "no\nno\nno\nno\ncontrol=board\ndone\nheat=none\ndone\nglow no_glow\nleave\n"
DRILL = "coils 60 igniter 20\nlint screen clean\nleave\n"
TODAY = f"{datetime.now(tz=UTC):%Y-%m-%d}"
TOY = ("--appliance", "toy")
SLOW = (*TOY, "--found", "slow=yes")
FIRST, SECOND = "2026-11-25-a", "2026-11-25-b"

# Arguments, and what is typed, in an order in which each finds something to do; the dear ones last.
WRITE: list[tuple[list[str], str]] = [
    (["job", "new", "--title", "slow", "--found", "heat=none", "--fact", "control=board"], ""),
    (["job", "find", "1", "dry_time=longer", "hood_flap=weak", "lint_screen_look=clean", "--again"], ""),
    (["job", "undo", "1"], ""),
    (["job", "fact", "1", "control=timer", "fuel=natural"], ""),
    (["job", "note", "1", "told", "on", "the", "telephone"], ""),
    (["job", "fix", "1", "lint_screen_wash", "clear_hood"], ""),
    (["job", "verify", "1", "48 min"], ""),
    (["job", "skip", "1", "igniter_ohms", "--reason", "rusted"], ""),
    (["job", "missing", "1", "multimeter"], ""),
    (["job", "keep", "1", "--part", "coils"], ""),
    (["job", "keep", "1", "--photo", "plate.png"], ""),
    (["job", "state", "1", "--open", "unplugged"], ""),
    (["job", "state", "1", "--shut", "unplugged"], ""),
    (["job", "note", "1", "smell", "of", "gas"], ""),
    (["job", "safe", "1", "--note", "gas supplier tested, nothing left"], ""),
    (["job", "close", "1", "referred"], ""),
    (["job", "close", "1", "came_back", "--on", TODAY], ""),
    (["bench"], TALK),
    (["report", "1", "--to", "page.html"], ""),
    (["demo", "--save", "demo"], ""),
    (["drill", "play", "--new", "--seed", "7"], DRILL),
    (["log", "import", "jobs.csv", "--yes"], ""),
    (["log", "import", "--store", "--name", "own"], ""),
    (["log", "import", "more.csv", "--yes", "--add-to", "jobs"], ""),
    (["log", "export", "jobs", "--to", "out.csv"], ""),
    (["shop", "new", "my_shop.toml"], ""),
    (["shop", "from-log", "jobs", "other_shop.toml"], ""),
    (["log", "import", "toys.csv", "--yes", *TOY], ""),
    (["revision", "accept", FIRST, "--anyway", *TOY], ""),
    (["revision", "accept", SECOND, "--anyway", *TOY], ""),
    (["revision", "rollback", *TOY], ""),
    (["revision", "name", SECOND, "winter", *TOY], ""),
    (["revision", "drop", SECOND, *TOY], ""),
    (["job", "revision", "2", FIRST], ""),
    (["appliance", "add", "toy.toml", "--name", "mine"], ""),
    (["appliance", "export", "toy.toml", "--out", "toy.bif"], ""),
    (["appliance", "remove", "mine"], ""),
    (["job", "show", "1", "--figure", "job.svg"], ""),
    (["next", *SLOW, "--figure", "next.svg"], ""),
    (["odds", *SLOW, "--figure", "odds.svg"], ""),
    (["chart", "plan", *SLOW, "--nodes", "5", "--to", "plan.svg"], ""),
    (["trial", "--jobs", "1", "--policies", "cheapest", "--workers", "1", "--figure", "trial.svg"], ""),
    (["drill", "sheet", "--to", "sheet.html"], ""),
    (["drill", "score", "ann", "--figure", "score.svg"], ""),
    (["drill", "class", "--csv", "class.csv"], ""),
    (["drill", "forget", "ann"], ""),
    (["tune", "toys", "--sweeps", "50", "--figure", "tuned.svg", *TOY], ""),
    (["audit", "toys", "--first", "5", "--refits", "1", "--no-rivals", "--figure", "audit.svg", *TOY], ""),
    (["learn", "toys", "--yes", *TOY], ""),
    (["revision", "show", FIRST, "--figure", "revision.svg", *TOY], ""),
    (["data", "wipe", "--yes"], ""),
]

LOOK: list[list[str]] = [
    ["read", "igniter_ohms", "155"],
    ["calc", "duct", "22ft"],
    ["calc", "airflow", "1150fpm"],
    ["calc", "drytime", "8.5lb", "13.3lb"],
    ["calc", "input", "1/2", "84s"],
    ["calc", "orifice", "42", "3.5inwc"],
    ["calc", "co", "12ppm"],
    ["calc", "thermistor", "72F"],
    ["calc", "winding", "1.15k", "--hot", "1.3k"],
    ["job", "next", "1"],
    ["job", "list"],
    ["job", "why", "1"],
    ["log", "list"],
    ["log", "describe", "jobs"],
    ["log", "phrases", "jobs"],
    ["revision", "list", *TOY],
    ["revision", "diff", *TOY],
    ["ask", *SLOW],
    ["stock"],
    ["shop", "check", "my_shop.toml"],
    ["shop", "show", "my_shop.toml"],
    ["data", "where"],
    ["appliance", "list"],
    ["appliance", "show", "toy"],
    ["appliance", "check", "toy"],
]


def every_command() -> Iterator[tuple[str, Any]]:
    """Every command with its full name, as typer has it."""
    for name, (module, app, _) in COMMANDS.items():
        found = typer.main.get_command(getattr(import_module(f"faultodds_cli.{module}"), app))
        below = getattr(found, "commands", None)
        yield from ((f"{name} {n}", c) for n, c in below.items()) if below else [(name, found)]


def files_it_writes(command: Any) -> list[str]:
    """The options of a command that name a file or a folder to write."""
    to = [p for p in command.params if p.opts[0] in ("--to", "--out", "--figure", "--csv", "--save")]
    return [p.opts[0] for p in to if p.metavar in ("FILE", "FOLDER")]
