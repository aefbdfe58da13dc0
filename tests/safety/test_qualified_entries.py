"""Live and gas-pressure work is entered by unqualified hands on no path; what a qualified person did is, with who it was."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from calls import STRAIGHT_ON, bench, command, looked_at
from faultodds.errors import FaultoddsError
from faultodds.job.gates import only_qualified, refuse_unqualified
from faultodds.knowledge.loading import load

NOT_HERE = "--no-qualified-work"
SHOP = "[technician.T1]\nqualified = false\n"


def qualified_work() -> Iterator[tuple[str, str]]:
    """Every check and repair for qualified people, with a value to type for it."""
    k = load("gas_dryer")
    yield from ((n, next(iter(c.outcomes))) for n, c in k.check.items() if c.qualified)
    yield from ((n, "") for n, r in k.repair.items() if r.qualified)


WORK = list(qualified_work())


def test_there_is_such_work() -> None:
    """Checks and repairs."""
    assert {"burner_voltage", "manifold_pressure", "outlet_voltage", "gas_valve"} <= {name for name, _ in WORK}


def entered(data: Path) -> tuple[set[str], str]:
    """Findings and repairs of the job, and its notes."""
    with looked_at(data) as visit:
        return {p.finding.name for p in visit.job.findings} | set(visit.job.repairs), " ".join(visit.job.notes)


@pytest.mark.parametrize(("name", "value"), WORK)
def test_no_path_takes_it_silently(tmp_path: Path, name: str, value: str) -> None:
    """One line, a new job, a stored one, the guided call: refused, nothing saved; with who did it, kept with that."""
    said, data = f"{name}={value}", ["--data", str(tmp_path)]
    shop = tmp_path / "shop.toml"
    shop.write_text(SHOP)
    given = ["--found", said] if value else ["--repaired", name]
    for one in (["next", NOT_HERE], ["next", "--shop", str(shop), "--technician", "T1"]):
        refused = command(*one, *given)
        assert refused.code == 2 and f"{name}: live or gas-pressure work is for qualified" in " ".join(
            refused.err.split()
        )
    if value:
        assert command("job", "new", "--found", said, NOT_HERE, *data).code == 2
    command("job", "new", NOT_HERE, *data)
    enter = ["find", "1", said] if value else ["fix", "1", name]
    for by in ([], ["--by", "me"], ["--by", "no"], ["--by", " "]):
        assert command("job", *enter, *by, *data).code == 2
    assert name not in entered(tmp_path)[0]
    assert command("job", *enter, "--by", "the licensed fitter", *data).code == 0
    assert name in entered(tmp_path)[0] and f"{name}: by the licensed fitter" in entered(tmp_path)[1]


@pytest.mark.parametrize(("name", "value"), WORK)
@pytest.mark.parametrize("who", ["", "me", "nobody", "the licensed fitter"])
def test_the_guided_call_asks_who_did_it(tmp_path: Path, name: str, value: str, who: str) -> None:
    """Nobody, or whoever is there himself: it is left out."""
    line = f"{name}={value}" if value else f"repair {name}"
    said = bench(tmp_path, *STRAIGHT_ON, "heat=none", line, who, "leave", options=[NOT_HERE]).out
    assert "Which qualified person did it?" in " ".join(said.split())
    assert (name in entered(tmp_path)[0]) is (who == "the licensed fitter")


NOBODY_QUALIFIED = (
    *(
        "dunno",
        "not me",
        "the customer",
        "apprentice Joe, not licensed",
        "unqualified apprentice",
        "my helper",
        "a trainee",
    ),
    *("not sure who", "somebody", "Joe?", "unlicensed Joe", "he isn't licensed", "I think Joe", "never asked"),
)


@pytest.mark.parametrize("who", NOBODY_QUALIFIED)
def test_a_denial_a_doubt_or_somebody_else_is_no_qualified_person(tmp_path: Path, who: str) -> None:
    """Refused; asked again once in the guided call, then left out and kept as a note."""
    with pytest.raises(FaultoddsError):
        refuse_unqualified(["burner_voltage"], who)
    bench(tmp_path, *STRAIGHT_ON, "heat=none", "burner_voltage=120", who, "undo", "leave", options=[NOT_HERE])
    found, notes = entered(tmp_path)
    assert found == {"heat"} and who in notes and "undo" in notes
    bench(tmp_path, "no", "burner_voltage=120", "how gas_press", "Anna Berg", "leave", options=["1", NOT_HERE])
    assert entered(tmp_path)[0] == {"heat", "burner_voltage"}


def test_qualified_hands_are_asked_nothing() -> None:
    """Nor is anybody about other work."""
    k = load("gas_dryer")
    refuse_unqualified([])
    assert only_qualified(k, ["hood_flap", "igniter", "burner_voltage", "no such work"]) == ["burner_voltage"]
    with pytest.raises(FaultoddsError):
        refuse_unqualified(["burner_voltage"], "I did")
