"""One order with all that belongs to it on the page: its text on disk, its history, the lays found for it.

Nothing outside the order's folder is written. What the page keeps for itself lies in a hidden folder beside the
order, ``.NAME.page``: the journal of steps, the lays found (as lay files), answers, ticks and projector set-ups; what
people ask for (print files, the order itself) lies where they look for it.
"""

from __future__ import annotations

import hashlib
import json
import os
import tomllib
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from nesting.files.outputs import write_outputs
from nesting.model.errors import InputError, NestingError, OrderError
from nesting.page.history import History, Step
from nesting.page.ordertext import OrderText
from nesting.page.survey import Reader, Survey, survey

__all__ = ["Workspace", "order_in"]

#: bytes; as for reading an order
LARGEST_ORDER = 2_000_000


def order_in(place: Path) -> Path:
    """The order that a folder or a file stands for: the only ``*.toml`` with patterns in a folder, or ``order.toml``
    that is still to be written there. Raises OrderError where that is not clear, or where it is something else."""
    if place.is_dir():
        found = sorted(
            p for p in place.glob("*.toml") if p.is_file() and not p.name.startswith(".") and p.stem != "stash"
        )
        orders = [p for p in found if b"[[pattern]]" in _head(p) or b"[[garment]]" in _head(p)]
        if len(orders) > 1:
            names = ", ".join(p.name for p in orders)
            raise OrderError(
                f"there are several cutting orders here ({names}): name one of them", file=place, code="order.several"
            )
        return orders[0] if orders else place / "order.toml"
    if place.suffix.lower() != ".toml":
        raise OrderError("a cutting order (*.toml) or a folder was expected", file=place, code="order.not-found")
    if not place.parent.is_dir():
        raise OrderError("there is no such folder: make it first", file=place.parent, code="file.missing")
    return place


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(LARGEST_ORDER)
    except OSError:
        return b""


class Workspace:
    """The state behind the page. Not for several threads at once: the server sees to that."""

    def __init__(self, order: Path) -> None:
        self.path = order.resolve()
        self.folder = self.path.parent
        self.private = self.folder / f".{self.path.stem}.page"
        self.results = self.folder / f"{self.path.stem}-results"
        self.reader = Reader()
        self.rev = 1
        #: another program changed the order, and nobody has decided yet which of the two counts
        self.foreign: str | None = None
        self._survey: tuple[tuple[Any, ...], Survey] | None = None
        for folder in (self.private, self.private / "lays"):
            try:
                folder.mkdir(exist_ok=True)
            except OSError as error:
                raise self._barred(error) from None
        self.history = History.read(self.private / "journal.jsonl")
        self._on_disk = self._from_disk()
        known = self.history.state.get("order")
        try:
            if known is None:
                self.history.set_aside({"order": self._on_disk})
            elif known != self._on_disk:
                self.history.do("changes made outside the page", {"order": self._on_disk})
        except OSError as error:
            raise self._barred(error) from None

    def _barred(self, error: OSError) -> InputError:
        return InputError(
            f"the page cannot write here ({error.strerror}), where it keeps every step: allow it, or work on a copy of "
            "the folder elsewhere",
            file=self.folder,
            code="file.not-written",
        )

    # --- the order on disk

    @property
    def text(self) -> str:
        """The order as the page has it."""
        return str(self.history.state.get("order", ""))

    @property
    def title(self) -> str:
        """The order's title, without reading its patterns; its file's name where it has none."""
        try:
            return str(tomllib.loads(self.text).get("title", self.path.stem))
        except ValueError:
            return self.path.stem

    @property
    def declined(self) -> frozenset[str]:
        """Proposals and questions that somebody said no to, by id."""
        return frozenset(self.history.state.get("declined") or ())

    @property
    def order_text(self) -> OrderText:
        """The order's text, to be changed."""
        return OrderText(self.text, self.path.name)

    @property
    def sha256(self) -> str:
        """Of the order's text, as lay files carry it."""
        return hashlib.sha256(self.text.encode("utf-8")).hexdigest()

    @property
    def survey(self) -> Survey:
        """The order as far as it can be read, read anew only where it or a pattern file has changed."""
        key = (self.text, *self._stamps())
        if self._survey is None or self._survey[0] != key:
            self._survey = (key, survey(self.text, self.path, self.reader))
        return self._survey[1]

    def _stamps(self) -> tuple[Any, ...]:
        try:
            names = [str(one.get("file")) for one in tomllib.loads(self.text).get("pattern", [])]
        except (ValueError, AttributeError, TypeError):
            return ()
        stamps = []
        for name in names:
            try:
                stat = (self.folder / name).stat()
                stamps.append((name, stat.st_mtime_ns, stat.st_size))
            except (OSError, ValueError):
                stamps.append((name, 0, 0))
        return tuple(stamps)

    def _from_disk(self) -> str:
        try:
            with self.path.open("rb") as stream:
                content = stream.read(LARGEST_ORDER + 1)
        except FileNotFoundError:
            return ""
        except OSError as error:
            raise OrderError(
                f"the order cannot be read ({error.strerror})", file=self.path, code="file.unreadable"
            ) from None
        if len(content) > LARGEST_ORDER:
            raise OrderError(
                f"more than {LARGEST_ORDER // 1_000_000} MB, too large for an order",
                file=self.path,
                code="file.too-large",
            )
        try:
            return content.decode("utf-8")
        except UnicodeDecodeError as error:
            message = f"not UTF-8 text (byte {error.start + 1}): save it as UTF-8"
            raise OrderError(message, file=self.path, code="order.toml") from None

    def look_at_disk(self) -> bool:
        """Whether another program has changed the order since the page wrote or read it last."""
        try:
            now = self._from_disk()
        except OrderError:
            return self.foreign is not None
        if now == self._on_disk or now == self.text:
            self._on_disk = now
            self.foreign = None
        else:
            self.foreign = now
        return self.foreign is not None

    def take_foreign(self) -> Step | None:
        """The other program's text becomes the page's, as a step that can be undone."""
        self.look_at_disk()
        if self.foreign is None:
            return None
        text, self.foreign = self.foreign, None
        self._on_disk = text
        self.rev += 1
        return self.history.do("changes made outside the page", {"order": text})

    def keep_mine(self) -> str | None:
        """Write the page's text over the other program's, which is kept beside it. The name of that file."""
        self.look_at_disk()
        if self.foreign is None:
            return None
        number = 1
        while (kept := self.folder / f"{self.path.stem}-outside-{number}.toml").exists():
            number += 1
        write_outputs({kept: self.foreign.encode("utf-8"), self.path: self.text.encode("utf-8")})
        self._on_disk, self.foreign = self.text, None
        self.rev += 1
        return kept.name

    # --- steps

    def change(self, label: str, values: Mapping[str, Any]) -> Step | None:
        """Change named values as one step; an order's text is written to its file first.

        Raises OrderError while another program's change is undecided, InputError where the disk refuses; nothing is
        changed then.
        """
        before = self.text
        if "order" in values and values["order"] != before:
            self._write_order(values["order"])
        try:
            step = self.history.do(label, values)
        except OSError as error:
            self._put_back(before)
            raise self._full(error) from None
        self.rev += step is not None
        return step

    def edit(self, label: str, text: OrderText) -> Step | None:
        """Change the order's text."""
        return self.change(label, {"order": text.text})

    def undo(self) -> Step | None:
        """Take the last step back."""
        return self._go(self.history.done, 0)

    def redo(self) -> Step | None:
        """Do a step again that was taken back."""
        return self._go(self.history.undone, 1)

    def _go(self, steps: list[Step], which: int) -> Step | None:
        if not steps:
            return None
        before = self.text
        pair = steps[-1].changes.get("order")
        if pair is not None:
            self._write_order(pair[which] or "")
        try:
            step = self.history.redo() if which else self.history.undo()
        except OSError as error:
            self._put_back(before)
            raise self._full(error) from None
        self.rev += 1
        return step

    def _write_order(self, text: str) -> None:
        if self.look_at_disk():
            raise OrderError(
                "another program has changed the order meanwhile: take its changes over, or keep yours, first",
                file=self.path.name,
                key="disk",
                code="page.changed-meanwhile",
            )
        with suppress(FileNotFoundError):
            # a file in its place would be allowed where one that was locked is not
            if not self.path.stat().st_mode & 0o222:
                raise InputError(
                    "the order's file is locked against writing, so nothing was changed: unlock it in the file "
                    "manager, or work on a copy",
                    file=self.path.name,
                    code="file.locked",
                )
        write_outputs({self.path: text.encode("utf-8")})
        self._on_disk = text

    def _put_back(self, text: str) -> None:
        """The order's file as it was before a step that could not be kept. Where even that is refused, the file
        counts as changed by another program, so that somebody decides which of the two it shall be."""
        if self._on_disk != text:
            self._on_disk = text
            with suppress(NestingError):
                write_outputs({self.path: text.encode("utf-8")})

    def _full(self, error: OSError) -> InputError:
        return InputError(
            f"the change cannot be kept ({error.strerror}); nothing was changed",
            file=self.private,
            code="file.not-written",
        )

    # --- what the page keeps

    def store(self, name: str, content: bytes) -> Path:
        """Keep a file in the private folder, whole or not at all; ``name`` is ours, never a user's."""
        path = self.private / name
        write_outputs({path: content})
        return path

    def forget(self, name: str) -> None:
        """Take a file of the private folder away, if it is there. InputError where the disk refuses."""
        try:
            (self.private / name).unlink(missing_ok=True)
        except OSError as error:
            raise self._full(error) from None

    def stored(self, name: str) -> Any:
        """A JSON file of the private folder, None where it is not there or cannot be read."""
        try:
            return json.loads((self.private / name).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None

    def relative(self, path: Path) -> str:
        """A path for people and command lines: as seen from the order's folder."""
        return Path(os.path.relpath(path, self.folder)).as_posix()
