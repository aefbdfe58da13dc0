"""Every figure, from made-up inputs at their worst, keeps the laws of print: type, place, marks, tones, words, bytes."""

from __future__ import annotations

import dataclasses
import itertools
import os
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from msgspec.structs import replace

from faultodds.advice.sensitivity.margins import Edge, Sensitivity, WhatIf, sensitivity
from faultodds.audit.intervals import Interval
from faultodds.audit.results import Audit, CurvePoint, Row
from faultodds.audit.scores import Decomposition
from faultodds.audit.stages import STAGES
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.posterior import Belief, infer
from faultodds.charts import style
from faultodds.charts.audit_figure import audit_figure, person_figure
from faultodds.charts.course_figure import MOST_STEPS, course_figure
from faultodds.charts.network_figure import network_figure
from faultodds.charts.network_page import NetworkPage, network_page
from faultodds.charts.policies_figure import PolicyBar, policies_figure
from faultodds.charts.priors_figure import MOST_ROWS, forest_figure
from faultodds.charts.tornado_figure import tornado_figure
from faultodds.charts.typeset import wrapped
from faultodds.errors import ClashError, FaultoddsError
from faultodds.tuning.learned_words import Item, Kind
from figure_laws import APART, broken, lightness
from random_evidence import random_evidence
from small_problems import random_appliance

SEEDS = int(os.environ.get("FAULTODDS_FIGURE_STATES", "5"))  # of each figure
Draw = Callable[[np.random.Generator], Figure]
WORDS = ["duct", "hood", "lint", "screen", "$5", "coil", "igniter", "thermostat", "100%", "packed", "worn", "x^2"]


def title(rng: np.random.Generator, most: int = 14) -> str:
    """A title of up to so many words, sums of money and percents among them."""
    return " ".join(rng.choice(WORDS, int(rng.integers(1, most))))


@cache
def dryer() -> Appliance:
    """The shipped gas dryer."""
    return open_appliance("gas_dryer", revision="file")


def beliefs(rng: np.random.Generator, few: int = 0) -> Iterator[Belief]:
    """Beliefs of the dryer after drawn facts, findings and repairs, at least `few` of them in all."""
    while True:
        evidence = random_evidence(dryer(), rng)
        try:
            belief = infer(dryer().suspects, evidence)
        except ClashError:
            continue
        if len(evidence.seen) + len(evidence.repairs) > few:
            yield belief


def priors(rng: np.random.Generator) -> Figure:
    """Numbers of one kind, over several powers of ten, some without an interval or file number."""
    kind: Kind = rng.choice(["causes", "facts", "checks"])
    rows = []
    for i in range(int(rng.integers(1, MOST_ROWS + 1))):
        value = float(10 ** rng.uniform(-4, 0)) if rng.random() < 0.8 else float(rng.choice([1e-4, 1.0]))
        low, high = (value * float(rng.uniform(0.1, 1)), min(1.0, value * float(rng.uniform(1, 4))))
        bare = rng.random() < 0.3
        file = None if rng.random() < 0.2 else value * float(rng.uniform(0.3, 1))
        more = (None, None, None) if bare else (low, high, float(rng.integers(0, 20000)))
        rows.append(Item(f"p{i}", kind, title(rng), value, file, *more))
    return forest_figure(rows, title(rng, 25), title(rng))


def audit(rng: np.random.Generator) -> Figure:
    """An audit of two to seven methods with any curve, at the edges of the scale too."""
    methods = ["file", "learned", *(title(rng, 4) + f" {i}" for i in range(int(rng.integers(0, 6))))]
    stages = STAGES[-int(rng.integers(1, 6)) :]
    zero = Interval(0.0, 0.0, 0.0)

    def row(stage, method):  # type: ignore[no-untyped-def]
        stated = np.sort(rng.choice([0.0, 1.0, *rng.random(8)], int(rng.integers(1, 9)), replace=False))
        right = rng.choice([0.0, 1.0, *rng.random(4)], len(stated))
        curve = tuple(
            CurvePoint(float(s), float(r), r * 0.8, r + (1 - r) * 0.2, 9) for s, r in zip(stated, right, strict=True)
        )
        return Row(
            stage, method, float(rng.uniform(0, 3)), Decomposition(0, 0, 0, 0, 0), zero, 0.0, 0.0, 0.0, None, curve
        )

    rows = tuple(row(s, m) for s in stages for m in methods)
    return audit_figure(Audit(rows, {"scored": int(rng.integers(50, 100000))}, ()), methods[1])


def policies(rng: np.random.Generator) -> Figure:
    """Two to eight policies with money at seven stages, some of it nothing."""
    stages = ("access", "checks", "repairs", "parts", "verification", "callbacks", "handing_over")
    bars = []
    for _ in range(int(rng.integers(2, 9))):
        money = {s: float(rng.choice([0.0, rng.uniform(0, 300)])) for s in stages}
        cost = sum(money.values())
        bars.append(PolicyBar(title(rng, 9), money, cost * 0.8, cost * 1.3 + 1))
    return policies_figure(bars, 20.0, title(rng), "USD")


def tornado(rng: np.random.Generator) -> Figure:
    """Inputs of every kind, any of whose ends may change the advice or not have been reached."""
    real = found()

    def edge(w: WhatIf, up: bool) -> Edge | None:
        if rng.random() < 0.15:
            return None
        end = w.now * float(rng.uniform(1, 20)) if up else w.now * float(rng.uniform(0.01, 1))
        cost = None if rng.random() < 0.1 else real.move.expected_cost * float(rng.uniform(0.3, 3))
        return Edge(end, cost, *((None, None) if rng.random() < 0.5 else (0.5 * (end + w.now), real.move)))

    kinds = ("odds", "money", "minutes", "blind", "mistakes")
    rows = []
    for i in range(int(rng.integers(1, 20))):
        kind = str(rng.choice(kinds))
        w = WhatIf(
            f"x{i}", title(rng, 20), kind, float(rng.uniform(0, 900 if kind in ("money", "minutes") else 1)), None, None
        )
        rows.append(dataclasses.replace(w, below=edge(w, False), above=edge(w, True)))
    return tornado_figure(dryer().knowledge, dataclasses.replace(real, what_ifs=tuple(rows)))


@cache
def found() -> Sensitivity:
    """What matters on one small problem, in the names of the dryer."""
    small = random_appliance(3)
    belief = infer(small.suspects, random_evidence(small, np.random.default_rng(1)))
    got = sensitivity(small, belief, evaluations=30)
    check = next(iter(dryer().knowledge.check))
    return dataclasses.replace(got, move=replace(got.move, kind="check", name=check, together=()))


def course(rng: np.random.Generator) -> Figure:
    """A job of the dryer after drawn steps."""
    return course_figure(dryer().knowledge, next(beliefs(rng)))


def page(rng: np.random.Generator) -> NetworkPage:
    """The network after drawn steps, with any checks still to be done."""
    k = dryer().knowledge
    return network_page(k, next(beliefs(rng)), list(rng.choice(list(k.check), 3, replace=False)))


def network(rng: np.random.Generator) -> Figure:
    """Its figure."""
    return network_figure(page(rng))


def person(rng: np.random.Generator) -> Figure:
    """Somebody's own odds, at the edges of the scale too; one point to five."""
    stated = np.sort(rng.choice([0.0, 1.0, *rng.random(5)], int(rng.integers(1, 6)), replace=False))
    right = rng.choice([0.0, 1.0, *rng.random(4)], len(stated))
    points = [CurvePoint(float(s), float(r), r * 0.8, r + (1 - r) * 0.2, 9) for s, r in zip(stated, right, strict=True)]
    return person_figure(title(rng, 5), points, title(rng, 40))


FIGURES: dict[str, Draw] = {f.__name__: f for f in (priors, audit, policies, tornado, course, network, person)}


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_keeps_the_laws_whatever_it_is_given(name: str) -> None:
    """Type of 8 points at least, labels apart and on a page, marks whole, tones apart in grey, words instead of codes."""
    for seed in range(SEEDS):
        assert broken(FIGURES[name](np.random.default_rng(seed))) == [], seed


@pytest.mark.parametrize("plant", [None, "default"])
def test_text_is_as_wide_as_it_is_measured(plant: str | None) -> None:
    """No line that was broken to a room is drawn wider at the dots of a PNG; with letters fitted to its dots some are."""
    import matplotlib as mpl

    rng = np.random.default_rng(4)

    @style.in_style
    def drawn() -> float:
        figure = style.begun(3.0, layout=None)
        figure.set_dpi(150)
        room, size, weight = float(rng.uniform(60, 500)), float(rng.uniform(8, 12)), str(rng.choice(["normal", "bold"]))
        lines = wrapped(f"{title(rng, 60)} 7 min {title(rng, 9)} ...", room, size, weight)
        assert not [line for line in lines if line.text.startswith(("min", "...", "%"))]
        with mpl.rc_context({"text.hinting": plant} if plant else {}):
            texts = [figure.text(0, 0, line.text, fontsize=size, fontweight=weight) for line in lines]
            return max(t.get_window_extent().width * 72 / figure.dpi for t in texts) - room

    over = max(drawn() for _ in range(30))
    assert (over > 2.0) if plant else (over < 1.0), over


def test_two_outcomes_of_one_check_are_told_apart() -> None:
    """However long the check's name and what it hangs on are."""
    check, hangs = (
        "Watch the burner through the sight hole for three cycles",
        "heat reaching the drum too hot, cut by the limit",
    )
    titles = [f"{check}: '{shown}' with {hangs} no, {hangs} yes, wiring ok" for shown in ("short cycles", "no call")]
    rows = [Item(t, "checks", t, 0.4, 0.2, 0.3, 0.5, 148.0) for t in titles]
    labels = [t.get_text() for t in forest_figure(rows, "t", "x").axes[0].get_yticklabels()]
    assert len(set(labels)) == 2, labels


@pytest.mark.parametrize("suffix", style.SUFFIXES)
@pytest.mark.parametrize("name", FIGURES)
def test_same_input_same_bytes(name: str, suffix: str, tmp_path: Path) -> None:
    """Drawn and written twice, of the kind its name says."""
    one, two = tmp_path / f"one{suffix}", tmp_path / f"two{suffix}"
    for path in (one, two):
        style.save(FIGURES[name](np.random.default_rng(5)), path)
    assert one.read_bytes() == two.read_bytes()
    if suffix == ".svg":  # said by a screen reader
        assert len(one.read_text("utf-8").partition("<title>")[2].partition("</title>")[0]) > 5
    assert one.read_bytes().startswith({".png": b"\x89PNG", ".svg": b"<?xml", ".pdf": b"%PDF"}[suffix])


def test_tones_get_lighter_step_by_step() -> None:
    """Up to seven tones, each so much lighter than the last that a grey print shows it, and none lost on white."""
    for count in range(2, 8):
        values = [lightness(t) for t in style.tones(count)]
        assert min(b - a for a, b in itertools.pairwise(values)) >= APART
        assert values[-1] < 90


@pytest.mark.parametrize(
    ("plant", "said"),
    [
        (lambda f: f.axes[0].texts[0].set_fontsize(6) or f.axes[0].title.set_fontsize(7), "point: "),
        (
            lambda f: f.axes[0].annotate("a label", (0.5, 0.5), xycoords="axes fraction").set_text("dry_time=longer"),
            "a code: ",
        ),
        (lambda f: [f.text(0.3, 0.02, "one label over"), f.text(0.31, 0.025, "another")], "touching: "),
        (lambda f: f.text(0.9, 0.5, "a label far too long to end on the page"), "outside the page: "),
        (lambda f: f.axes[0].plot([0, 1], [0, 1], "o", clip_on=True, transform=f.axes[0].transData), "a mark is cut"),
        (lambda f: f.set_size_inches(9.6, 11.7), "do not fit a page"),
    ],
    ids=["small type", "a code", "touching", "outside", "a cut mark", "too large"],
)
def test_a_planted_mistake_is_seen(plant: Callable[[Figure], object], said: str) -> None:
    """Each law can fail: a figure that keeps them all is spoilt in one way, and that is told."""
    figure = plain()
    assert broken(figure) == []
    plant(figure)
    assert any(said in told for told in broken(figure)), broken(figure)


def plain(tones: tuple[str, str] = ("black", "#999999")) -> Figure:
    """A small figure with a title, a note, a line with marks, and a legend of two bars in these tones."""
    figure = style.begun(3.0)
    axes = figure.subplots()
    axes.set_title("a title in words")
    axes.text(0.4, 0.6, "a note", fontsize=9)
    axes.plot([0.2, 0.8], [0.5, 0.5], "o")
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    figure.legend(
        handles=[Patch(color=t, label=f"bar number {i}") for i, t in enumerate(tones)], loc="outside right upper"
    )
    return figure


def test_tones_that_a_grey_print_mixes_up_are_seen() -> None:
    """Red and green of one lightness are two colours on a screen and one in grey."""
    assert any("alike in grey" in told for told in broken(plain(("#c1272d", "#3e7d1e"))))


def test_a_course_shows_the_steps_that_moved_most() -> None:
    """Rows are steps in order, the first before anything was known; every drawn chance is the belief's own, and the last row
    is what the odds are now."""
    rng = np.random.default_rng(8)
    for belief, _ in zip(beliefs(rng, few=4), range(6), strict=False):
        axes = course_figure(dryer().knowledge, belief).axes[0]
        assert 2 <= len(axes.get_yticks()) <= MOST_STEPS + 1
        now = {dryer().knowledge.title_of(o.name): o.probability for o in belief.fault_odds()}
        for line in axes.lines:
            match = [p for full, p in now.items() if full.startswith(str(line.get_label())[:30])]
            assert any(abs(line.get_xdata()[-1] - 100 * p) < 1e-6 for p in match), line.get_label()


def test_small_chances_have_the_room() -> None:
    """The scale of a course ends at the next 20 % above what is drawn: 5 % is not pressed against the edge."""
    rng = np.random.default_rng(8)
    for belief, _ in zip(beliefs(rng, few=1), range(6), strict=False):
        axes = course_figure(dryer().knowledge, belief).axes[0]
        highest = max(float(np.max(line.get_xdata())) for line in axes.lines)
        assert highest <= axes.get_xlim()[1] <= min(100.0, highest + 20.0)


def test_shares_of_a_check_are_explained_below_what_matters() -> None:
    """A tornado says what its hatching means, and "tells nothing" and "mistakes left" only where they stand."""
    w = WhatIf("x", "tells nothing: look", "blind", 0.0, None, Edge(1.0, 400.0, 0.98, found().move))
    said = [
        tornado_figure(dryer().knowledge, dataclasses.replace(found(), what_ifs=(dataclasses.replace(w, kind=kind),)))
        .axes[0]
        .get_xlabel()
        for kind in ("blind", "money")
    ]
    assert ["share of looks" in text for text in said] == [True, False]
    assert all("hatched: the advice changes" in text for text in said)


def test_before_anything_is_known_there_is_no_course() -> None:
    """It says what to type instead of drawing an empty page."""
    from faultodds.belief.evidence import Evidence

    with pytest.raises(FaultoddsError, match="no step to draw yet"):
        course_figure(dryer().knowledge, infer(dryer().suspects, Evidence()))


def test_the_network_has_only_what_matters_and_every_line_is_the_files() -> None:
    """Each box leads somewhere or is led to, lines go from left to right one column at a time, boxes stand apart, and what is
    joined is joined in the knowledge file."""
    for seed in range(SEEDS):
        drawn = page(np.random.default_rng(seed))
        led = {id(t) for n in drawn.nodes for t in n.to}
        for node in drawn.nodes:
            assert node.kind in ("fault", "seen", "next") or (node.to and id(node) in led), node
            assert all(t.column == node.column + 1 for t in node.to)
            if node.kind == "line":
                cause, _, shown = node.name.partition(" to ")
                assert _joined(cause, shown), node.name
            assert all(_joined(node.name, t.name) for t in node.to if "line" not in (node.kind, t.kind)), node.name
        for column in range(max(n.column for n in drawn.nodes) + 1):
            stack = sorted((n for n in drawn.nodes if n.column == column), key=lambda n: -n.top)
            assert all(a.top - a.height > b.top for a, b in itertools.pairwise(stack))


def _joined(cause: str, shown: str) -> bool:
    k = dryer().knowledge
    refs = (
        k.mechanism[shown].causes
        if shown in k.mechanism
        else [*k.observables[shown].links, *k.observables[shown].depends_on]
    )
    return any(r == cause or r.partition(".")[0] == cause or r == cause.partition(".")[0] for r in refs)
