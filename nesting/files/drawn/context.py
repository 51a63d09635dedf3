"""What reading one file needs to know and collects."""

from __future__ import annotations

from dataclasses import dataclass, field

from nesting.model.errors import PatternError
from nesting.model.findings import Figure, Finding, FindingKind

__all__ = ["Context"]


@dataclass
class Context:
    """What reading one file needs to know and collects. ``chord`` and ``join_gap`` mm."""

    file: str
    chord: float
    join_gap: float
    findings: list[Finding] = field(default_factory=list)
    spent: dict[str, int] = field(default_factory=dict)
    seam_only: set[int] = field(default_factory=set)

    def note(
        self,
        kind: FindingKind,
        message: str,
        piece: str | None = None,
        *,
        code: str,
        forbids: bool = False,
        **figures: Figure,
    ) -> None:
        """Add a finding, once; ``figures`` are what the message tells, by name."""
        found = Finding(kind, message, self.file, piece, code=code, figures=figures, forbids=forbids)
        if found not in self.findings:
            self.findings.append(found)

    def spend(self, what: str, amount: int, most: int, name: str) -> None:
        """Count ``amount`` more of something. Raises PatternError beyond ``most``: hostile files end soon."""
        self.spent[what] = self.spent.get(what, 0) + amount
        if self.spent[what] > most:
            raise self.error(
                f"the drawing has more than {most} {name}, which is no pattern; save only the pieces",
                code="drawing.too-large",
            )

    def error(self, message: str, piece: str | None = None, *, code: str, **figures: Figure) -> PatternError:
        """An error about this file."""
        return PatternError(message, file=self.file, piece=piece, code=code, figures=figures)
