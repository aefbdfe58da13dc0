"""The options that commands share, and the settings of every command's typer app.

A command module exports an app made by `new_app`, called `app` (one command in it is a plain command, several are a group);
`main.COMMANDS` names it, and it is imported only when it is typed. A shared option is used as `fact: options.Fact = None`, so
that every command has it in the same words. No command module imports the library at module level beyond its errors, so that
`--help` and a stop sign cost nothing.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

DEFAULT_APPLIANCE = ""
"""The one that is usual here: `files.find` knows it."""
Texts = list[str] | None

Appliance = Annotated[
    str,
    typer.Option(
        "--appliance",
        metavar="NAME|FILE",
        help="A shipped appliance, one of your own, or a knowledge file. If not given: FAULTODDS_APPLIANCE, the "
        "shop file's, or the gas dryer.",
        show_default=False,
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def _room(text: str | None) -> str | None:
    if text is not None:
        from faultodds.readings import refuse_no_room

        refuse_no_room(text)
    return text


Ambient = Annotated[
    str | None,
    typer.Option("--ambient", metavar="TEMP", help="Room temperature, such as 72F or 22C.", callback=_room),
]
Qualified = Annotated[
    bool,
    typer.Option(
        "--qualified-work/--no-qualified-work",
        help="Whether to offer energised and gas-pressure work, which is for qualified people.",
    ),
]
JobQualified = Annotated[
    bool | None,
    typer.Option(
        "--qualified-work/--no-qualified-work",
        help="Whether to offer energised and gas-pressure work, which is for qualified people; kept with the job.",
    ),
]
Revision = Annotated[
    str | None,
    typer.Option(
        "--revision",
        metavar="ID|file",
        help="Learned numbers to use: a revision, or file for the knowledge file's own. The accepted one if not given.",
    ),
]
Labour = Annotated[
    float | None,
    typer.Option("--labour-rate", metavar="MONEY", min=0, max=1e7, help="Labour an hour, instead of the file's."),
]
Shop = Annotated[
    str | None,
    typer.Option(
        "--shop",
        metavar="FILE|none",
        help="Your shop's prices and minutes. FAULTODDS_SHOP, or shop.toml in your data folder, if not given.",
    ),
]
Budget = Annotated[
    float | None, typer.Option("--budget", metavar="MONEY", max=1e9, help="Parts for at most so much money.")
]
Shelf = Annotated[int | None, typer.Option("--shelf", metavar="N", max=10_000, help="Room for at most N parts.")]
Technician = Annotated[
    str | None,
    typer.Option(
        "--technician", metavar="NAME", help="Who goes, as the shop file has it. FAULTODDS_TECHNICIAN if not given."
    ),
]

Effort = Annotated[
    int,
    typer.Option(
        "--effort",
        metavar="N",
        min=1,
        max=6,
        help="How far to look ahead, 1 to 6; each step about doubles the time. Same effort, same answer.",
    ),
]

Figure = Annotated[
    Path | None, typer.Option("--figure", metavar="FILE", help="Also draw it: figure.png, .svg or .pdf.")
]
Paper = Annotated[str, typer.Option("--paper", metavar="PAPER", help="letter or a4, for a PDF.")]
Force = Annotated[bool, typer.Option("--force", help="Write over a file that is there.")]
Since = Annotated[
    str, typer.Option("--since", metavar="DAY", help="Learn only from jobs from this day on: 2025-04-01.")
]
Branch = Annotated[str, typer.Option("--branch", metavar="NAME", help="Learn only from this branch's jobs.")]

# ---- what is known of a call ----

Fact = Annotated[
    Texts, typer.Option("--fact", "-f", metavar="NAME=VALUE", help="What is known about machine and house. Repeatable.")
]
Found = Annotated[
    Texts,
    typer.Option("--found", "-o", metavar="NAME=OUTCOME", help="A symptom or check and what it showed. Repeatable."),
]
Reading = Annotated[
    Texts, typer.Option("--reading", "-r", metavar="CHECK=TEXT", help='A raw reading: coil_ohms="1.15k". Repeatable.')
]
Repaired = Annotated[
    Texts, typer.Option("--repaired", metavar="NAME", help="A repair done after all the findings given. Repeatable.")
]
After = Annotated[
    Texts, typer.Option("--after", metavar="NAME=OUTCOME", help="What was found after the repairs. Repeatable.")
]
Open = Annotated[
    Texts, typer.Option("--open", metavar="ITEM", help="What is open, shut off or moved now: unplugged, front_open.")
]
Skip = Annotated[Texts, typer.Option("--skip", metavar="NAME", help="A check or repair that cannot be done now.")]
Top = Annotated[
    int, typer.Option("--top", metavar="N", min=1, max=60, help="How many checks, repairs and faults to show.")
]

# ---- stored jobs ----

Data = Annotated[
    str | None,
    typer.Option(
        "--data", metavar="FOLDER", help="Where jobs are kept, instead of your data folder (or FAULTODDS_DATA)."
    ),
]
LogData = Annotated[
    str | None,
    typer.Option(
        "--data",
        metavar="FOLDER",
        help="Where the log was imported to, instead of your data folder (or FAULTODDS_DATA).",
    ),
]
Job = Annotated[str, typer.Argument(metavar="JOB", help="The number of the job.")]
JobAppliance = Annotated[
    str | None,
    typer.Option(
        "--appliance",
        metavar="NAME|FILE",
        help="A shipped appliance, one of your own, or a knowledge file. A job goes on with the one it was started on.",
    ),
]


def refuse_figure(figure: Path | None, force: bool, example: str = "figure.png") -> None:
    """Refuse a figure that could not be written, before any work is done."""
    if figure is not None:
        from faultodds.charts import check_path

        check_path(figure, example, force=force)


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
