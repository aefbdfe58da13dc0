"""What every command shares: its options, how an appliance and a call are opened, how answers are printed.

A command module exports a typer app made by `new_app`, called `app` (one command in it is a plain command,
several are a group); `main.COMMANDS` names it, and it is imported only when it is typed. No command module
imports the library at module level beyond its errors, so that `--help` and a stop sign cost nothing.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Any

import typer
from msgspec import Struct

if TYPE_CHECKING:
    from faultodds.advice import Advice, Situation
    from faultodds.belief import Appliance, Belief
    from faultodds.job import Job, Payload

DEFAULT_APPLIANCE = "gas_dryer"

ApplianceOption = Annotated[
    str,
    typer.Option("--appliance", metavar="NAME|FILE", help="A shipped appliance, or the path of a knowledge file."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
AmbientOption = Annotated[
    str | None, typer.Option("--ambient", metavar="TEMP", help="Room temperature, such as 72F or 22C.")
]
QualifiedOption = Annotated[
    bool,
    typer.Option(
        "--qualified-work/--no-qualified-work",
        help="Whether to offer energised and gas-pressure work, which is for qualified people.",
    ),
]
RevisionOption = Annotated[
    str | None,
    typer.Option(
        "--revision",
        metavar="ID|file",
        help="Learned numbers to use: a revision, or file for the knowledge file's own. The accepted one if not given.",
    ),
]
LabourOption = Annotated[
    float | None,
    typer.Option("--labour-rate", metavar="MONEY", min=0, help="Labour an hour, instead of the file's."),
]
ShopOption = Annotated[
    str | None,
    typer.Option(
        "--shop",
        metavar="FILE|none",
        help="Your shop's prices and minutes. FAULTODDS_SHOP, or shop.toml in your data folder, if not given.",
    ),
]
TechnicianOption = Annotated[
    str | None,
    typer.Option(
        "--technician", metavar="NAME", help="Who goes, as the shop file has it. FAULTODDS_TECHNICIAN if not given."
    ),
]

EffortOption = Annotated[
    int,
    typer.Option(
        "--effort",
        metavar="N",
        min=1,
        max=6,
        help="How far to look ahead, 1 to 6; each step about doubles the time. Same effort, same answer.",
    ),
]


def new_app(help_text: str) -> typer.Typer:
    """A typer app with this program's settings: plain text, no tracebacks of typer's own, help on `-h`."""
    return typer.Typer(
        help=help_text,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        no_args_is_help=True,
        context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    )


class View(Struct, frozen=True, dict=True):
    """A call as it stands: appliance, steps, and what they say. The advice is worked out when asked for."""

    appliance: Appliance
    job: Job
    situation: Situation
    belief: Belief

    @cached_property
    def advice(self) -> Advice:
        """What to do next."""
        from faultodds.advice import advise

        return advise(self.appliance, self.belief, self.situation)


def look(
    appliance: Appliance, job: Job, qualified: bool = True, labour_rate: float | None = None, effort: int = 1
) -> View:
    """The call as it stands; raises ClashError when nothing on the list explains the findings.

    A technician whom the shop file does not call qualified is offered no such work, whatever `qualified` says.
    """
    from faultodds.belief import infer
    from faultodds.job import evidence_of, situation_of

    belief = infer(appliance.suspects, evidence_of(appliance, job))
    qualified = qualified and (appliance.shop is None or appliance.shop.qualified)
    return View(appliance, job, situation_of(job, qualified, labour_rate, effort), belief)


def unsaved_job(appliance: Appliance, steps: Iterable[Payload]) -> Job:
    """A job that is in no store, from its steps."""
    from faultodds.job import Job, Step

    now = datetime.now(UTC)
    job = Job("unsaved", appliance.knowledge.appliance.id, appliance.revision, now)
    for number, payload in enumerate(steps, start=1):
        job = job.plus(Step(number, now, payload))
    return job


def say(lines: str | Iterable[str] = "") -> None:
    """Print text on standard output, in whatever characters it can show."""
    text = lines if isinstance(lines, str) else "\n".join(lines)
    sys.stdout.write(_showable(text, sys.stdout.encoding) + "\n")


def complain(text: str) -> None:
    """Print text on standard error."""
    sys.stderr.write(_showable(text, sys.stderr.encoding) + "\n")


def say_json(answer: Any) -> None:
    """Print one JSON object: keys in the answer's order, no infinities, ASCII so that any pipe takes it."""
    sys.stdout.write(json.dumps(answer, allow_nan=False) + "\n")


_PLAIN = str.maketrans(
    {"£": "GBP ", "€": "EUR ", "°": " deg ", "×": "x", "–": "-", "—": "-", "…": "...", "Ω": "ohm", "²": "2"}
)


def _showable(text: str, encoding: str | None) -> str:
    """The text with what the stream cannot encode spelt out."""
    name = encoding or "utf-8"
    try:
        text.encode(name)
    except UnicodeEncodeError:
        return text.translate(_PLAIN).encode(name, "replace").decode(name)
    return text
