"""The command line as a test calls it: in this process, which has loaded everything, or in one of its own."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from pathlib import Path
from unittest import mock

from nesting.cli import app

__all__ = ["alone", "command", "run"]

#: wide enough that no line of a table is broken
WIDE = {"COLUMNS": "200"}


def command(*args: object) -> list[str]:
    """The command line."""
    return [sys.executable, "-m", "nesting.cli.app", *map(str, args)]


def alone(*args: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """The command with these arguments in its own process, as people call it."""
    env = {**os.environ, **WIDE}
    return subprocess.run(command(*args), cwd=cwd, capture_output=True, text=True, timeout=120, env=env)


def run(*args: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """The same without starting Python and loading the program anew: ``main``, its exit code and what it says."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    code: object = 0
    with (
        contextlib.chdir(cwd),
        mock.patch.object(sys, "argv", ["nesting", *map(str, args)]),
        mock.patch.dict(os.environ, WIDE),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            app.main()
        except SystemExit as end:
            code = end.code
    told, said = (stream.buffer.getvalue().decode("utf-8") for stream in (out, err))  # type: ignore[attr-defined]
    return subprocess.CompletedProcess(command(*args), code if isinstance(code, int) else 1 if code else 0, told, said)
