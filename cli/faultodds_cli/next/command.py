"""`next`, `odds` and `read`: one question, one answer, nothing kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from faultodds_cli.shared.options import (
    DEFAULT_APPLIANCE,
    AmbientOption,
    ApplianceOption,
    EffortOption,
    JsonOption,
    LabourOption,
    QualifiedOption,
    RevisionOption,
    ShopOption,
    TechnicianOption,
    new_app,
    say,
    say_json,
)

if TYPE_CHECKING:
    from faultodds_cli.shared.options import View

FactOption = Annotated[
    list[str] | None,
    typer.Option("--fact", "-f", metavar="NAME=VALUE", help="What is known about machine and house. Repeatable."),
]
FoundOption = Annotated[
    list[str] | None,
    typer.Option("--found", "-o", metavar="NAME=OUTCOME", help="A symptom or check and what it showed. Repeatable."),
]
ReadingOption = Annotated[
    list[str] | None,
    typer.Option("--reading", "-r", metavar="CHECK=TEXT", help='A raw reading: coil_ohms="1.15k". Repeatable.'),
]
RepairedOption = Annotated[
    list[str] | None,
    typer.Option("--repaired", metavar="NAME", help="A repair done after all the findings given. Repeatable."),
]
AfterOption = Annotated[
    list[str] | None,
    typer.Option("--after", metavar="NAME=OUTCOME", help="What was found after the repairs. Repeatable."),
]
OpenOption = Annotated[
    list[str] | None,
    typer.Option("--open", metavar="ITEM", help="What is open, shut off or moved now: unplugged, front_open."),
]
SkipOption = Annotated[
    list[str] | None,
    typer.Option("--skip", metavar="NAME", help="A check or repair that cannot be done now."),
]
TopOption = Annotated[
    int,
    typer.Option("--top", metavar="N", min=1, max=60, help="How many checks, repairs and faults to show."),
]

PlanOption = Annotated[bool, typer.Option("--plan", help="Print the whole plan instead: what to do for each finding.")]
DepthOption = Annotated[
    int | None, typer.Option("--depth", metavar="N", help="With --plan: how many findings ahead. [default: 3]")
]
NodesOption = Annotated[
    int | None, typer.Option("--nodes", metavar="N", help="With --plan: how many decisions to work out. [default: 40]")
]
WhatIfOption = Annotated[
    bool, typer.Option("--what-if", help="Print what odds, prices or checks would change the advice instead.")
]

next_app = new_app("What to do next, from what you know now.")
odds_app = new_app("Fault odds from what you know now, with the weight of each finding.")
read_app = new_app("Judge one raw reading against its band.")


def call_as_given(
    appliance: str,
    fact: list[str] | None,
    found: list[str] | None,
    reading: list[str] | None,
    repaired: list[str] | None,
    after: list[str] | None,
    opened: list[str] | None,
    skip: list[str] | None,
    ambient: str | None,
    qualified: bool = True,
    labour_rate: float | None = None,
    revision: str | None = None,
    shop: str | None = None,
    technician: str | None = None,
    effort: int = 1,
) -> View:
    """The call as given on the command line. A stop sign stops before anything is loaded."""
    from faultodds.safety import stop_first

    stop_first(appliance, [*(fact or []), *(found or []), *(reading or []), *(after or [])])

    from faultodds.belief import open_appliance
    from faultodds.job import steps_for_one_shot, take_skip, take_state
    from faultodds.shop import priced
    from faultodds_cli.shared.options import look, unsaved_job

    ready = priced(open_appliance(appliance, revision=revision), shop, technician)
    k = ready.knowledge
    steps = steps_for_one_shot(k, fact or [], found or [], reading or [], repaired or [], ambient)
    steps += steps_for_one_shot(k, [], after or [], [], (), ambient)
    steps += [take_skip(k, name) for name in skip or []]
    if opened:
        steps.append(take_state(k, opened))
    return look(ready, unsaved_job(ready, steps), qualified, labour_rate, effort)


@next_app.command()
def next_command(
    fact: FactOption = None,
    found: FoundOption = None,
    reading: ReadingOption = None,
    repaired: RepairedOption = None,
    after: AfterOption = None,
    opened: OpenOption = None,
    skip: SkipOption = None,
    ambient: AmbientOption = None,
    qualified: QualifiedOption = True,
    labour_rate: LabourOption = None,
    top: TopOption = 3,
    effort: EffortOption = 1,
    plan: PlanOption = False,
    depth: DepthOption = None,
    nodes: NodesOption = None,
    what_if: WhatIfOption = False,
    appliance: ApplianceOption = DEFAULT_APPLIANCE,
    revision: RevisionOption = None,
    shop: ShopOption = None,
    technician: TechnicianOption = None,
    as_json: JsonOption = False,
) -> None:
    """What to do next, from what you know now: the advice and its steps, the other checks, the odds.

    Example: faultodds next --found dry_time=longer --fact vent_material=foil
    """
    _one_at_a_time(plan, what_if, depth, nodes)
    view = call_as_given(
        appliance, fact, found, reading, repaired, after, opened, skip, ambient, qualified, labour_rate, revision,
        shop, technician, effort,
    )  # fmt: skip
    if plan:
        from faultodds_cli.one_shot.plan import DEPTH, NODES, say_plan

        say_plan(view, DEPTH if depth is None else depth, NODES if nodes is None else nodes, as_json)
        return
    if what_if:
        from faultodds_cli.one_shot.what_if import say_what_if

        say_what_if(view, as_json)
        return
    if as_json:
        from faultodds.advice import next_answer

        say_json(next_answer(view.appliance, view.belief, view.advice, view.situation.state))
        return
    from faultodds_cli.shared import show

    parts = [
        show.evidence_lines(view),
        show.advice_lines(view),
        show.check_lines(view, view.advice.telling_checks[:top]),
        show.repair_lines(view, top),
        show.odds_lines(view, max(top, 5)),
        show.left_out_lines(view),
        show.revision_lines(view.appliance),
        show.shop_lines(view.appliance),
    ]
    say(show.paragraphs(parts))


def _one_at_a_time(plan: bool, what_if: bool, depth: int | None, nodes: int | None) -> None:
    """Refuse options that do not go together."""
    from faultodds.errors import FaultoddsError

    if plan and what_if:
        raise FaultoddsError("--plan and --what-if are two questions; ask them one after the other.")
    for name, value in (("--depth", depth), ("--nodes", nodes)):
        if value is not None and not plan:
            raise FaultoddsError(f"{name} {value} goes with --plan. Type for example --plan {name} {value}.")


@odds_app.command()
def odds_command(
    fact: FactOption = None,
    found: FoundOption = None,
    reading: ReadingOption = None,
    repaired: RepairedOption = None,
    after: AfterOption = None,
    ambient: AmbientOption = None,
    top: TopOption = 8,
    appliance: ApplianceOption = DEFAULT_APPLIANCE,
    revision: RevisionOption = None,
    as_json: JsonOption = False,
) -> None:
    """How likely each fault is now, what it was before, and what each finding says about the leading ones.

    Example: faultodds odds --found heat=none --found fuse_continuity=closed
    """
    view = call_as_given(
        appliance, fact, found, reading, repaired, after, None, None, ambient, revision=revision, shop="none",
        technician="none",
    )  # fmt: skip
    if as_json:
        from faultodds.advice import odds_answer

        say_json(odds_answer(view.appliance, view.belief))
        return
    from faultodds_cli.shared import show

    parts = [
        show.evidence_lines(view),
        show.odds_lines(view, top),
        show.weight_lines(view),
        show.unlisted_lines(view),
        show.left_out_lines(view),
        show.revision_lines(view.appliance),
    ]
    say(show.paragraphs(parts))


@read_app.command()
def read_command(
    check: Annotated[str, typer.Argument(metavar="CHECK", help="The check: coil_ohms, thermistor_ohms ...")],
    text: Annotated[str, typer.Argument(metavar="TEXT", help='What the meter shows: "1.15k", "OL", "142F".')],
    ambient: AmbientOption = None,
    fuel: Annotated[
        str | None, typer.Option("--fuel", help="natural or propane, where the band depends on it.")
    ] = None,
    leads: Annotated[str | None, typer.Option("--leads", help="Ohms of the test leads, such as 0.3.")] = None,
    appliance: ApplianceOption = DEFAULT_APPLIANCE,
    as_json: JsonOption = False,
) -> None:
    """Judge one raw reading: what it says, against which band, and how sure that is.

    Examples: faultodds read coil_ohms 1.15k / faultodds read thermistor_ohms 11.2k --ambient 72F
    """
    from faultodds.safety import stop_first

    stop_first(appliance, [f"{check}={text}"])

    from faultodds.advice import read_answer
    from faultodds.belief import open_appliance
    from faultodds.job import take_finding

    k = open_appliance(appliance, revision="file").knowledge  # no revision changes a meter's bands
    typed = text if leads is None else f"{text} leads {leads}"
    taken = take_finding(k, check, typed, {"fuel": fuel} if fuel else None, ambient, reading=True)
    assert taken.judgement is not None  # `reading` leaves no other way
    if as_json:
        say_json(read_answer(taken.finding.name, taken.judgement))
        return
    from faultodds_cli.shared import show

    say(show.judgement_lines(k, taken.finding.name, taken.judgement))
