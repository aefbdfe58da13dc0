"""Every command that prints for people, at 40, 60 and 80 columns: no line is wider, and no word is broken or lost by it."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from calls import SAFE, command
from coded_logs import coded_log
from faultodds.joblog.clean import write_clean
from faultodds_cli.main import COMMANDS
from shop_logs import small_log

WIDTHS = (40, 60, 80)
FOUND = ("--found", "heat=none", "--found", "drum_warm=cold", "--reading", "igniter_ohms=120 ohm")
QUICK = ("--refits", "1", "--no-rivals", "--stages", "complaint,all", "--first", "150")

# Everything that prints; {log} is a clean log, {raw} a shop's own, {shop} a shop file, {new} a name that is not there.
SAID = (
    ("demo",),
    ("next", *FOUND),
    ("next", "--found", "dry_time=longer", "--fact", "vent_material=foil", "--shop", "{shop}", "--technician", "T1"),
    ("next", *FOUND, "--plan"),
    ("odds", *FOUND),
    ("read", "coil_ohms", "1.15k/1.35k/560"),
    ("read", "thermistor_ohms", "9.2k at 72F"),
    ("calc", "duct", "20ft", "--elbow", "90"),
    ("calc", "input", "0.5", "84s"),
    ("calc", "orifice", "42", "3.5inwc"),
    ("calc", "co", "12"),
    ("job", "new", "--title", "slow dryer, ground floor", *FOUND),
    ("job", "find", "1", "hood_flap=weak", "fuse_continuity=OL"),
    ("job", "find", "1", "burner_watch=cycles"),
    ("job", "undo", "1", "burner_watch"),
    ("job", "missing", "1", "helper"),
    ("job", "next", "1"),
    ("job", "fix", "1", "thermal_fuse", "clean_duct"),
    ("job", "state", "1"),
    ("job", "verify", "1", "26 min"),
    ("job", "show", "1"),
    ("job", "list"),
    ("job", "fix", "1", "thermal_fus"),
    ("job", "close", "1", "gone"),
    ("log", "import", "{raw}"),
    ("log", "import", "{raw}", "--yes"),
    ("log", "list"),
    ("log", "describe", "jobs"),
    ("revision", "list"),
    ("revision", "show", "a"),
    ("revision", "show", "a", "--about", "checks"),
    ("revision", "diff", "a", "file"),
    ("revision", "accept", "a"),
    ("revision", "rollback"),
    ("stock", "--found", "heat=none"),
    ("stock", "--jobs", "20"),
    ("shop", "new", "{new}"),
    ("shop", "check", "{shop}"),
    ("shop", "show", "{shop}"),
    ("appliance", "list"),
    ("appliance", "show"),
    ("appliance", "show", "gas_dryer", "burner_voltage"),
    ("appliance", "check", "gas_dryer"),
    # What is refused is told as narrow.
    ("next", "--found", "igniter_ohm=open"),
    ("nexxt",),
)
# These take long, and have one form for narrow screens: once is enough.
SLOW = (
    ("next", *FOUND, "--what-if"),
    ("tune", "{log}", "--no-intervals"),
    ("audit", "{log}", *QUICK),
    ("trial", "--jobs", "1", "--policies", "likeliest,faultodds", "--where-money-goes", "--workers", "1"),
)


def too_wide(text: str, columns: int) -> list[str]:
    """Lines wider than the screen. A command to copy may be, and so may one word, such as a path, that has no room of its own."""
    wide = [line for line in text.splitlines() if len(line) > columns]
    return [line for line in wide if not re.match(r"\s*faultodds ", line) and fits_broken(line, columns)]


def fits_broken(line: str, columns: int) -> bool:
    """Whether a line could have been broken at a blank so that each part fits."""
    return len(line.split()) > 1 and max(map(len, line.split())) <= columns


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """A clean log, a raw one and a shop file, with short paths."""
    folder = tmp_path_factory.mktemp("n")
    frame, _ = coded_log(400, 12)
    write_clean(frame, folder / "c.parquet")
    (folder / "s.toml").write_text(
        '[costs]\nlabour_rate = 80\n[technician.T1]\ntools = ["multimeter"]\n', encoding="utf-8"
    )
    raw = small_log(folder, "J4,C4,2022-01-09,zingy,ok,coils,done")
    return {
        "log": str(folder / "c.parquet"),
        "raw": str(raw),
        "shop": str(folder / "s.toml"),
        "new": str(folder / "n.toml"),
    }


@pytest.mark.parametrize("columns", WIDTHS)
def test_no_line_of_any_command_is_wider_than_the_screen(
    files: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    """What goes well and what is refused, one command after the other."""
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path))
    Path(files["new"]).unlink(missing_ok=True)
    wide, failed = {}, []
    for said in (*SLOW, *SAID) if columns == min(WIDTHS) else SAID:
        ended = command(*(part.format(**files) for part in said))
        bad = too_wide(ended.out + ended.err, columns)
        wide |= {said: bad} if bad else {}
        failed += [(said, ended.err)] if "error of its own" in ended.err or "is no option" in ended.err else []
    assert not failed
    assert not wide


@pytest.mark.parametrize("columns", WIDTHS)
def test_no_line_of_any_help_is_wider_than_the_screen(monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    """The list of commands, and each command's own."""
    monkeypatch.setenv("COLUMNS", str(columns))
    for name in ("", *COMMANDS):
        ended = command(*name.split(), "--help")
        assert ended.code == 0
        assert not [line for line in ended.out.splitlines() if len(line) > columns and fits_broken(line, columns)], name


CALL = (
    *SAFE, "?", "control=timer", "done", "heat none", "", "help", "odds", "checks", "why", "how", "symptoms", "fact", "state",
    "fuse_continuity OL", "verify 26 min", "keep", "take back fuse_continuity", "coil_ohms 1.15k/1.35k/550", "nonsense at all",
    "repair coil_set igniter", "no helper", "repairs", "story", "close gone the customer runs it himself", "leave",
)  # fmt: skip


@pytest.mark.parametrize("columns", WIDTHS)
def test_no_line_of_a_guided_call_is_wider_than_the_screen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    """Its questions, its screens, and everything that can be asked in it."""
    monkeypatch.setenv("COLUMNS", str(columns))
    ended = command("bench", "--data", str(tmp_path), typed=CALL)
    assert ended.code == 0, ended.err
    assert not too_wide(ended.out, columns)
    assert "is closed: fault gone" in ended.out


@pytest.mark.parametrize(
    "argv", [("next", *FOUND), ("odds", *FOUND), ("appliance", "show", "gas_dryer", "burner_voltage")]
)
def test_a_narrow_screen_says_the_same(monkeypatch: pytest.MonkeyPatch, argv: tuple[str, ...]) -> None:
    """Every word and number of the wide screen is on the narrow one, whole."""
    words = {}
    for columns in WIDTHS:
        monkeypatch.setenv("COLUMNS", str(columns))
        words[columns] = sorted(re.findall(r"[\w.%$=]+", command(*argv).out))
    assert words[40] == words[60] == words[80]


def test_the_narrowest_screen_is_forty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    """Under that, lines are as if it were forty."""
    monkeypatch.setenv("COLUMNS", "20")
    assert max(map(len, command("next", *FOUND).out.splitlines())) <= 40
    assert shutil.get_terminal_size().columns == 20
