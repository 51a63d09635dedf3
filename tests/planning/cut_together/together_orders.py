"""Random orders in which a second cloth is cut together with a first: leaders of odd shapes, followers that are their
lower or upper ends, every way of facing, folds, naps, gaps and stretch. The same number gives the same order."""

from __future__ import annotations

import math
import random
from typing import Any

from shapely.geometry import Polygon, box
from shapely.geometry.polygon import orient

from nesting.model.order import Cloth, CutPiece, Garment, Order, Together
from nesting.model.piece import Piece, Point, Ring

__all__ = ["together_order"]


def _ring(shape: Any) -> Ring:
    return tuple((float(x), float(y)) for x, y in orient(shape.simplify(0.01)).exterior.coords[:-1])


def _leader(rng: random.Random, half: bool) -> Polygon:
    """A piece about 150 to 400 mm each way with curved sides; a half has its fold edge on y = 0."""
    long, wide = rng.uniform(150.0, 400.0), rng.uniform(90.0, 260.0)
    steps = 12
    waist, bow = rng.uniform(0.45, 1.0), rng.uniform(-0.15, 0.15)

    def reach(t: float) -> float:
        return wide / 2 * (1.0 + (waist - 1.0) * t + bow * math.sin(math.pi * t))

    upper = [(long * (k / steps - 0.5), reach(k / steps)) for k in range(steps + 1)]
    if half:
        return Polygon([(-long / 2, 0.0), (long / 2, 0.0), *reversed(upper)])
    skew = rng.choice((0.0, 0.2))
    lower = [(x, -y * (1.0 - skew * (k / steps))) for k, (x, y) in enumerate(upper)]
    return Polygon([*lower, *reversed(upper)])


def _pair(rng: random.Random, number: int, half: bool) -> tuple[Piece, Piece]:
    shape = _leader(rng, half)
    x0, y0, x1, y1 = shape.bounds
    share = rng.uniform(0.3, 0.8)
    end = box(x0, y0 - 1.0, x0 + share * (x1 - x0), y1 + 1.0)
    if rng.random() < 0.5:
        end = box(x1 - share * (x1 - x0), y0 - 1.0, x1, y1 + 1.0)
    part = shape.intersection(end)
    middle = (y0 + y1) / 2 if half else 0.0

    def piece(name: str, own: Any) -> Piece:
        a, _, b, _ = own.bounds
        at = (a + b) / 2
        ring = tuple((x - at, y - middle) for x, y in _ring(own))
        fold: tuple[Point, Point] | None = ((a - at, -middle), (b - at, -middle)) if half else None
        reach = (b - a) / 4
        return Piece(name, ring, grainline=((-reach, 0.0), (reach, 0.0)), fold=fold)

    return piece(f"front {number}", shape), piece(f"lining {number}", part)


def together_order(number: int) -> Order:
    """Order ``number``."""
    rng = random.Random(1000 + number)
    pieces: list[CutPiece] = []
    together: list[Together] = []
    garments: list[Garment] = []
    faces = rng.choice(("same", "to the leader"))
    for k in range(rng.choice((1, 1, 2))):
        half = rng.random() < 0.4
        leader, follower = _pair(rng, k + 1, half)
        mirrored = not half and rng.random() < 0.4
        cut = {"cut": 2, "mirrored": True} if mirrored else {}
        turn = rng.choice((None, None, None, "either way", "one way"))
        tilt = rng.choice((0.0, 0.0, 0.0, 1.0)) if not half else 0.0
        pieces.append(CutPiece(leader, None, turn=turn, tilt=tilt, **cut))  # type: ignore[arg-type]
        pieces.append(CutPiece(follower, None, cloth="thin", tilt=tilt, **cut))  # type: ignore[arg-type]
        long, wide = rng.uniform(200.0, 600.0), rng.uniform(150.0, 420.0)
        ring = ((-long / 2, -wide / 2), (long / 2, -wide / 2), (long / 2, wide / 2), (-long / 2, wide / 2))
        back = Piece(f"back {k + 1}", ring, grainline=((-long / 4, 0.0), (long / 4, 0.0)))
        pieces.append(CutPiece(back, None))
        together.append(Together(leader.name, follower.name, faces))  # type: ignore[arg-type]
        names = (leader.name, follower.name, back.name)
        garments.append(Garment(f"garment {k + 1}", None, rng.randint(1, 3), names))
    even = {"stretch_across": 0.6, "stretch_along": 0.6}
    priced = rng.random() < 0.7
    spreads = rng.choice((("open",), ("open",), ("open", "lengthwise fold"), ("open", "partial fold")))
    main = Cloth(
        "main",
        rng.choice((900.0, 1100.0, 1400.0)),
        selvage=rng.choice((0.0, 10.0)),
        nap=rng.choice(("none", "none", "by garment")),
        gap=rng.choice((0.0, 3.0, 3.0)),
        price=15.0 if priced else None,
        increment=10.0,
        spreads=spreads,
        **(even if rng.random() < 0.6 else {}),  # type: ignore[arg-type]
    )
    thin = Cloth(
        "thin",
        rng.choice((800.0, 1100.0, 1400.0)),
        nap=rng.choice(("none", "none", "none", "one way", "by garment")),
        gap=rng.choice((0.0, 3.0, 5.0)),
        price=8.0 if priced else None,
        increment=10.0,
        patch_margin=rng.choice((10.0, 10.0, 5.0, 20.0)),
        right_side=rng.random() < 0.8,
        **(even if rng.random() < 0.6 else {}),  # type: ignore[arg-type]
    )
    return Order(
        f"together {number}", "cm", None, "", tuple(pieces), (main, thin), tuple(garments), together=tuple(together)
    )
