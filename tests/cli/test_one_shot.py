"""`next` and `odds`: advice and odds from one command line."""

from __future__ import annotations

import io
import math
from pathlib import Path
from typing import Any

import pytest

from faultodds.advice.advisor import advise
from faultodds.advice.situation import Situation
from faultodds.belief.appliance import compiled
from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding
from faultodds.belief.posterior import infer
from faultodds_cli.main import run
from run_cli import faultodds, write_toy
from toys import raw_toy, toy


@pytest.fixture(scope="module")
def toy_file(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A toy appliance with a stop sign, a fact and a reading."""
    folder = tmp_path_factory.mktemp("toy")
    stop = {"smoke": {"title": "smoke or flames", "ask": "Any smoke?", "steps": ["Leave.", "Call from outside."]}}
    kind = {"ask": "Which kind?", "values": {"full": "full", "bare": "bare"}, "usual": {"full": 1, "bare": 1}}
    reading = {"fuse_test": {"kind": "continuity", "unit": "ohm", "bands": {"closed": [[0, 5]]}, "otherwise": "open"}}
    equipment = {"kind": {**kind, "lacks": {"bare": ["belt"]}}}
    return str(write_toy(folder / "toy.toml", stop=stop, equipment=equipment, reading=reading))


def test_next_says_what_the_library_says(toy_file: str) -> None:
    """The object of `next --json` holds the engine's own odds and advice, under every documented key."""
    got = faultodds("next", "--json", "--appliance", toy_file, "--found", "slow=yes", "--skip", "kind").answer
    assert list(got) == [
        "appliance", "revision", "evidence", "faults", "suspects", "omitted_mass", "not_told", "shop", "checks", "repairs",
        "advice", "ask", "cautions", "misfits",
    ]  # fmt: skip
    appliance = compiled(toy())
    belief = infer(appliance.suspects, Evidence(seen=(WeighedFinding("slow", {"yes": 1.0}),)))
    want = {o.name: o.probability for o in belief.fault_odds()}
    for fault in got["faults"]:
        assert math.isclose(fault["probability"], want[f"{fault['component']}.{fault['mode']}"], rel_tol=1e-5)
    advice = advise(appliance, belief)
    assert (got["advice"]["kind"], got["advice"]["name"]) == (advice.kind, advice.name)
    assert [c["check"] for c in got["checks"]] == [c.name for c in advice.checks]


def test_a_long_dry_time_asks_for_air_first() -> None:
    """The first check for a bare long dry time is one of the air; common practice, no source."""
    got = faultodds("next", "--json", "--found", "dry_time=longer").answer
    air = {
        "hood_flap",
        "hood_air_speed",
        "duct_off_run",
        "static_pressure",
        "lint_screen_look",
        "transition_look",
    }
    assert got["checks"][0]["check"] in air


def test_the_text_leads_with_what_to_do() -> None:
    """The text gives, in order: what is known, what to do, what to enter then, other checks, repairs, odds."""
    ran = faultodds("next", "--found", "dry_time=longer", "--fact", "control=board")
    assert ran.code == 0, ran.err
    heads = ["Known: control=board; dry_time=longer", "DO NEXT: ASK. ", "Enter the answer: ",
             "CHECKS, BEST FIRST", "REPAIRS, IF YOU WOULD START NOW", "FAULT ODDS"]  # fmt: skip
    places = [ran.out.index(head) for head in heads]
    assert places == sorted(places)
    assert max(map(len, ran.out.splitlines())) <= 80
    assert "\x1b" not in ran.out


def test_the_same_question_gets_the_same_bytes() -> None:
    """Two runs of one command line print the same object."""
    argv = ["next", "--json", "--found", "heat=none", "--fact", "fuel=natural"]
    assert faultodds(*argv).out == faultodds(*argv).out


@pytest.mark.parametrize(
    "sign", ["gas_smell=yes", "gas_smell", "Gas-Smell = not sure", "gas_smel=y", "smell of gas=yes"]
)
@pytest.mark.parametrize("command", ["next", "odds"])
def test_a_stop_sign_stops_everything(command: str, sign: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A smell of gas, sure or not, misspelt or not, ends with the steps and exit 3, nothing loaded."""

    def loaded(*_: object, **__: object) -> None:
        raise AssertionError("the appliance was opened")

    monkeypatch.setattr("faultodds.belief.open_appliance", loaded)
    ran = faultodds(command, "--found", "nonsense", "--found", sign)
    assert ran.code == 3
    assert ran.out.startswith("STOP. smell of gas.\n1. ")
    assert "gas supplier" in ran.text
    assert ran.err == ""


class _Stream(io.StringIO):
    """A stream on a screen, or one that goes elsewhere."""

    def __init__(self, screen: bool) -> None:
        super().__init__()
        self._screen = screen

    def isatty(self) -> bool:
        return self._screen


@pytest.mark.parametrize(
    ("screens", "options", "on"),
    [
        ((True, True), (), "out"),
        ((True, False), (), "out"),
        ((False, False), (), "out"),
        ((False, True), (), "err"),
        ((False, False), ("--json",), "err"),
        ((True, True), ("--json",), "err"),
    ],
)
def test_a_stop_is_said_once_where_it_is_read(
    screens: tuple[bool, bool], options: tuple[str, ...], on: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the answers, which nobody throws away; with the errors where only they are on a screen, or data is read."""
    streams = {"out": _Stream(screens[0]), "err": _Stream(screens[1])}
    monkeypatch.setattr("sys.stdout", streams["out"])
    monkeypatch.setattr("sys.stderr", streams["err"])
    assert run(["next", "--found", "gas_smell=yes", *options]) == 3
    said = {name: stream.getvalue().count("STOP.") for name, stream in streams.items()}
    assert said == {"out": int(on == "out"), "err": int(on == "err")}


def test_a_stop_that_nobody_reads_on_standard_output_is_said_on_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever read it has gone."""

    class Closed(_Stream):
        def flush(self) -> None:
            if self.tell() and not closed:
                closed.append(1)
                raise BrokenPipeError

    closed: list[int] = []
    err = _Stream(False)
    monkeypatch.setattr("sys.stdout", Closed(False))
    monkeypatch.setattr("sys.stderr", err)
    monkeypatch.setattr("faultodds_cli.main._pipe_closed", lambda: 0)
    assert run(["next", "--found", "gas_smell=yes"]) == 3
    assert err.getvalue().count("STOP.") == 1


@pytest.mark.parametrize("option", ["--found", "--fact", "--reading", "--after"])
def test_a_stop_sign_is_heard_wherever_it_is_typed(option: str) -> None:
    """Whichever option carries it, with --json too; standard output is then empty."""
    ran = faultodds("next", "--json", option, "co_alarm=yes")
    assert (ran.code, ran.out) == (3, "")
    assert "STOP. carbon monoxide alarm" in ran.said


@pytest.mark.parametrize("option", ["--found", "--fact", "--reading", "--after", "--repaired", "--skip", "--open"])
def test_danger_is_heard_in_plain_words_whichever_option_carries_it(option: str) -> None:
    """Before the line is found wrong for any other reason."""
    ran = faultodds("next", "--found", "nonsense", option, "dryer=not sure but smells of gas")
    assert ran.code == 3
    assert ran.out.startswith("STOP. smell of gas: ")


def test_a_name_of_the_file_is_no_shout() -> None:
    """`burning_smell` is a symptom that is weighed; the same words typed as a remark stop."""
    assert faultodds("odds", "--found", "burning_smell=no", "--top", "1").code == 0
    assert faultodds("odds", "--found", "harness_look=burnt", "--top", "1").code == 0
    assert faultodds("odds", "--found", "burning smell from the board", "--top", "1").code == 3


def test_a_stop_sign_is_heard_in_a_broken_file(tmp_path: Path) -> None:
    """A knowledge file with a mistake in it still stops for its stop signs."""
    path = tmp_path / "broken.toml"
    path.write_text('nonsense = 1\n[stop.smoke]\ntitle = "smoke"\nsteps = ["Leave."]\n[costs]\nx = 2\n')
    assert faultodds("next", "--appliance", str(path), "--found", "smoke=yes").code == 3
    assert faultodds("next", "--appliance", str(path), "--found", "smoke=no").code == 2


def test_no_gas_smell_is_no_evidence(toy_file: str) -> None:
    """A stop sign plainly denied changes nothing."""
    plain = faultodds("next", "--json", "--appliance", toy_file, "--found", "slow=yes")
    denied = faultodds("next", "--json", "--appliance", toy_file, "--found", "slow=yes", "--found", "smoke=no")
    assert denied.code == 0, denied.err
    assert denied.out == plain.out


def test_a_reading_is_judged(toy_file: str) -> None:
    """--reading takes what the meter shows; the same text under --found is the same finding."""
    reading = faultodds("odds", "--json", "--appliance", toy_file, "--reading", "fuse_test=OL").answer
    assert reading["faults"][0]["component"] == "fuse"
    found = faultodds("odds", "--json", "--appliance", toy_file, "--found", "fuse_test=OL").answer
    assert found == reading


def test_an_uncertain_finding_moves_the_odds_less(toy_file: str) -> None:
    """ "open 70 / closed 30" lies between not looking and a sure "open"."""

    def fuse(*found: str) -> float:
        got = faultodds("odds", "--json", "--appliance", toy_file, *found).answer
        return next(f["probability"] for f in got["faults"] if f["component"] == "fuse")

    assert fuse() < fuse("--found", "fuse_test=open 70 / closed 30") < fuse("--found", "fuse_test=open")


def test_what_is_found_after_a_repair(toy_file: str) -> None:
    """--repaired takes the fault away and --after is read on the machine as it then is."""
    argv = ["--found", "fuse_test=open", "--repaired", "new_fuse", "--after", "run_test=good"]
    got = faultodds("next", "--json", "--appliance", toy_file, *argv).answer
    s = compiled(toy()).suspects
    seen = (WeighedFinding("fuse_test", {"open": 1.0}), WeighedFinding("run_test", {"good": 1.0}, stage=1))
    belief = infer(s, Evidence(seen=seen, repairs=(RepairEffect("new_fuse", ("fuse.open",), 0.97),)))
    want = belief.mode_odds[s.mode_index["fuse.open"]]
    fuse = next(f for f in got["faults"] if f["component"] == "fuse")
    assert math.isclose(fuse["probability"], want, rel_tol=1e-5)
    assert got["advice"]["kind"] == "stop"
    known = faultodds("next", "--appliance", toy_file, *argv).out.partition("\n\n")[0]
    assert " ".join(known.split()) == "Known: fuse_test=open; then repaired: new fuse; run_test=good"


def test_a_skipped_check_is_not_offered(toy_file: str) -> None:
    """--skip takes a check out of the list."""
    before = faultodds("next", "--json", "--appliance", toy_file, "--found", "slow=yes").answer
    first = before["checks"][0]["check"]
    after = faultodds("next", "--json", "--appliance", toy_file, "--found", "slow=yes", "--skip", first).answer
    assert first not in [c["check"] for c in after["checks"]]


def test_an_open_panel_makes_its_checks_cheaper(toy_file: str) -> None:
    """--open says where the machine stands: what lies behind an open panel needs no steps to get there."""

    def fuse_test(*opened: str) -> dict[str, Any]:
        got = faultodds("next", "--json", "--appliance", toy_file, "--found", "slow=yes", *opened).answer
        found: dict[str, Any] = next(c for c in got["checks"] if c["check"] == "fuse_test")
        return found

    closed, opened = fuse_test(), fuse_test("--open", "unplugged", "--open", "panel")
    assert opened["minutes"] < closed["minutes"]
    assert "Unplug it." in closed["steps"]
    assert opened["steps"] == []


def test_work_for_the_qualified_can_be_left_out() -> None:
    """--no-qualified-work offers no check or repair marked for qualified people."""
    from faultodds.knowledge.loading import load

    k = load("gas_dryer")
    got = faultodds("next", "--json", "--found", "heat=none", "--fact", "control=timer", "--no-qualified-work").answer
    offered = [c["check"] for c in got["checks"]] + [r["repair"] for r in got["repairs"]]
    assert not [n for n in offered if ({**k.check, **k.repair})[n].qualified]
    every = faultodds("next", "--json", "--found", "heat=none", "--fact", "control=timer").answer
    assert [c for c in every["checks"] if k.check[c["check"]].qualified]


def test_the_labour_rate_is_the_shops(toy_file: str) -> None:
    """--labour-rate prices minutes: at nothing an hour only parts cost."""
    got = faultodds("next", "--json", "--appliance", toy_file, "--found", "slow=yes", "--labour-rate", "0").answer
    assert {c["cost"] for c in got["checks"]} == {0.0}


def test_top_is_how_many(toy_file: str) -> None:
    """--top N lists N checks in the text."""
    ran = faultodds("next", "--appliance", toy_file, "--top", "1")
    assert "  1. " in ran.out
    assert "\n  2. " not in ran.out[ran.out.index("CHECKS, BEST FIRST") :]


@pytest.mark.parametrize("columns", ["60", "80", "200"])
def test_the_text_fits_the_terminal(columns: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is wider than the terminal, nor than 80 columns."""
    monkeypatch.setenv("COLUMNS", columns)
    ran = faultodds("odds", "--found", "dry_time=longer")
    assert max(map(len, ran.out.splitlines())) <= min(80, int(columns))


def test_steps_shut_off_what_can_hurt() -> None:
    """No check behind a panel is advised without the step that turns the power off."""
    got = faultodds("next", "--json", "--found", "heat=none").answer
    behind = next(c for c in got["checks"] if c["check"] == "fuse_continuity")
    assert any("plug" in step for step in behind["steps"])
    assert any("Plug out" in caution for caution in behind["cautions"])
    assert Situation().qualified


def test_the_toy_is_the_toy() -> None:
    """The file used here says what `toys.raw_toy` says."""
    assert set(raw_toy()["check"]) == {"fuse_test", "listen", "run_test"}


def test_what_does_not_fit_is_said_before_the_advice() -> None:
    """With what it contradicts; a call whose findings agree says nothing of the kind."""
    odd = faultodds("next", "--found", "heat=none", "--found", "fuse_continuity=open", "--found", "drum_warm=warm")
    assert "!! drum_warm = warm does not fit what was found before: fuse_continuity = open. About 1 in" in odd.text
    assert odd.text.index("does not fit") < odd.text.index("DO NEXT")
    assert "does not fit" not in faultodds("next", "--found", "heat=none", "--found", "fuse_continuity=open").out
