"""Bad input of every kind: one plain message on standard error, exit 2, nothing else, no traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from run_cli import faultodds, toml, write_toy
from toys import raw_toy

# A command line, and what its message must say.
COMMANDS = [
    ("nxt", "there is no command 'faultodds nxt'. Did you mean 'next'?"),
    ("zzzz", "there is no command 'faultodds zzzz'. Commands: demo, bench, next"),
    ("calc dct 4", "Did you mean 'duct'?"),
    ("appliance lst", "Did you mean 'list'?"),
    ("job fnd", "Did you mean 'find'?"),
    ("next --fond dry_time=longer", "There is no option '--fond'. Did you mean '--found'?"),
    ("odds --aplliance gas_dryer", "Did you mean '--appliance'?"),
    ("next extra", "extra"),
    ("demo loud", "loud"),
    ("next --found", "Type 'faultodds next --help'"),
    ("next --top 0", "--top"),
    ("next --top many", "--top"),
    ("odds --top 99", "--top"),
    ("next --labour-rate -5", "--labour-rate"),
    ("next --labour-rate dear", "--labour-rate"),
    ("read", "CHECK"),
    ("read coil_ohms", "TEXT"),
    ("appliance check", "Missing argument"),
    ("appliance export gas_dryer --to pdf", "--to"),
]  # fmt: skip

# What is said about a call.
CALLS = [
    (["--found", "dry_time"], "--found 'dry_time': write NAME=VALUE, for example --found dry_time=longer."),
    (["--found", "=longer"], "write NAME=VALUE"),
    (["--found", "dry_time="], "write NAME=VALUE"),
    (["--fact", "control"], "--fact 'control': write NAME=VALUE, for example --fact control=board."),
    (["--reading", "coil_ohms"], 'write NAME=VALUE, for example --reading coil_ohms="1.15k".'),
    (["--found", "dry_tiem=longer"], "no symptom or check called 'dry_tiem'. Did you mean 'dry_time'?"),
    (["--found", "qqqq=1"], "there is no symptom or check called 'qqqq'. Known: dry_time,"),
    (["--found", "coil=good"], "fits more than one symptom or check: 'coil_ohms', 'coil_ohms_hot'"),
    (["--found", "dry_time=slow"], "there is no outcome of 'dry_time' called 'slow'. Known: normal, longer,"),
    (["--found", "glow=glow_no_flam 50 / purple 50"], "there is no outcome of 'glow' called 'purple'."),
    (["--found", "dry_time=longer 0 / normal 0"], "the shares in 'longer 0 / normal 0' add up to nothing"),
    (["--fact", "colour=white"], "there is no fact called 'colour'."),
    (["--fact", "vent=foil"], "'vent' fits more than one fact: 'vent_material', 'vent_length'."),
    (["--fact", "vent_material=gold"], "there is no value of 'vent_material' called 'gold'."),
    (["--fact", "control=board", "--found", "timer_contacts=good"], "One of the two is wrong: correct the fact (control=timer)"),
    (["--repaired", "coilz"], "there is no repair called 'coilz'. Did you mean 'coil_set'?"),
    (["--skip", "qqqq"], "there is no check, repair or question called 'qqqq'."),
    (["--after", "dry_time"], "write NAME=VALUE"),
    (["--reading", "hood_flap=3"], "'hood_flap' is not read with a meter; say what it showed: hood_flap="),
    (["--reading", "igniter_ohms=fish"], "cannot be read as a resistance reading"),
    (["--reading", "coil_ohms=1.15"], "1.15"),
    (["--reading", "thermistor_ohms=11k"], "--ambient 72F"),
    (["--reading", "thermistor_ohms=11k", "--ambient", "mild"], "--ambient 72F"),
    (["--appliance", "gas_drier"], "there is no appliance called 'gas_drier'. Did you mean 'gas_dryer'?"),
    (["--appliance", "/nowhere/mine.toml"], "there is no knowledge file at '/nowhere/mine.toml'."),
]  # fmt: skip

READINGS = [
    (["read", "coil_ohms", ""], "No reading was typed."),
    (["read", "coilohm", "1k"], "Did you mean 'coil_ohms'?"),
    (["read", "hood_flap", "3"], "is not read with a meter"),
    (["read", "igniter_ohms", "140 V"], "140 V"),
    (["read", "igniter_ohms", "1,150"], "could be 1150 or 1.15"),
    (["read", "igniter_ohms", "140", "--leads", "9"], "test leads read 0 to 5 ohm"),
    (["read", "thermistor_ohms", "11k", "--ambient", "cold"], "The room's temperature (--ambient 72F)"),
    (["read", "static_pressure", "-0.5 in wc"], "Swap the two hoses"),
    (["read", "exhaust_cycling", "9000F"], "9"),
    (["read", "manifold_pressure", "3.5 in wc", "--fact", "fuel=coal"], "coal"),
    (["calc", "duct", "long"], "'long' is not an amount in ft."),
    (["calc", "duct", "-4"], "A straight run of -4 ft is outside 0 to 500 ft."),
    (["calc", "duct", "20 lb"], "'20 lb' is not an amount in ft."),
    (["calc", "duct", "20", "--elbow", "60"], "The table has no elbow of 0 in radius and 60 degrees"),
    (["calc", "duct", "20", "--elbow", "round"], "'round' is not an elbow"),
    (["calc", "input", "0.5", "0s"], "the time is 0 s: it must be a number above 0."),
    (["calc", "input", "0.5", "84s", "--fuel", "coal"], "no fuel called 'coal'. Known: natural, propane."),
    (["calc", "drytime", "0lb", "10lb"], "the dry weight is 0 lb"),
    (["calc", "drytime", "8lb", "7lb"], "is not drying"),
    (["calc", "thermistor", "warm"], "cannot be read as a temperature reading"),
    (["calc", "airflow", "brisk"], "cannot be read as an air speed reading"),
    (["calc", "winding", "1.15k"], "Give one of --hot OHMS"),
    (["calc", "orifice", "0in", "3.5inwc"], "the hole is 0 in"),
    (["calc", "co", "-3"], "A CO reading of -3 ppm is not one."),
    (["appliance", "show", "gas_dryer", "coilzz"], "there is no list or name called 'coilzz'."),
    (["appliance", "check", "gas_drier"], "Did you mean 'gas_dryer'?"),
]  # fmt: skip


def refused(argv: list[str], said: str) -> None:
    """The command line is refused, in words that hold `said`."""
    ran = faultodds(*argv)
    assert ran.code == 2, (ran.code, ran.err)
    assert said in ran.said
    assert ran.out == ""
    assert "Traceback" not in ran.err
    assert max(map(len, ran.err.splitlines())) <= 80 or "/" in ran.err


@pytest.mark.parametrize(("line", "said"), COMMANDS)
def test_a_command_line_that_cannot_be_parsed(line: str, said: str) -> None:
    """Unknown commands and options name the nearest one; the rest name the part that is wrong."""
    refused(line.split(), said)


@pytest.mark.parametrize(("argv", "said"), CALLS)
def test_a_call_told_wrongly(argv: list[str], said: str) -> None:
    """A fact, finding, reading, repair or appliance that cannot be used is answered with what is allowed."""
    refused(["next", *argv], said)


@pytest.mark.parametrize(("argv", "said"), CALLS[:6])
def test_odds_takes_a_call_as_next_does(argv: list[str], said: str) -> None:
    """`odds` refuses the same things in the same words."""
    refused(["odds", *argv], said)


@pytest.mark.parametrize(("argv", "said"), READINGS)
def test_readings_sums_and_names(argv: list[str], said: str) -> None:
    """A reading, amount or name that cannot be used is answered with what to type."""
    refused(argv, said)


def edited(*path: str, to: Any) -> Callable[[dict[str, Any]], None]:
    """An edit that sets one key."""

    def edit(raw: dict[str, Any]) -> None:
        at = raw
        for key in path[:-1]:
            at = at[key]
        at[path[-1]] = to

    return edit


def without(*path: str) -> Callable[[dict[str, Any]], None]:
    """An edit that takes one key out."""

    def edit(raw: dict[str, Any]) -> None:
        at = raw
        for key in path[:-1]:
            at = at[key]
        del at[path[-1]]

    return edit


PUMP = ("component", "pump", "modes")
FUSE_TEST = ("check", "fuse_test")
FILES = [
    (edited("checks", to={}), "checks"),
    (edited(*FUSE_TEST, "minuets", to=2), "check.fuse_test.minuets"),
    (edited(*PUMP, "dead", "share", to="thirty"), "component.pump.modes.dead.share"),
    (edited(*PUMP, "dead", "share", to=-30), "component.pump.modes.dead.share: found -30"),
    (without("costs", "verify"), "costs.verify"),
    (without("appliance"), "appliance"),
    (edited("costs", "verify", to="run_tset"), "run_test"),
    (edited("appliance", "format", to=9), "format"),
    (edited("mechanism", "flow", "rule", to="best_of"), "mechanism.flow.rule"),
    (edited("mechanism", "flow", "causes", "pump.weka", to="low"), "pump.weak"),
    (edited("mechanism", "flow", "causes", "pump.weak", to="lwo"), "low"),
    (edited("mechanism", "flow", "causes", "flow.low", to="none"), "circle"),
    (edited(*FUSE_TEST, "links", to={"fuse.opne": 0.9}), "fuse.open"),
    (edited(*FUSE_TEST, "links", to={"fuse.open": 1.4}), "check.fuse_test.links.fuse.open: found 1.4"),
    (edited(*FUSE_TEST, "links", to={}), "can never inform anything"),
    (edited(*FUSE_TEST, "links", to={"fuse.open": 0}), "can never inform anything"),
    (edited(*FUSE_TEST, "outcomes", to={"closed": "closed"}), "at least two outcomes"),
    (edited("check", "listen", "links", "pump.weak", to={"weak": 0.7, "silent": 0.6}), "add up to 1.3"),
    (edited("check", "listen", "links", "pump.weak", to={"wek": 0.7}), "'weak'"),
    (edited(*FUSE_TEST, "access", to=["panle"]), "'panel'"),
    (edited(*FUSE_TEST, "minutes", to=-2), "check.fuse_test.minutes: found -2"),
    (edited(*FUSE_TEST, "cautions", to=["unplugg"]), "'unplug'"),
    (edited(*FUSE_TEST, "energised", to=True), "energised work"),
    (edited(*FUSE_TEST, "gas_work", to=True), "gas work needs a caution that covers 'gas'"),
    (edited("access", "unplugged", "requires", to=["panel"]), "requires"),
    (edited("repair", "new_fuse", "fixes", to=["fuse.opened"]), "'fuse.open'"),
    (edited("repair", "new_fuse", "fixes", to=[]), "fixes nothing"),
    (without("repair", "new_belt"), "no repair fixes this mode"),
    (edited("repair", "new_fuse", "success", to=1.5), "repair.new_fuse.success: found 1.5"),
    (edited(*PUMP, "dead", "companion", to=1.5), "companion"),
    (edited(*PUMP, "dead", "brings_on", to={"pum.weak": 0.2}), "pum"),
    (edited("component", "hose", to={"title": "hose", "modes": {"split": {"title": "split"}}}), "hose"),
    (edited("stop", to={"smoke": {"title": "smoke", "ask": "Smoke?", "steps": []}}), "stop.smoke.steps"),
    (edited("reading", to={"fuse_tset": {"kind": "continuity"}}), "fuse_test"),
]  # fmt: skip


@pytest.mark.parametrize(("edit", "said"), FILES, ids=[said for _, said in FILES])
def test_a_knowledge_file_with_a_mistake(edit: Callable[[dict[str, Any]], None], said: str, tmp_path: Path) -> None:
    """`appliance check` names the file, the key, what was found and the nearest valid name."""
    raw = raw_toy()
    edit(raw)
    path = tmp_path / "mine.toml"
    path.write_text("".join(f"{k} = {toml(v)}\n" for k, v in raw.items()), encoding="utf-8")
    ran = faultodds("appliance", "check", str(path))
    assert (ran.code, ran.out) == (2, "")
    assert "mine.toml" in ran.said
    assert said in ran.said
    assert "Traceback" not in ran.err


def test_the_unedited_file_is_sound(tmp_path: Path) -> None:
    """The edits above, and nothing else, are what is refused."""
    ran = faultodds("appliance", "check", str(write_toy(tmp_path / "mine.toml")))
    assert ran.code == 0, ran.err
    assert "sound" in ran.out


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "mine.toml"),
        (b"not toml at all", "mine.toml: is not valid TOML"),
        (b"[appliance\nid = 1", "mine.toml: is not valid TOML"),
        ("title = 'é'".encode("latin-1"), "mine.toml: is not UTF-8 text (byte 9); save it as UTF-8."),
        (b"\xff\xfe[\x00a\x00", "mine.toml: is not UTF-8 text"),
        (b"appliance = 3", "mine.toml"),
    ],
)
@pytest.mark.parametrize("command", [["appliance", "check"], ["next", "--appliance"], ["appliance", "show"]])
def test_a_file_that_is_no_knowledge_file(command: list[str], data: bytes, said: str, tmp_path: Path) -> None:
    """Whatever is in the file, every command that reads it says what is wrong with it."""
    path = tmp_path / "mine.toml"
    path.write_bytes(data)
    ran = faultodds(*command, str(path))
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.said
    assert "Traceback" not in ran.err


def test_a_folder_is_no_knowledge_file(tmp_path: Path) -> None:
    """A folder in place of a file is named as not there."""
    ran = faultodds("next", "--appliance", str(tmp_path))
    assert (ran.code, ran.out) == (2, "")
    assert "there is no" in ran.said


def test_json_keeps_standard_output_empty_on_bad_input() -> None:
    """A program that reads the object finds none, and the exit code and standard error say why."""
    ran = faultodds("next", "--json", "--found", "qqqq=1")
    assert (ran.code, ran.out) == (2, "")
    assert "there is no symptom or check called 'qqqq'" in ran.said


def test_findings_that_clash_are_named(tmp_path: Path) -> None:
    """Findings that no fault explains are refused with the smallest set of them."""
    certain = {
        "title": "fuse test",
        "outcomes": {"closed": "c", "open": "o"},
        "minutes": 2,
        "links": {"fuse.open": 1.0},
    }
    checks = {**raw_toy()["check"], "fuse_test": certain, "fuse_again": certain}
    path = write_toy(tmp_path / "sure.toml", check=checks)
    ran = faultodds("next", "--appliance", str(path), "--found", "fuse_test=open", "--found", "fuse_again=closed")
    assert (ran.code, ran.out) == (2, "")
    assert "no fault or set of faults explains these findings together: fuse_again=closed, fuse_test=open" in ran.said


def test_a_fault_of_our_own_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """An error nobody foresaw is one message with how to report it, exit 1; the details come on request."""
    import faultodds_cli.next.command as command

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr(command, "call_as_given", broken)
    monkeypatch.delenv("FAULTODDS_DEBUG", raising=False)
    ran = faultodds("next")
    assert (ran.code, ran.out) == (1, "")
    assert "faultodds hit an error of its own (ZeroDivisionError: by nothing). Please report it" in ran.said
    assert "Traceback" not in ran.err
    monkeypatch.setenv("FAULTODDS_DEBUG", "1")
    assert "Traceback" in faultodds("next").err


def test_control_c_is_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    """Interrupted with Ctrl-C the program says so and exits 130."""
    import faultodds_cli.next.command as command

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(command, "call_as_given", interrupted)
    ran = faultodds("next")
    assert ran.code == 130
    assert "Traceback" not in ran.err


def test_a_closed_pipe_is_no_error() -> None:
    """`faultodds appliance show | head -1` ends quietly."""
    line = f"{sys.executable} -m faultodds_cli.main appliance show | head -1; echo ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, timeout=60, check=True)
    assert done.stderr == ""
    assert done.stdout.splitlines()[-1] == "0"


def test_a_terminal_that_cannot_show_it() -> None:
    """Where the terminal takes ASCII only, bars and money are spelt in ASCII."""
    argv = [sys.executable, "-m", "faultodds_cli.main", "odds", "--found", "dry_time=longer"]
    env = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = subprocess.run(argv, capture_output=True, env=env, timeout=60, check=True)
    text = done.stdout.decode("ascii")
    assert "###" in text
    assert "?" not in text
