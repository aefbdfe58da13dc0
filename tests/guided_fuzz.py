"""Spoils what comes from other hands, guided by which code it reaches (atheris; not among the test dependencies).

    pip install atheris
    python tests/guided_fuzz.py KIND [-runs=100000] [-max_total_time=60] [FOLDER of kept inputs]

KIND is one of `hostile.KINDS`, and what follows is libFuzzer's. An input that is not refused in words, takes 10 seconds or
1 GB more than before ends the run; it is kept as `crash-...` in the folder the run was started in.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["faultodds"]):
    import hostile


def main() -> None:
    """One run on one kind."""
    kind, *options = sys.argv[1:]
    if kind not in hostile.KINDS:
        raise SystemExit(f"there is no kind '{kind}'. Kinds: {', '.join(hostile.KINDS)}.")
    seeds = Path(tempfile.mkdtemp())
    for number, sound in enumerate(hostile.KINDS[kind].sound):
        (seeds / str(number)).write_bytes(sound)
        hostile.KINDS[kind].use(sound)
    # Ten seconds of work end a run in `hostile`; this one goes by the clock on the wall, and a busy machine fails no input.
    bounds = ["-timeout=300", "-rss_limit_mb=2048", "-max_len=8192"]
    kept = [each for each in options if not each.startswith("-")]
    flags = [each for each in options if each.startswith("-")]
    atheris.Setup([sys.argv[0], *bounds, *flags, *kept, str(seeds)], lambda data: hostile.used(kind, data))
    atheris.Fuzz()


if __name__ == "__main__":
    main()
