"""Programs that are started again and again with all loaded, to be killed: both ends of the pipe to them.

The worker answers each line with the process id of a child that does what the line says, and the word "wait" with how that ended.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path


def serve(work: Callable[[str], int]) -> None:
    """The worker's end: a child for each line, which ends with what `work` gives, or with 99."""
    pid = 0
    for line in sys.stdin:
        if line.strip() == "wait":
            print(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), flush=True)
            continue
        pid = os.fork()
        if pid == 0:
            code = 99
            try:
                code = work(line)
            finally:
                os._exit(code)
        print(pid, flush=True)


class Worker:
    """The test's end: one of the worker programs of this folder."""

    def __init__(self, program: str, *arguments: str) -> None:
        command = [sys.executable, str(Path(__file__).with_name(program)), *arguments]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def _say(self, word: str) -> int:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        print(word, file=self._process.stdin, flush=True)
        return int(self._process.stdout.readline())

    def whole(self, line: str) -> int:
        """Run what a line says to its end: the exit code."""
        self._say(line)
        return self._say("wait")

    def killed(self, line: str, when: Callable[[], None]) -> int:
        """Kill it as soon as `when` comes back: how it ended (a negative number: it was killed before)."""
        pid = self._say(line)
        when()
        os.kill(pid, signal.SIGKILL)
        return self._say("wait")

    def close(self) -> None:
        """No more of them."""
        self._process.communicate(timeout=60)
