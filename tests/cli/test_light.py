"""`light.py`: plain values pass typer by, and a typer that works in another way is left alone."""

from __future__ import annotations

import contextlib
from typing import Annotated, Any

import pytest
import typer
from typer.core import TyperOption

from faultodds_cli import light
from run_cli import faultodds


def small_command(seen: dict[str, Any]) -> Any:
    """A command with an option of each kind there is in this program."""
    app = typer.Typer(add_completion=False)

    @app.command()
    def small(
        words: Annotated[list[str] | None, typer.Option("--word")] = None,
        text: str = "none",
        number: Annotated[int, typer.Option(min=1)] = 3,
        flag: bool = False,
    ) -> None:
        seen.update(words=words, text=text, number=number, flag=flag)

    return typer.main.get_command(app)


def run(command: Any, *argv: str) -> None:
    with contextlib.suppress(SystemExit):
        command.main(list(argv), prog_name="small", standalone_mode=False)


def test_typer_still_asks_where_light_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    """If this fails, typer no longer looks at values by way of `light.ASKED` and `coerce`: light.py saves nothing any more.

    Look at what typer does now, or delete light.py (and let the start-up tests say what that costs).
    """
    asked: list[str] = []
    own = getattr(TyperOption, light.ASKED, None)
    assert own is not None, f"typer's options have no method '{light.ASKED}' any more"
    monkeypatch.setattr(TyperOption, light.ASKED, lambda option: asked.append(option.name) or own(option))
    seen: dict[str, Any] = {}
    run(light.lighten(small_command(seen)), "--word", "a", "--word", "b", "--text", "c", "--flag")
    assert seen == {"words": ["a", "b"], "text": "c", "number": 3, "flag": True}
    assert asked == [], "typer looked at plain values itself"
    run(light.lighten(small_command(seen)), "--number", "7")
    assert seen["number"] == 7
    assert asked == ["number"], "typer was not asked to read a number"


@pytest.mark.parametrize("argv", [("--number", "x"), ("--number", "0"), ("--text",)])
def test_what_typer_refuses_is_refused_all_the_same(argv: tuple[str, ...]) -> None:
    """Light or not, a bad value has the same message."""
    said = []
    for command in (small_command({}), light.lighten(small_command({}))):
        with pytest.raises(Exception) as refused:  # noqa: PT011  (typer's own, wherever it keeps it)
            command.main(list(argv), standalone_mode=False)
        said.append((type(refused.value), refused.value.format_message()))
    assert said[0] == said[1]


def test_a_typer_without_that_method_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where parameters have no such method nothing is put into them, and commands do what they do."""
    usual = faultodds("next", "--found", "dry_time=longer", "--top", "2", "--json")
    monkeypatch.setattr(light, "ASKED", "no_such_method")
    plain, seen = small_command({}), {}
    before = [vars(param).copy() for param in plain.params]
    light.lighten(plain).get_params(typer.Context(plain))
    assert [vars(param) for param in plain.params[: len(before)]] == before
    run(light.lighten(small_command(seen)), "--word", "a", "--number", "5")
    assert seen == {"words": ["a"], "text": "none", "number": 5, "flag": False}
    again = faultodds("next", "--found", "dry_time=longer", "--top", "2", "--json")
    assert (again.code, again.out) == (usual.code, usual.out) and usual.code == 0


def test_a_typer_that_wants_something_else_of_it_gets_its_own() -> None:
    """Anything but `coerce` goes to the object that typer made."""
    (option, *_) = small_command({}).params
    own = option.get_runtime_param()
    assert light._PassThrough(option).annotation == own.annotation
