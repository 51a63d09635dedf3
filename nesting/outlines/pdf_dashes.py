"""Dashed lines that a browser has written as areas: made one line each again.

Browsers print a dashed path as one filled path with an area for every dash: a ribbon as wide as the line, cut off
square at both ends, its curves and corners kept. The middle of each ribbon is found from its outer side, moved inwards
by half the width; ribbons of one path that go on from one to the next, each in the direction in which the last one
ended, are one line. Bars that lie beside each other (hatching, codes) do not, and letters are not of one width.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np
import numpy.typing as npt

from nesting.outlines.pdf_sheets import PdfLine, Sheet

__all__ = ["with_dashes_joined"]

Array = npt.NDArray[np.float64]

#: Fewer dashes than this are no dashed line.
_LEAST = 3
#: mm: wider areas are no lines.
_MOST_WIDE = 3.0
#: Share by which the widths of one line's dashes may differ, and their gaps from the usual one.
_ALIKE, _GAP_ALIKE = 0.1, 0.15
#: Degrees by which the way from a dash to the next may turn at either end; a corner in a gap turns more, once.
_STRAIGHT_ON, _CORNER = 40.0, 150.0
#: mm: ends nearer than this are one.
_TOUCH = 0.02
#: mm by which points may be off the straight line between others and not be told.
_SAME_MM = 0.002


@dataclass(frozen=True)
class _Ribbon:
    """``middle`` (n, 2) mm from end to end, ``width`` mm."""

    middle: Array
    width: float

    @property
    def length(self) -> float:
        return _long(self.middle)

    def turned(self) -> _Ribbon:
        return _Ribbon(self.middle[::-1], self.width)

    def way(self, end: int) -> Array:
        """Unit vector out of its start (0) or its end (-1)."""
        way = self.middle[0] - self.middle[1] if end == 0 else self.middle[-1] - self.middle[-2]
        return np.asarray(way / np.linalg.norm(way))


def with_dashes_joined(sheet: Sheet) -> Sheet:
    """The sheet with the areas of each dashed line replaced by the line, with its dashes as its style."""
    lines: list[PdfLine] = []
    for _, part in groupby(sheet.lines, key=lambda line: line.element):
        group = list(part)
        lines += _dashed(group) or group
    return replace(sheet, lines=tuple(lines))


def _dashed(group: Sequence[PdfLine]) -> list[PdfLine] | None:
    """The lines of which all areas of one path are the dashes; None where they are none."""
    if len(group) < _LEAST or any(line.style.stroked or not line.closed or len(line.points) < 4 for line in group):
        return None
    rings = [np.array(line.points) for line in group]
    widths = [_width(ring) for ring in rings]
    usual = float(np.median(widths))
    if not 0.01 < usual <= _MOST_WIDE:
        return None
    ribbons = [_ribbon(ring, usual) for ring in rings]
    if any(r is None for r in ribbons):
        return None
    chains = _chains([r for r in ribbons if r is not None])
    if not chains:
        return None
    found = []
    for chain in chains:
        points, closed, gaps = _line(chain)
        style = replace(
            group[0].style, width=round(usual, 4), dash=_pattern(chain, gaps), stroked=True, filled=False
        )
        found.append(replace(group[0], points=points, closed=closed, style=style, round=None))
    return found


def _width(ring: Array) -> float:
    """Of a ribbon with this ring: from its area and girth (a = w·l, g = 2·(w + l))."""
    after = np.roll(ring, -1, axis=0)
    area = abs(float((ring[:, 0] * after[:, 1] - after[:, 0] * ring[:, 1]).sum())) / 2
    half = float(np.linalg.norm(after - ring, axis=1).sum()) / 2
    return (half - math.sqrt(max(half * half - 4.0 * area, 0.0))) / 2


def _ribbon(ring: Array, width: float) -> _Ribbon | None:
    """The ring's middle line: between its two square ends, half the width within its outer side. None where it is no
    ribbon of that width."""
    from shapely import LineString

    ring = ring[np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1) > 1e-4]
    if len(ring) < 4:
        return None
    sides = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    around = float(sides.sum())
    ends = np.nonzero(np.abs(sides - width) <= _ALIKE * width + 1e-3)[0]
    along = np.concatenate([[0.0], np.cumsum(sides)])
    after = np.roll(ring, -1, axis=0)
    area = max(abs(float((ring[:, 0] * after[:, 1] - after[:, 0] * ring[:, 1]).sum())) / 2, 1e-9)
    best: tuple[float, int, int] | None = None
    for k, a in enumerate(ends.tolist()):
        for b in ends[k + 1 :].tolist():
            there = float(along[b] - along[a + 1])
            back = around - there - float(sides[a] + sides[b])
            if min(there, back) <= 0:
                continue
            uneven = abs(there - back)
            if best is None or uneven < best[0]:
                best = (uneven, a, b)
    if best is None or best[0] > 4.0 * width + 0.1 * around:
        return None
    _, a, b = best
    n = len(ring)
    first = ring[(a + 1 + np.arange(b - a)) % n]
    second = ring[(b + 1 + np.arange(n - b + a)) % n]
    found = None
    # The inner side of a corner goes by way of the middle line: the side with fewer points is the outer one.
    for side, other in sorted([(first, second), (second, first)], key=lambda pair: (len(pair[0]), -_long(pair[0]))):
        middle = LineString(side).offset_curve(
            width / 2 if _on_left(side, other) else -width / 2, join_style="mitre", mitre_limit=10.0
        )
        if middle.is_empty or middle.geom_type != "LineString":
            continue
        points = np.array(middle.coords)
        points = points[np.concatenate([[True], np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-6])]
        # what lies along the middle is all of the ribbon, or it is another shape
        if len(points) >= 2 and abs(_long(points) * width / area - 1.0) <= _ALIKE + width / _long(points):
            found = points
            break
    return None if found is None else _Ribbon(found, width)


def _long(points: Array) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _on_left(side: Array, other: Array) -> bool:
    """Whether the other side, which runs back, lies to the left of a side."""
    way, over = side[1] - side[0], other[-1] - side[0]
    return bool(way[0] * over[1] - way[1] * over[0] > 0)


def _chains(ribbons: Sequence[_Ribbon]) -> list[list[_Ribbon]] | None:
    """Ribbons in rows, each going on where the one before it ends; None where one of them does not belong to any."""
    chains: list[list[_Ribbon]] = []
    rest = list(ribbons)
    while rest:
        chain = [rest.pop(0)]
        if rest and _joint(chain[0], rest[0]) is None and _joint(chain[0].turned(), rest[0]) is not None:
            chain[0] = chain[0].turned()
        gaps: list[float] = []
        while rest:
            follows = _joint(chain[-1], rest[0])
            if follows is None:
                break
            gap = float(np.linalg.norm(follows.middle[0] - chain[-1].middle[-1]))
            if gaps and gap > 3.0 * float(np.median(gaps)) + _TOUCH:
                break
            gaps.append(gap)
            chain.append(follows)
            rest.pop(0)
        if len(chain) < _LEAST:
            return None
        chains.append(chain)
    return chains


def _joint(a: _Ribbon, b: _Ribbon) -> _Ribbon | None:
    """b, turned so that it goes on where a ends; None where it does not."""
    end = a.middle[-1]
    near, far = (float(np.linalg.norm(b.middle[k] - end)) for k in (0, -1))
    follows = b if near <= far else b.turned()
    gap = follows.middle[0] - end
    length = float(np.linalg.norm(gap))
    if length > 12.0 * max(a.length, b.length):
        return None
    out, into = a.way(-1), -follows.way(0)
    if length <= _TOUCH:
        return follows
    first, second = _angle(out, gap / length), _angle(gap / length, into)
    if max(first, second) <= _STRAIGHT_ON or (first + second <= _CORNER and _meeting(a, follows) is not None):
        return follows
    return None


def _angle(u: Array, v: Array) -> float:
    return math.degrees(math.acos(float(np.clip(u @ v, -1.0, 1.0))))


def _meeting(a: _Ribbon, b: _Ribbon) -> Array | None:
    """The corner within the gap between two ribbons, where both go on straight; None where they meet elsewhere."""
    u, v = a.way(-1), b.way(0)
    cross = float(u[0] * v[1] - u[1] * v[0])
    d = b.middle[0] - a.middle[-1]
    if abs(cross) < 0.1:
        return None
    s, t = float(d[0] * v[1] - d[1] * v[0]) / cross, float(d[0] * u[1] - d[1] * u[0]) / cross
    most = 1.5 * float(np.linalg.norm(d)) + _TOUCH
    return np.asarray(a.middle[-1] + s * u) if -_TOUCH <= s <= most and -_TOUCH <= t <= most else None


def _between(a: _Ribbon, b: _Ribbon) -> Array:
    """(k, 2) points of the gap from a to b without both ends: its corner, or the curve that leaves one in its direction
    and reaches the other in its own."""
    p, q = a.middle[-1], b.middle[0]
    length = float(np.linalg.norm(q - p))
    if length <= _TOUCH:
        return np.zeros((0, 2))
    out, into = a.way(-1), -b.way(0)
    if _angle(out, into) > _STRAIGHT_ON / 2:
        corner = _meeting(a, b)
        if corner is not None:
            return corner[None]
    t = np.array([0.25, 0.5, 0.75])[:, None]
    c, d = p + out * length / 3, q - into * length / 3
    return np.asarray((1 - t) ** 3 * p + 3 * t * (1 - t) ** 2 * c + 3 * t * t * (1 - t) * d + t**3 * q)


def _line(chain: Sequence[_Ribbon]) -> tuple[tuple[tuple[float, float], ...], bool, list[float]]:
    """The whole line through its dashes and gaps, whether it closes, and the gaps, mm."""
    import shapely

    gaps = [float(np.linalg.norm(b.middle[0] - a.middle[-1])) for a, b in pairwise(chain)]
    last, first = chain[-1], chain[0]
    away = float(np.linalg.norm(first.middle[0] - last.middle[-1]))
    usual = max(gaps)
    follows = _joint(last, first)
    closed = len(chain) > _LEAST and away <= usual * (1 + _GAP_ALIKE) + _TOUCH and (
        away <= _TOUCH or (follows is not None and np.allclose(follows.middle[0], first.middle[0]))
    )  # fmt: skip
    parts = [first.middle]
    for a, b in pairwise(chain):
        parts += [_between(a, b), b.middle]
    if closed:
        parts.append(_between(last, first))
    points = np.concatenate(parts)
    keep = np.concatenate([[True], np.linalg.norm(np.diff(points, axis=0), axis=1) > _TOUCH / 2])
    points = points[keep]
    if closed and np.linalg.norm(points[0] - points[-1]) <= _TOUCH:
        points = points[:-1]
    # the ends of dashes along a straight line are no corners of it
    ring = np.vstack([points, points[:1]]) if closed else points
    points = shapely.get_coordinates(shapely.simplify(shapely.LineString(ring), _SAME_MM))
    return tuple((float(x), float(y)) for x, y in (points[:-1] if closed else points)), closed, gaps


def _pattern(chain: Sequence[_Ribbon], gaps: Sequence[float]) -> tuple[float, ...]:
    """Lengths of dashes and gaps, mm, as they repeat: the shortest row that most of them follow."""
    lengths = [r.length for r in chain]
    for period in (1, 2, 3):
        row: list[float] = []
        fits = [0, 0]
        for phase in range(period):
            for which, values in enumerate((lengths, gaps)):
                own = values[phase::period]
                if not own:
                    continue
                usual = float(np.median(own))
                fits[which] += sum(abs(v - usual) <= _GAP_ALIKE * usual for v in own)
                row.append(round(usual, 1))
        # the first dash and the last may be parts of one
        if len(row) == 2 * period and fits[0] >= 0.8 * len(lengths) - 2 and fits[1] >= 0.8 * len(gaps):
            return tuple(row)
    return (round(float(np.median(lengths)), 1), round(float(np.median(gaps)), 1))
