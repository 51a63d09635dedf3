"""Small orders and lays put together by hand, for the proof to judge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from nesting.cloth.spreads import cloth_of_remnant, make_spread
from nesting.model.lay import Lay, Placement, Section, mirrored_over_fold, placed
from nesting.model.order import Cloth, CutPiece, Garment, Order, Remnant, SpreadName
from nesting.model.piece import Drill, Notch, Piece, mapped
from nesting.planning.layout.yardage import buy_length, garment_shares, utilisation

#: One-sided, with every kind of mark. Box 300 × 170, its grainline through the middle.
LEG = Piece(
    name="leg",
    outline=((-150, -80), (150, -60), (150, 60), (20, 90), (-150, 70)),
    seam=((-140, -70), (140, -52), (140, 52), (18, 80), (-140, 61)),
    inside=(((-50, -20), (0, 10), (50, -20)),),
    cutouts=(((60, -20), (80, -20), (80, 0), (60, 0)),),
    notches=(
        Notch((150, 0), 180.0, "slit", 5.0, "hip"),
        Notch((-65, 80), 263.4, "v", 6.0, "knee"),
        Notch((-150, 0), 0.0, "slit", 5.0),
    ),
    drills=(Drill((-100, 30), 3.0, "pocket"), Drill((100, 30), 3.0)),
    grainline=((-80, 0), (80, 0)),
    cut=2,
    mirrored=True,
)
#: Half on the fold, the fold edge along the grain, 30 mm below the grainline. Box 200 × 110.
BRIEF = Piece(
    name="brief",
    outline=((-100, -30), (100, -30), (80, 60), (-60, 80)),
    seam=((-90, -30), (90, -30), (72, 50), (-52, 70)),
    inside=(((-40, -30), (-40, 20)),),
    notches=(Notch((90, 15), 180.0, "slit", 5.0, "side"), Notch((-100, -30), 0.0, "slit", 5.0, "centre")),
    drills=(Drill((0, 40), 0.0, "bow"),),
    grainline=((-40, 0), (40, 0)),
    fold=((-100, -30), (100, -30)),
)
#: Half on the fold, the fold edge across the grain. Box 100 × 80.
GUSSET = Piece(
    name="gusset",
    outline=((-50, -40), (50, -40), (50, 40), (-50, 25)),
    notches=(Notch((0, -40), 90.0, "slit", 4.0, "leg"),),
    grainline=((-20, 0), (20, 0)),
    fold=((50, -40), (50, 40)),
)
#: Cut once, one-sided. Box 100 × 60.
TAB = Piece(
    name="tab",
    outline=((-50, -30), (50, -30), (50, 10), (-50, 30)),
    notches=(Notch((0, -30), 90.0),),
    grainline=((-30, 0), (30, 0)),
)
#: Its own mirror image. Box 240 × 40.
BAND = Piece(
    name="band",
    outline=((-120, -20), (120, -20), (120, 20), (-120, 20)),
    grainline=((-60, 0), (60, 0)),
)

PIECES = {p.name: p for p in (LEG, BRIEF, GUSSET, TAB, BAND)}


def rectangle(name: str, along: float, across: float) -> Piece:
    """A band given by its measures, its middle at the origin."""
    x, y = along / 2, across / 2
    return Piece(name=name, outline=((-x, -y), (x, -y), (x, y), (-x, y)), grainline=((-x / 2, 0.0), (x / 2, 0.0)))


def order_of(*cuts: CutPiece, count: int = 1, **cloth: Any) -> Order:
    """An order for ``count`` garments of these pieces, from one cloth, 1 m wide unless said otherwise."""
    given: dict[str, Any] = {"name": "main", "width": 1000.0, "selvage": 10.0, **cloth}
    names = tuple(cut.name for cut in cuts)
    return Order(
        title="Chorus",
        units="mm",
        path=None,
        sha256="",
        pieces=tuple(cuts),
        cloths=(Cloth(**given),),
        garments=(Garment("shorts", None, count, names),),
    )


def cut(piece: Piece, **how: Any) -> CutPiece:
    """The piece ready to be laid."""
    given: dict[str, Any] = {"cut": piece.cut or 1, "mirrored": bool(piece.mirrored), **how}
    return CutPiece(piece, None, **given)


def put(
    piece: Piece,
    x: float,
    y: float,
    turn: float = 0.0,
    *,
    flipped: bool = False,
    plies: tuple[int, ...] = (0,),
    on_fold: bool = False,
    opened: bool = False,
    gives: int | None = None,
    copy: int = 1,
    copies: tuple[int, ...] = (),
    garment: str = "shorts",
    size: str | None = None,
    follows: str | None = None,
) -> Placement:
    """A placement with its outline and marks drawn by the lay's own functions, which the proof does not use."""
    lies = placed(mirrored_over_fold(piece) if opened else piece, x, y, turn, flipped)
    assert lies.grainline is not None
    return Placement(
        piece=piece.name,
        garment=garment,
        size=size,
        copy=copy,
        x=x,
        y=y,
        turn=turn,
        flipped=flipped,
        plies=plies,
        on_fold=on_fold,
        opened=opened,
        gives=gives if gives is not None else (1 if on_fold else len(plies)),
        follows=follows,
        copies=copies,
        laid=lies,
    )


def lay_of(
    order: Order,
    kind: SpreadName,
    placements: Sequence[Placement],
    *,
    depths: tuple[float, ...] = (),
    remnant: Remnant | None = None,
    length: float | None = None,
    cloth: str = "main",
) -> Lay:
    """A lay of one section with all its figures, as planning states them."""
    base = order.cloth_named(cloth)
    used = cloth_of_remnant(base, remnant) if remnant is not None else base
    far = length if length is not None else max(x for p in placements for x, _ in p.outline)
    section = Section(make_spread(kind, used, far, depths, remnant), far, tuple(placements))
    return finished(order, (section,), remnant=remnant, cloth=cloth)


def finished(
    order: Order, sections: tuple[Section, ...], *, remnant: Remnant | None = None, cloth: str = "main"
) -> Lay:
    """The lay of these sections with all its figures."""
    base = order.cloth_named(cloth)
    used = cloth_of_remnant(base, remnant) if remnant is not None else base
    length = sections[-1].start + sections[-1].lay_length
    buy = buy_length(sections[-1].spread.kind, used, length)
    counts: dict[tuple[str, str | None], int] = {}
    for garment in order.garments:
        counts[garment.name, garment.size] = counts.get((garment.name, garment.size), 0) + garment.count
    placements = [p for s in sections for p in s.placements]
    return Lay(
        title=order.title,
        cloth=cloth,
        width=used.width,
        width_washed=used.width_washed,
        usable_width=used.usable_width,
        sections=sections,
        lay_length=length,
        buy_length=buy,
        lower_bound=length / 2,
        bound_reason="area",
        utilisation=utilisation(sections, used.width_washed),
        garments=garment_shares(placements, counts, buy),
        gap=used.gap,
        end_allowance=used.end_allowance,
        selvage=used.selvage,
        repeat_along=used.repeat_along,
        repeat_across=used.repeat_across,
        remnant=remnant.name if remnant is not None else None,
    )


def with_placements(lay: Lay, change: dict[int, Placement | None], section: int = 0) -> Lay:
    """The lay with some placements replaced (None: taken out), nothing else brought in line."""
    old = lay.sections[section]
    kept = [change.get(i, p) for i, p in enumerate(old.placements)]
    new = replace(old, placements=tuple(p for p in kept if p is not None))
    sections = tuple(new if i == section else s for i, s in enumerate(lay.sections))
    return replace(lay, sections=sections)


def moved(p: Placement, dx: float, dy: float) -> Placement:
    """The placement with its drawing moved on the cloth."""
    return replace(p, x=p.x + dx, y=p.y + dy, laid=mapped(p.laid, lambda q: (q[0] + dx, q[1] + dy)))
