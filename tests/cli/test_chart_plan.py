"""`chart plan`: the whole plan on one printed page."""

from __future__ import annotations

import itertools
from datetime import date
from pathlib import Path

import pytest

from faultodds.advice.plan.tree import Plan, PlanStep, make_plan
from faultodds.advice.situation import may_be
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.evidence import Evidence, WeighedFinding
from faultodds.belief.posterior import Belief, infer
from faultodds.charts.plan_figure import draw, save_plan
from faultodds.charts.plan_page import PAPERS, Page, laid_out
from faultodds.charts.typeset import wrapped
from faultodds.safety.duties import at_once
from figure_laws import broken
from run_cli import faultodds, write_toy

DAY = date(2026, 1, 2)


@pytest.fixture(scope="module")
def toy_file(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The toy appliance as a file."""
    return str(write_toy(tmp_path_factory.mktemp("toy") / "toy.toml"))


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer")


@pytest.fixture(scope="module")
def belief(dryer: Appliance) -> Belief:
    """A dryer that takes long."""
    return infer(dryer.suspects, Evidence({"control": "timer"}, (WeighedFinding("dry_time", {"longer": 1.0}),)))


@pytest.fixture(scope="module")
def plan(dryer: Appliance, belief: Belief) -> Plan:
    """Its plan, with more steps than fit on a page."""
    return make_plan(dryer, belief, depth=4, nodes=26)


@pytest.mark.parametrize("paper", list(PAPERS))
def test_everything_lies_on_the_page_and_nothing_overlaps(
    dryer: Appliance, belief: Belief, plan: Plan, paper: str
) -> None:
    """Every line of text lies on the page as drawn, none over another, none under 8 point, none a code."""
    figure = draw(laid_out(dryer, belief, plan, paper, DAY))
    assert sum(len(axes.texts) for axes in figure.axes) > 40
    assert broken(figure) == []


def test_no_two_boxes_overlap(dryer: Appliance, belief: Belief, plan: Plan) -> None:
    """Boxes stand apart, on the page, between head and foot, and hold their lines."""
    page = laid_out(dryer, belief, plan, "letter", DAY)
    boxes = list(page.root.boxes())
    assert len(boxes) >= 8
    for box in boxes:
        assert box.x >= 0 and box.x + page.column <= page.width
        assert box.top - box.height > 0 and box.top < page.height
        assert box.lines
    for a, b in itertools.combinations(boxes, 2):
        apart = a.x + page.column <= b.x or b.x + page.column <= a.x
        assert apart or a.top - a.height >= b.top or b.top - b.height >= a.top


def test_what_is_not_drawn_is_told_with_its_share(dryer: Appliance, belief: Belief, plan: Plan) -> None:
    """With what ends on the page it is every call; the line on the screen names it, however likely it is."""
    page = laid_out(dryer, belief, plan, "letter", DAY)
    last = plan.first
    while last.branches and last.branches[0].then is not None:
        last = last.branches[0].then
    drawn = last.reach if last.kind in ("stop", "refer") else 0.0
    assert 1.0 - _ended(plan.first) - 1e-9 <= page.beyond <= 1.0 - drawn + 1e-9
    assert page.beyond > 0.0


def _ended(step: PlanStep) -> float:
    """The chance that a call ends by the plan, on the page or not."""
    if step.kind in ("stop", "refer"):
        return step.reach
    return sum(_ended(b.then) for b in step.branches if b.then is not None)


def test_a_plan_too_large_loses_its_least_likely_branches(dryer: Appliance, belief: Belief, plan: Plan) -> None:
    """What does not fit is put together as "otherwise"; the likeliest path is still there to its end, straight along the top."""
    page = laid_out(dryer, belief, plan, "letter", DAY)
    assert 1 < page.steps < sum(1 for _ in plan.first.steps())
    assert any("otherwise" in line.text for box in page.root.boxes() for line in box.lines)
    best, box = plan.first, page.root
    while best.branches and best.branches[0].then is not None and box.children:
        best, box = best.branches[0].then, box.children[0]
        assert (box.kind, box.top) == (best.kind, page.root.top)
    assert len(list(box.texts)) > 2


@pytest.fixture(scope="module", params=[("dry_time", "longer"), ("heat", "cools_off")], ids=str)
def deep(request: pytest.FixtureRequest, dryer: Appliance) -> tuple[Belief, Plan]:
    """A complaint and its plan as deep as the page asks for."""
    name, outcome = request.param
    belief = infer(dryer.suspects, Evidence({}, (WeighedFinding(name, {outcome: 1.0}),)))
    return belief, make_plan(dryer, belief, depth=8, nodes=20)


def test_no_box_ends_with_ask_again_alone(dryer: Appliance, deep: tuple[Belief, Plan]) -> None:
    """Every last box says how the job ends, or which fault would lead where it has to be asked again."""
    belief, plan = deep
    page = laid_out(dryer, belief, plan, "letter", DAY)
    assert _bare(dryer, page) == []
    assert not [t for box in page.root.boxes() if box.kind == "ask" for t, _, _ in box.texts if "..." in t]
    assert "Dotted, or '...': drawn no further" in " ".join(line.text for line in page.head)
    last = [box for box in page.root.boxes() if not box.children][-1]
    last.texts = [("otherwise (9 %): ask again then", "normal", "black")]  # a planted mistake is seen
    assert _bare(dryer, page) == [last.texts[0][0]]


def _bare(dryer: Appliance, page: Page) -> list[str]:
    """What the last boxes say that name neither an end nor a fault."""
    k = dryer.knowledge
    ends = ["DONE", "HAND THE JOB OVER", *(k.title_of(mode) for mode, _ in k.modes())]
    said = [" ".join(text for text, _, _ in box.texts) for box in page.root.boxes() if not box.children]
    return [text for text in said if not any(end in text for end in ends)]


def test_the_likely_path_is_drawn_strongest(dryer: Appliance, belief: Belief, plan: Plan) -> None:
    """Its frames and lines are black and thick, all others thin; there are as many thick ones as the path has boxes."""
    page = laid_out(dryer, belief, plan, "letter", DAY)
    path = [page.root]
    while path[-1].children and path[-1].children[0].kind != "ask":
        path.append(path[-1].children[0])
    axes = draw(page).axes[0]
    thick = [p for p in axes.patches if p.get_linewidth() > 1.5]
    assert len(thick) == len(path) < len(axes.patches)
    assert sum(line.get_linewidth() > 1.5 for line in axes.lines) == len(path) - 1


def _text(page: Page) -> str:
    lines = [*page.head, *page.foot, *(line for box in page.root.boxes() for line in box.lines)]
    return " ".join(line.text for line in lines)


def test_the_page_says_what_it_rests_on_and_what_can_hurt(dryer: Appliance) -> None:
    """Appliance, date, revision and first guesses at the head; stop signs, power, gas and the code at the foot."""
    dark = {"dry_time": "longer", "drum_warm": "cold", "glow_look": "no_glow", "igniter_ohms": "open"}
    seen = tuple(WeighedFinding(name, {outcome: 1.0}) for name, outcome in dark.items())
    belief = infer(dryer.suspects, Evidence({"control": "timer"}, seen))
    plan = make_plan(dryer, belief, depth=2, nodes=8)  # past the free looks: it goes behind a panel
    said = _text(laid_out(dryer, belief, plan, "a4", DAY))
    for part in ("vented gas dryer", "2026-01-02", "Revision file", "from first guesses", "drying time: 1.3 to 2 times as long",
                 "STOP AT ONCE: smell of gas.", "Plug out and in sight, gas cock shut", "the local code"):  # fmt: skip
        assert part in said, part


def test_the_stop_signs_are_at_the_top_whole_and_as_large_as_the_plan(
    dryer: Appliance, belief: Belief, plan: Plan
) -> None:
    """Each sign with every one of its steps, before anything else, in the size of the boxes."""
    page = laid_out(dryer, belief, plan, "letter", DAY)
    stops = [line for line in page.head if line.weight == "bold" and line.size == page.size]
    assert page.head[: len(stops)] == stops
    said = " ".join(line.text for line in stops)
    for sign in dryer.knowledge.stop.values():
        assert f"STOP AT ONCE: {sign.title}. {' '.join(sign.steps)}" in said
    assert {line.size for box in page.root.boxes() for line in box.lines} == {page.size}


@pytest.mark.parametrize(
    "found",
    [
        {"manifold_pressure": "high"},
        {"hood_flap": "none"},
        {"transition_look": "off"},
        {"manifold_pressure": "high", "hood_air_speed": "very_low"},
    ],
)
def test_what_is_to_be_done_at_once_leads_the_page(dryer: Appliance, found: dict[str, str]) -> None:
    """Everything that the findings call for, whole, before anything else, bold and in the size of the body; on a page for
    findings that call for nothing there is none."""
    seen = tuple(WeighedFinding(name, {outcome: 1.0}) for name, outcome in found.items())
    known = infer(dryer.suspects, Evidence({}, seen))
    page = laid_out(dryer, known, make_plan(dryer, known, depth=1, nodes=3), "letter", DAY)
    now = at_once(dryer.knowledge, may_be(dryer.knowledge, known.evidence, known))
    told = "".join(f"AT ONCE: {text} " for text in now)
    body = [line.text for line in page.head if (line.weight, line.size) == ("bold", page.size)]
    assert len(now) == len(found) and " ".join(body).startswith(told)
    assert [line.text for line in page.head[: len(body)]] == body


def test_a_page_that_calls_for_nothing_at_once_says_nothing_of_it(dryer: Appliance, belief: Belief, plan: Plan) -> None:
    """It begins with the stop signs."""
    page = laid_out(dryer, belief, plan, "letter", DAY)
    assert page.head[0].text.startswith("STOP AT ONCE: ")


def test_long_words_are_broken_and_nothing_is_lost() -> None:
    """Lines are no wider than the room, and put together they are the text."""
    text = "short " + "x" * 80 + " and the rest of it"
    lines = wrapped(text, 90.0, 8.0)
    assert len(lines) > 4
    assert "".join(line.text for line in lines).replace(" ", "") == text.replace(" ", "")


@pytest.mark.parametrize("suffix", ["pdf", "png", "svg"])
def test_a_chart_is_written_the_same_each_time(
    dryer: Appliance, belief: Belief, plan: Plan, tmp_path: Path, suffix: str
) -> None:
    """Same plan and day, same bytes, of the kind asked for."""
    one, two = tmp_path / f"one.{suffix}", tmp_path / f"two.{suffix}"
    save_plan(dryer, belief, plan, one, day=DAY)
    save_plan(dryer, belief, plan, two, day=DAY)
    assert one.read_bytes() == two.read_bytes()
    start = {"pdf": b"%PDF", "png": b"\x89PNG", "svg": b"<?xml"}[suffix]
    assert one.read_bytes().startswith(start)


def test_chart_plan_tells_what_it_wrote(toy_file: str, tmp_path: Path) -> None:
    """The command names the file, the paper, the type and what did not fit; --json gives the same as an object."""
    to = tmp_path / "plan.pdf"
    argv = ["chart", "plan", "--appliance", toy_file, "--found", "slow=yes", "--to", str(to), "--depth", "2"]
    ran = faultodds(*argv, "--paper", "a4")
    assert ran.code == 0, ran.err
    assert "on one a4 page" in ran.text
    assert to.read_bytes().startswith(b"%PDF")
    got = faultodds(*argv, "--force", "--json").answer
    assert got["file"] == str(to)
    assert got["type_points"] >= 8
    assert 1 <= got["steps_shown"] <= got["steps"]
    assert 0.0 <= got["leaves_drawn"] <= 1.0


@pytest.mark.parametrize(
    ("more", "said"),
    [(["--to", "plan.doc"], "a figure ends in .png, .svg, .pdf. Type for example --to plan.pdf."),
     (["--to", "nowhere/plan.pdf"], "there is no folder nowhere."),
     (["--to", "plan.pdf", "--paper", "a3"], "--paper a3: known papers are letter, a4. Type for example --paper a4.")],
)  # fmt: skip
def test_a_chart_that_cannot_be_written_is_refused(toy_file: str, more: list[str], said: str) -> None:
    """A bad file, folder or paper is refused before the plan is worked out: exit 2 and what to type."""
    ran = faultodds("chart", "plan", "--appliance", toy_file, "--found", "slow=yes", *more)
    assert ran.code == 2
    assert said in ran.said
