"""Ctrl-C while drawing: heard at once; lays and sheets are there, what is not whole is not."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from nesting.cli import writing
from nesting.cli.commands import lay_order_file
from nesting.files.orders.order import load_order
from nesting.packing.search import pool
from nesting.planning.layout.options import SearchOptions
from nesting.report.backends import to_png
from nesting.resolving.resolve import resolve
from nesting.session.events import LayWork
from nesting.session.session import Session
from tests.cli.test_do_not_cut import case


def test_a_stop_ends_the_drawing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SIGINT as the picture begins: no picture, no report, but lay file and sheet, which were written before, and words
    that say so; the handler that was there before is there again."""
    path = case(tmp_path, 110.0)
    order = load_order(path)

    def searched(order: Any, listed: Any, work: Any) -> Any:
        options = SearchOptions(seconds=None, rounds=1, workers=1)
        with Session(order, options, work) as session:
            return session.wait()

    went_on: list[str] = []

    def stopped(*args: Any, **more: Any) -> bytes:
        os.kill(os.getpid(), signal.SIGINT)
        went_on.append("a picture was drawn to its end")
        return b""

    monkeypatch.setattr(to_png, "png_bytes", stopped)
    before = signal.getsignal(signal.SIGINT)
    document, words = lay_order_file(order, resolve(order), tmp_path / "out", searched)
    assert went_on == [] and signal.getsignal(signal.SIGINT) is before
    assert words[-1] == writing.STOPPED
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["lay-main.json", "sheet-main.pdf"]
    assert sorted(Path(f).name for f in document["files"]) == ["lay-main.json", "sheet-main.pdf"]


def test_in_another_thread_nothing_is_listened_to() -> None:
    """Signals are heard in the main thread only; elsewhere the drawing just goes on."""
    found: list[int | None] = []
    thread = threading.Thread(target=lambda: found.append(writing.drawn_unless_stopped(lambda: 7)))
    thread.start()
    thread.join()
    assert found == [7] and writing.drawn_unless_stopped(lambda: 8) == 8


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="processes are not forked here")
def test_a_stop_ends_the_process_that_draws(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where another process draws, it is not waited for; undisturbed, its drawings are those drawn here."""
    path = case(tmp_path, 110.0)
    order = load_order(path)
    listed = resolve(order)
    with Session(order, SearchOptions(seconds=None, rounds=1, workers=1), LayWork()) as session:
        result = session.wait()
    assert result is not None
    with writing.Drawing(result.lays, listed) as here:
        assert here._ahead is None
        files, _ = here.pictures()
    monkeypatch.setattr(writing, "_WORTH_A_PROCESS", 1)
    for where in (writing, pool):  # tests before this one may have left threads that wait
        monkeypatch.setattr(where, "forks", lambda: True)
    with writing.Drawing(result.lays, listed) as there:
        assert there._ahead is not None and there.pictures()[0] == files

    drawn_by = os.getpid()

    def slow(*args: Any, **more: Any) -> bytes:
        assert os.getpid() != drawn_by
        time.sleep(120.0)
        return b""

    monkeypatch.setattr(to_png, "png_bytes", slow)
    begun = time.monotonic()
    with writing.Drawing(result.lays, listed) as there:
        timer = threading.Timer(0.5, os.kill, (os.getpid(), signal.SIGINT))
        timer.start()
        assert writing.drawn_unless_stopped(there.pictures) is None
    assert time.monotonic() - begun < 60.0
