"""What a run does beside the search."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from nesting.session.child import _keep_bytecode


@pytest.mark.parametrize("told_not_to", [True, False])
def test_modules_are_compiled_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, told_not_to: bool) -> None:
    """Where Python is told to keep nothing of what it compiles, it is kept; else Python does so as it imports."""
    monkeypatch.setattr(sys, "dont_write_bytecode", told_not_to)
    (tmp_path / "room").mkdir()
    (tmp_path / "room" / "module.py").write_text("x = 1\n")

    _keep_bytecode(tmp_path)

    assert len(list(tmp_path.glob("room/__pycache__/*.pyc"))) == told_not_to
