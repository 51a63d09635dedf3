"""What must not matter does not: where the lay begins, where a piece has its reference point, how fine its curve is."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting.model.lay import Lay, Placement, Section
from nesting.model.order import Order
from nesting.model.piece import Drill, Notch, Piece, mapped
from nesting.proof import FailureKind, prove

from .build import PIECES, cut, finished, lay_of, moved, order_of, put
from .good import ALL

EXAMPLES = int(os.environ.get("NESTING_EXAMPLES", "25"))

#: Ways to spoil a placement that do not depend on where it lies.
SPOILS: dict[str, Callable[[Placement], Placement]] = {
    "nothing": lambda p: p,
    "flipped": lambda p: put_again(p, flipped=not p.flipped),
    "tilted": lambda p: put_again(p, turn=p.turn + 1.0),
    "a notch lost": lambda p: replace(p, laid=replace(p.laid, notches=p.notches[1:])),
    "outline cut short": lambda p: replace(p, laid=replace(p.laid, outline=p.outline[1:])),
    "ply that is not there": lambda p: replace(p, plies=(9,)),
    "off by 3 mm": lambda p: moved(p, 0.0, 3.0),
    "half unmirrored": lambda p: put_again(p, on_fold=False, opened=False),
    "other piece": lambda p: replace(p, piece="sleeve"),
}


def put_again(p: Placement, *, turn: float | None = None, **other: object) -> Placement:
    """The placement drawn anew."""
    given_ = {"flipped": p.flipped, "plies": p.plies, "on_fold": p.on_fold, "opened": p.opened, "copies": p.copies}
    given_ |= {"copy": p.copy, **other}
    return put(PIECES[p.piece], p.x, p.y, p.turn if turn is None else turn, **given_)  # type: ignore[arg-type]


def found(lay: Lay, order: Order) -> set[FailureKind]:
    """The kinds of failure."""
    return {f.kind for f in prove(lay, order).failures}


def rebuilt(order: Order, lay: Lay, change: Callable[[Placement], Placement], by: float) -> Lay:
    """The lay with all placements changed and every section ``by`` longer, figures in keeping."""
    sections = []
    start = 0.0
    for s in lay.sections:
        length = s.lay_length + by
        one = lay_of(
            order, s.spread.kind, [change(p) for p in s.placements], depths=s.spread.depths, length=length
        ).sections[0]
        sections.append(Section(one.spread, length, one.placements, start))
        start += length + 5.0
    return finished(order, tuple(sections))


@pytest.mark.parametrize("name", sorted(set(ALL) - {"leftover"}))
@settings(max_examples=EXAMPLES, deadline=None)
@given(by=st.floats(0.0, 3000.0), spoil=st.sampled_from(sorted(SPOILS)), which=st.integers(0, 9))
def test_shifting_the_lay_changes_no_verdict(name: str, by: float, spoil: str, which: int) -> None:
    """All placements moved along the cloth: what was sound stays sound, what was wrong stays wrong in the same way."""
    order, lay = ALL[name]()
    first = lay.sections[0]
    number = which % len(first.placements)
    bad = SPOILS[spoil](first.placements[number])
    placements = (*first.placements[:number], bad, *first.placements[number + 1 :])
    spoiled = replace(lay, sections=(replace(first, placements=placements), *lay.sections[1:]))
    # some way in from the cut end, which a tilted piece might reach over
    here = rebuilt(order, spoiled, lambda p: moved(p, 50.0, 0.0), 50.0)
    there = rebuilt(order, spoiled, lambda p: moved(p, 50.0 + by, 0.0), 50.0 + by)
    assert found(there, order) == found(here, order)
    if spoil == "nothing":
        assert found(there, order) == set()


@pytest.mark.parametrize("name", sorted(ALL))
@settings(max_examples=max(5, EXAMPLES // 3), deadline=None)
@given(u=st.floats(-500.0, 500.0), v=st.floats(-500.0, 500.0))
def test_where_the_reference_point_is_does_not_matter(name: str, u: float, v: float) -> None:
    """Pieces drawn elsewhere in their own frame, and placed to lie where they lay, are proved alike."""
    order, lay = ALL[name]()
    away = tuple(replace(c, piece=mapped(c.piece, lambda p: (p[0] + u, p[1] + v))) for c in order.pieces)

    def shifted(p: Placement) -> Placement:
        a = math.radians(p.turn)
        fv = -v if p.flipped else v
        dx = math.cos(a) * u - math.sin(a) * fv
        dy = math.sin(a) * u + math.cos(a) * fv
        return replace(p, x=p.x - dx, y=p.y - dy)

    sections = tuple(replace(s, placements=tuple(shifted(p) for p in s.placements)) for s in lay.sections)
    assert prove(replace(lay, sections=sections), replace(order, pieces=away)).failures == ()


@st.composite
def any_half(draw: st.DrawFn) -> Piece:
    """A half with marks anywhere, on the fold edge too; its fold edge lies in any direction."""
    steps = [draw(st.floats(10.0, 40.0)) for _ in range(draw(st.integers(3, 7)))]
    heights = [draw(st.floats(15.0, 90.0)) for _ in steps]
    width = sum(steps)
    at, top = steps[0] / 2, []
    for step, height in zip(steps, heights, strict=True):
        top.append((at, height))
        at += step
    ring = ((0.0, 0.0), (width, 0.0), *reversed(top))
    low = min(heights) * 0.4
    inner = [(top[0][0] + draw(st.floats(0.0, 1.0)) * (top[-1][0] - top[0][0]), low) for _ in range(2)]
    piece = Piece(
        "half",
        ring,
        seam=((2.0, 0.0), (width - 2.0, 0.0), *((x, h - 3.0) for x, h in reversed(top))),
        inside=(
            ((width / 3, 0.0), (width / 3, low)),
            ((width / 4, 0.0), (width / 2, 0.0)),
            (inner[0], (inner[0][0] + 3.0, low / 2), inner[1]),
        ),
        cutouts=(
            ((width / 2, low / 4), (width / 2 + 4, low / 4), (width / 2 + 2, low / 2)),
            ((width / 5, 0.0), (width / 5 + 3.0, 0.0), (width / 5 + 1.0, low / 3)),
        ),
        notches=(
            Notch(top[1], draw(st.floats(0.0, 359.0)), "v", 4.0, "side"),
            Notch((width, 0.0), 180.0, "slit", 5.0, "centre"),
        ),
        drills=(Drill(inner[0], 2.0, "a"), Drill((width / 2, 0.0), 2.0, "b")),
        grainline=((0.0, 0.0), (10.0, 0.0)),
        fold=((0.0, 0.0), (width, 0.0)),
    )
    a = draw(st.floats(0.0, 6.28))
    c, s = math.cos(a), math.sin(a)
    turned = mapped(piece, lambda p: (c * p[0] - s * p[1] + 7.0, s * p[0] + c * p[1] - 11.0), turn_deg=math.degrees(a))
    return replace(turned, grainline=((-5.0, 0.0), (5.0, 0.0)))


@settings(max_examples=4 * EXAMPLES, deadline=None)
@given(piece=any_half(), turn=st.floats(0.0, 360.0), flipped=st.booleans())
def test_opening_out_agrees_with_the_lay(piece: Piece, turn: float, flipped: bool) -> None:
    """Opened out by joining shapes here, and by walking along the outline there: the same piece with the same marks."""
    order = order_of(cut(piece, turn="any", alike_ok=True), width=2000.0)
    p = put(piece, 1000.0, 1000.0, turn, flipped=flipped, opened=True)
    verdict = prove(lay_of(order, "open", [p]), order)
    assert verdict.failures == ()
    fewer = replace(p, laid=replace(p.laid, notches=p.notches[:1]))
    assert {f.kind for f in prove(lay_of(order, "open", [fewer]), order).failures} == {"mark"}


def curved(name: str, corners: int) -> Piece:
    """An egg of so many corners, one-sided, 120 × 80."""
    ring = []
    for i in range(corners):
        a = 2 * math.pi * i / corners
        ring.append((60.0 * math.cos(a), (40.0 + 8.0 * math.cos(a) + 4.0 * math.sin(2 * a)) * math.sin(a)))
    return Piece(name, tuple(ring), notches=(Notch(ring[0], 180.0),), grainline=((-20.0, 0.0), (20.0, 0.0)))


@pytest.mark.parametrize("rows,columns,seconds", [(10, 10, 2.0), (10, 50, 10.0)])
def test_speed(rows: int, columns: int, seconds: float) -> None:
    """A hundred placements with fine curves in 2 s, five hundred in 10 s, of processor time."""
    piece = curved("egg", 500)
    order = order_of(cut(piece), count=rows * columns, width=1200.0, gap=3.0)
    placements = [
        put(piece, 70.0 + 125.0 * i, 60.0 + 105.0 * k, 180.0 * ((i + k) % 2), copy=1 + i * rows + k)
        for i in range(columns)
        for k in range(rows)
    ]
    lay = lay_of(order, "open", placements)
    begin = time.process_time()
    assert prove(lay, order).failures == ()
    assert time.process_time() - begin < seconds
    # and it is not fast because it looks away: the last piece moved towards its neighbour
    placements[-1] = moved(placements[-1], 0.0, -25.0)
    assert found(replace(lay, sections=(replace(lay.sections[0], placements=tuple(placements)),)), order) == {"gap"}
