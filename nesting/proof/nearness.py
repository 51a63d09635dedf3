"""Cloth pieces against each other, on the opened-out cloth: no cloth cut twice, the gap kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import shapely
from shapely import STRtree
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from nesting.model.tolerances import OVERLAP_MM, OVERLAP_SHARE
from nesting.proof.motion import shift
from nesting.proof.placing import EDGE_SLACK, Judged, area_words
from nesting.proof.table import Table
from nesting.proof.unfold import ClothPiece
from nesting.proof.verdict import Failure

__all__ = ["check_nearness"]


def check_nearness(
    pieces: Sequence[ClothPiece],
    judged: Mapping[int, Judged],
    gap: float,
    tables: Sequence[Table | None],
    starts: Sequence[float],
) -> list[Failure]:
    """Overlaps beyond OVERLAP_SHARE of the smaller piece, and pieces nearer than ``gap`` mm and the errors with
    which both were traced from pictures, each pair once."""
    failures: list[Failure] = []
    told: set[tuple[int, int, str]] = set()
    for sheet in sorted({piece.sheet for piece in pieces}):
        here = [piece for piece in pieces if piece.sheet == sheet]
        images = list(_images(here, tables))
        shapes = np.array([shape for shape, _ in images], dtype=object)
        mine = np.array([piece.polygon for piece in here], dtype=object)
        shapely.prepare(mine)
        tree = STRtree(shapes)
        errors = [judged[piece.placement].cut.piece.error for piece in here]
        # the two largest errors: no pair needs more
        widest = gap + sum(sorted(errors)[-2:])
        reach = max(widest - EDGE_SLACK, 0.0)
        first, second = tree.query(mine, predicate="dwithin", distance=reach)
        for i, k in zip(first.tolist(), second.tolist(), strict=True):
            j = images[k][1]
            # an image of the piece itself, further along round a tube, is no other piece
            if i >= j:
                continue
            a, b = here[i], here[j]
            one, other = sorted((a.placement, b.placement))
            shared = _shared(mine[i], shapes[k])
            smaller = min(a.polygon.area, b.polygon.area)
            if shared.area > OVERLAP_SHARE * smaller or _depth(shared, mine[i], shapes[k]) > OVERLAP_MM:
                if (one, other, "overlap") not in told:
                    told.add((one, other, "overlap"))
                    failures.append(_overlap(a, b, shared, judged, tables, starts))
                continue
            needed = gap + errors[i] + errors[j]
            distance = float(mine[i].distance(shapes[k]))
            if needed > 0.0 and distance <= needed - EDGE_SLACK and (one, other, "gap") not in told:
                told.add((one, other, "gap"))
                failures.append(_gap(a, b, distance, needed, judged))
    return failures


def _shared(a: BaseGeometry, b: BaseGeometry) -> BaseGeometry:
    """What two cloth pieces share.

    GEOS 3.14.1 can return nothing at all for valid polygons whose edges run along one line; snapped to a grid of a
    millionth of a millimetre it does not. The larger answer counts, so that no overlap is missed.
    """
    plain, snapped = a.intersection(b), shapely.intersection(a, b, grid_size=1e-6)
    return plain if plain.area >= snapped.area else snapped


def _depth(shared: BaseGeometry, a: BaseGeometry, b: BaseGeometry) -> float:
    """How deep one cloth piece lies in the other, mm: the farthest that a corner of what they share is from the edge of
    either. A slim tip shares little area, however deep it is."""
    if shared.is_empty:
        return 0.0
    corners = shapely.points(shapely.get_coordinates(shared))
    return float(max(shapely.distance(corners, a.boundary).max(), shapely.distance(corners, b.boundary).max()))


def _images(pieces: Sequence[ClothPiece], tables: Sequence[Table | None]) -> Iterable[tuple[BaseGeometry, int]]:
    """Each piece, and once more to either side where the opened-out cloth goes round (a tube)."""
    for number, piece in enumerate(pieces):
        yield piece.polygon, number
        table = tables[piece.section]
        if table is not None and table.round_trip > 0.0:
            yield translate(piece.polygon, 0.0, table.round_trip), number
            yield translate(piece.polygon, 0.0, -table.round_trip), number


def _overlap(
    a: ClothPiece,
    b: ClothPiece,
    shared: BaseGeometry,
    judged: Mapping[int, Judged],
    tables: Sequence[Table | None],
    starts: Sequence[float],
) -> Failure:
    pa, pb = judged[a.placement].placement, judged[b.placement].placement
    place = None
    table = tables[a.section]
    if table is not None:
        back = shift(starts[a.section], 0.0).after(table.ply(a.plies[0]).to_cloth).back()
        middle = shared.representative_point()
        x, y = back.points((middle.x, middle.y))
        place = (float(x), float(y))
    return Failure(
        "overlap",
        f"{pa.label} ({pa.garment}) and {pb.label} ({pb.garment}) share {area_words(shared.area)} of cloth",
        pa.piece,
        place,
        a.section,
        figures={"with": pb.piece, "shared": float(shared.area)},
    )


def _gap(a: ClothPiece, b: ClothPiece, distance: float, gap: float, judged: Mapping[int, Judged]) -> Failure:
    pa, pb = judged[a.placement].placement, judged[b.placement].placement
    return Failure(
        "gap",
        f"{pa.label} ({pa.garment}) and {pb.label} ({pb.garment}) are {distance:.3f} mm apart, the gap is {gap:g} mm",
        pa.piece,
        (pa.x, pa.y),
        a.section,
        figures={"with": pb.piece, "apart": distance, "gap": gap},
    )
