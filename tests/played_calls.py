"""Calls played through a real terminal, line by line, and kept as whole records to be read aloud.

`tests/played/NAME.toml` holds a title and the lines that a technician types; `NAME.80.txt` and `NAME.40.txt` what
the terminal then showed at 80 and 40 columns. `python tests/played_calls.py` plays them again and rewrites the records.
"""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import struct
import subprocess
import sys
import tempfile
import termios
import tomllib
from datetime import date
from itertools import product
from pathlib import Path

FOLDER = Path(__file__).resolve().parent / "played"
PROGRAM = Path(__file__).with_name("kept_advice.py")
COLUMNS = (80, 40)
ANSWERS_WITHIN = 120.0
"""Seconds after which a call that neither asks nor ends has hung."""
_TIME = re.compile(r"\b\d\d:\d\d\b")
_DAY = re.compile(r"\b20\d\d-\d\d-\d\d\b")
_COLOURS = re.compile(r"\x1b\[[0-9;?]*[a-zA-Z]")


def names() -> list[str]:
    """The calls there are, sorted."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


def visits_of(name: str) -> list[list[str]]:
    """What the technician types in a call, visit by visit."""
    call = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    return [call["lines"], *([call["when_it_came_back"]] if "when_it_came_back" in call else [])]


def record(name: str, columns: int) -> Path:
    """Where the record of a call lies."""
    return FOLDER / f"{name}.{columns}.txt"


def play(visits: list[list[str]], columns: int, data: Path, advised: Path) -> str:
    """What a terminal of that width shows while a call is played, callbacks included; times and days are blanked. In `advised` is
    kept what was advised: the same at every width."""
    where = (columns, data, advised)
    shown = _session(["bench"], visits[0], *where)
    for lines in visits[1:]:
        shown += _session(["job", "close", "1", "came_back", "--on", date.today().isoformat()], [], *where)
        shown += _session(["bench", "1"], lines, *where)
    text = _COLOURS.sub("", shown.decode("utf-8", "replace")).replace("\r\n", "\n").replace("\r", "")
    return _DAY.sub("YYYY-MM-DD", _TIME.sub("HH:MM", text)).rstrip() + "\n"


def _session(argv: list[str], lines: list[str], columns: int, data: Path, advised: Path) -> bytes:
    screen, keyboard = pty.openpty()
    fcntl.ioctl(keyboard, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
    environment = {**os.environ, "FAULTODDS_DATA": str(data), "TERM": "dumb", "COLUMNS": str(columns)}
    command = [sys.executable, str(PROGRAM), str(advised), *argv]
    with subprocess.Popen(command, stdin=keyboard, stdout=keyboard, stderr=keyboard, env=environment) as process:
        os.close(keyboard)
        shown = _until_asked(screen)
        for line in lines:
            if process.poll() is not None:
                break
            try:
                os.write(screen, f"{line}\n".encode())
            except OSError:
                break
            shown += _until_asked(screen, echoed=False)
        process.kill()
    os.close(screen)
    return shown


def _until_asked(screen: int, echoed: bool = True) -> bytes:
    """What is shown until the call asks again (only a question leaves a line unfinished) or ends; not before the end of the line
    that was typed has come back, unless it is `echoed` already."""
    shown = b""
    patience = ANSWERS_WITHIN
    while True:
        ready, _, _ = select.select([screen], [], [], patience)
        if not ready:
            if patience == ANSWERS_WITHIN:
                raise TimeoutError(shown.decode("utf-8", "replace")[-500:])
            return shown
        try:
            piece = os.read(screen, 65536)
        except OSError:  # the call has ended
            return shown
        if not piece:
            return shown
        shown += piece
        # A question may come in two pieces.
        asked = (echoed or b"\n" in shown) and not shown.endswith((b"\n", b"\r"))
        patience = 0.2 if asked else ANSWERS_WITHIN


def main() -> None:
    """Play every call at every width and rewrite the records that differ."""
    with tempfile.TemporaryDirectory() as advised:
        for columns, name in product(COLUMNS, names()):
            with tempfile.TemporaryDirectory() as data:
                text = play(visits_of(name), columns, Path(data), Path(advised))
            path = record(name, columns)
            if not path.exists() or path.read_text(encoding="utf-8") != text:
                path.write_text(text, encoding="utf-8")
                sys.stdout.write(f"rewritten: {path.name}\n")


if __name__ == "__main__":
    main()
