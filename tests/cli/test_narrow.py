"""Every command that prints for people, at 40, 60 and 80 columns: no line is wider, and no word is broken or lost by it."""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from calls import SAFE, Ended, command
from coded_logs import coded_log
from faultodds.joblog.clean import write_clean
from faultodds_cli.main import COMMANDS
from run_cli import write_toy
from shop_logs import small_log

WIDTHS = (40, 60, 80)
PAGE = Path(__file__).parents[2] / "cli" / "COMMANDS.md"
FOUND = ("--found", "heat=none", "--found", "drum_warm=cold", "--reading", "igniter_ohms=120 ohm")
CRUSHED = ("--found", "dry_time=longer", "--found", "over_back_look=crushed")  # little is left to work out
QUICK = ("--refits", "1", "--no-rivals", "--stages", "complaint,all", "--first", "150")

# Everything that prints; {log} is a clean log, {few} a short one, {raw} a shop's own, {shop} a shop file, {own} a knowledge
# file, {to} a folder for what is written.
SAID = (
    ("demo",),
    ("next", *FOUND),
    ("next", "--found", "dry_time=longer", "--fact", "vent_material=foil", "--shop", "{shop}", "--technician", "T1"),
    ("next", *CRUSHED, "--plan"),
    ("odds", *FOUND),
    ("read", "coil_ohms", "1.15k/1.35k/560"),
    ("read", "thermistor_ohms", "9.2k at 72F"),
    ("calc", "duct", "20ft", "--elbow", "90"),
    ("calc", "input", "0.5", "84s"),
    ("calc", "airflow", "1150fpm"),
    ("calc", "drytime", "8.5lb", "13.3lb"),
    ("calc", "thermistor", "72F", "--measured", "11.2k"),
    ("calc", "winding", "1.15k", "--hot", "1.3k"),
    ("calc", "orifice", "42", "3.5inwc"),
    ("calc", "co", "12"),
    ("job", "new", "--title", "slow dryer, ground floor", *FOUND),
    ("job", "find", "1", "hood_flap=weak", "fuse_continuity=OL"),
    ("job", "find", "1", "burner_watch=cycles"),
    ("job", "undo", "1", "burner_watch"),
    ("job", "fact", "1", "vent_material=foil"),
    ("job", "missing", "1", "helper"),
    ("job", "skip", "1", "coil_ohms", "--reason", "no time"),
    ("job", "note", "1", "the customer was in a hurry"),
    ("job", "keep", "1", "--model", "GD-200", "--part", "thermal fuse 12-345"),
    ("job", "safe", "1", "--note", "nothing was told of"),
    ("job", "revision", "1", "file"),
    ("job", "next", "1"),
    ("job", "fix", "1", "thermal_fuse", "clean_duct"),
    ("job", "state", "1"),
    ("job", "verify", "1", "26 min"),
    ("job", "show", "1"),
    ("job", "why", "1"),
    ("job", "why", "1", "all"),
    ("job", "why", "1", "not", "the", "igniter"),
    ("job", "why", "1", "coils", "from", "igniter"),
    ("job", "list"),
    ("job", "fix", "1", "thermal_fus"),
    ("job", "close", "1", "gone"),
    ("report", "1"),
    ("report", "1", "--for", "shop", "--with-names"),
    ("report", "1", "--to", "{to}/job.html"),
    ("report", "month"),
    ("bench",),
    ("drill", "play"),
    ("drill", "score"),
    ("drill", "class"),
    ("drill", "sheet", "--to", "{to}/drill.html"),
    ("drill", "forget", "me"),
    ("log", "import", "{raw}"),
    ("log", "import", "{raw}", "--yes"),
    ("log", "list"),
    ("log", "describe", "jobs"),
    ("log", "phrases", "jobs"),
    ("log", "export", "jobs", "--to", "{to}/o.csv"),
    ("tune", "{log}", "--no-intervals"),
    ("revision", "list"),
    ("revision", "show", "a"),
    ("revision", "show", "a", "--about", "checks"),
    ("revision", "diff", "a", "file"),
    ("revision", "accept", "a", "--anyway"),
    ("revision", "rollback"),
    ("revision", "name", "a", "winter"),
    ("revision", "drop", "a"),
    ("stock", *CRUSHED),
    ("stock", "--jobs", "20"),
    ("ask", *CRUSHED),
    ("chart", "plan", *CRUSHED, "--nodes", "4", "--to", "{to}/plan.pdf"),
    ("shop", "new", "{to}/n.toml"),
    ("shop", "from-log", "{log}", "{to}/p.toml"),
    ("shop", "check", "{shop}"),
    ("shop", "show", "{shop}"),
    ("appliance", "list"),
    ("appliance", "show"),
    ("appliance", "show", "gas_dryer", "burner_voltage"),
    ("appliance", "show", "gas_dryer", "coils.drop_out_hot"),
    ("appliance", "check", "gas_dryer"),
    ("appliance", "add", "{own}"),
    ("appliance", "remove", "own"),
    ("appliance", "export", "--out", "{to}/n.bif"),
    ("data", "where"),
    # What is refused is told as narrow.
    ("next", "--found", "igniter_ohm=open"),
    ("nexxt",),
    ("data", "wipe", "--yes"),
)
# These take long, and have one form for narrow screens: once is enough.
SLOW = (
    ("next", *CRUSHED, "--what-if"),
    ("audit", "{log}", *QUICK),
    ("learn", "{few}"),
    ("trial", "--jobs", "1", "--policies", "likeliest,faultodds", "--where-money-goes", "--workers", "1"),
)


def too_wide(text: str, columns: int) -> list[str]:
    """Lines wider than the screen. A command to copy may be, and so may one word, such as a path, that has no room of its own."""
    wide = [line for line in text.splitlines() if len(line) > columns]
    return [line for line in wide if not re.match(r"\s*faultodds ", line) and fits_broken(line, columns)]


def fits_broken(line: str, columns: int) -> bool:
    """Whether a line could have been broken at a blank so that each part fits."""
    return len(line.split()) > 1 and max(map(len, line.split())) <= columns


CALL = (
    *SAFE, "?", "control=timer", "done", "heat none", "", "help", "odds", "checks", "why", "how", "symptoms", "fact", "state",
    "why coils", "why not the igniter", "what tells coils from the igniter",
    "fuse_continuity OL", "yes", "verify 26 min", "keep", "yes", "take back fuse_continuity", "coil_ohms 1.15k/1.35k/550", "yes",
    "nonsense at all",
    "repair coil_set igniter", "yes", "no helper", "repairs", "story", "close gone the customer runs it himself", "leave",
)  # fmt: skip
DRILL = (
    "",
    "duct likely, belt 1 in 10",
    "card coils",
    "what tells coils from igniter",
    "ask noise",
    "",
    "story",
    "hood",
    "",
    "refer",
)
# Of tables that are lists on a narrow screen.
HEADS = {"log", "column", "taken", "part"}
TYPED = {("bench",): CALL, ("drill", "play"): DRILL}


@pytest.fixture(scope="module")
def files() -> Iterator[dict[str, str]]:
    """A clean log, a raw one, a shop file and a knowledge file, with short paths."""
    with tempfile.TemporaryDirectory(prefix="n") as name:
        folder = Path(name)
        for jobs, path in ((400, "c.parquet"), (160, "f.parquet")):
            write_clean(coded_log(jobs, 12)[0], folder / path)
        (folder / "s.toml").write_text(
            '[costs]\nlabour_rate = 80\n[technician.T1]\ntools = ["multimeter"]\n', encoding="utf-8"
        )
        raw = small_log(folder, "J4,C4,2022-01-09,zingy,ok,coils,done")
        own = write_toy(folder / "own.toml")
        yield {
            "log": f"{folder}/c.parquet",
            "few": f"{folder}/f.parquet",
            "shop": f"{folder}/s.toml",
            "raw": str(raw),
            "own": str(own),
            "to": f"{folder}/w",
        }


def said_at(columns: int, files: dict[str, str], commands: Sequence[tuple[str, ...]]) -> dict[tuple[str, ...], Ended]:
    """What every command says on a screen so wide, one after the other, from a folder with nothing in it."""
    Path(files["to"]).mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", str(columns))
        patch.setenv("FAULTODDS_DATA", files["to"])
        said = {each: command(*(p.format(**files) for p in each), typed=TYPED.get(each, ())) for each in commands}
    shutil.rmtree(files["to"])
    return said


def words(ended: Ended) -> set[str]:
    """Every word and amount that is said, however it begins; the clock apart."""
    return {w.casefold() for w in re.findall(r"[\w.%$]+", ended.out + ended.err) if not re.fullmatch(r"\d\d", w)}


def test_every_command_says_the_same_on_every_screen(files: dict[str, str]) -> None:
    """What goes well and what is refused: no line is wider than the screen, no word is torn or lost."""
    narrow, wide = (said_at(columns, files, SAID) for columns in (min(WIDTHS), max(WIDTHS)))
    assert "is closed: fault gone" in narrow["bench",].out
    assert "THE END" in narrow["drill", "play"].out
    told = [each for each, ended in narrow.items() if "error of its own" in ended.err or "is no option" in ended.err]
    assert not told
    for columns, said in ((min(WIDTHS), narrow), (max(WIDTHS), wide)):
        assert not {each: bad for each, ended in said.items() if (bad := too_wide(ended.out + ended.err, columns))}
    assert not {each: torn for each in SAID if (torn := words(narrow[each]) - words(wide[each]))}
    assert not {each: lost for each in SAID if (lost := words(wide[each]) - words(narrow[each]) - HEADS)}


def test_long_commands_fit_a_narrow_screen(files: dict[str, str]) -> None:
    """Those that take long have one form for narrow screens: once is enough."""
    said = said_at(min(WIDTHS), files, SLOW)
    assert not [ended.err for ended in said.values() if ended.code]
    assert not {each: bad for each, ended in said.items() if (bad := too_wide(ended.out + ended.err, min(WIDTHS)))}


def test_every_command_is_among_them() -> None:
    """A new command is played here as well."""
    heads = re.findall(r"^###+ faultodds (.+)$", PAGE.read_text(encoding="utf-8"), re.M)
    there = {tuple(head.split()) for head in heads}
    groups = {each[:1] for each in there if len(each) > 1}
    assert there - groups == {each[: 2 if each[:1] in groups else 1] for each in (*SAID, *SLOW)} - {("nexxt",)}


@pytest.mark.parametrize("columns", WIDTHS)
def test_no_line_of_any_help_is_wider_than_the_screen(monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    """The list of commands, and each command's own."""
    monkeypatch.setenv("COLUMNS", str(columns))
    for name in ("", *COMMANDS):
        ended = command(*name.split(), "--help")
        assert ended.code == 0
        assert not [line for line in ended.out.splitlines() if len(line) > columns and fits_broken(line, columns)], name


def test_the_narrowest_screen_is_forty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    """Under that, lines are as if it were forty."""
    monkeypatch.setenv("COLUMNS", "20")
    assert max(map(len, command("next", *FOUND).out.splitlines())) <= 40
    assert shutil.get_terminal_size().columns == 20
