"""Lays built by hand for every spread, from simple but real-looking pieces of a theatre wardrobe's shorts and briefs.

The boxes of the pieces are set in columns across the cloth; nothing is optimised. Pieces are in the grain frame.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from nesting.model.findings import Reason
from nesting.model.lay import (
    FoldLine,
    GarmentShare,
    Lay,
    Placement,
    PlyRegion,
    Section,
    Spread,
    SpreadTried,
    mirrored_over_fold,
    placed,
)
from nesting.model.piece import Drill, Notch, Piece, Point, Ring, mapped

AGAINST_NAP = Reason("the nap would run against itself", code="spread.nap")


def _curve(a: Point, b: Point, c: Point, steps: int = 40) -> list[Point]:
    """A quadratic Bezier curve without its last point."""
    out = []
    for k in range(steps):
        t = k / steps
        out.append(tuple((1 - t) ** 2 * a[i] + 2 * t * (1 - t) * b[i] + t * t * c[i] for i in (0, 1)))
    return out  # type: ignore[return-value]


def _about(piece: Piece, x: float, y: float) -> Piece:
    """Moved so that (x, y), the middle of its grainline, is the origin."""
    return mapped(piece, lambda p: (p[0] - x, p[1] - y))


def half_brief(name: str, size: str, scale: float = 1.0) -> Piece:
    """Half a brief's front or back: fold edge at its lower side, waist to the left, leg curve to the right."""
    s = scale * (1.0 if name == "front" else 1.12)
    outline = [(0.0, 0.0), (250 * s, 0.0), (250 * s, 38 * s)]
    outline += _curve((250 * s, 38 * s), (150 * s, 60 * s), (70 * s, 195 * s))
    outline += [(70 * s, 195 * s), (0.0, 185 * s)]
    piece = Piece(
        name,
        tuple(outline),
        size=size,
        inside=(((35 * s, 0.0), (35 * s, 188 * s)),),
        notches=(
            Notch((0.0, 92 * s), 0.0, "v", 6.0, "waist"),
            Notch((35 * s, 190 * s), 278.0, "slit", 5.0, "side"),
            Notch((250 * s, 19 * s), 180.0, "t", 5.0, "crotch"),
        ),
        drills=(Drill((120 * s, 40 * s), 3.0),),
        grainline=((40 * s, 70 * s), (160 * s, 70 * s)),
        fold=((0.0, 0.0), (250 * s, 0.0)),
    )
    return _about(piece, 100 * s, 70 * s)


def fold_grain_half(size: str) -> Piece:
    """A half yoke whose grainline is its fold edge."""
    outline = ((0.0, 0.0), (180.0, 0.0), (170.0, 90.0), (20.0, 110.0))
    piece = Piece("yoke", outline, size=size, grainline=((0.0, 0.0), (180.0, 0.0)), fold=((0.0, 0.0), (180.0, 0.0)))
    return _about(piece, 90.0, 0.0)


def shorts_leg(name: str, size: str, scale: float = 1.0) -> Piece:
    """One leg panel of dance shorts with a seam outline, cut left and right."""
    s = scale * (1.0 if name == "front leg" else 1.08)
    outline: list[Point] = [(0.0, 0.0), (300 * s, 8 * s)]
    outline += _curve((300 * s, 8 * s), (310 * s, 150 * s), (290 * s, 275 * s), 20)
    outline += _curve((290 * s, 275 * s), (265 * s, 300 * s), (235 * s, 320 * s), 20)
    outline += _curve((235 * s, 320 * s), (200 * s, 245 * s), (0.0, 230 * s), 40)
    outline += [(0.0, 230 * s)]
    seam = ((8.0, 8.0), (292 * s, 15 * s), (282 * s, 265 * s), (235 * s, 308 * s), (190 * s, 255 * s), (8.0, 222 * s))
    piece = Piece(
        name,
        tuple(outline),
        size=size,
        seam=seam,
        notches=(
            Notch((150 * s, 4 * s), 90.0, "slit", 6.0, "side"),
            Notch((0.0, 115 * s), 0.0, "castle", 6.0, "waist"),
            Notch((300 * s, 60 * s), 180.0, "u", 6.0, "hem"),
        ),
        grainline=((60 * s, 120 * s), (220 * s, 120 * s)),
    )
    return _about(piece, 140 * s, 120 * s)


def band(name: str, size: str | None, along: float, across: float) -> Piece:
    """A rectangle."""
    outline = ((0.0, 0.0), (along, 0.0), (along, across), (0.0, across))
    piece = Piece(name, outline, size=size, grainline=((0.15 * along, across / 2), (0.85 * along, across / 2)))
    return _about(piece, along / 2, across / 2)


def gusset(size: str) -> Piece:
    """A small diamond with a hole."""
    outline = ((0.0, 45.0), (70.0, 0.0), (140.0, 45.0), (70.0, 90.0))
    hole = tuple((70 + 10 * math.cos(k * math.pi / 12), 45 + 10 * math.sin(k * math.pi / 12)) for k in range(24))
    piece = Piece(
        "gusset", outline, size=size, cutouts=(hole,), notches=(Notch((35.0, 22.5), 45.0, "check", 5.0),),
        grainline=((20.0, 45.0), (55.0, 45.0)),
    )  # fmt: skip
    return _about(piece, 37.5, 45.0)


@dataclass(frozen=True)
class Want:
    """A piece to set down, and how."""

    piece: Piece
    garment: str = "briefs"
    copy: int = 1
    turn: float = 0.0
    flipped: bool = False
    plies: tuple[int, ...] = (0,)
    gives: int = 1
    opened: bool = False


def _box(ring: Ring) -> tuple[float, float, float, float]:
    xs, ys = [p[0] for p in ring], [p[1] for p in ring]
    return min(xs), min(ys), max(xs), max(ys)


#: the pieces set down last, which ``pieces_of`` reads
_SET_DOWN: dict[tuple[str, str | None], Piece] = {}


def lay_down(want: Want, x: float, y: float, on_fold: bool = False, by_box: bool = True) -> Placement:
    """The placement with the lower left of its box at (x, y), or its reference point there."""
    piece = mirrored_over_fold(want.piece) if want.opened else want.piece
    shape = placed(piece, 0.0, 0.0, want.turn, want.flipped)
    if by_box:
        x0, y0, _, _ = _box(shape.outline)
        x, y = x - x0, y - y0
    shape = placed(piece, x, y, want.turn, want.flipped)
    assert shape.grainline is not None
    _SET_DOWN[want.piece.key] = want.piece
    return Placement(
        piece=piece.name,
        garment=want.garment,
        size=piece.size,
        copy=want.copy,
        x=x,
        y=y,
        turn=want.turn,
        flipped=want.flipped,
        plies=want.plies,
        on_fold=on_fold,
        opened=want.opened,
        gives=want.gives,
        laid=shape,
    )


def columns(wants: Sequence[Want], low: float, high: float, start: float = 0.0, gap: float = 4.0) -> list[Placement]:
    """Boxes set one above the other between y = low and high, column after column from x = start."""
    out: list[Placement] = []
    x, y, wide = start, low, 0.0
    for want in wants:
        p = lay_down(want, 0.0, 0.0)
        x0, y0, x1, y1 = _box(p.outline)
        if y + (y1 - y0) > high and y > low:
            x, y, wide = x + wide + gap, low, 0.0
        out.append(lay_down(want, x, y))
        y, wide = y + (y1 - y0) + gap, max(wide, x1 - x0)
    return out


def along_fold(wants: Sequence[Want], at: float, start: float = 0.0, gap: float = 4.0) -> list[Placement]:
    """Halves with their fold edge on the fold y = at, one after the other."""
    out: list[Placement] = []
    x = start
    for want in wants:
        p = lay_down(want, x, 0.0)
        assert p.fold is not None
        x0, _, x1, _ = _box(p.outline)
        shift = at - p.fold[0][1]
        out.append(lay_down(want, p.x, p.y + shift, on_fold=True, by_box=False))
        x += x1 - x0 + gap
    return out


def far_x(placements: Sequence[Placement]) -> float:
    """The farthest cut edge."""
    return max(q[0] for p in placements for q in p.outline)


def _strip(x1: float, y0: float, y1: float) -> Ring:
    return ((0.0, y0), (x1, y0), (x1, y1), (0.0, y1))


def _lay(sections: Sequence[Section], **more: object) -> Lay:
    length = sum(s.lay_length for s in sections)
    width = float(more.pop("width", 1500.0))  # type: ignore[arg-type]
    selvage = float(more.pop("selvage", 10.0))  # type: ignore[arg-type]
    counts: dict[tuple[str, str | None], set[int]] = {}
    for s in sections:
        for p in s.placements:
            counts.setdefault((p.garment, p.size), set()).add(p.copy)
    shares = tuple(GarmentShare(g, z, len(c), 310.0) for (g, z), c in sorted(counts.items(), key=lambda i: str(i[0])))
    base = Lay(
        title="Chorus shorts and briefs",
        cloth="main",
        width=width,
        width_washed=width,
        usable_width=width - 2 * selvage,
        sections=tuple(sections),
        lay_length=length,
        buy_length=math.ceil((length + 40.0) / 100.0) * 100.0,
        lower_bound=0.8 * length,
        bound_reason="cut area divided by the usable width",
        utilisation=0.71,
        garments=shares,
        order_file="chorus.toml",
        seconds=12.0,
        gap=3.0,
        end_allowance=20.0,
        selvage=selvage,
        tried=(
            SpreadTried("open", 1.2 * length, 1.3 * length, 0.61, (14, 0, 3), None, False),
            SpreadTried(sections[0].spread.kind, length, length + 60, 0.71, (9, 1, 0), None, True),
            SpreadTried("crosswise fold", None, None, None, None, AGAINST_NAP, False),
        ),
        notes=("Many makers cut knits one way; this cloth is taken as the same both ways.",),
    )
    return replace(base, **more)  # type: ignore[arg-type]


def _one(
    kind: str, table: float, plies: Sequence[PlyRegion], placements: Sequence[Placement], **more: object
) -> Section:
    length = far_x(placements)
    spread = Spread(kind, table, length, tuple(plies), **more)  # type: ignore[arg-type]
    return Section(spread, length, tuple(placements))


def pairs(size: str, copy: int, both: tuple[int, ...] | None = None) -> list[Want]:
    """Front and back legs: through both plies at once, or left and right one by one."""
    out = []
    for name in ("front leg", "back leg"):
        piece = shorts_leg(name, size, {"S": 0.94, "M": 1.0, "L": 1.06}[size])
        if both:
            out.append(Want(piece, "shorts", copy, 0.0 if copy % 2 else 180.0, False, both, 2))
        else:
            out += [Want(piece, "shorts", copy, 0.0 if copy % 2 else 180.0, f) for f in (False, True)]
    return out


def open_lay() -> Lay:
    """One ply, two sizes, stripes along and across."""
    wants = [w for size in ("M", "L") for copy in (1, 2) for w in pairs(size, copy)]
    wants += [Want(band("waistband", s, 45.0, 620.0), "shorts", c) for s in ("M", "L") for c in (1, 2)]
    wants += [Want(gusset("M"), "shorts", c, turn=90.0) for c in (1, 2)]
    placements = columns(wants, 10.0, 1490.0)
    length = far_x(placements)
    ply = PlyRegion(0, "up", _strip(length, 10.0, 1490.0))
    return _lay([_one("open", 1500.0, [ply], placements)], repeat_along=60.0, repeat_across=120.0)


def lengthwise_lay() -> Lay:
    """Halves on the fold, pairs through both plies, singles on either ply."""
    fold = along_fold(
        [Want(half_brief(n, s), "briefs", 1, 0.0, False, (0, 1)) for s in ("M", "S") for n in ("front", "back")], 0.0
    )
    rest = columns([*pairs("M", 1, (0, 1)), *pairs("S", 2, (0, 1))], 240.0, 740.0)
    x = far_x([*fold, *rest])
    single = columns(
        [Want(gusset("M"), "briefs", 1, plies=(1,)), Want(gusset("S"), "briefs", 1, flipped=True, plies=(1,))],
        20.0,
        700.0,
        x + 10,
    )
    single += columns([Want(band("tie", None, 200.0, 40.0), "briefs", 1, plies=(0,))], 30.0, 700.0, x + 10)
    placements = [*fold, *rest, *single]
    length = far_x(placements)
    plies = [PlyRegion(0, "up", _strip(length, 0.0, 740.0)), PlyRegion(1, "down", _strip(length, 0.0, 740.0))]
    return _lay([_one("lengthwise fold", 750.0, plies, placements, folds=(FoldLine("x", 0.0, (0, 1)),))])


def partial_lay() -> Lay:
    """A flap just deep enough for the halves, with a flaw beyond it, under a grainline on the fold edge."""
    depth = 260.0
    wants = [Want(half_brief(n, "M"), "briefs", c, 0.0, False, (0, 1)) for c in (1, 2) for n in ("front", "back")]
    wants.append(Want(fold_grain_half("M"), "briefs", 1, 180.0, True, (0, 1)))
    fold = along_fold(wants, 0.0)
    rest = columns([w for c in (1, 2) for w in pairs("M", c)], depth + 6, 1230.0)
    length = far_x([*fold, *rest])
    flaw = tuple((length - 60 + 40 * math.cos(k / 3), 1120 + 40 * math.sin(k / 3)) for k in range(18))
    plies = [
        PlyRegion(0, "up", _strip(length, 0.0, 1230.0), (flaw,)),
        PlyRegion(1, "down", _strip(length, 0.0, depth - 10.0)),
    ]
    spread = {"folds": (FoldLine("x", 0.0, (0, 1)),), "depths": (depth,)}
    return _lay([_one("partial fold", 1500.0 - depth, plies, [*fold, *rest], **spread)])


def double_lay() -> Lay:
    """Halves on both folds, single pieces between the flaps."""
    f1, f2 = 260.0, 240.0
    table = 1500.0 - f1 - f2
    near = along_fold([Want(half_brief("back", "M"), "briefs", c, 0.0, False, (0, 1)) for c in (1, 2, 3)], 0.0)
    far = along_fold([Want(half_brief("front", "M"), "briefs", c, 0.0, True, (0, 2)) for c in (1, 2, 3)], table)
    middle = columns(
        [Want(band("waistband", "M", 60.0, 440.0), "briefs", c) for c in (1, 2, 3)], f1 + 6, table - f2 - 6
    )
    length = far_x([*near, *far, *middle])
    plies = [
        PlyRegion(0, "up", _strip(length, 0.0, table)),
        PlyRegion(1, "down", _strip(length, 0.0, f1 - 10)),
        PlyRegion(2, "down", _strip(length, table - f2 + 10, table)),
    ]
    folds = (FoldLine("x", 0.0, (0, 1)), FoldLine("x", table, (0, 2)))
    return _lay([_one("double fold", table, plies, [*near, *far, *middle], folds=folds, depths=(f1, f2))])


def crosswise_lay() -> Lay:
    """Folded across: pairs through both plies, and a half whose fold edge lies on the fold across the cloth."""
    rest = columns([w for c in (1, 2, 3) for w in pairs("L", c, (0, 1))], 10.0, 1490.0)
    half = lay_down(Want(half_brief("back", "L"), "briefs", 1, 90.0, False, (0, 1)), far_x(rest) + 6, 60.0)
    x = _box(half.outline)[2]
    half = replace(half, on_fold=True)
    assert half.fold is not None and abs(half.fold[0][0] - x) < 1e-6
    plies = [
        PlyRegion(0, "up", _strip(x, 10.0, 1490.0)),
        PlyRegion(1, "down", _strip(x, 10.0, 1490.0), reversed=True),
    ]
    return _lay([_one("crosswise fold", 1500.0, plies, [*rest, half], folds=(FoldLine("y", x, (0, 1)),), layers=2)])


def stacked_lay(faces: str = "up", count: int = 3) -> Lay:
    """Plies on one another, all face up or face to face."""
    all_plies = tuple(range(count))
    wants = [Want(w.piece, w.garment, w.copy, w.turn, w.flipped, all_plies, count) for w in pairs("M", 1)]
    if faces == "to face":
        wants = [w for w in wants if not w.flipped]
    placements = columns(wants, 10.0, 1490.0)
    length = far_x(placements)
    plies = [
        PlyRegion(k, "down" if faces == "to face" and k % 2 else "up", _strip(length, 10.0, 1490.0)) for k in all_plies
    ]
    return _lay([_one(f"stacked face {faces}", 1500.0, plies, placements, layers=count)])


def tubular_lay() -> Lay:
    """A tube 500 mm flat: halves on both folds."""
    near = along_fold([Want(half_brief("front", "S", 0.9), "briefs", c, 0.0, False, (0, 1)) for c in (1, 2)], 0.0)
    far = along_fold([Want(half_brief("back", "S", 0.9), "briefs", c, 180.0, False, (0, 1)) for c in (1, 2)], 500.0)
    length = far_x([*near, *far])
    plies = [PlyRegion(0, "up", _strip(length, 0.0, 500.0)), PlyRegion(1, "down", _strip(length, 0.0, 500.0))]
    folds = (FoldLine("x", 0.0, (0, 1)), FoldLine("x", 500.0, (0, 1)))
    section = _one("tubular", 500.0, plies, [*near, *far], folds=folds)
    return _lay([section], width=1000.0, selvage=0.0)


def sections_lay() -> Lay:
    """Folded lengthwise first, then opened out."""
    a = lengthwise_lay().sections[0]
    b = open_lay().sections[0]
    return _lay([a, replace(b, start=a.lay_length)])


def remnant_lay() -> Lay:
    """A leftover with a slanting side and a hole."""
    outline = ((0.0, 0.0), (820.0, 40.0), (780.0, 610.0), (120.0, 640.0))
    hole = tuple((430 + 50 * math.cos(k * math.pi / 10), 330 + 38 * math.sin(k * math.pi / 10)) for k in range(20))
    placements = [
        lay_down(Want(half_brief("front", "S", 0.9), "briefs", 1, 3.5, False, opened=True), 90.0, 60.0),
        lay_down(Want(half_brief("back", "S", 0.8), "briefs", 1, 0.0, False, opened=True), 500.0, 70.0),
        lay_down(Want(gusset("S"), "briefs", 1, 45.0), 330.0, 480.0),
        lay_down(Want(gusset("S"), "briefs", 2, 225.0, True), 470.0, 490.0),
        lay_down(Want(band("loop", None, 60.0, 18.0), "briefs", 1), 250.0, 560.0),
    ]
    ply = PlyRegion(0, "up", outline, (hole,))
    section = Section(Spread("open", 640.0, 820.0, (ply,)), far_x(placements), tuple(placements))
    return _lay([section], remnant="scrap-1", width=640.0, selvage=0.0)


def hundred_lay() -> Lay:
    """A hundred pieces of three sizes on one ply, some of them small."""
    wants: list[Want] = []
    for copy in (1, 2, 3, 4):
        for size in ("S", "M", "L"):
            wants += pairs(size, copy)
            wants += [Want(gusset(size), "shorts", copy), Want(gusset(size), "shorts", copy, flipped=True)]
            wants.append(Want(band("waistband", size, 45.0, 600.0), "shorts", copy))
    wants += [Want(band("loop", None, 60.0, 18.0), "shorts", c) for c in range(1, 17)]
    placements = columns(wants, 10.0, 1490.0)
    ply = PlyRegion(0, "up", _strip(far_x(placements), 10.0, 1490.0))
    return _lay([_one("open", 1500.0, [ply], placements)])


def inches_lay() -> Lay:
    """In inches, with tilted, quarter-turned and bias pieces, one set through to a second ply."""
    lay = lengthwise_lay()
    section = lay.sections[0]
    x = section.lay_length + 8
    more = columns(
        [
            Want(shorts_leg("front leg", "L"), "shorts", 1, 90.0, False, (0, 1), 2),
            Want(shorts_leg("back leg", "L"), "shorts", 1, 271.37, True, (0, 1), 2),
            Want(gusset("L"), "shorts", 1, 45.0, True, (1,)),
            Want(gusset("L"), "shorts", 1, 358.2, False, (1,)),
        ],
        10.0, 735.0, x,
    )  # fmt: skip
    placements = (*section.placements, *more)
    length = far_x(placements)
    plies = [PlyRegion(0, "up", _strip(length, 0.0, 740.0)), PlyRegion(1, "down", _strip(length, 0.0, 740.0))]
    folds = (FoldLine("x", 0.0, (0, 1)),)
    return replace(
        _lay([_one("lengthwise fold", 750.0, plies, placements, folds=folds)]),
        imperial=True,
        cloth="Main jersey / navy",
        buy_length=914.4 * 1.875,
    )


def together_lay() -> Lay:
    """A lining cut with its front, in a second cloth spread over the first."""
    front = lay_down(Want(half_brief("front", "M"), "briefs", 1, 0.0, False, (0,), opened=True), 0.0, 20.0)
    lining = lay_down(Want(replace(half_brief("front", "M", 0.86), name="lining"), "briefs", 1, opened=True), 0.0, 0.0)
    lining = lay_down(
        Want(replace(half_brief("front", "M", 0.86), name="lining"), "briefs", 1, opened=True),
        front.x,
        front.y,
        by_box=False,
    )
    lining = replace(lining, follows="front", second_cloth="mesh")
    ply = PlyRegion(0, "up", _strip(far_x([front]), 10.0, 1490.0))
    return _lay([_one("open", 1500.0, [ply], [front, lining])])


def lining_lay() -> Lay:
    """On a lengthwise fold, a front on the bottom ply and its lining on the top one, cut together; a tie by itself."""
    front = lay_down(Want(half_brief("front", "M"), "briefs", 1, 0.0, False, (0,), opened=True), 0.0, 20.0)
    small = replace(half_brief("front", "M", 0.9), name="lining")
    lining = lay_down(Want(small, "briefs", 1, plies=(1,), opened=True), front.x, front.y, by_box=False)
    tie = lay_down(Want(band("tie", None, 200.0, 40.0), "briefs", 1, plies=(1,)), 0.0, 460.0)
    placements = [front, replace(lining, follows="front"), tie]
    length = far_x(placements)
    plies = [PlyRegion(0, "up", _strip(length, 0.0, 740.0)), PlyRegion(1, "down", _strip(length, 0.0, 740.0))]
    return _lay([_one("lengthwise fold", 750.0, plies, placements, folds=(FoldLine("x", 0.0, (0, 1)),))])


ALL = {
    "lining": lining_lay,
    "open": open_lay,
    "lengthwise": lengthwise_lay,
    "partial": partial_lay,
    "double": double_lay,
    "crosswise": crosswise_lay,
    "stacked-up": stacked_lay,
    "stacked-faces": lambda: stacked_lay("to face", 4),
    "tubular": tubular_lay,
    "sections": sections_lay,
    "remnant": remnant_lay,
    "hundred": hundred_lay,
    "inches": inches_lay,
    "together": together_lay,
}


def pieces_of(name: str) -> dict[tuple[str, str | None], Piece]:
    """The pattern pieces (grain frame) that a sample lay is made of, by name and size."""
    _SET_DOWN.clear()
    ALL[name]()
    return dict(_SET_DOWN)
