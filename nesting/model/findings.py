"""What was noticed while reading and judging: nothing is repaired or dropped in silence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Finding", "FindingKind"]

FindingKind = Literal["repaired", "ignored", "ambiguous", "question", "warning", "note"]


@dataclass(frozen=True)
class Finding:
    """One thing worth telling.

    ``kind``: *repaired* (we changed it), *ignored* (we left it out), *ambiguous* (we chose), *question* (we need
    an answer in the order), *warning* (it will lay, but look), *note* (for information).
    """

    kind: FindingKind
    message: str
    file: str | None = None
    piece: str | None = None

    def as_dict(self) -> dict[str, str | None]:
        """The finding as the JSON documents show it."""
        return {"file": self.file, "piece": self.piece, "kind": self.kind, "message": self.message}

    def __str__(self) -> str:
        where = ", ".join(part for part in (self.file, f"piece '{self.piece}'" if self.piece else "") if part)
        return f"{self.kind}: {where + ': ' if where else ''}{self.message}"
