"""Undo and redo for everything, across reloads and a killed server.

The state of a page is a handful of named JSON values: the order's text, each cloth's lay and what was moved on it,
ticks, projector set-ups. A *step* holds the values that it changed, before and after, and what to call it. Every step
is a line of a journal on disk, forced out before it is told to anybody; undo and redo are lines, too. Reading the
journal again gives the same history; a last line that was cut off in the writing counts as not written.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = ["History", "Step"]

#: steps that are kept
DEPTH = 200


@dataclass(frozen=True)
class Step:
    """What one action changed: by name, (before, after); None stands for a value that is not there."""

    label: str
    changes: Mapping[str, tuple[Any, Any]]


@dataclass
class History:
    """The steps done and those taken back, and where they are written. ``file`` None: nowhere."""

    file: Path | None = None
    done: list[Step] = field(default_factory=list)
    undone: list[Step] = field(default_factory=list)
    state: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def read(cls, file: Path) -> History:
        """The history in ``file``; an empty one where there is none. What cannot be read ends it."""
        history = cls(None)
        try:
            lines = file.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError):
            lines = []
        for line in lines:
            try:
                one = json.loads(line)
                if "state" in one:
                    history.state = dict(one["state"])
                elif "do" in one:
                    changes = {name: (pair[0], pair[1]) for name, pair in one["changes"].items()}
                    history._take(Step(str(one["do"]), changes))
                elif "undo" in one:
                    history._back()
                elif "redo" in one:
                    history._forth()
            except (ValueError, KeyError, TypeError, IndexError):
                break
        history.file = file
        if len(lines) > 2 * DEPTH:
            history.rewrite()
        return history

    @property
    def can_undo(self) -> str | None:
        """What undo would take back."""
        return self.done[-1].label if self.done else None

    @property
    def can_redo(self) -> str | None:
        """What redo would do again."""
        return self.undone[-1].label if self.undone else None

    def do(self, label: str, values: Mapping[str, Any]) -> Step | None:
        """Change values, as one step; None where that changes nothing. OSError: it could not be written, nothing
        changed."""
        changes = {n: (self.state.get(n), v) for n, v in values.items() if self.state.get(n) != v}
        if not changes:
            return None
        step = Step(label, changes)
        self._write({"do": label, "changes": changes})
        self._take(step)
        return step

    def undo(self) -> Step | None:
        """Take the last step back; None where there is none."""
        if not self.done:
            return None
        self._write({"undo": 1})
        return self._back()

    def redo(self) -> Step | None:
        """Do the step again that was taken back last; None where there is none."""
        if not self.undone:
            return None
        self._write({"redo": 1})
        return self._forth()

    def set_aside(self, values: Mapping[str, Any]) -> None:
        """Values that are no step of anybody's: the state at the beginning."""
        self.state.update(values)
        self.rewrite()

    def _take(self, step: Step) -> None:
        self.done.append(step)
        del self.done[:-DEPTH]
        self.undone.clear()
        self._put({name: after for name, (_, after) in step.changes.items()})

    def _back(self) -> Step:
        step = self.done.pop()
        self.undone.append(step)
        self._put({name: before for name, (before, _) in step.changes.items()})
        return step

    def _forth(self) -> Step:
        step = self.undone.pop()
        self.done.append(step)
        self._put({name: after for name, (_, after) in step.changes.items()})
        return step

    def _put(self, values: Mapping[str, Any]) -> None:
        for name, value in values.items():
            if value is None:
                self.state.pop(name, None)
            else:
                self.state[name] = value

    def _write(self, line: Mapping[str, Any]) -> None:
        if self.file is None:
            return
        size = self.file.stat().st_size if self.file.exists() else 0
        try:
            with self.file.open("ab") as stream:
                stream.write((json.dumps(line, ensure_ascii=False) + "\n").encode("utf-8"))
                stream.flush()
                os.fsync(stream.fileno())
        except OSError:
            # half a line would hide all that follow
            with self.file.open("ab") as stream:
                stream.truncate(size)
            raise

    def rewrite(self) -> None:
        """The journal anew, as short as may be."""
        if self.file is None:
            return
        first = dict(self.state)
        for step in reversed(self.done):
            for name, (before, _) in step.changes.items():
                if before is None:
                    first.pop(name, None)
                else:
                    first[name] = before
        lines: list[Mapping[str, Any]] = [{"state": first}]
        lines += [{"do": s.label, "changes": s.changes} for s in (*self.done, *reversed(self.undone))]
        lines += [{"undo": 1}] * len(self.undone)
        new = self.file.with_suffix(".new")
        with new.open("wb") as stream:
            stream.write("".join(json.dumps(one, ensure_ascii=False) + "\n" for one in lines).encode("utf-8"))
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(new, self.file)
