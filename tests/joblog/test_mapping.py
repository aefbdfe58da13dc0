"""Mappings: proposed from headings and values, kept as files, found again, and refused when wrong."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from faultodds.errors import FaultoddsError
from faultodds.joblog import clean
from faultodds.joblog.clean import read_clean
from faultodds.joblog.drafts import PROPOSED, draft, keep_proposal
from faultodds.joblog.folder import files_of
from faultodds.joblog.importing import import_log
from faultodds.joblog.likely import Sample
from faultodds.joblog.mapping import Column, LogMapping, from_raw, read_mapping, to_toml
from faultodds.joblog.propose import propose
from faultodds.knowledge.schema import Knowledge
from shop_logs import HEADINGS, ROWS, SEASIDE, ZINGY, log_text, small_log, write


def test_another_shops_log_is_recognised(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Other headings, sentences, day before month, pounds and a Windows encoding: every column is taken for what it is."""
    path = write(tmp_path / "seaside.csv", SEASIDE.encode("cp1252"))
    drafted = draft(path, dryer, data=data)
    taken = {c.heading: (c.kind, *c.of) for c in drafted.mapping.columns}
    assert taken == {
        "Work order": ("job",),
        "Client name": ("personal",),
        "Phone": ("customer",),
        "Service date": ("day",),
        "Engineer": ("technician",),
        "Machine age (yrs)": ("fact", "age"),
        "Gas type": ("fact", "fuel"),
        "Problem reported": ("complaint",),
        "Lint filter": ("finding", "lint_screen_look"),
        "Outside vent": ("finding", "hood_flap"),
        "Igniter (ohms)": ("finding", "igniter_ohms"),
        "Thermal cutoff": ("finding", "fuse_continuity"),
        "Gas valve coils": ("finding", "coil_ohms"),
        "Work done": ("repairs",),
        "Time on job": ("minutes",),
        "Invoice total": ("bill",),
        "Test run": ("verify",),
        "Status": ("ended",),
    }
    assert "text in Windows-1252" in drafted.source.notes[0]
    report = import_log(drafted, dryer, data=data)
    frame = clean.read_clean(files_of("seaside", data).clean).set_index("job").astype(object)
    assert f"{frame.loc['W-203', 'day']:%Y-%m-%d}" == "2022-02-03"
    assert frame.loc["W-203", "ended"] == "came_back"
    assert frame.loc["W-203", "back_after_days"] == 9
    assert frame.loc["W-203", "repairs"] == "coil_set;rollers"
    assert frame.loc["W-204", "fact:age"] == "over_13"
    assert frame.loc["W-206", "ended"] == "unknown"
    assert frame.loc["W-201", "minutes"] == 90
    assert frame.loc["W-201", "bill"] == 142.5
    assert set(frame["technician"].dropna()) == {"tech_1", "tech_2"}
    assert any("read day first" in note for note in report.notes)


def test_nothing_personal_is_kept(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """No name and no telephone number stands in any file that is kept, not even from free text."""
    path = write(tmp_path / "seaside.csv", SEASIDE)
    report = import_log(draft(path, dryer, data=data), dryer, data=data)
    assert set(report.personal) == {"Client name", "Phone", "Engineer"}
    kept = b"".join(f.read_bytes() for f in Path(data).rglob("*") if f.is_file())
    shown = clean.read_clean(files_of("seaside", data).clean).to_csv().encode()
    for secret in (b"555-010", b"Ana Example", b"Placeholder", b"Joan", b"Trial", b"Mockup"):
        assert secret not in kept
        assert secret not in shown


def test_a_confirmed_mapping_is_found_by_the_same_headings(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """After one import the next log with these headings is read without a proposal, with the words that were added."""
    first = draft(small_log(tmp_path, *ZINGY), dryer, data=data)
    assert (first.origin, first.mapping.confirmed) == (PROPOSED, False)
    assert next(c for c in first.mapping.columns if c.heading == "hood").words == {"zingy": "?"}
    import_log(first, dryer, data=data)
    kept = files_of("jobs", data).mapping
    kept.write_text(kept.read_text(encoding="utf-8").replace('"zingy" = "?"', '"zingy" = "none"'), encoding="utf-8")
    later = write(tmp_path / "later.csv", log_text(*ROWS, "J9,C9,2022-03-01,zingy,ok,coils,done"))
    second = draft(later, dryer, data=data)
    assert (second.origin, second.mapping.confirmed) == (str(kept), True)
    import_log(second, dryer, data=data)
    frame = clean.read_clean(files_of("later", data).clean).set_index("job")
    assert frame.loc["J9", "found:hood_flap"] == "none"


def test_a_proposal_left_for_looking_through_is_used_but_not_confirmed(
    tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """A file that somebody may have edited is taken up again, and still asked about."""
    path = small_log(tmp_path)
    kept = keep_proposal(draft(path, dryer, data=data), data)
    again = draft(path, dryer, data=data)
    assert (again.origin, again.mapping.confirmed) == (str(kept), False)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('is = "finding"', 'is = "findng"'), "there is no kind of column called 'findng'. Did you mean 'finding'?"),
        (
            ('of = ["hood_flap"]', 'of = ["hood_flab"]'),
            "no symptom or check called 'hood_flab'. Did you mean 'hood_flap'?",
        ),
        (('of = ["hood_flap"]', ""), "say which finding it is"),
        (('"zingy" = "?"', '"zingy" = "weka"'), "word 'zingy': there is no outcome of 'hood_flap' called 'weka'."),
        (('"zingy" = "?"', '"zingy = "?"'), "is not valid TOML"),
        (("format = 1", "format = 9"), "is not a mapping of a job log"),
        (('heading = "hood"', 'heading = "hod"'), "is for another log: the log has no column 'hod' (nearest: 'hood')"),
        (('is = "customer"', 'is = "job"'), "2 columns are said to be 'job': ticket, cust."),
        (('date_order = ""', 'date_order = "year first"'), "no date order called 'year first'"),
    ],
)
def test_a_wrong_mapping_says_where_and_what(
    change: tuple[str, str], words: str, tmp_path: Path, data: str, dryer: Knowledge
) -> None:
    """File, column and word are named, with what is allowed; nothing is imported."""
    path = small_log(tmp_path, *ZINGY)
    text = to_toml(draft(path, dryer, data=data).mapping)
    assert change[0] in text
    given = write(tmp_path / "my.mapping.toml", text.replace(*change))
    with pytest.raises(FaultoddsError) as caught:
        draft(path, dryer, mapping_file=given, data=data)
    assert words in str(caught.value)
    assert "my.mapping.toml" in str(caught.value)


def test_a_mapping_file_that_is_not_there(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Its path is named, and what to do without it."""
    with pytest.raises(FaultoddsError, match="Leave --mapping out to have one proposed"):
        draft(small_log(tmp_path), dryer, mapping_file=tmp_path / "none.toml", data=data)


texts = st.text(max_size=20)


@given(st.lists(st.tuples(texts, st.dictionaries(texts, st.sampled_from(["weak", "none", "?", "-"]))), max_size=4))
def test_a_mapping_survives_its_file(dryer: Knowledge, columns: list[tuple[str, dict[str, str]]]) -> None:
    """Any heading and any word, quotes and line ends among them, comes back as it was."""
    import tomllib

    made = LogMapping(
        "gas_dryer",
        tuple(Column(h, "finding", ("hood_flap",), assume={"unit": "F"}, words=w, sure=0.5) for h, w in columns),
        order="day first",
    )
    raw = tomllib.loads(to_toml(made)) | ({} if columns else {"column": []})
    assert from_raw(raw, dryer, "file") == made


def test_values_decide_where_a_heading_says_nothing(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """A column called "q7" full of a check's own words is taken for that check, and shown as less sure."""
    words = ["glows only", "no glow", "lights then quits", "short cycles", "cycles ok", "no glow", "short cycling"]
    rows = [f"J{i},2022-01-{i + 3:02d},{word}" for i, word in enumerate(words)]
    drafted = draft(write(tmp_path / "q.csv", log_text(*rows, headings="ticket,date,q7")), dryer, data=data)
    column = drafted.mapping.columns[2]
    assert (column.kind, column.of) == ("finding", ("burner_watch",))
    assert column.sure <= 0.7


def test_an_unknown_column_is_left_out_and_said(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """What is not recognised is not guessed at."""
    rows = [f"{row},{n}" for n, row in enumerate(("blue", "red", "green"))]
    text = log_text(*(f"{a},{b}" for a, b in zip(ROWS, rows, strict=True)), headings=HEADINGS + ",van,shelf")
    report = import_log(draft(write(tmp_path / "jobs.csv", text), dryer, data=data), dryer, data=data)
    assert report.left_out == {"van": "not recognised", "shelf": "not recognised"}


def test_read_mapping_names_a_file_that_cannot_be_read(tmp_path: Path, dryer: Knowledge) -> None:
    """A mapping in another encoding is refused by name."""
    path = write(tmp_path / "m.toml", b"\xff\xfe\x00")
    with pytest.raises(FaultoddsError, match=r"m\.toml: is not UTF-8 text"):
        read_mapping(path, dryer)


ANSWERS = ("yes", "no", "Y", "NO")


@pytest.mark.parametrize(
    "heading", ["Heat?", "heats", "Has heat", "No heat?", "Not heating?", "Heat problem?", "Cold?"]
)
def test_a_yes_under_heat_means_that_it_heats(heading: str, tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Under a heading that asks whether it heats a yes is heat; under one that asks whether it does not, none."""
    rows = [f"J{n},C{n},2026-01-{1 + n % 28:02},{ANSWERS[n % 4]},weak,cleaned blower,done" for n in range(60)]
    path = write(tmp_path / "jobs.csv", log_text(*rows, headings=f"ticket,cust,date,{heading},hood,parts,result"))
    report = import_log(draft(path, dryer, data=data), dryer, data=data)
    frame = read_clean(files_of("jobs", data).clean).astype(object)
    assert [
        name for name in frame.columns if name.startswith("found:") and name not in ("found:heat", "found:hood_flap")
    ] == []
    said = ["normal", "none"] if heading in ("Heat?", "heats", "Has heat") else ["none", None]
    told = [None if value != value else value for value in frame.get("found:heat", [])]
    assert told == ([] if "problem" in heading else said * 30)
    assert set(frame["repairs"]) == {"clean_lint_path"}
    assert not any("Dates" in note for note in report.notes)


def _no_headings(*answers: str) -> str:
    """Jobs with no row of headings; the last column holds the `answers`, then blanks."""
    who = ("Pip T", "Marrow", "Quillon")
    rows = (
        f"K{1000 + n},2024-01-{1 + n:02},{who[n % 3]},no heat,replaced igniter,42.0,{dict(enumerate(answers)).get(n, '')}"
        for n in range(24)
    )
    return "\n".join(rows) + "\n"


def test_yes_and_no_are_nobodys_name_and_are_asked_about(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """With no headings a column of Y, N and blanks is no technician, the names are; nobody having said what it answers, it is
    refused, and once somebody has, read so."""
    path = write(tmp_path / "jobs.csv", _no_headings(*"YYNYYNYY"))
    drafted = draft(path, dryer, data=data)
    kinds = {c.heading: c.kind for c in drafted.mapping.columns}
    assert (kinds["column 3"], kinds["column 7"]) == ("technician", "left_out")
    with pytest.raises(FaultoddsError) as caught:
        import_log(drafted, dryer, data=data)
    assert "'column 7' answers yes or no ('Y' 6 times, 'N' 2 times) and no heading says to what" in str(caught.value)
    said = tuple(
        replace(c, kind="ended", assume={"yes": "came_back", "blank": "gone"}) if c.heading == "column 7" else c
        for c in drafted.mapping.columns
    )
    report = import_log(replace(drafted, mapping=replace(drafted.mapping, columns=said)), dryer, data=data)
    assert (report.used, report.came_back) == (24, 6)


@pytest.mark.parametrize("heading", ["Tech", "Cust", "Customer no", "Branch", "Job no"])
def test_a_column_of_yes_and_no_is_nobody_under_any_heading(heading: str, dryer: Knowledge) -> None:
    """Nor is it a customer, a branch or a job's number, whatever its heading says."""
    for answers in ({"Y": 9, "N": 30}, {"yes": 40, "no": 3}, {"x": 20}):
        proposed = propose(dryer, [Sample(heading, answers, 60)])
        assert proposed.columns[0].kind not in ("technician", "customer", "branch", "job")
