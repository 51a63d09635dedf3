"""What to cut, from what: the cutting order after reading, with the pieces ready to be laid.

Nothing here reads files; ``files.order`` does, and ``pieces`` makes the pieces ready.
Lengths are mm, angles degrees, shares fractions of 1 (5 % is 0.05).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from nesting.model.findings import Finding
from nesting.model.piece import Line, Piece, Point, Ring

__all__ = [
    "AlteredStep",
    "Cloth",
    "CutPiece",
    "Faces",
    "FollowerShape",
    "Garment",
    "Motif",
    "Nap",
    "Opening",
    "Order",
    "Pairs",
    "Remnant",
    "Seam",
    "SpreadName",
    "Together",
    "Trim",
    "TurnRule",
    "Wearer",
]

TurnRule = Literal["one way", "either way", "quarter turns", "bias", "any"]
Nap = Literal["none", "one way", "by garment"]
Faces = Literal["same", "to the leader"]
FollowerShape = Literal["leader", "own"]
Pairs = Literal["same way", "free"]
SpreadName = Literal[
    "open",
    "lengthwise fold",
    "partial fold",
    "double fold",
    "crosswise fold",
    "stacked face up",
    "stacked face to face",
    "tubular",
    "sections",
]


@dataclass(frozen=True)
class Motif:
    """A point of the piece that must lie on a multiple of the cloth's repeat plus an offset.

    ``point`` is in the grain frame, mm; ``offset`` (along, across) in mm on the cloth.
    """

    point: Point
    offset: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class AlteredStep:
    """What one alteration does, to be drawn. All in the frame of the drawing, mm, where what lies at the tail of the
    grain arrow stays: the seam outline (or the one drawn) ``before`` and ``after``; the lines at which it is opened or
    closed, or the edge that is moved, before (``lines``) and after (``lines_after``); both ``ends`` of the first of
    them and what to write there."""

    number: int
    words: str
    before: Ring
    after: Ring
    lines: tuple[Line, ...]
    lines_after: tuple[Line, ...]
    ends: tuple[Point, Point]
    labels: tuple[str, str]


@dataclass(frozen=True)
class CutPiece:
    """A piece ready to be laid, and how it is to be cut.

    ``piece`` is in the grain frame, altered and finished: its outline is what is cut. ``drawn`` is the piece as the
    file holds it (drawing frame; None for a band given by its measures). ``cut`` counts cloth pieces per garment;
    ``mirrored``: they are left and right. ``turn`` None means that the cloth decides. ``tilt`` is the grain
    tolerance in degrees. ``no_grain`` is the rule "any".
    """

    piece: Piece
    drawn: Piece | None
    cut: int = 1
    mirrored: bool = False
    cloth: str = "main"
    turn: TurnRule | None = None
    tilt: float = 0.0
    needs_stretch: float | None = None
    unfold: bool = True
    alike_ok: bool = False
    motif: Motif | None = None
    band: bool = False
    #: what its alterations do, in their order
    altered: tuple[AlteredStep, ...] = ()
    #: of a band joined in the round: the edges ("piece.edge") that it goes round, and its finished length to theirs
    goes_round: tuple[str, ...] = ()
    round_ratio: float = 1.0

    @property
    def name(self) -> str:
        """The piece's name as the order and the file call it."""
        return self.piece.name

    @property
    def size(self) -> str | None:
        """The piece's size, None where there is only one."""
        return self.piece.size

    @property
    def on_fold(self) -> bool:
        """Whether the piece is a half with a fold edge."""
        return self.piece.fold is not None


@dataclass(frozen=True)
class Together:
    """``follower`` is cut through at the leader's place, on another ply or in a second cloth laid over. ``shape``:
    whether it has the leader's shape where both were drawn alike, or its own; None where that was left to the drawings.
    """

    leader: str
    follower: str
    faces: Faces = "same"
    tolerance: float | None = None
    shape: FollowerShape | None = None


@dataclass(frozen=True)
class Seam:
    """Edges ``"piece.edge"`` that are sewn together. ``ease`` in mm, second edge longer than the first by it;
    ``ratio`` (for an elastic join) second = ratio · first; ``match``: stripes meet at the seam's notches.
    ``counts``: how many of the edges make up each side, in a row (none given: one each). ``ease_between``: two notches
    of the seam, or edges that meet it, between which it is eased."""

    edges: tuple[str, ...]
    ease: float = 0.0
    ratio: float = 1.0
    tolerance: float | None = None
    match: bool = False
    counts: tuple[int, ...] = ()
    ease_between: tuple[str, str] | None = None
    #: whether the order says if notches are to be added, at the middle and where edges join: then nobody is asked again
    centre_answered: bool = False
    joins_answered: bool = False

    @property
    def sides(self) -> tuple[tuple[str, ...], ...]:
        """The edges of each side."""
        counts = self.counts or (1,) * len(self.edges)
        starts = [sum(counts[:k]) for k in range(len(counts))]
        return tuple(self.edges[start : start + n] for start, n in zip(starts, counts, strict=True))

    @property
    def titles(self) -> tuple[str, ...]:
        """What people call each side: "front.waist + back.waist"."""
        return tuple(" + ".join(side) for side in self.sides)


@dataclass(frozen=True)
class Trim:
    """Elastic, binding or lace along openings.

    ``edges`` as ``"piece.edge"``; ``ratio`` trim length per edge length; ``join`` mm added per join. ``openings``
    per garment, None where they are counted from the pieces.
    """

    name: str
    kind: str
    edges: tuple[str, ...]
    ratio: float
    ratio_stated: bool
    join: float = 0.0
    increment: float = 0.0
    price: float | None = None
    openings: int | None = None
    #: "piece.edge" -> its own ratio, where front and back differ
    ratios: tuple[tuple[str, float], ...] = ()
    #: cut to a wearer's measure of that name times ``factor``, where the garment has a wearer, in place of the edge
    measure: str | None = None
    factor: float = 1.0
    #: how far the trim itself stretches (its rated stretch), None where it is not known
    stretch: float | None = None
    #: the measures of the part that the opening sits on and of the largest that it must pass
    sits: str | float | None = None
    passes: str | float | None = None

    def ratio_at(self, edge: str) -> float:
        """Trim length per edge length along that edge, "piece.edge"."""
        return dict(self.ratios).get(edge, self.ratio)


@dataclass(frozen=True)
class Wearer:
    """Someone a garment is cut for. ``measures``: name ("waist", "hip", "thigh") -> mm."""

    name: str
    measures: tuple[tuple[str, float], ...] = ()

    def measure(self, name: str) -> float | None:
        """The measure of that name, mm, None if it is not stated."""
        return dict(self.measures).get(name)


@dataclass(frozen=True)
class Opening:
    """An opening of a garment that goes on over the body: its edges ("piece.edge"), the measure (name or mm) of the
    part that it sits on and of the largest part it must pass. ``stretch``: what its edge gives, None: as the cloth.
    ``least``, ``most``: limits of its length at rest to what it sits on, None: those of practice."""

    name: str
    edges: tuple[str, ...]
    sits: str | float | None = None
    passes: str | float | None = None
    stretch: float | None = None
    least: float | None = None
    most: float | None = None
    openings: int | None = None


@dataclass(frozen=True)
class Cloth:
    """A cloth as the shop sells it. Lengths mm, before washing; shares as fractions.

    ``price`` is per metre, or per yard where the order's units are inches or yards (``price_per_mm`` converts).
    ``spreads`` None means all that are sound. ``fibre_stretch`` is the share of stretch fibre in it. ``surplus``:
    stacked plies may give more than is asked for.
    """

    name: str
    width: float
    selvage: float = 0.0
    length: float | None = None
    nap: Nap = "none"
    stretch_across: float | None = None
    stretch_along: float | None = None
    stretch_tolerance: float = 0.05
    fibre_stretch: float | None = None
    shrink_along: float = 0.0
    shrink_across: float = 0.0
    spreads: tuple[SpreadName, ...] | None = None
    plies: int = 1
    max_plies: int | None = None
    table_length: float | None = None
    increment: float = 100.0
    price: float | None = None
    price_unit: float = 1000.0
    gap: float = 0.0
    end_allowance: float = 20.0
    repeat_along: float = 0.0
    repeat_across: float = 0.0
    tubular: bool = False
    right_side: bool = True
    may_turn_plies: bool = False
    surplus: bool = False
    pairs: Pairs | None = None
    patch_margin: float = 10.0

    @property
    def turns_quarter(self) -> bool:
        """Whether pieces may take quarter turns: no nap, and measured stretch that is equal both ways."""
        if self.nap != "none" or self.stretch_across is None or self.stretch_along is None:
            return False
        return abs(self.stretch_across - self.stretch_along) <= self.stretch_tolerance + 1e-9

    @property
    def knit(self) -> bool:
        """Whether what the order says of it shows that it is a knit: that it stretches, or is a tube."""
        return self.tubular or any((self.stretch_across, self.stretch_along))

    @property
    def pairs_same_way(self) -> bool:
        """Whether the left and right pieces of a garment share one turn: as stated, else where quarter turns are
        allowed, as knits shade and stretch is seldom quite alike both ways (common practice)."""
        return self.turns_quarter if self.pairs is None else self.pairs == "same way"

    @property
    def width_washed(self) -> float:
        """Width after washing, mm."""
        return self.width * (1.0 - self.shrink_across)

    @property
    def usable_width(self) -> float:
        """Width after washing less both selvages, mm (a tubular cloth has none on its folds)."""
        return self.width_washed - (0.0 if self.tubular else 2.0 * self.selvage)


@dataclass(frozen=True)
class Remnant:
    """A leftover: its outline (grain along +x, mm, lower left of its box at the origin), holes and flaws.

    ``picture``: the file of its picture, where it was photographed; it is no part of what the leftover is.
    """

    name: str
    cloth: str
    outline: Ring
    flaws: tuple[Ring, ...] = ()
    file: str | None = None
    picture: Path | None = field(default=None, compare=False, repr=False)

    @property
    def rectangular(self) -> bool:
        """Whether it is a rectangle along the grain without flaws, so that it can be folded."""
        xs = [p[0] for p in self.outline]
        ys = [p[1] for p in self.outline]
        box = {(x, y) for x in (min(xs), max(xs)) for y in (min(ys), max(ys))}
        return not self.flaws and len(self.outline) == 4 and set(self.outline) == box


@dataclass(frozen=True)
class Garment:
    """``count`` garments of one size. ``pieces`` are names; ``cloth`` renames a piece's cloth for this garment.

    ``most``: as many of it as there is cloth for; ``count`` is then only the least that makes sense, one or its
    ``ratio`` to the others of that kind (None: it goes by its value alone)."""

    name: str
    size: str | None
    count: int
    pieces: tuple[str, ...]
    cloth: tuple[tuple[str, str], ...] = ()
    value: float = 1.0
    same_cloth: bool = False
    #: who it is cut for, if anyone; its ``size`` then names both
    wearer: str | None = None
    most: bool = False
    ratio: int | None = None


@dataclass(frozen=True)
class Order:
    """A whole cutting order, read and judged. ``units`` is the bare-number unit ("mm", "cm", "m", "in", "yd").

    ``least_fibre_stretch`` is the share of stretch fibre that pieces which need stretch ask of their cloth.
    ``test_squares``: (pattern file, side in mm) of the squares drawn for checking the scale, as measured.
    """

    title: str
    units: str
    path: Path | None
    sha256: str
    pieces: tuple[CutPiece, ...]
    cloths: tuple[Cloth, ...]
    garments: tuple[Garment, ...]
    remnants: tuple[Remnant, ...] = ()
    together: tuple[Together, ...] = ()
    seams: tuple[Seam, ...] = ()
    trims: tuple[Trim, ...] = ()
    wearers: tuple[Wearer, ...] = ()
    openings: tuple[Opening, ...] = ()
    findings: tuple[Finding, ...] = field(default=())
    least_fibre_stretch: float = 0.05
    test_squares: tuple[tuple[str, float], ...] = ()
    #: why nothing may be cut yet, where it is laid all the same for a look
    do_not_cut: tuple[str, ...] = ()

    @property
    def imperial(self) -> bool:
        """Whether people read inches and yards here."""
        return self.units in ("in", "yd")

    @property
    def open_ended(self) -> bool:
        """Whether some garment is asked for as often as there is cloth for it."""
        return any(garment.most for garment in self.garments)

    def wearer_of(self, garment: Garment) -> Wearer | None:
        """Who the garment is cut for, None if for nobody in particular."""
        return next((w for w in self.wearers if w.name == garment.wearer), None)

    def cut_piece(self, name: str, size: str | None) -> CutPiece:
        """The piece of that name and size; a piece without a size serves every size. KeyError if there is none."""
        for piece in self.pieces:
            if piece.name == name and piece.size == size:
                return piece
        for piece in self.pieces:
            if piece.name == name and (piece.size is None or size is None):
                return piece
        raise KeyError((name, size))

    def cloth_named(self, name: str) -> Cloth:
        """The cloth of that name. KeyError if there is none."""
        for cloth in self.cloths:
            if cloth.name == name:
                return cloth
        raise KeyError(name)

    def cloth_of(self, garment: Garment, piece: CutPiece) -> str:
        """The name of the cloth that this garment cuts that piece from."""
        return dict(garment.cloth).get(piece.cloth, piece.cloth)
