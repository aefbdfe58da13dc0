"""Pages of a job: what stands first, what is left out, what may be read by everybody, and on what it is shown."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from html.parser import HTMLParser
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from PIL import Image

from faultodds.belief import open_appliance
from faultodds.charts.plan_page import PAPERS
from faultodds.charts.style import begun, save as save_figure
from faultodds.charts.typeset import text_width
from faultodds.errors import ClashError, FaultoddsError
from faultodds.job import Closed, Danger, Finding, Note, OpenJob, RepairDone, Store, evidence_of
from faultodds.job.steps import Payload, Safe
from faultodds.names import harmless
from faultodds.reports import Block, Page, as_html, customer_page, save_pdf, shop_page
from faultodds.reports.blocks import table
from faultodds.reports.html import COLOURS
from faultodds.reports.pdf import MARGIN, _sheets, _strips
from faultodds.reports.standing import GOVERNING
from faultodds.shop import Shop
from random_evidence import random_evidence
from run_cli import faultodds, said_on

DAY = date.today()
GOOD = Finding("verification_run", "dry_in_time")
COILS = (Finding("heat", "cools_off"), Finding("burner_watch", "lights_then_fails"), RepairDone("coil_set"))
NASTY = '<script>alert("x")</script> & <b onclick=1>'
MayBe = Callable[..., OpenJob]


@pytest.fixture
def job(tmp_path: Path) -> MayBe:
    """Makes a stored job of these steps, as they are, with what is kept with it."""

    def made(*payloads: Payload, title: str = "", **kept: str) -> OpenJob:
        store = Store.open(tmp_path)
        started = store.new_job("gas_dryer", revision="file", title=title)
        for payload in payloads:
            store.append(started.id, payload)
        visit = OpenJob.resume(store, started.id)
        for name, value in kept.items():
            visit.keep(name, value)
        return visit

    return made


def _everything(page: Page) -> str:
    return " ".join([page.title, *page.foot, said_on(page), as_html(page)])


class _Read(HTMLParser):
    """The tags of a page, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.said: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.said.append(data)


# --- what it says ---


def test_a_finished_job_for_the_customer(job: MayBe) -> None:
    """Found, done, checked, in that order and in plain words; no percentages, no names of checks; danger before money."""
    shop = Shop(parts={"coil_set": 39.0})
    page = customer_page(job(*COILS, GOOD, Closed("gone")), shop, DAY)
    heads = [b.text for b in page.blocks if b.kind == "head"]
    assert heads[:4] == ["What you told us", "What was found", "What was done", "How it was checked afterwards"]
    assert heads.index("In danger, at once") < heads.index("Price")
    said = said_on(page)
    assert "as good as sure" in said and "dry in its time" in said and "$39" in said
    assert not [b for b in page.blocks if b.kind == "alert"]
    assert not re.search(r"\d ?%|burner_watch|odds", said)


def test_a_repair_that_a_run_proved_is_not_called_uncertain(job: MayBe) -> None:
    """Without the run it is; a run on an earlier visit proves nothing of this one."""
    done = (Finding("dry_time", "longer"), RepairDone("clean_duct"))
    assert "it is not certain" in said_on(customer_page(job(*done), Shop(), DAY))
    assert "the run after the work was good" in said_on(customer_page(job(*done, GOOD, Closed("gone")), Shop(), DAY))
    back = customer_page(job(*done, GOOD, Closed("gone"), Closed("came_back", date.today())), Shop(), DAY)
    assert "the run after the work was good" not in said_on(back)


def test_a_reading_is_told_as_plainly_as_it_is(job: MayBe) -> None:
    """What is sure has no share; shares of a doubtful one add up."""
    sure = Finding("igniter_ohms", None, {"open": 1.0, "normal": 0.001}, "OL")
    split = Finding("hood_flap", None, {"weak": 0.335, "strong": 0.335, "none": 0.33})
    said = said_on(shop_page(job(sure, split), Shop(), DAY))
    assert 'Igniter resistance: open (read "OL")' in said
    shares = re.search(r"What: Outdoors: hood flap and draught by hand: (.*?); Likeliest", said)
    assert shares is not None
    assert sum(map(int, re.findall(r"(\d+)%", shares[1]))) == 100


def test_what_is_out_of_service_says_so_first_and_is_not_told_to_be_run(job: MayBe) -> None:
    """On both pages; a job that was handed over says that as well; nobody is told to watch the first load."""
    visit = job(
        Finding("heat", "none"), Finding("fuse_continuity", "open"), RepairDone("thermal_fuse"), Closed("referred")
    )
    for page in (customer_page(visit, Shop(), DAY), shop_page(visit, Shop(), DAY)):
        assert page.blocks[0].kind == "alert" and page.blocks[0].text.startswith("OUT OF SERVICE")
        kinds = [b.kind for b in page.blocks]
        assert kinds[: kinds.count("alert")] == ["alert"] * kinds.count("alert")
    said = said_on(customer_page(visit, Shop(), DAY))
    assert "handed over" in said and "Do not run it as things stand" in said and "Watch the first load" not in said


@pytest.mark.parametrize(
    ("steps", "first"),
    [
        (
            (Danger('STOP. smell of gas: "secret words"\n1. Out.'),),
            "DANGER was told of on this job: smell of gas. No switch",
        ),
        (
            (Danger('STOP. gas cannot be shut off at the machine: "secret words".\n1. Out.'),),
            "DANGER was told of on this job: gas cannot be shut off at the machine. Out.",
        ),
        (
            (Danger('STOP. smell of gas: "secret words"\n1. Out.'), Safe("neighbour says so")),
            "Danger was told of on this job and made safe",
        ),
        ((Finding("burner_watch", "burns_on"),), "OUT OF SERVICE"),
        ((Finding("dry_time", "longer"),), "NOT FINISHED"),
        ((*COILS, GOOD, Closed("gone"), Closed("came_back", DAY)), "NOT FINISHED: the complaint came back"),
    ],
    ids=["danger", "danger with a title of its own", "made safe", "burns on", "open", "came back"],
)
def test_what_comes_first(job: MayBe, steps: tuple[Payload, ...], first: str) -> None:
    """Danger, a machine that must not run, and a job that is not finished stand first; words that were typed do not."""
    page = customer_page(job(*steps), Shop(), DAY)
    assert page.blocks[0].kind == "alert" and page.blocks[0].text.startswith(first)
    assert "secret words" not in _everything(page) and "neighbour" not in _everything(page)
    assert "secret words" not in _everything(shop_page(job(*steps), Shop(), DAY))


def test_a_run_that_passed_before_it_came_back_is_told_as_such(job: MayBe) -> None:
    """It is not said that the machine was never run."""
    said = said_on(customer_page(job(*COILS, GOOD, Closed("gone"), Closed("came_back", DAY)), Shop(), DAY))
    assert "NOT run" not in said and "on an earlier visit; it came back since" in said


def test_no_price_but_the_shops_own(job: MayBe) -> None:
    """The knowledge file's first guesses are nobody's price list; what is not on the shop's list is said to be missing."""
    visit = job(*COILS, RepairDone("igniter"), GOOD, Closed("gone"))
    assert "$" not in said_on(customer_page(visit, Shop(), DAY))
    priced = said_on(customer_page(visit, Shop(parts={"igniter": 41.0}), DAY))
    assert "New igniter: $41" in priced and "Not on the list: New gas valve coils" in priced and "$34" not in priced


def test_names_and_remarks_only_when_asked_for(job: MayBe) -> None:
    """Title, notes, serial number, the reason of the ending, a technician who is not in the shop file."""
    visit = job(
        *COILS, GOOD, Note("key at Elm 4"), Closed("gone", note="Mrs Elmo agreed"),
        title="Mrs Elmo", serial="S-77", technician="Elmo junior", model="GD-200",
    )  # fmt: skip
    for page in (customer_page(visit, Shop(), DAY), shop_page(visit, Shop(), DAY)):
        assert not re.search("Elm|S-77", _everything(page)) and "GD-200" in _everything(page)
    full = _everything(shop_page(visit, Shop(), DAY, names=True))
    assert all(part in full for part in ("Mrs Elmo", "key at Elm 4", "Mrs Elmo agreed", "S-77", "Elmo junior"))


def test_the_shops_page_has_odds_by_step_and_which_numbers(job: MayBe) -> None:
    """Each finding with its reading and the likeliest fault after it; the file by its fingerprint."""
    visit = job(*COILS[:2], Finding("igniter_ohms", "normal", raw="140 ohm"), COILS[2], GOOD, Closed("gone"))
    (steps,) = [b for b in shop_page(visit, Shop(), DAY).blocks if b.kind == "table" and "What" in b.items]
    by_what = {row[1]: row[-1] for row in steps.rows}
    assert by_what[
        "Watch the burner through the sight hole for three cycles: lights, then glows without flame"
    ].startswith("gas valve coils: drop out when hot 9")
    assert any('read "140 ohm"' in what for what in by_what)
    said = said_on(shop_page(visit, Shop(), DAY))
    assert open_appliance("gas_dryer", revision="file").fingerprint in said and "Together:" in said


def test_findings_that_clash_make_a_page_all_the_same(job: MayBe, monkeypatch: pytest.MonkeyPatch) -> None:
    """A job that no fault explains has its pages: the customer's without a cause, the shop's with what clashes."""

    def clashing(*_: object) -> None:
        raise ClashError("these clash", ["heat=none", "drum_warm=warm"])

    for module in ("customer", "shop_page"):
        monkeypatch.setattr(import_module(f"faultodds.reports.{module}"), "chapters", clashing)
    visit = job(*COILS, GOOD)
    heads = [b.text for b in customer_page(visit, Shop(), DAY).blocks if b.kind == "head"]
    assert "What was found" not in heads and "What was done" in heads
    assert "cannot all be true of one machine: heat=none, drum_warm=warm" in said_on(shop_page(visit, Shop(), DAY))


def test_on_random_jobs_no_page_tells_anybody_to_run_what_must_not_run(job: MayBe) -> None:
    """Random calls with findings, repairs and endings: what stands in the way comes first, and no page says otherwise further
    down; a job that is not finished always says so."""
    rng, dryer = np.random.default_rng(8), open_appliance("gas_dryer", revision="file")
    stopped = finished = 0
    for number in range(24):
        evidence = random_evidence(dryer, rng)
        steps: list[Payload] = []
        for stage in range(len(evidence.repairs) + 1):
            steps += [Finding(f.name, next(iter(f.weights))) for f in evidence.seen if f.stage == stage]
            steps += [RepairDone(r.name) for r in evidence.repairs[stage : stage + 1]]
        ending = ("gone", "referred", "")[number % 3]
        visit = job(*steps, *([Closed(ending)] if ending else []))
        try:
            evidence_of(dryer, visit.job)
        except FaultoddsError:
            continue  # of two kinds of machine: no such job can be entered
        page = customer_page(visit, Shop(), DAY)
        alerts = [b.text for b in page.blocks if b.kind == "alert"]
        said = said_on(page)
        if visit.out_of_service():
            stopped += 1
            assert alerts[0].startswith("OUT OF SERVICE") and "Watch the first load" not in said
        if ending != "gone":
            assert any("NOT FINISHED" in text for text in alerts)
        finished += not alerts
        assert page.blocks[0].kind == ("alert" if alerts else "text") and GOVERNING in page.foot
    assert stopped and finished


# --- on what it is shown ---


def _contrast(one: str, other: str) -> float:
    """WCAG 2: the ratio of relative luminances."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_wcag_aa_for_every_colour_on_the_page(job: MayBe) -> None:
    """4.5 to 1 for every text on what it stands on; no colour is used besides these but that of lines (3 to 1)."""
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert all(_contrast(ink, paper) >= 4.5 for ink, paper in COLOURS.values())
    used = set(re.findall(r"#[0-9a-f]{6}\b", as_html(customer_page(job(*COILS, GOOD), Shop(), DAY))))
    assert used - {c for pair in COLOURS.values() for c in pair} == {"#767676"}
    assert _contrast("#767676", "#ffffff") >= 3


def test_nothing_is_wider_than_a_telephone_and_nothing_is_fetched(job: MayBe, tmp_path: Path) -> None:
    """No width over 20 rem but a largest one, every long word is broken, tables stack; nothing points at another address."""
    Image.new("RGB", (3000, 40)).save(tmp_path / "wide.png")
    visit = job(*COILS, GOOD)
    from faultodds.job import keep_photo

    keep_photo(visit, tmp_path / "wide.png")
    text = as_html(shop_page(visit, Shop(), DAY, names=True))
    style = text.partition("<style>")[2].partition("</style>")[0]
    for name, number, unit in re.findall(r"([\w-]*width)\s*:\s*([\d.]+)(px|rem|em|vw|cm|in)", style):
        assert name == "max-width" or float(number) <= (320 if unit == "px" else 20)
    assert (
        "overflow-wrap: anywhere" in style
        and "max-width: 100%" in style
        and "td, tbody th { display: block; }" in style
    )
    assert "nowrap" not in style.replace(".short { white-space: nowrap; }", "")
    assert not re.search(r"https?:|//[\w]|url\(|@import|<script|<link|<iframe", re.sub(r"base64,[^\"]*", "", text))
    pictures = [a for tag, a in _Read(text).tags if tag == "img"]
    assert pictures and all(a["src"].startswith("data:image/jpeg;base64,") and a["alt"] for a in pictures)


_WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp", "Zs")), min_size=1, max_size=20
)
_ANY = st.one_of(_WORDS, st.sampled_from([NASTY, "{{ 1 }}{% if %}", "'\"><img src=x>", "&lt;", "</style></p>"]))
_BLOCKS = st.lists(
    st.one_of(
        st.builds(Block, st.sampled_from(["alert", "head", "text"]), _ANY),
        st.builds(lambda t: Block("list", items=tuple(t)), st.lists(_ANY, min_size=1, max_size=3)),
        st.builds(lambda a, b: Block("table", items=(a, ""), rows=((a, b),)), _ANY, _ANY),
    ),
    max_size=5,
)


@settings(max_examples=60)
@given(title=_ANY, blocks=_BLOCKS)
def test_every_text_is_text_and_never_markup(title: str, blocks: list[Block]) -> None:
    """Whatever is typed: the page has the tags of its template and no other, and shows each text as it was typed, but for marks
    that cannot be seen."""
    page = Page(title, tuple(blocks), (NASTY,))
    read = _Read(as_html(page))
    known = (
        "html head meta title style body main footer h1 h2 p ul ol li table thead tbody tr th td figure img figcaption"
    )
    assert {tag for tag, _ in read.tags} <= set(known.split())
    assert all(not name.startswith("on") for _, attrs in read.tags for name in attrs)
    shown = "".join(read.said)
    typed = [title, NASTY, *(b.text for b in blocks)]
    typed += [t for b in blocks if b.kind in ("list", "table") for t in (*b.items, *(c for row in b.rows for c in row))]
    for text in typed:
        assert harmless(text) in shown


def test_nothing_that_a_screen_obeys_gets_onto_a_page(job: MayBe, tmp_path: Path) -> None:
    """Escapes, carriage returns and marks that turn the writing round: in a title and a note, on every page, sheet and figure."""
    nasty = "\x1b[31mred\r\u202egpj\u2066x\u200f\x00y"
    obeyed = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
    visit = job(*COILS, Note(nasty), title=nasty)
    own = Page(nasty, (Block("table", items=(nasty,), rows=((nasty,),)), Block("alert", nasty)), (nasty,))
    for page in (shop_page(visit, Shop(), DAY, names=True), customer_page(visit, Shop(), DAY, names=True), own):
        assert not obeyed.search(as_html(page))
        drawn = [line.text for strip in _strips(page, 400.0) for _, lines in strip.columns for line in lines]
        assert not [text for text in drawn if obeyed.search(text)]
    figure = begun(2.0, 3.0)
    figure.suptitle(nasty)
    save_figure(figure, tmp_path / "figure.svg")
    assert not obeyed.search((tmp_path / "figure.svg").read_text("utf-8"))


def test_no_line_begins_with_a_percent_sign_and_no_column_is_empty() -> None:
    """On the HTML page a number is tied to its unit as on the PDF; a column in which nothing stands is left out."""
    said = as_html(
        Page("t", tuple(table("head", ("When", "Minutes", "Odds"), [("8:00", "", "43 %"), ("8:05", "", "")])), ())
    )
    assert "43\u00a0%" in said
    assert ">Odds<" in said
    assert "Minutes" not in said


def test_the_page_can_be_read_out(job: MayBe) -> None:
    """Language, title, one first heading, heads of tables that are named, alerts marked as such."""
    read = _Read(as_html(shop_page(job(*COILS, GOOD), Shop(), DAY)))
    tags = [tag for tag, _ in read.tags]
    assert ("html", {"lang": "en"}) in read.tags and tags.count("h1") == 1 and tags.count("title") == 1
    assert all(a.get("scope") for tag, a in read.tags if tag == "th")
    assert as_html(shop_page(job(*COILS, GOOD), Shop(), DAY)).count("<h1>") == 1


@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_pdf_keeps_within_its_sheets_and_is_the_same_each_time(job: MayBe, tmp_path: Path, paper: str) -> None:
    """No line is wider than its room, no sheet taller, however long a word; text of at least 9 points; same bytes."""
    page = shop_page(job(*COILS, GOOD, Note("x" * 400 + NASTY), title="t" * 200), Shop(), DAY, names=True)
    height, width = PAPERS[paper]
    room, tall = width - 2 * MARGIN, height - 2 * MARGIN
    for sheet in _sheets(list(_strips(page, room)), tall - 18):
        assert sum(strip.gap + strip.height for strip in sheet) <= tall
        for left, lines in (column for strip in sheet for column in strip.columns):
            assert all(left + text_width(line.text, line.size, line.weight) <= room + 0.01 for line in lines)
            assert all(line.size >= 9 for line in lines)
    sheets = save_pdf(page, tmp_path / "a.pdf", paper)
    save_pdf(page, tmp_path / "b.pdf", paper)
    data = (tmp_path / "a.pdf").read_bytes()
    assert data == (tmp_path / "b.pdf").read_bytes() and data.startswith(b"%PDF")
    assert len(re.findall(rb"/Type /Page\b", data)) == sheets


# --- as it is typed ---


def test_report_writes_prints_and_overwrites_nothing(tmp_path: Path) -> None:
    """HTML and PDF by the ending; a file that is there stays unless --force is typed; a wrong ending says what is right."""
    data = ("--data", str(tmp_path))
    faultodds("job", "new", "--title", NASTY, "--found", "heat=none", *data)
    out = tmp_path / "job.html"
    assert faultodds("report", "1", "--to", str(out), *data).code == 0
    first = out.read_text(encoding="utf-8")
    assert "<script>" not in first
    again = faultodds("report", "1", "--for", "shop", "--to", str(out), *data)
    assert again.code == 2 and "Add --force" in again.said and out.read_text(encoding="utf-8") == first
    named = faultodds("report", "1", "--for", "shop", "--with-names", "--to", str(out), "--force", *data)
    assert named.code == 0 and "&lt;script&gt;" in out.read_text(encoding="utf-8")
    assert "ends in .html, .pdf" in faultodds("report", "1", "--to", str(tmp_path / "job.doc"), *data).said
    assert "NOT FINISHED" in faultodds("report", "1", *data).out
    assert faultodds("report", "1", "--json", *data).answer["blocks"][0]["kind"] == "alert"
    assert faultodds("report", "9", *data).code == 2 and faultodds("report", "1", "2026-11", *data).code == 2


def test_what_is_kept_with_a_job_and_a_photograph_without_its_place(tmp_path: Path) -> None:
    """Small, without what the camera wrote; on a closed job too; no finding; what is no picture is refused."""
    picture, exif = Image.new("RGB", (3000, 2000), "grey"), Image.Exif()
    exif[0x010F], exif[0x8825] = "camera of a named owner", {1: "N"}
    picture.save(tmp_path / "plate.jpg", exif=exif)
    data = ("--data", str(tmp_path))
    faultodds("job", "new", "--found", "heat=none", *data)
    kept = faultodds(
        "job", "keep", "1", "--model", "GD-200", "--part", "coils 12", "--photo", str(tmp_path / "plate.jpg"), *data
    )
    assert kept.code == 0 and "model: GD-200" in kept.text
    (photo,) = (tmp_path / "photos").iterdir()
    with Image.open(photo) as small:
        assert max(small.size) == 1280 and not small.getexif()
    assert b"named owner" not in photo.read_bytes()
    (tmp_path / "no.jpg").write_text("no picture")
    assert "no photograph" in faultodds("job", "keep", "1", "--photo", str(tmp_path / "no.jpg"), *data).said
    assert faultodds("job", "keep", "1", *data).code == 2
    with Store.open(tmp_path) as store:
        assert [p.finding.name for p in store.get("1").findings] == ["heat"]
        assert store.get("1").kept("model") == ("GD-200",)
    assert faultodds("job", "undo", "1", *data).code == 0
