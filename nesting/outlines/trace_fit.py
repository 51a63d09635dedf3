"""From an edge as read to an outline as drawn: corners sharp, straight edges straight, curves smooth."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Fitted", "Run", "fit_outline"]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

#: Degrees over the arms of a corner, mm; nearer corners than this are one.
_CORNER_DEG = 22.0
_ARM_MM, _SKIP_MM = 8.0, 1.5
_APART_MM = 7.0
#: mm left out on either side of a corner, where normals are wrong.
_DROP_MM = 2.5
#: Degrees below which two neighbouring stretches go on in one way, so that there is no corner.
_FALSE_DEG = 9.0
#: mm of an edge too short to be told from a badly read corner, where its readings lie off a line by more than this.
_STUB_MM, _RAGGED_MM = 11.0, 0.2
#: mm that stretches are gone on with to find their corners, and the readings (1 mm apart) that say how a curve goes on.
_REACH_MM, _END_POINTS = 6.0, 20
#: mm that a straight edge may seem bent, read with noise on paper that is cut by hand.
_STRAIGHT_MM = 0.2
#: Readings (1 mm apart) that say how a straight edge goes on to its corner.
_LAST = 10
#: mm, noise of single readings that curves are smoothed for, at least.
_NOISE_MM = 0.05


@dataclass(frozen=True)
class Run:
    """A stretch of the outline from corner to corner. ``points`` (n, 2) mm with both ends."""

    points: Array
    straight: bool

    @property
    def length(self) -> float:
        """mm."""
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())


@dataclass(frozen=True)
class Fitted:
    """``outline`` (n, 2) mm anticlockwise; ``runs`` from corner to corner (one that closes where there is none);
    ``residual`` mm: within which 95 % of the readings lie off it."""

    outline: Array
    runs: tuple[Run, ...]
    residual: float

    @property
    def corners(self) -> Array:
        """(k, 2) corners, mm."""
        return np.array([run.points[0] for run in self.runs]) if len(self.runs) > 1 else np.zeros((0, 2))


def fit_outline(points: Array, sound: Mask, noise: float) -> Fitted:
    """Fit a closed edge of places about 1 mm apart. Places that are not ``sound`` are passed over."""
    n = len(points)
    corners = _corners(points)
    sigma = float(np.clip(noise, _NOISE_MM, 0.12))
    if not corners:
        from scipy.interpolate import splev, splprep

        kept = points[sound] if sound.sum() > n // 2 else points
        closed = np.vstack([kept, kept[:1]])
        tck, _ = splprep(closed.T, s=len(closed) * sigma**2, per=1)
        ring = np.array(splev(np.linspace(0, 1, n, endpoint=False), tck)).T
        return Fitted(ring, (Run(np.vstack([ring, ring[:1]]), False),), _residual(points[sound], ring))
    parts = _parts(points, sound, corners, sigma)
    false = [k for k in range(len(parts)) if _turn_deg(parts[k - 1][0], parts[k][0]) < _FALSE_DEG]
    if false and len(corners) - len(false) >= 2:
        # what a ragged stretch of readings seemed to turn by, the lines on both sides do not
        corners = [c for k, c in enumerate(corners) if k not in false]
        parts = _parts(points, sound, corners, sigma)
    fewer = _without_stubs(points, sound, corners, parts)
    if len(fewer) < len(corners):
        corners = fewer
        parts = _parts(points, sound, corners, sigma)
    reaching = [_reaching(*part) for part in parts]
    meets = []
    for k in range(len(parts)):
        near = points[corners[k]]
        meet = _crossing(reaching[k - 1], reaching[k], near)
        meets.append(_meet(parts[k - 1][0], parts[k][0], near) if meet is None else meet)
    runs = []
    for k, (_, straight, _) in enumerate(parts):
        body = parts[k][0] if straight else reaching[k]
        a, b = meets[k], meets[(k + 1) % len(parts)]
        if straight or len(body) < 3:
            runs.append(Run(np.array([a, b]), straight))
        else:
            runs.append(Run(_joined(a, body, b), False))
    ring = np.concatenate([run.points[:-1] for run in runs])
    return Fitted(ring, tuple(runs), _residual(points[sound], ring))


def _parts(points: Array, sound: Mask, corners: list[int], sigma: float) -> list[tuple[Array, bool, Array]]:
    """The stretches from corner to corner: (points without what is near the corners, whether it is straight, what was
    read of it)."""
    n = len(points)
    parts = []
    for k, start in enumerate(corners):
        end = corners[(k + 1) % len(corners)]
        index = (start + np.arange(((end - start) % n or n) + 1)) % n
        parts.append(_part(points[index], sound[index], sigma))
    return parts


def _without_stubs(points: Array, sound: Mask, corners: list[int], parts: list[tuple[Array, bool, Array]]) -> list[int]:
    """The corners without one of each two between which only a few ragged readings lie, where the stretches before and
    after cross right there: a corner that was read badly looks cut off. A clean short edge stays."""
    n, m = len(points), len(corners)
    gone: set[int] = set()
    for k in range(m):
        nxt = (k + 1) % m
        count = (corners[nxt] - corners[k]) % n
        if count >= _STUB_MM or m - len(gone) <= 2 or k in gone or nxt in gone:
            continue
        index = (corners[k] + np.arange(count + 1)) % n
        a, b = points[index[0]], points[index[-1]]
        way = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
        off = (points[index] - a) @ np.array([-way[1], way[0]])
        if sound[index].all() and np.abs(off).max() <= _RAGGED_MM:
            continue
        far = _REACH_MM + 0.6 * _STUB_MM
        crossing = _crossing(_reaching(*parts[k - 1], far), _reaching(*parts[nxt], far), (a + b) / 2, far)
        if crossing is not None:
            gone.add(k if np.linalg.norm(crossing - a) > np.linalg.norm(crossing - b) else nxt)
    return [c for k, c in enumerate(corners) if k not in gone]


def _turn_deg(before: Array, after: Array) -> float:
    """Degrees between the ways in which one stretch ends and the next begins."""
    u, v = _way(before, -1), -_way(after, 0)
    return math.degrees(math.acos(float(np.clip(u @ v, -1.0, 1.0))))


def _reaching(body: Array, straight: bool, read: Array, reach: float = _REACH_MM) -> Array:
    """The stretch gone on with at both ends: straight ones as they are, curves by the parabola through the last
    readings, as a smoothed curve is least sure of its ends."""
    out = np.arange(0.5, reach + 0.1, 0.5)
    ends = []
    for end in (0, -1):
        way, at = _way(body, end), body[end]
        side = np.array([-way[1], way[0]])
        bend, lean, shift = 0.0, 0.0, 0.0
        own = read[:_END_POINTS] if end == 0 else read[-_END_POINTS:]
        if not straight and len(own) >= 6:
            bend, lean, shift = np.polyfit((own - at) @ way, (own - at) @ side, 2)
        off = shift + lean * out + bend * out**2
        ends.append(at + out[:, None] * way + off[:, None] * side)
    return np.vstack([ends[0][::-1], body, ends[1]])


def _crossing(before: Array, after: Array, near: Array, reach: float = _REACH_MM) -> Array | None:
    """Where two stretches that reach beyond their corner cross, nearest to where the corner was read."""
    from shapely import LineString, Point, get_coordinates

    count = 2 * len(np.arange(0.5, reach + 0.1, 0.5)) + 1
    crossed = LineString(before[-count:]).intersection(LineString(after[:count]))
    found = get_coordinates(crossed)
    if not len(found):
        return None
    best = found[int(np.argmin(np.linalg.norm(found - near, axis=1)))]
    return np.asarray(best) if Point(best).distance(Point(near)) <= _REACH_MM else None


def _residual(points: Array, ring: Array) -> float:
    from shapely import LinearRing, distance
    from shapely import points as shapely_points

    if len(points) == 0:
        return math.inf
    return float(np.quantile(distance(LinearRing(ring), shapely_points(points)), 0.95))


def _turns(points: Array, arm: float = _ARM_MM, skip: float = _SKIP_MM) -> Array:
    """(n,) degrees by which the edge turns at each place, from straight lines through its arms."""
    n = len(points)
    step = float(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).mean())
    offsets = np.arange(max(1, round(skip / step)), max(3, round(arm / step)) + 1)
    ahead = points[(np.arange(n)[:, None] + offsets) % n]
    behind = points[(np.arange(n)[:, None] - offsets) % n]

    def ways(arms: Array) -> Array:
        centred = arms - arms.mean(axis=1, keepdims=True)
        t = offsets - offsets.mean()
        slope = np.einsum("k,nkd->nd", t, centred)
        return np.asarray(np.arctan2(slope[:, 1], slope[:, 0]))

    turn = ways(ahead) - (ways(behind) + math.pi)
    return np.asarray(np.abs(np.degrees((turn + math.pi) % (2 * math.pi) - math.pi)))


def _corners(points: Array) -> list[int]:
    turn = _turns(points)
    n = len(points)
    apart = round(_APART_MM / max(0.2, float(np.linalg.norm(points[1] - points[0]))))
    found: list[int] = []
    for i in np.argsort(-turn).tolist():
        if turn[i] < _CORNER_DEG:
            break
        if all(min((i - j) % n, (j - i) % n) >= apart for j in found):
            found.append(i)
    return sorted(found) if len(found) > 1 else []


def _part(points: Array, sound: Mask, sigma: float) -> tuple[Array, bool, Array]:
    """A stretch between two corners, without what is near them: (its points, whether it is straight, its readings)."""
    from scipy.interpolate import splev, splprep
    from scipy.ndimage import uniform_filter1d

    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    drop = min(_DROP_MM, along[-1] / 4)
    keep = (along >= drop) & (along <= along[-1] - drop)
    if (keep & sound).sum() >= 4:
        keep &= sound
    body = points[keep] if keep.sum() >= 2 else points
    middle = body.mean(axis=0)
    way = np.linalg.svd(body - middle, full_matrices=False)[2][0]
    if way @ (points[-1] - points[0]) < 0:
        way = -way
    off = (body - middle) @ np.array([-way[1], way[0]])
    size = min(9, max(1, len(off) // 3))
    even = np.abs(uniform_filter1d(off, size, mode="nearest")).max() <= _STRAIGHT_MM
    if even and _bent_end((body - middle) @ way, off, drop) <= _STRAIGHT_MM:
        # once more without the odd ones
        good = np.abs(off) <= max(0.1, 3 * 1.4826 * float(np.median(np.abs(off))))
        if good.sum() >= 3:
            middle = body[good].mean(axis=0)
            fresh = np.linalg.svd(body[good] - middle, full_matrices=False)[2][0]
            way = fresh if fresh @ way > 0 else -fresh
        t = (body - middle) @ way
        return np.array([middle + way * t.min(), middle + way * t.max()]), True, body
    if len(body) < 6:
        return body, False, body
    distinct = np.concatenate([[True], np.linalg.norm(np.diff(body, axis=0), axis=1) > 1e-6])
    body = body[distinct]
    tck, _ = splprep(body.T, s=len(body) * (0.8 * sigma) ** 2)
    return np.array(splev(np.linspace(0, 1, max(len(body), 8)), tck)).T, False, body


def _bent_end(along: Array, off: Array, drop: float) -> float:
    """mm by which either end of a stretch, gone on with by ``drop`` mm as its last readings lie, leaves its line: what
    bends shortly before a corner is even on the whole. 0 for a stretch too short to tell."""
    if len(off) < 3 * _LAST:
        return 0.0
    worst = 0.0
    for last, at in ((slice(None, _LAST), along[0] - drop), (slice(-_LAST, None), along[-1] + drop)):
        slope, rise = np.polyfit(along[last], off[last], 1)
        worst = max(worst, abs(float(rise + slope * at)))
    return worst


def _way(body: Array, end: int) -> Array:
    """Direction in which a stretch leaves at its start (0) or its end (-1), outwards."""
    k = min(3, len(body) - 1)
    way = body[0] - body[k] if end == 0 else body[-1] - body[-1 - k]
    return np.asarray(way / max(float(np.linalg.norm(way)), 1e-9))


def _meet(before: Array, after: Array, near: Array) -> Array:
    """The corner where two stretches meet when each goes on straight; the place as read where they meet far away."""
    p, u = before[-1], _way(before, -1)
    q, v = after[0], _way(after, 0)
    cross = u[0] * v[1] - u[1] * v[0]
    if abs(cross) < 0.1:
        return np.asarray((p + q) / 2)
    d = q - p
    s = (d[0] * v[1] - d[1] * v[0]) / cross
    meet = p + s * u
    return np.asarray(meet if np.linalg.norm(meet - near) <= 6.0 else near)


def _joined(a: Array, body: Array, b: Array) -> Array:
    """The stretch with its corners, without points that lie beyond them."""
    first, last = 0, len(body)
    while last - first > 2 and (body[first + 1] - body[first]) @ (body[first] - a) < 0:
        first += 1
    while last - first > 2 and (body[last - 1] - body[last - 2]) @ (b - body[last - 1]) < 0:
        last -= 1
    return np.vstack([a, body[first:last], b])
