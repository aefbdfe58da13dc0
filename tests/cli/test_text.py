"""Lines for a terminal: one way to break text, one way to set a row of a table."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

import faultodds_cli
from faultodds.names import harmless
from faultodds_cli.shared.text import columns, fit, row, title_lines, wrap, wrap_each
from run_cli import faultodds, write_toy
from toys import raw_toy


@pytest.fixture(autouse=True)
def _sixty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")


def test_only_one_module_breaks_text() -> None:
    """No command has its own way of wrapping."""
    modules = Path(faultodds_cli.__file__).parent.rglob("*.py")
    assert [path.name for path in modules if "textwrap" in path.read_text(encoding="utf-8")] == ["text.py"]


def test_a_word_with_a_hyphen_stays_whole_unless_asked() -> None:
    """A name that can be typed is never broken; in a title a hyphen may end a line."""
    assert wrap("the drop-out", "- ", room=11) == ["- the", "  drop-out"]
    assert wrap("the drop-out", "- ", room=11, hyphens=True) == ["- the drop-", "  out"]
    assert wrap("", "Known: ") == ["Known:"]


def test_line_breaks_of_a_text_are_kept() -> None:
    """Each line is broken on its own."""
    assert wrap_each("one\ntwo", "!! ") == ["!! one", "!! two"]
    assert wrap_each("") == [""]


def test_a_row_has_its_cells_at_the_right_edge() -> None:
    """A long head goes on below, under its own indent, and leaves the cells alone."""
    assert columns("head", ("1", "22"), (4, 5)) == ["head".ljust(51) + "   1   22"]
    assert [len(line) for line in columns("head", ("1", "22"), (4, 5), margin=1)] == [59]
    first, second = row("  ", "    ", "word " * 12, ("1", "22"), (4, 5), gap=1)
    assert first == ("  word" + " word" * 8).ljust(51) + "   1   22"
    assert second == "    word word word"


@pytest.mark.parametrize(
    ("title", "lines"),
    [
        ("pump: dead", ["pump: dead"]),
        ("gas valve coils: drop out when hot", ["gas valve coils:", "drop out when hot"]),
        ("a title of its own without a colon", ["a title of its own", "without a colon"]),
    ],
)
def test_a_title_breaks_after_its_colon(title: str, lines: list[str]) -> None:
    """Of "component: mode" the component has a line of its own when both do not fit."""
    assert title_lines(title, 20) == lines


def test_what_is_printed_fits_and_a_command_stays_whole() -> None:
    """Lines are broken under their own indent; a command to copy has a line of its own; a path is left whole."""
    path = "/a/path/" + "x" * 60
    assert fit(f"  {'word ' * 14}end") == "  " + ("word " * 11).strip() + "\n    word word word end"
    assert fit(f"To go back: faultodds revision rollback --appliance {path}") == (
        f"To go back:\nfaultodds revision rollback --appliance {path}"
    )
    assert fit(f"Wrote {path}") == f"Wrote\n  {path}"
    assert fit("short\n\n  as it is") == "short\n\n  as it is"


def test_a_long_word_gets_the_room_of_the_blanks_before_it() -> None:
    """A name that fits the screen is never broken, however deep it stands; one that fits nowhere is."""
    name = "n" * 55
    assert wrap(f"see {name}", " " * 10) == [" " * 10 + "see", "     " + name]
    assert max(map(len, wrap("n" * 130, "- "))) == 60


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_a_number_and_its_unit_share_a_line(monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    """Wherever the line ends: no unit begins one whose number stood at the end of the one before; nothing is lost."""
    monkeypatch.setenv("COLUMNS", str(columns))
    amounts = ["26 %", "10 min", "1,150 ohm", "2.3 in w.c.", "72 F", "35 ppm", "25 minutes", "4 in duct"]
    for shift in range(columns - 8):
        text = "x" * shift + " " + " and ".join(amounts * 2)
        for first in ("", "  !! "):
            lines = wrap(text, first)
            assert " ".join(" ".join(lines).split()) == " ".join((first + text).split())
            ends = pairwise(lines)
            assert not [b for a, b in ends if a[-1].isdigit() or b.split()[0] == "w.c."]
            assert max(map(len, lines)) <= columns


def test_what_others_wrote_is_text_on_every_screen(tmp_path: Path) -> None:
    """Commands to a terminal in a knowledge file's titles, a job's title, notes and people's names: shown by no command."""
    odd = "\x1b[2J\x9b31m\x07\u202e\r"
    raw = raw_toy()
    raw["appliance"]["title"] += odd
    for kind in ("component", "check", "symptom", "repair"):
        for each in raw[kind].values():
            each["title"] += odd
    mine = str(write_toy(tmp_path / "mine.toml", **raw))
    data = ("--data", str(tmp_path / "data"))
    new = faultodds("job", "new", "--title", f"slow{odd}", "--found", "slow=yes", "--appliance", mine, *data)
    shown = [
        new,
        faultodds("job", "note", "1", f"told{odd}", *data),
        faultodds("job", "show", "1", *data),
        faultodds("job", "next", "1", *data),
        faultodds("job", "list", *data),
        faultodds("appliance", "show", mine, "checks"),
        faultodds("next", "--found", f"sl{odd}ow=yes", "--appliance", mine),
        faultodds("odds", "--appliance", mine),
        faultodds("odds", "--appliance", f"mine{odd}"),
    ]
    assert [ran.code for ran in shown] == [0] * 6 + [2, 0, 2]
    for ran in shown:
        assert harmless(ran.out + ran.err) == ran.out + ran.err
        assert not set("\x1b\x9b\x07\u202e\r") & set(ran.out + ran.err)


def test_cells_never_stand_against_each_other_and_long_words_part_where_they_may() -> None:
    """A cell as wide as its column keeps a blank before it; name=value|value breaks between values, then before them."""
    assert columns("head", ("1.1", "under 1 %"), (4, 9))[0].endswith(" 1.1 under 1 %")
    long = f"Known: {'layout=' + 'x' * 40}|{'y' * 30}; fuel=a|b"
    assert wrap(long, room=50) == ["Known:", "layout=" + "x" * 40, "|" + "y" * 30 + "; fuel=a|b"]
    assert wrap("layout=" + "x" * 40, room=40) == ["layout=", "x" * 40]
    assert wrap("0 of 14 are yours", f"  {'m' * 30}: ", room=40)[1].startswith("    ")
