"""What was noticed while reading and judging: nothing is repaired or dropped in silence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

__all__ = ["Figure", "Finding", "FindingKind"]

FindingKind = Literal["repaired", "ignored", "ambiguous", "question", "warning", "note"]

#: What a message tells, as data: a length in mm, an angle in degrees, a share, a count, a name, or the choices.
Figure = str | float | bool | None | tuple[str, ...]


@dataclass(frozen=True)
class Finding:
    """One thing worth telling.

    ``kind``: *repaired* (we changed it), *ignored* (we left it out), *ambiguous* (we chose), *question* (we need
    an answer in the order), *warning* (it will lay, but look), *note* (for information). ``code`` says which finding
    it is ("seam.mismatch"), ``figures`` what it found, and ``file``, ``piece`` and ``key`` (of the order) where. The
    message is for people: no decision reads it. ``forbids``: nothing may be cut before this is answered.
    """

    kind: FindingKind
    message: str
    file: str | None = None
    piece: str | None = None
    code: str = field(kw_only=True)
    figures: Mapping[str, Figure] = field(default_factory=dict, kw_only=True, hash=False)
    key: str | None = field(default=None, kw_only=True)
    forbids: bool = field(default=False, kw_only=True)

    def as_dict(self) -> dict[str, Any]:
        """The finding as the JSON documents show it."""
        return {
            "code": self.code,
            "kind": self.kind,
            "forbids": self.forbids,
            "file": self.file,
            "piece": self.piece,
            "key": self.key,
            "figures": dict(self.figures),
            "message": self.message,
        }

    def __str__(self) -> str:
        where = ", ".join(part for part in (self.file, f"piece '{self.piece}'" if self.piece else "") if part)
        return f"{self.kind}: {where + ': ' if where else ''}{self.message}"
