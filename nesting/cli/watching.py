"""A session as the command line shows it: a line of progress, and Ctrl-C."""

from __future__ import annotations

import signal
import threading
import time
from types import FrameType
from typing import TYPE_CHECKING

from rich.console import Console
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from nesting.model.units import format_length
from nesting.session.events import Event, Progressed, Reading, Result, Work
from nesting.session.session import Session

if TYPE_CHECKING:
    from nesting.model.order import Order
    from nesting.planning.layout.options import SearchOptions
    from nesting.resolving.cutting_list import CuttingList

__all__ = ["Watching"]


def _drawing_loaded() -> None:
    """What draws and writes the result is loaded while the search runs elsewhere, so that nobody waits for it after."""
    import PIL.PngImagePlugin  # noqa: F401
    import pypdfium2  # noqa: F401
    import reportlab.platypus  # noqa: F401

    from nesting.report.backends import to_png, to_svg  # noqa: F401
    from nesting.report.bundles import labels_pdf  # noqa: F401
    from nesting.report.drawing import drawing, view  # noqa: F401
    from nesting.report.drawing.fonts import register
    from nesting.report.html import drawn, folder_report, lay_part  # noqa: F401
    from nesting.report.print import drawn_files  # noqa: F401
    from nesting.report.sheet import sheet_pdf  # noqa: F401

    register()


class Watching:
    """Runs one session and renders its events. From then on Ctrl-C only stops the session: what it found is written."""

    def __init__(self, options: SearchOptions, imperial: bool, *, steps: bool, quiet: bool) -> None:
        self._options, self._imperial, self._steps = options, imperial, steps
        self._console = Console(stderr=True)
        self._first = True
        self._begun = time.monotonic()
        self._bar = Progress(
            SpinnerColumn(),
            TextColumn("{task.description}"),
            BarColumn(bar_width=24),
            TimeElapsedColumn(),
            TextColumn("{task.fields[best]}"),
            console=self._console,
            transient=True,
            auto_refresh=False,
            disable=quiet or not self._console.is_terminal,
        )
        self._task = self._bar.add_task("reading", total=1.0, best="")
        self._best = ""

    def run(self, order: Order, listed: CuttingList, work: Work) -> Result | None:
        """The result; None where it was stopped before there was anything. Raises what refused the work."""
        session = Session(order, self._options, work, cutting_list=listed, on_event=self._hear)

        def stop(number: int, frame: FrameType | None) -> None:
            session.stop()

        if threading.current_thread() is threading.main_thread():
            signal.signal(signal.SIGINT, stop)
        with self._bar:
            session.start()
            threading.Thread(target=_drawing_loaded, daemon=True).start()
            while session.running:
                session.wait(0.2)
            return session.wait()

    def _hear(self, event: Event) -> None:
        if isinstance(event, Reading) and event.note != "reading":
            self._console.print(event.note, highlight=False)
        elif isinstance(event, Progressed):
            self._show(event)

    def _show(self, event: Progressed) -> None:
        spent = time.monotonic() - self._begun
        if event.length is not None:
            self._best = f"best so far: {format_length(event.length, imperial=self._imperial, step=None)} of cloth"
            if self._first and not self._console.is_terminal:
                self._console.print(f"first valid lay after {spent:.1f} s: {self._best}", highlight=False)
            self._first = False
        seconds = self._options.seconds
        done = event.share if self._steps or seconds is None else min(1.0, spent / seconds)
        doing = f"{event.cloth}: {event.doing}" if event.cloth else event.doing
        self._bar.update(self._task, completed=done, description=doing, best=self._best)
        self._bar.refresh()
