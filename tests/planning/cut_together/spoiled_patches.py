"""Sound lays in patches of several kinds, and every way in which somebody might spoil one of them on purpose."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import permutations

from nesting.model.lay import Lay, Patch, Placement, placed
from nesting.model.order import CutPiece, Garment, Order
from nesting.model.piece import Piece
from tests.planning.cut_together.test_patches import laid, order, rectangle

__all__ = ["LAYS", "made", "spoiled_ways"]

LAYS = ("plain", "hands", "to the leader", "hands on a fold", "folded", "two leaders")
#: mm, across a one-sided front; the other end is 100 wide
NARROW = 60.0


def made(kind: str) -> tuple[Order, Lay, Lay]:
    """An order, the lay of its first cloth, and that of its second in patches."""
    ring = ((-150.0, -100.0), (150.0, -100.0), (150.0, NARROW), (-150.0, 100.0))
    front = CutPiece(Piece("front", ring, grainline=((-100.0, 0.0), (100.0, 0.0))), None, cut=2, mirrored=True)
    lining = replace(front, piece=replace(front.piece, name="lining"), cloth="thin")
    sided = {"count": 2, "leader": front, "follower": lining}
    if kind == "hands":
        asked = order(**sided)
    elif kind == "to the leader":
        asked = order(faces="to the leader", **sided)
    elif kind == "hands on a fold":
        asked = order(**sided)
        return asked, *laid(asked, "lengthwise fold")
    elif kind == "folded":
        corners = ((-150.0, -50.0), (150.0, -50.0), (150.0, 40.0), (-150.0, 50.0))
        half = Piece("front", corners, grainline=((-100.0, 0.0), (100.0, 0.0)), fold=((-150.0, -50.0), (150.0, -50.0)))
        leader = CutPiece(half, None, unfold=False)
        follower = replace(leader, piece=replace(half, name="lining"), cloth="thin", unfold=True)
        asked = order(count=2, leader=leader, follower=follower)
        return asked, *laid(asked, "lengthwise fold")
    elif kind == "two leaders":
        # sides, of the same outline as fronts, belong to other garments: no lining lies there
        asked = order(count=2)
        asked = replace(
            asked,
            pieces=(*asked.pieces, rectangle("side", 300.0, 200.0)),
            garments=(*asked.garments, Garment("skirt", None, 2, ("side",))),
        )
    else:
        asked = order(count=3)
    return asked, *laid(asked)


def _moved(p: Placement, dx: float = 0.0, dy: float = 0.0, turn: float = 0.0, flip: bool = False) -> Placement:
    """The placement laid anew where that puts it, marks and all: as sound as before by itself."""
    # placed from what is drawn: back to the piece first
    own = placed(p.laid, -p.x, -p.y, 0.0, False)
    own = placed(own, 0.0, 0.0, -p.turn, False)
    own = placed(own, 0.0, 0.0, 0.0, p.flipped)
    x, y, t, f = p.x + dx, p.y + dy, (p.turn + turn) % 360.0, p.flipped != flip
    return replace(p, x=x, y=y, turn=t, flipped=f, laid=placed(own, x, y, t, f))


def _with(lay: Lay, pieces: dict[int, Placement] | None = None, patches: dict[int, Patch] | None = None) -> Lay:
    section = lay.sections[0]
    own = tuple((pieces or {}).get(i, p) for i, p in enumerate(section.placements))
    return replace(
        lay,
        sections=(replace(section, placements=own), *lay.sections[1:]),
        patches=tuple((patches or {}).get(i, p) for i, p in enumerate(lay.patches)),
    )


def spoiled_ways(first: Lay, second: Lay) -> Iterator[tuple[str, Lay, Lay]]:
    """Words for what is wrong, the first cloth's lay and the second's."""
    yield from ((what, first, lay) for what, lay in _patch_ways(second))
    yield from ((what, first, lay) for what, lay in _piece_ways(second))
    yield from ((what, lay, second) for what, lay in _leader_ways(first))


def _patch_ways(lay: Lay) -> Iterator[tuple[str, Lay]]:
    """What may be wrong with a patch as a whole."""
    for i, p in enumerate(lay.patches):
        on, at = p.on, f"patch {p.number}: "

        def one(
            what: str, i: int = i, p: Patch = p, at: str = at, pieces: dict[int, Placement] | None = None, **how: object
        ) -> tuple[str, Lay]:
            return at + what, _with(lay, pieces, {i: replace(p, **how)})  # type: ignore[arg-type]

        for dx, dy in ((3.0, 0.0), (0.0, 3.0), (-12.0, 0.0), (0.0, -12.0)):
            yield one(f"moved by {dx:g}, {dy:g} from its pieces", x=p.x + dx, y=p.y + dy)
            yield one(f"moved by {dx:g}, {dy:g} on the first cloth", on=replace(on, x=on.x + dx, y=on.y + dy))
        for dx, dy in ((-3000.0, 0.0), (0.0, 3000.0)):
            own = {n: _moved(lay.placements[n], dx, dy) for n in p.placements}
            yield one(f"beyond the cloth by {dx:g}, {dy:g}", pieces=own, x=p.x + dx, y=p.y + dy)
        for turn in (2.0, 45.0, 90.0):
            yield one(f"turned by {turn:g}", turn=(p.turn + turn) % 360.0)
            yield one(f"grain turned by {turn:g} on the first cloth", on=replace(on, grain=(on.grain + turn) % 360.0))
        yield one(
            "turned by 90 on the first cloth with its sides",
            on=replace(on, grain=(on.grain + 90.0) % 360.0, length=on.width, width=on.length),
        )
        own = {n: _moved(lay.placements[n], turn=90.0) for n in p.placements}
        yield one("its pieces turned across it", pieces=own)
        across = on.grain % 180.0 != 0.0
        for less in (3.0, 25.0):
            short, thin = {"length": p.length - less}, {"width": p.width - less}
            yield one(f"{less:g} shorter on its own cloth", **short)
            yield one(f"{less:g} narrower on its own cloth", **thin)
            yield one(f"{less:g} shorter on the first", on=replace(on, length=on.length - less))
            yield one(
                f"{less:g} shorter on both",
                **short,
                on=replace(on, **{"width" if across else "length": p.length - less}),
            )
            yield one(
                f"{less:g} narrower on both",
                **thin,
                on=replace(on, **{"length" if across else "width": p.width - less}),
            )
        yield one("no piece in it", placements=())
        yield one("its piece twice in it", placements=(p.placements[0], *p.placements))
        yield one("a piece that is not there", placements=(*p.placements, 99))
        yield one("a piece before the first", placements=(*p.placements, -1))
        yield one("wrong face", on=replace(on, face="down" if on.face == "up" else "up"))
        yield one(
            "its plies the other way round, or twice",
            on=replace(on, plies=(*on.plies[::-1], on.plies[-1])[: max(2, len(on.plies))]),
        )
        yield one("a ply that is not there", on=replace(on, plies=(7,)))
        yield one("no ply", on=replace(on, plies=()))
        yield one("both plies, or one of them", on=replace(on, plies=(0,) if len(on.plies) == 2 else (0, 1)))
        yield one("another section", on=replace(on, section=1))
        yield one("a section before the first", on=replace(on, section=-1))
        yield one("another cloth", on=replace(on, cloth="felt"))
        yield one("its own cloth", on=replace(on, cloth="thin"))
        for margin in (-3.0, p.margin - 1.0, p.margin + 1.0, float("nan")):
            yield one(f"margin {margin:g}", margin=margin)
        yield one("nowhere", x=float("nan"))
        yield one("nowhere on the first cloth", on=replace(on, y=float("nan")))
        yield one("endless", length=float("inf"))
        yield at + "missing", replace(lay, patches=lay.patches[:i] + lay.patches[i + 1 :])
        yield at + "doubled", replace(lay, patches=(*lay.patches, p))
        yield at + "doubled under another number", replace(lay, patches=(*lay.patches, replace(p, number=99)))
        yield at + "doubled, empty", replace(lay, patches=(*lay.patches, replace(p, number=99, placements=())))
    for (i, p), (k, q) in permutations(enumerate(lay.patches), 2):
        at = f"patches {p.number} and {q.number}: "
        yield at + "one number", _with(lay, None, {i: replace(p, number=q.number)})
        yield at + "one place on the first cloth", _with(lay, None, {i: replace(p, on=q.on)})
        own = {n: _moved(lay.placements[n], q.x - p.x, q.y - p.y) for n in p.placements}
        yield at + "one place on their own cloth", _with(lay, own, {i: replace(p, x=q.x, y=q.y)})
        if i < k:
            yield at + "places swapped", _with(lay, None, {i: replace(p, on=q.on), k: replace(q, on=p.on)})
            pieces = {i: replace(p, placements=q.placements), k: replace(q, placements=p.placements)}
            yield at + "pieces swapped", _with(lay, None, pieces)


def _piece_ways(lay: Lay) -> Iterator[tuple[str, Lay]]:
    """What may be wrong with a piece in its patch."""
    for n, p in enumerate(lay.placements):
        at = f"piece {n}: "
        yield at + "mirrored", _with(lay, {n: _moved(p, flip=True)})
        yield at + "moved off its leader", _with(lay, {n: _moved(p, 2.0, 1.0)})
        yield at + "moved out of its patch", _with(lay, {n: _moved(p, 40.0)})
        yield at + "tilted", _with(lay, {n: _moved(p, turn=1.5)})
        yield at + "of another copy", _with(lay, {n: replace(p, copy=p.copy + 50, copies=())})
        yield at + "of another piece", _with(lay, {n: replace(p, piece="back")})
        yield at + "of another garment", _with(lay, {n: replace(p, garment="cape")})
        yield at + "on another ply", _with(lay, {n: replace(p, plies=(1,))})
        yield at + "said to lie on a fold", _with(lay, {n: replace(p, on_fold=True)})
        yield at + "gives two", _with(lay, {n: replace(p, gives=p.gives + 1)})
        if p.hand in ("left", "right"):
            other = "left" if p.hand == "right" else "right"
            yield at + "called the other hand", _with(lay, {n: replace(p, hand=other)})
    for (n, p), (m, q) in permutations(enumerate(lay.placements), 2):
        if n < m and (p.copy, p.copies) != (q.copy, q.copies):
            swapped = {n: replace(p, copy=q.copy, copies=q.copies), m: replace(q, copy=p.copy, copies=p.copies)}
            yield f"pieces {n} and {m}: copies swapped", _with(lay, swapped)


def _leader_ways(first: Lay) -> Iterator[tuple[str, Lay]]:
    """What may be wrong under the patches."""
    for n, p in enumerate(first.sections[0].placements):
        if p.piece != "front":
            continue
        for dx, dy in ((2.0, 0.0), (0.0, 2.0)):
            yield f"leader {n} moved by {dx:g}, {dy:g}", _with(first, {n: _moved(p, dx, dy)})
        yield f"leader {n} turned across", _with(first, {n: _moved(p, turn=90.0)})
        yield f"leader {n} of another garment", _with(first, {n: replace(p, garment="cape")})
        yield f"leader {n} is another piece", _with(first, {n: replace(p, piece="side")})
