"""From pixels to millimetres: one bundle over all sheets of the mat in all photographs.

Glossary: *view*, one photograph: a plane projection (8 numbers) and a lens (k1, k2, and where its middle is). *Sheet*:
x, y, θ on the ground and six numbers that say how it is bowed. *Print*: two numbers for all sheets, by which their
true scales, level and upright, differ from the measured ones: sheets that lie turned to one another tell how these
two differ, which a ruler does not. *Prior*: what is thought likely before looking; it keeps
apart what the picture tells badly, as a bow that looks like distortion.

The direction is pixel → ground, so that no lens has to be inverted while fitting::

    q = (pixel − middle of the picture) / half its diagonal,   d = q − c,
    ideal = c + d·(1 + k1·|d|² + k2·|d|⁴),   ground = projection(ideal)

(radial distortion: D. C. Brown, Photogrammetric Engineering 32, 1966). A point of a sheet that is z above the ground is
seen at P + z·(P − N)/h, with N the foot and h the height of the camera; both need the focal length only roughly, as
they weigh a height whose size is itself unknown. How strongly sheets are bowed is chosen by the evidence of the fit
(D. MacKay, Neural Computation 4, 1992, doi:10.1162/neco.1992.4.3.415), so that flat sheets are not held to be bowed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nesting.outlines.mat import BAR_LEVEL_MM, BAR_UPRIGHT_MM, Bars
from nesting.outlines.photo_markers import SheetSeen

__all__ = ["Bundle", "View", "ViewSeen", "bundle"]

Array = npt.NDArray[np.float64]

_VIEW, _SHEET, _BOW, _PRINT = 12, 3, 6, 2
#: Priors of a view's lens: k1, k2 and where the middle is, in half diagonals.
_LENS_PRIOR = np.array([0.06, 0.015, 0.012, 0.012])
#: mm at full strength: a sheet's height (from where its lowest place lies on the ground), tilts, bows, twist.
_BOW_PRIOR = np.array([0.8, 0.4, 0.4, 0.9, 0.9, 0.35])
_STRENGTHS = (0.06, 0.3, 1.0, 2.0)
#: Share of the most that a reading of a bar may be off which is its usual error: that of even odds in between.
_BAR_SHARE = 0.58
#: Pixels: corners are not read better than this, whatever the fit says.
_LEAST_NOISE = 0.025
_ITERATIONS = 14


@dataclass(frozen=True)
class ViewSeen:
    """What is known of a photograph before fitting. ``focal_35`` mm as for 35 mm film, None where not told."""

    size: tuple[int, int]
    sheets: tuple[SheetSeen, ...]
    focal_35: float | None = None


@dataclass(frozen=True)
class View:
    """A fitted photograph: between its pixels and the ground, mm."""

    size: tuple[int, int]
    values: Array

    @property
    def middle(self) -> Array:
        """Middle of the picture, pixels."""
        return np.array([(self.size[0] - 1) / 2, (self.size[1] - 1) / 2])

    @property
    def radius(self) -> float:
        """Half its diagonal, pixels."""
        return math.hypot(*self.size) / 2

    def to_ground(self, pixels: Array) -> Array:
        """(n, 2) points of the ground, mm, seen at these (n, 2) pixels."""
        return _to_ground((np.asarray(pixels, dtype=np.float64) - self.middle) / self.radius, self.values)

    def to_pixels(self, ground: Array) -> Array:
        """(n, 2) pixels at which these (n, 2) points of the ground are seen."""
        h = np.linalg.inv(np.append(self.values[:8], 1.0).reshape(3, 3))
        ground = np.asarray(ground, dtype=np.float64)
        out = np.column_stack([ground, np.ones(len(ground))]) @ h.T
        k1, k2, cx, cy = self.values[8:12]
        centre = np.array([cx, cy])
        e = out[:, :2] / out[:, 2:] - centre
        d = e.copy()
        for _ in range(12):
            r2 = (d * d).sum(axis=1, keepdims=True)
            d = e / np.maximum(1.0 + k1 * r2 + k2 * r2 * r2, 0.2)
        return np.asarray((d + centre) * self.radius + self.middle)

    def mm_per_pixel(self, ground: Array) -> Array:
        """(n,) size of a pixel on the ground at these points, mm (the root of its area)."""
        pixels = self.to_pixels(ground)
        at = [self.to_ground(pixels + step) for step in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))]
        u, v = at[1] - at[0], at[2] - at[0]
        return np.sqrt(np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]))

    def sees(self, ground: Array, margin: float = 2.0) -> npt.NDArray[np.bool_]:
        """(n,) whether these points are within the picture."""
        p = self.to_pixels(ground)
        w, h = self.size
        inside = (p[:, 0] >= margin) & (p[:, 1] >= margin) & (p[:, 0] < w - margin) & (p[:, 1] < h - margin)
        return np.asarray(inside)


@dataclass(frozen=True)
class Bundle:
    """The fit. ``views`` in the order given; ``feet`` their (x, y, height) on the ground, mm, roughly. ``sheets``:
    number → (x, y, θ). ``noise`` pixels, of a corner. ``strength``: how strongly sheets are held to be bowed. ``draws``
    (k, views, 12): views that fit as well, for the doubt. ``without``: fits with one sheet left out, by its number."""

    views: tuple[View, ...]
    feet: tuple[tuple[float, float, float], ...]
    sheets: dict[int, Array]
    noise: float
    strength: float
    draws: Array
    without: dict[int, tuple[View, ...]]
    tilt_deg: float


def _to_ground(q: Array, values: Array) -> Array:
    h = np.append(values[:8], 1.0).reshape(3, 3)
    k1, k2, cx, cy = values[8:12]
    centre = np.array([cx, cy])
    d = q - centre
    r2 = (d * d).sum(axis=1, keepdims=True)
    ideal = centre + d * (1.0 + k1 * r2 + k2 * r2 * r2)
    out = np.column_stack([ideal, np.ones(len(ideal))]) @ h.T
    return np.asarray(out[:, :2] / out[:, 2:])


@dataclass(frozen=True)
class _Seen:
    """One sheet in one view, ready for fitting: ``q`` normalised pixels, ``drawn`` as printed, mm, ``waves`` (n, 6)
    heights by each number of its bow, ``lean`` (n, 2) shift seen for each mm of height, ``scale`` mm a pixel."""

    view: int
    sheet: int
    q: Array
    drawn: Array
    waves: Array
    lean: Array
    scale: Array


def bundle(views: Sequence[ViewSeen], bars: Bars, *, draws: int = 48, seed: int = 0) -> Bundle | None:
    """Fit all views and sheets together; None where the views do not hang together by common sheets.

    The ground's frame is that of the first sheet of the first view, then turned and moved by the caller as it likes.
    """
    linked = _linked(views)
    if linked is None:
        return None
    start, numbers = linked
    feet = [_foot(start[k][:8], views[k]) for k in range(len(views))]
    seen = _prepared(views, bars, start, feet, numbers)
    first = _packed(views, seen, numbers, start, bars)
    print_doubt = _BAR_SHARE * np.maximum(np.array(bars.scale_doubt), 1e-6)
    fits = []
    noise = 0.1
    for strength in reversed(_STRENGTHS):
        fit = _fit(first, seen, len(views), len(numbers), strength, noise, print_doubt)
        if strength == _STRENGTHS[-1]:
            noise = max(_LEAST_NOISE, fit.noise)
            fit = _fit(fit.values, seen, len(views), len(numbers), strength, noise, print_doubt)
        first = fit.values
        fits.append(fit)
    best = max(fits, key=lambda f: f.evidence)
    generator = np.random.default_rng(seed)
    # The print's scale, last of the values, is held: its doubt is known otherwise, and told by itself.
    held = len(best.values) - _PRINT
    deviates = generator.standard_normal((draws, held))
    spread = np.linalg.solve(best.root[:held, :held], deviates.T).T
    sampled = (best.values[:held] + spread)[:, : _VIEW * len(views)].reshape(draws, len(views), _VIEW)
    without: dict[int, tuple[View, ...]] = {}
    if len(numbers) > 1:
        for index, number in enumerate(numbers):
            rest = [s for s in seen if s.sheet != index]
            if {s.view for s in rest} != set(range(len(views))):
                continue
            other = _fit(best.values, rest, len(views), len(numbers), best.strength, noise, print_doubt, iterations=8)
            without[number] = tuple(
                View(views[k].size, other.values[k * _VIEW : (k + 1) * _VIEW]) for k in range(len(views))
            )
    fitted = tuple(View(views[k].size, best.values[k * _VIEW : (k + 1) * _VIEW]) for k in range(len(views)))
    last = [_foot(v.values[:8], seen_view) for v, seen_view in zip(fitted, views, strict=True)]
    at = _VIEW * len(views)
    poses = {n: best.values[at + _SHEET * i : at + _SHEET * (i + 1)] for i, n in enumerate(numbers)}
    tilt = max(_tilt(v, foot) for v, foot in zip(fitted, last, strict=True))
    return Bundle(fitted, tuple(last), poses, best.noise, best.strength, sampled, without, tilt)


def _tilt(view: View, foot: tuple[float, float, float]) -> float:
    x, y = view.to_ground(view.middle[None])[0]
    return math.degrees(math.atan2(math.hypot(x - foot[0], y - foot[1]), foot[2]))


def _linked(views: Sequence[ViewSeen]) -> tuple[list[Array], list[int]] | None:
    """First values of every view, and the sheets' numbers: views are joined to the first by sheets they share."""
    poses: dict[int, Array] = {}
    start: dict[int, Array] = {}
    if not views or not all(v.sheets for v in views):
        return None
    first = max(views[0].sheets, key=lambda s: len(s.drawn)).number
    poses[first] = np.eye(3)
    while len(start) < len(views):
        ready = [
            (sum(s.number in poses for s in v.sheets), k)
            for k, v in enumerate(views)
            if k not in start and any(s.number in poses for s in v.sheets)
        ]
        if not ready:
            return None
        _, k = max(ready, key=lambda pair: (pair[0], -pair[1]))
        h = _first_projection(views[k], poses)
        start[k] = np.append(h, [0.0, 0.0, 0.0, 0.0])
        for sheet in views[k].sheets:
            if sheet.number not in poses:
                ground = _to_ground(_normal(views[k], sheet.pixels), start[k])
                poses[sheet.number] = _rigid(sheet.drawn, ground)
    numbers = [first, *sorted(n for n in poses if n != first)]
    return [start[k] for k in range(len(views))], numbers


def _normal(view: ViewSeen, pixels: Array) -> Array:
    w, h = view.size
    return np.asarray((pixels - np.array([(w - 1) / 2, (h - 1) / 2])) / (math.hypot(w, h) / 2))


def _first_projection(view: ViewSeen, poses: dict[int, Array]) -> Array:
    import cv2

    known = [s for s in view.sheets if s.number in poses]
    q = np.concatenate([_normal(view, s.pixels) for s in known])
    ground = np.concatenate([_moved(poses[s.number], s.drawn) for s in known])
    h, _ = cv2.findHomography(q, ground)
    h = np.asarray(h, dtype=np.float64)
    return np.asarray((h / h[2, 2]).ravel()[:8])


def _moved(pose: Array, points: Array) -> Array:
    return np.asarray(points @ pose[:2, :2].T + pose[:2, 2])


def _rigid(a: Array, b: Array) -> Array:
    """The turn and shift (3, 3) that brings points a nearest to b (W. Kabsch, Acta Cryst. A 32, 1976)."""
    ma, mb = a.mean(axis=0), b.mean(axis=0)
    u, _, vt = np.linalg.svd((a - ma).T @ (b - mb))
    d = np.sign(np.linalg.det(vt.T @ u.T))
    r = vt.T @ np.diag([1.0, d]) @ u.T
    out = np.eye(3)
    out[:2, :2], out[:2, 2] = r, mb - r @ ma
    return out


def _foot(to_ground: Array, view: ViewSeen) -> tuple[float, float, float]:
    """Foot and height of the camera, mm: from the projection, its focal length taken as told or as usual."""
    m = np.linalg.inv(np.append(to_ground, 1.0).reshape(3, 3))
    usual = view.focal_35 if view.focal_35 is not None else 27.0
    spread = 0.06 if view.focal_35 is not None else 0.35
    best, found = math.inf, (0.0, 0.0, 1000.0)
    for f in np.geomspace(0.7, 5.0, 80).tolist():
        h = np.diag([1 / f, 1 / f, 1.0]) @ m
        n1, n2 = np.linalg.norm(h[:, 0]), np.linalg.norm(h[:, 1])
        skew = float(h[:, 0] @ h[:, 1] / (n1 * n2))
        odd = float((n1 - n2) / (n1 + n2))
        # 21.63 mm is half the diagonal of 35 mm film.
        cost = (skew / 0.01) ** 2 + (odd / 0.01) ** 2 + (math.log(f * 21.633 / usual) / spread) ** 2
        if cost < best:
            best = cost
            r1, r2, t = h[:, 0] / n1, h[:, 1] / n2, h[:, 2] / math.sqrt(n1 * n2)
            r = np.column_stack([r1, r2, np.cross(r1, r2)])
            u, _, vt = np.linalg.svd(r)
            c = -(u @ vt).T @ t
            found = (float(c[0]), float(c[1]), max(50.0, abs(float(c[2]))))
    return found


def _prepared(
    views: Sequence[ViewSeen],
    bars: Bars,
    start: list[Array],
    feet: list[tuple[float, float, float]],
    numbers: list[int],
) -> list[_Seen]:
    scale = np.array(bars.scale)
    half = np.array([BAR_LEVEL_MM / 2, BAR_UPRIGHT_MM / 2])
    seen = []
    for k, view in enumerate(views):
        fitted = View(view.size, start[k])
        for sheet in view.sheets:
            waves = _waves(sheet.drawn / half)
            ground = fitted.to_ground(sheet.pixels)
            x, y, height = feet[k]
            lean = (ground - np.array([x, y])) / height
            size = fitted.mm_per_pixel(ground)
            q, index = _normal(view, sheet.pixels), numbers.index(sheet.number)
            seen.append(_Seen(k, index, q, sheet.drawn * scale, waves, lean, size))
    return seen


def _waves(places: Array) -> Array:
    """(n, 6): what each number of a sheet's bow adds to its height at these places, in halves of the board."""
    a, b = places.T
    return np.column_stack([np.ones_like(a), a, b, a * a, b * b, a * b])


#: of places all over a sheet, at which it is looked for where it lies lowest
_PLACES = _waves(np.array([(a, b) for a in np.linspace(-1.15, 1.15, 7) for b in np.linspace(-1.2, 1.2, 7)]))


def _resting(bow: Array) -> float:
    """The height of a sheet's middle at which its lowest place lies on the ground, mm: paper is bowed upwards only, and
    all sheets higher by as much would look just as all of them nearer to the camera."""
    return -float((_PLACES[:, 1:] @ bow[1:]).min())


def _packed(views: Sequence[ViewSeen], seen: list[_Seen], numbers: list[int], start: list[Array], bars: Bars) -> Array:
    poses = np.zeros((len(numbers), _SHEET))
    done: set[int] = set()
    for s in seen:
        if s.sheet and s.sheet not in done:
            done.add(s.sheet)
            pose = _rigid(s.drawn, _to_ground(s.q, start[s.view]))
            poses[s.sheet] = (pose[0, 2], pose[1, 2], math.atan2(pose[1, 0], pose[0, 0]))
    return np.concatenate([*start, poses.ravel(), np.zeros(_BOW * len(numbers) + _PRINT)])


@dataclass(frozen=True)
class _Fit:
    values: Array
    root: Array
    noise: float
    evidence: float
    strength: float


def _fit(
    first: Array, seen: list[_Seen], views: int, sheets: int, strength: float, noise: float,
    print_doubt: Array, *, iterations: int = _ITERATIONS,
) -> _Fit:  # fmt: skip
    """Gauss-Newton with priors and Huber's weights. ``print_doubt`` (2,): usual error of each bar, as a share."""
    at_sheets, at_bows = _VIEW * views, _VIEW * views + _SHEET * sheets
    at_print = at_bows + _BOW * sheets
    size = at_print + _PRINT
    prior = np.zeros(size)
    for k in range(views):
        prior[k * _VIEW + 8 : (k + 1) * _VIEW] = 1.0 / _LENS_PRIOR**2
    # The first sheet says where the ground's frame is.
    prior[at_sheets : at_sheets + _SHEET] = 1e12
    prior[at_bows:at_print] = np.tile(1.0 / (_BOW_PRIOR * strength) ** 2, sheets)
    prior[at_print:] = 1.0 / print_doubt**2
    present = {s.sheet for s in seen}
    for k in range(sheets):
        if k not in present:
            # a sheet left out: held anywhere, so that the numbers keep their places
            prior[at_sheets + _SHEET * k : at_sheets + _SHEET * (k + 1)] += 1e-3
    if 0 not in present:
        # then another one says it, where it was
        k = min(present)
        prior[at_sheets + _SHEET * k : at_sheets + _SHEET * (k + 1)] = 1e12
    anchor = np.zeros(size)
    anchor[at_sheets:at_bows] = first[at_sheets:at_bows]
    values = first.copy()
    weights = [np.ones(len(s.q)) for s in seen]
    normal = np.eye(size)
    cost, used, square = 0.0, 0, 0.0
    for turn in range(iterations):
        for k in range(sheets):
            b = at_bows + _BOW * k
            anchor[b] = _resting(values[b : b + _BOW])
        normal = np.diag(prior).astype(np.float64)
        right = prior * (anchor - values)
        cost, used, square = 0.0, 0, 0.0
        for s, w in zip(seen, weights, strict=True):
            r, jacobian, columns = _residuals(s, values, at_sheets, at_bows)
            unit = 1.0 / (s.scale * noise)
            length = np.linalg.norm(r, axis=1) * unit
            if turn:
                # beyond three times its noise a corner counts less (P. Huber, Ann. Math. Stat. 35, 1964)
                w = np.minimum(1.0, 3.0 / np.maximum(length, 1e-9))
            full = np.repeat(w * unit * unit, 2)
            flat = jacobian.reshape(-1, jacobian.shape[2])
            normal[np.ix_(columns, columns)] += flat.T @ (flat * full[:, None])
            right[columns] -= flat.T @ (r.reshape(-1) * full)
            cost += float((w * length**2).sum())
            square += float((w * (length * noise) ** 2).sum())
            used += 2 * len(r)
        # Scaled, so that one solver serves numbers of very different sizes.
        diagonal = np.sqrt(np.diag(normal))
        step = np.linalg.solve(normal / np.outer(diagonal, diagonal), right / diagonal) / diagonal
        values = values + step
        if turn > 2 and float(np.abs(step * diagonal).max()) < 1e-3:
            break
    cost += float((prior * (values - anchor) ** 2).sum())
    scaled = normal / np.outer(diagonal, diagonal)
    root = np.linalg.cholesky(scaled + 1e-12 * np.eye(size)).T * diagonal
    logdet = 2.0 * float(np.log(np.diag(np.abs(root))).sum())
    evidence = -0.5 * (cost + logdet - float(np.log(prior[at_bows:at_print]).sum()))
    free = max(8, used - _VIEW * views - _SHEET * (len(present) - 1) - 3 * len(present))
    return _Fit(values, root, math.sqrt(square / free), evidence, strength)


def _residuals(s: _Seen, values: Array, at_sheets: int, at_bows: int) -> tuple[Array, Array, list[int]]:
    """(n, 2) residuals in mm, (n, 2, 23) derivatives, and the places of the values they are by."""
    v0, s0, b0 = s.view * _VIEW, at_sheets + _SHEET * s.sheet, at_bows + _BOW * s.sheet
    own = values[v0 : v0 + _VIEW]
    ground = _to_ground(s.q, own)
    x, y, theta = values[s0 : s0 + _SHEET]
    c, sn = math.cos(theta), math.sin(theta)
    r = np.array([[c, -sn], [sn, c]])
    height = s.waves @ values[b0 : b0 + _BOW]
    drawn = s.drawn * (1.0 + values[-_PRINT:])
    residual = ground - (drawn @ r.T + np.array([x, y]) + s.lean * height[:, None])
    n = len(s.q)
    jacobian = np.zeros((n, 2, _VIEW + _SHEET + _BOW + _PRINT))
    h = np.append(own[:8], 1.0).reshape(3, 3)
    k1, k2 = own[8:10]
    d = s.q - own[10:12]
    r2 = (d * d).sum(axis=1, keepdims=True)
    grow = 1.0 + k1 * r2 + k2 * r2 * r2
    ideal = own[10:12] + d * grow
    hom = np.column_stack([ideal, np.ones(n)])
    w = hom @ h[2]
    jacobian[:, 0, 0:3] = hom / w[:, None]
    jacobian[:, 1, 3:6] = hom / w[:, None]
    jacobian[:, 0, 6:8] = -ideal * (ground[:, :1] / w[:, None])
    jacobian[:, 1, 6:8] = -ideal * (ground[:, 1:] / w[:, None])
    inner = np.empty((n, 2, 2))
    for row in (0, 1):
        inner[:, row, :] = (h[row, :2] - ground[:, row : row + 1] * h[2, :2]) / w[:, None]
    jacobian[:, :, 8] = np.einsum("nij,nj->ni", inner, d * r2)
    jacobian[:, :, 9] = np.einsum("nij,nj->ni", inner, d * r2 * r2)
    slope = np.eye(2) * (1.0 - grow[:, :, None]) - (
        d[:, :, None] * d[:, None, :] * (2.0 * k1 + 4.0 * k2 * r2)[:, :, None]
    )
    jacobian[:, :, 10:12] = np.einsum("nij,njk->nik", inner, slope)
    jacobian[:, 0, 12] = -1.0
    jacobian[:, 1, 13] = -1.0
    jacobian[:, :, 14] = -(drawn @ np.array([[-sn, -c], [c, -sn]]).T)
    jacobian[:, :, 15:21] = -s.lean[:, :, None] * s.waves[:, None, :]
    jacobian[:, :, 21] = -s.drawn[:, :1] * r[:, 0]
    jacobian[:, :, 22] = -s.drawn[:, 1:] * r[:, 1]
    last = len(values)
    columns = [
        *range(v0, v0 + _VIEW), *range(s0, s0 + _SHEET), *range(b0, b0 + _BOW), *range(last - _PRINT, last),
    ]  # fmt: skip
    return residual, jacobian, columns
