"""What the proof says: a verdict, and each failure in a sewist's words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from nesting.model.findings import Figure
from nesting.model.piece import Point

__all__ = ["Failure", "FailureKind", "Verdict"]

FailureKind = Literal[
    "order",  # the lay names a cloth, piece or garment that the order does not have
    "garments",  # the garments that the lay says it holds are not those asked for
    "count",  # a piece is missing, or there is one too many
    "copy",  # the right number in all, but not one set for each garment
    "hand",  # right and left are not as asked for
    "shape",  # the outline is not that of the pattern piece at that place
    "mark",  # a notch, drill, inside line, cutout, grainline, seam or fold line is missing or misplaced
    "turn",  # turned in a way that the piece or the cloth does not allow
    "ply",  # cut through plies that are not there
    "fold",  # a fold edge is not on a fold of the cloth, or a half is not opened out
    "spread",  # the cloth cannot lie like this, or lies otherwise than stated
    "cloth",  # reaches beyond the cloth, into a selvage or over a flaw
    "overlap",  # two pieces share cloth
    "gap",  # nearer than the asked gap
    "length",  # the lay length is not where the farthest cut edge is
    "buy",  # the length to buy does not follow from the lay length
    "utilisation",
    "bound",
    "repeat",  # stripes or prints do not meet, or a motif is off its place
    "together",  # a follower is not at its leader's place
    "value",  # another stated figure is wrong, or not a number
]


@dataclass(frozen=True)
class Failure:
    """One thing that is wrong. ``place`` is on the table, in the frame of section number ``section``, mm; ``figures``
    what was found and what is right (mm, mm², shares, numbers of pieces)."""

    kind: FailureKind
    message: str
    piece: str | None = None
    place: Point | None = None
    section: int = 0
    figures: Mapping[str, Figure] = field(default_factory=dict, kw_only=True, hash=False)

    @property
    def code(self) -> str:
        """Which failure it is, as findings and refusals say it: "proof.overlap"."""
        return f"proof.{self.kind}"

    def as_dict(self) -> dict[str, Any]:
        """The failure as JSON documents show it."""
        return {
            "kind": self.kind,
            "code": self.code,
            "figures": dict(self.figures),
            "message": self.message,
            "piece": self.piece,
            "place": list(self.place) if self.place is not None else None,
            "section": self.section,
        }

    def __str__(self) -> str:
        where = f"piece '{self.piece}'" if self.piece else ""
        if self.place is not None:
            at = f"near {self.place[0]:.1f} × {self.place[1]:.1f} mm"
            where = f"{where}, {at}" if where else at
        return f"{where}: {self.message}" if where else self.message


@dataclass(frozen=True)
class Verdict:
    """The outcome of a proof. ``lay_length``, ``buy_length`` (mm), ``utilisation`` (share) and ``cloth_pieces`` are as
    the proof computed them from the order's pieces, whatever the lay says."""

    failures: tuple[Failure, ...]
    placements: int
    cloth_pieces: int
    lay_length: float
    buy_length: float
    utilisation: float

    @property
    def ok(self) -> bool:
        """Whether nothing failed."""
        return not self.failures

    def as_dict(self) -> dict[str, Any]:
        """The verdict as JSON documents show it, lengths in mm."""
        return {
            "ok": self.ok,
            "placements": self.placements,
            "cloth_pieces": self.cloth_pieces,
            "lay_length": self.lay_length,
            "buy_length": self.buy_length,
            "utilisation": self.utilisation,
            "failures": [failure.as_dict() for failure in self.failures],
        }
