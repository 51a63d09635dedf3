"""What was noticed while reading and judging: nothing is repaired or dropped in silence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

__all__ = ["Figure", "Finding", "FindingKind", "Reason", "in_order_of_weight"]

FindingKind = Literal["repaired", "ignored", "ambiguous", "question", "warning", "note"]

#: What a message tells, as data: a length in mm, an angle in degrees, a share, a count, a name, or the choices.
Figure = str | float | bool | None | tuple[str, ...]


@dataclass(frozen=True)
class Reason:
    """Why something cannot be: ``code`` says which reason it is ("spread.nap"), ``figures`` what was found. The message
    is for people: no decision reads it."""

    message: str
    code: str = field(kw_only=True)
    figures: Mapping[str, Figure] = field(default_factory=dict, kw_only=True, hash=False)

    def as_dict(self) -> dict[str, Any]:
        """The reason as the JSON documents show it."""
        return {"code": self.code, "figures": dict(self.figures), "message": self.message}

    def __str__(self) -> str:
        return self.message


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


#: What people should read first.
_FIRST: tuple[FindingKind, ...] = ("question", "warning", "ambiguous", "repaired", "ignored", "note")


def in_order_of_weight(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings, each once: first those on a drawing's units, as all else hangs on them, then questions and
    warnings, notes last."""

    def weight(finding: Finding) -> tuple[bool, int]:
        units = finding.code in ("units.missing", "units.assumed", "units.disagree", "units.unknown")
        return not units, _FIRST.index(finding.kind)

    return tuple(sorted(dict.fromkeys(findings), key=weight))
