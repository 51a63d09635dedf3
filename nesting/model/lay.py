"""A lay: one cloth, spread and covered, as it is proved, drawn, printed and written (see ``files.layfile``).

Frames: cloth on the table, x from the first cut edge along the length, y across, mm; seen from above.
A placement is the piece in its grain frame, flipped first if ``flipped`` (y → −y), then turned anticlockwise by
``turn`` degrees, then moved to (x, y).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, Literal

from nesting.model.findings import Reason
from nesting.model.order import Remnant, SpreadName
from nesting.model.piece import Drill, Line, Motion, Notch, Piece, Point, Ring, mapped

__all__ = [
    "FoldLine",
    "GarmentShare",
    "Lay",
    "LayPart",
    "Patch",
    "PatchPlace",
    "PieceHeld",
    "Placement",
    "PlyRegion",
    "Section",
    "Spread",
    "SpreadTried",
    "mirrored_over_fold",
    "placed",
]


@dataclass(frozen=True)
class FoldLine:
    """A fold of the cloth: the line y = ``at`` (``along`` "x") or x = ``at`` (``along`` "y"), joining two plies."""

    along: Literal["x", "y"]
    at: float
    plies: tuple[int, int]


@dataclass(frozen=True)
class PlyRegion:
    """One ply on the table. ``region`` is what may be covered (selvages off), x from 0 to the lay length.

    ``face`` tells which side of the cloth is up. ``reversed`` marks a ply whose lengthwise direction runs the other
    way (the top of a crosswise fold).
    """

    ply: int
    face: Literal["up", "down"]
    region: Ring
    flaws: tuple[Ring, ...] = ()
    reversed: bool = False


@dataclass(frozen=True)
class Spread:
    """How the cloth lies. ``depths`` are flap depths of partial and double folds. ``layers`` is the number of full
    widths of cloth that lie on one another (stacked plies; 1 for every fold but the crosswise one, which is 2), so
    that cloth used = layers · washed width · lay length."""

    kind: SpreadName
    table_width: float
    length: float
    plies: tuple[PlyRegion, ...]
    folds: tuple[FoldLine, ...] = ()
    depths: tuple[float, ...] = ()
    layers: int = 1


@dataclass(frozen=True)
class Placement:
    """One piece as it lies on the cloth. ``laid``: the piece itself with everything that travels with it, in table
    coordinates (mm).

    ``on_fold`` means that the fold edge lies on a cloth fold; ``opened`` that a half piece was opened out and its
    outline is the whole. ``gives`` counts the cloth pieces it yields. ``follows`` names the leader of a piece that
    is cut together with another (its own outline is given, at the leader's place).
    """

    piece: str
    garment: str
    size: str | None
    copy: int
    x: float
    y: float
    turn: float
    flipped: bool
    plies: tuple[int, ...]
    on_fold: bool
    opened: bool
    gives: int
    laid: Piece
    follows: str | None = None
    second_cloth: str | None = None
    #: the garment copies that its cloth pieces go to (empty: only ``copy``)
    copies: tuple[int, ...] = ()
    #: one for each cloth piece that it gives, whatever becomes of the lay; see ``model.identity``
    ids: tuple[str, ...] = ()
    #: as on drawing and sheet; None where it was not drawn yet
    number: int | None = None
    #: "right", "left" or both, as on the sheet; None where it makes no difference
    hand: str | None = None

    @property
    def label(self) -> str:
        """What is written on the piece and on the tag of its bundle."""
        return f"{self.piece} {self.size} {self.copy}" if self.size else f"{self.piece} {self.copy}"

    @property
    def outline(self) -> Ring:
        """The cut outline."""
        return self.laid.outline

    @property
    def inside(self) -> tuple[Line, ...]:
        """Lines inside the piece."""
        return self.laid.inside

    @property
    def cutouts(self) -> tuple[Ring, ...]:
        """What is cut out of it."""
        return self.laid.cutouts

    @property
    def notches(self) -> tuple[Notch, ...]:
        """Its notches."""
        return self.laid.notches

    @property
    def drills(self) -> tuple[Drill, ...]:
        """Its drill marks."""
        return self.laid.drills

    @property
    def grainline(self) -> tuple[Point, Point]:
        """Its grainline; of no length where it has none."""
        return self.laid.grainline or ((0.0, 0.0), (0.0, 0.0))

    @property
    def fold(self) -> tuple[Point, Point] | None:
        """Its fold edge, where it has one."""
        return self.laid.fold

    @property
    def seam(self) -> Ring | None:
        """Its seam outline, where it has one."""
        return self.laid.seam


@dataclass(frozen=True)
class Section:
    """A stretch of the lay that is spread in one way. ``start`` is its x on the lay, mm."""

    spread: Spread
    lay_length: float
    placements: tuple[Placement, ...]
    start: float = 0.0


@dataclass(frozen=True)
class GarmentShare:
    """``length_each``: this garment's share of the length to buy, by cut area, mm."""

    name: str
    size: str | None
    count: int
    length_each: float


@dataclass(frozen=True)
class PieceHeld:
    """``count`` cloth pieces of one hand (None where it makes no difference) for one numbered copy of a garment, on a
    leftover; the other pieces of that copy may come from elsewhere."""

    garment: str
    size: str | None
    copy: int
    piece: str
    hand: Literal["right", "left"] | None
    count: int


@dataclass(frozen=True)
class LayPart:
    """Which of the lays it is that a batch cuts from one cloth: ``number`` of ``of``, counted from 1."""

    number: int
    of: int


@dataclass(frozen=True)
class PatchPlace:
    """Where a patch lies on the first cloth: lower left corner, length along it and width across, mm, in the frame of
    ``section``; ``plies`` under or over which it lies (two where it is folded round a fold). ``grain``: degrees
    that its grain is turned there, ``face`` the side that is up."""

    cloth: str
    section: int
    plies: tuple[int, ...]
    x: float
    y: float
    length: float
    width: float
    grain: float
    face: Literal["up", "down"]


@dataclass(frozen=True)
class Patch:
    """A rectangle of a second cloth, cut first and laid at the leaders of its followers on the first cloth.

    ``length`` along its grain and ``width`` across, mm; (``x``, ``y``) its middle, ``turn`` its grain on its own cloth;
    ``margin`` at least so much lies round every follower; ``placements`` are the followers' numbers in its own lay.
    """

    number: int
    length: float
    width: float
    margin: float
    x: float
    y: float
    turn: float
    placements: tuple[int, ...]
    on: PatchPlace

    @property
    def outline(self) -> Ring:
        """As it is cut from its own cloth."""
        along, across = (self.length, self.width) if self.turn % 180.0 == 0.0 else (self.width, self.length)
        x0, x1, y0, y1 = self.x - along / 2, self.x + along / 2, self.y - across / 2, self.y + across / 2
        return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


@dataclass(frozen=True)
class SpreadTried:
    """One row of the table of spreads: what it would take, or why it is refused.

    ``handling``: (placements, folds, pieces to trace again). ``in_all``: what all cloths together would cost with it,
    second cloths included (their lengths to buy in mm where a price is missing); None where nothing depends on it.
    """

    kind: SpreadName
    lay_length: float | None
    buy_length: float | None
    utilisation: float | None
    handling: tuple[int, int, int] | None
    refused: Reason | None = None
    chosen: bool = False
    in_all: float | None = None


@dataclass(frozen=True)
class Lay:
    """One cloth, laid. ``sections`` holds one section, or several where the cloth is refolded on the way.

    ``utilisation`` = cut area / area of washed cloth that the lay uses, opened out.
    ``lower_bound`` mm: no lay of this cloth can be shorter. ``remnant`` names the leftover it lies on, if any; ``over``
    the cloth that this one is laid over, so that its pieces are cut together with those of that cloth.
    """

    title: str
    cloth: str
    width: float
    width_washed: float
    usable_width: float
    sections: tuple[Section, ...]
    lay_length: float
    buy_length: float
    lower_bound: float
    bound_reason: str
    utilisation: float
    garments: tuple[GarmentShare, ...]
    order_file: str | None = None
    order_sha256: str = ""
    seed: int = 0
    seconds: float = 0.0
    gap: float = 0.0
    end_allowance: float = 0.0
    selvage: float = 0.0
    repeat_along: float = 0.0
    repeat_across: float = 0.0
    remnant: str | None = None
    over: str | None = None
    #: for each section of a cloth that lies ``over`` another: where it begins (the first one with its cut end), mm from
    #: the cut end of that cloth; its edge A lies on that cloth's edge A. Empty where it is not known
    over_at: tuple[float, ...] = ()
    #: the share by which the cloth shrinks along its length when it is washed; None where it is not known
    shrink_along: float | None = None
    #: whether it is known to be a knit; None where the file does not say
    knit: bool | None = None
    imperial: bool = False
    tried: tuple[SpreadTried, ...] = ()
    notes: tuple[str, ...] = ()
    #: why its pieces, though the order cuts them together with leaders of another cloth, are laid by themselves
    apart: Reason | None = None
    #: the rectangles in which its pieces are laid at their leaders on another cloth, where it is cut so
    patches: tuple[Patch, ...] = ()
    #: where patches of second cloths lie on this one, by their numbers
    patch_places: tuple[tuple[int, str, PatchPlace], ...] = ()
    #: one of several lays of this cloth; the garments of the others are cut there
    part: LayPart | None = None
    #: what a lay on a leftover, or one part of several, is asked to hold; None: whole garments, those that it lists
    holds: tuple[PieceHeld, ...] | None = None
    #: the leftover itself, where the order does not have it (it comes from the stash)
    leftover: Remnant | None = None
    #: why nothing may be cut yet: it was laid for a look only
    do_not_cut: tuple[str, ...] = ()
    #: the best lay of each other spread that was tried, of which another may be taken; not written, not proved
    others: tuple[Lay, ...] = field(default=(), compare=False, repr=False)
    extra: dict[str, Any] = field(default_factory=dict, compare=False)

    @property
    def leaders_on(self) -> str | None:
        """The cloth whose pieces lead those of this one, over which it lies whole or in patches; None without one."""
        return self.over if self.over is not None else self.patches[0].on.cloth if self.patches else None

    @property
    def bought(self) -> bool:
        """Whether its length is bought by itself: not that of a leftover, nor one part of several."""
        return self.remnant is None and self.part is None

    @property
    def where(self) -> str:
        """What it lies on, for people: the cloth, the leftover, or which part of the cloth."""
        if self.remnant:
            return f"leftover {self.remnant}"
        if self.part is not None and self.part.of > 1:
            return f"{self.cloth}, part {self.part.number} of {self.part.of}"
        return self.cloth

    @property
    def placements(self) -> tuple[Placement, ...]:
        """All placements of all sections, each in its section's own frame."""
        return tuple(p for s in self.sections for p in s.placements)


def placed(piece: Piece, x: float, y: float, turn: float, flipped: bool) -> Piece:
    """The piece (grain frame) as it lies: flipped, then turned, then moved. Its outlines and marks go with it; what the
    file says of it, and the names of its edges, stay behind."""
    if x == 0.0 and y == 0.0:
        return _turned(piece, turn, flipped)
    return _placed(piece, x, y, turn, flipped)


@lru_cache(maxsize=256)
def _turned(piece: Piece, turn: float, flipped: bool) -> Piece:
    """The piece where it is, turned: planning asks for the same few over and over."""
    return _placed(piece, 0.0, 0.0, turn, flipped)


def _placed(piece: Piece, x: float, y: float, turn: float, flipped: bool) -> Piece:
    a = math.radians(turn)
    # Exact values for quarter turns: a fold edge must not leave its fold line by rounding.
    quarter = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
    c, s = quarter.get(turn % 360.0, (math.cos(a), math.sin(a)))
    f = -1.0 if flipped else 1.0

    move = Motion(c, s * f, s, c * f, x, y)
    lies = mapped(replace(piece, edges=()), move, turn_deg=turn, mirrored=flipped)
    return Piece(
        piece.name,
        lies.outline,
        seam=lies.seam,
        inside=lies.inside,
        cutouts=lies.cutouts,
        notches=lies.notches,
        drills=lies.drills,
        grainline=lies.grainline,
        fold=lies.fold,
    )


@lru_cache(maxsize=512)
def mirrored_over_fold(piece: Piece) -> Piece:
    """A half piece opened out: outline, seam, cutouts, inside lines and marks of both halves, no fold edge.

    The fold edge must be one straight side of the outline, from one of its points to the other. Marks on the fold
    edge itself are kept once.
    """
    if piece.fold is None:
        return piece
    (ax, ay), (bx, by) = piece.fold
    length = math.hypot(bx - ax, by - ay)
    ux, uy = (bx - ax) / length, (by - ay) / length
    fold_deg = math.degrees(math.atan2(uy, ux))

    def over(p: Point) -> Point:
        dx, dy = p[0] - ax, p[1] - ay
        along, across = dx * ux + dy * uy, -dx * uy + dy * ux
        return (ax + along * ux + across * uy, ay + along * uy - across * ux)

    def on_line(p: Point) -> bool:
        return abs(-(p[0] - ax) * uy + (p[1] - ay) * ux) < 1e-6

    def opened(ring: Ring) -> Ring:
        on = [i for i, p in enumerate(ring) if on_line(p)]
        if len(on) < 2:
            return ring
        n = len(ring)
        # the longest run off the line, between two points on it, is the half's own contour
        start = max(on, key=lambda i: next(k for k in range(1, n + 1) if on_line(ring[(i + k) % n])))
        run = [ring[start]]
        k = 1
        while not on_line(ring[(start + k) % n]):
            run.append(ring[(start + k) % n])
            k += 1
        run.append(ring[(start + k) % n])
        return tuple(run) + tuple(over(p) for p in reversed(run[1:-1]))

    def crosses(ring: Ring) -> bool:
        return sum(on_line(p) for p in ring) >= 2

    doubled_lines = tuple(tuple(over(p) for p in line) for line in piece.inside if not all(on_line(p) for p in line))
    return replace(
        piece,
        outline=opened(piece.outline),
        seam=opened(piece.seam) if piece.seam is not None else None,
        inside=piece.inside + doubled_lines,
        cutouts=tuple(opened(c) if crosses(c) else c for c in piece.cutouts)
        + tuple(tuple(over(p) for p in reversed(c)) for c in piece.cutouts if not crosses(c)),
        notches=piece.notches
        + tuple(
            replace(n, at=over(n.at), direction=(2 * fold_deg - n.direction) % 360.0)
            for n in piece.notches
            if not on_line(n.at)
        ),
        drills=piece.drills + tuple(replace(d, at=over(d.at)) for d in piece.drills if not on_line(d.at)),
        fold=None,
    )
