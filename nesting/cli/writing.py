"""The results of a command, written to its folder: its own files, and its part of the one report there."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, TypeVar

from nesting.packing.search.pool import forks, own_workers

if TYPE_CHECKING:
    from nesting.model.lay import Lay
    from nesting.model.order import Order
    from nesting.report.drawing.scene import Scene
    from nesting.resolving.cutting_list import CuttingList

__all__ = [
    "STOPPED",
    "STOPPED_TABLE",
    "Drawing",
    "drawn_unless_stopped",
    "order_seen_from",
    "write_first",
    "write_with_report",
]

T = TypeVar("T")
#: the drawings of a lay by file name, and its scene
Drawn = tuple[dict[str, bytes], "Scene"]
#: placements: with fewer, drawing is over before another process would be of use
_WORTH_A_PROCESS = 12
#: share of all pieces that the other process draws, about; this one writes the sheets as well
_THEIRS = 0.6

#: what is said where drawing was stopped
STOPPED = "stopped while drawing: what was found is written, pictures and report are not"
STOPPED_TABLE = "stopped while drawing: nothing was written"


def order_seen_from(folder: Path, order: Order) -> str | None:
    """The order's file as seen from the folder of the results, by which a lay file finds it again."""
    if order.path is None:
        return None
    return Path(os.path.relpath(order.path.resolve(), folder.resolve())).as_posix()


def write_first(folder: Path, lays: Sequence[Lay]) -> dict[str, bytes]:
    """Lay files and placement sheets at once, which are returned by name; drawings and the report, which take longer,
    follow. Raises InputError if something cannot be written."""
    from nesting.files.lays.layfile import lay_as_bytes
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.print.drawn_files import lay_stem, sheet_output

    ready_folder(folder)
    files: dict[str, bytes] = {}
    for lay in lays:
        files |= {f"lay-{lay_stem(lay)}.json": lay_as_bytes(lay), **sheet_output(lay)}
    write_outputs({folder / name: content for name, content in files.items()})
    return files


class Drawing:
    """The drawings of the lays of a command. Where there is much to draw, a process forked from this one draws the
    larger part while this one draws the rest and writes the sheets."""

    def __init__(self, lays: Sequence[Lay], listed: CuttingList) -> None:
        self._lays, self._listed = tuple(lays), listed
        self._theirs: tuple[int, ...] = ()
        self._ahead: Future[list[Drawn]] | None = None
        self._processes = contextlib.ExitStack()

    def __enter__(self) -> Drawing:
        """Itself; the drawing begins, where it is done by another process."""
        pieces = [len(lay.placements) for lay in self._lays]
        if sum(pieces) >= _WORTH_A_PROCESS and forks():
            theirs: list[int] = []
            for number in sorted(range(len(pieces)), key=lambda k: -pieces[k]):
                if sum(pieces[k] for k in theirs) < _THEIRS * sum(pieces):
                    theirs.append(number)
            self._theirs = tuple(sorted(theirs))
            pool = self._processes.enter_context(own_workers(1))
            self._ahead = pool.submit(_all_drawn, [self._lays[k] for k in self._theirs], self._listed)
        return self

    def pictures(self) -> tuple[dict[str, bytes], tuple[Scene, ...]]:
        """The drawings of the lays by file name, and their scenes for the report: each is laid out once."""
        ours = [k for k in range(len(self._lays)) if k not in self._theirs]
        drawn = dict(zip(ours, _all_drawn([self._lays[k] for k in ours], self._listed), strict=True))
        if self._ahead is not None:
            drawn |= zip(self._theirs, self._ahead.result(), strict=True)
        files: dict[str, bytes] = {}
        for k in range(len(self._lays)):
            files |= drawn[k][0]
        return files, tuple(drawn[k][1] for k in range(len(self._lays)))

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """End the other process, at once where its drawings are not wanted any more."""
        if self._ahead is not None and not self._ahead.done():
            kind, error, at = KeyboardInterrupt, KeyboardInterrupt(), None
        self._processes.__exit__(kind, error, at)


def _all_drawn(lays: Sequence[Lay], listed: CuttingList) -> list[Drawn]:
    return [_drawn(lay, listed) for lay in lays]


def _drawn(lay: Lay, listed: CuttingList) -> Drawn:
    from nesting.report.drawing.drawing import lay_scene
    from nesting.report.drawing.view import picture
    from nesting.report.print.drawn_files import lay_outputs

    scene = lay_scene(lay, picture(lay), listed)
    return lay_outputs(lay, listed, scene=scene), scene


def drawn_unless_stopped(draw: Callable[[], T]) -> T | None:
    """What ``draw`` gives; None where Ctrl-C ended it, which it does at once: lays and sheets are written before."""
    if threading.current_thread() is not threading.main_thread():
        return draw()
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        return draw()
    except KeyboardInterrupt:
        return None
    finally:
        signal.signal(signal.SIGINT, before)


def write_with_report(
    folder: Path,
    order: Order,
    files: Mapping[str, bytes],
    parts: Mapping[str, Mapping[str, Any]],
    document: dict[str, Any],
    *,
    trims: Sequence[Mapping[str, Any]] | None = None,
    spare: Mapping[str, Mapping[str, Any]] | None = None,
) -> list[object]:
    """Write ``files`` and the report with these parts, all or nothing; the document gets their names. Returns words.

    See ``report.html.folder_report.report_with`` for parts, trims and spare. Raises InputError if something cannot be
    written.
    """
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.html.drawn import PARTS
    from nesting.report.html.folder_report import report_with

    ready_folder(folder)
    names = sorted({*files, "report.html", "report.json"})
    document["files"] = [str(folder / name) for name in names]
    report = report_with(folder, order, parts, document, trims=trims, spare=spare)
    write_outputs({**{folder / name: content for name, content in files.items()}, **report.files})
    words: list[object] = [f"written to {folder}: {', '.join(names)}"]
    if report.kept:
        kept = ", ".join(f"“{PARTS[name]}”" for name in report.kept)
        words.append(f"report.html also keeps what it told of this order before: {kept}")
    if report.replaced:
        words.append("the report that was there was not of this order as it is now, so it was replaced")
    return words
