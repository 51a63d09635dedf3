"""Photographs of known outlines, drawn by a renderer of its own.

It shares no camera model with the reader: rays of a camera in space (division model of distortion after A. Fitzgibbon,
CVPR 2001, with tangential shift) meet sheets that are bowed in space; the mat comes from its PDF through a PDF viewer.
Lengths are mm; the ground is z = 0, x to the right and y away.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field, replace
from functools import lru_cache

import cv2
import numpy as np

from nesting.outlines.mat_pdf import mat_pdf

GROUNDS = ("plain", "wood", "pale", "checks")
PAPERS = ("white", "kraft")
_COLOURS = {"white": (238, 236, 230), "kraft": (176, 138, 98)}
#: texture size, mm a pixel
_FINE = 0.1


@dataclass(frozen=True)
class Scene:
    """What is photographed and how. ``outline`` (n, 2) mm."""

    outline: np.ndarray
    seed: int = 0
    ground: str = "plain"
    paper: str = "white"
    tilt: float = 0.0
    distortion: float = 0.0
    decentre: float = 0.0
    bow: float = 0.0
    scale: tuple[float, float] = (1.0, 1.0)
    noise: float = 2.0
    blur: float = 0.7
    shadow: float = 0.2
    quality: int = 92
    megapixels: float = 12.0
    sheets: int = 4
    holes: tuple[np.ndarray, ...] = ()
    fuzz: float = 0.0
    lines: tuple[np.ndarray, ...] = ()
    tapes: tuple[np.ndarray, ...] = ()
    colour: tuple[float, float, float] | None = None
    crop: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)
    spread: float = 0.0
    drop: tuple[int, ...] = ()
    placed: tuple[tuple[float, float, float], ...] | None = None


@dataclass(frozen=True)
class Shot:
    """The photograph: ``jpeg`` bytes, ``tap`` pixel of the piece's middle; ``pixel`` turns (n, 2) mm into pixels."""

    jpeg: bytes
    tap: tuple[float, float]
    size: tuple[int, int]
    camera: object = field(repr=False, default=None)

    def pixel(self, points: np.ndarray) -> np.ndarray:
        """(n, 2) pixels at which points of the ground are seen."""
        return self.camera.pixels(np.column_stack([points, np.zeros(len(points))]))


@lru_cache(maxsize=8)
def _sheet_texture(number: int, sheets: int) -> np.ndarray:
    import pypdfium2

    page = pypdfium2.PdfDocument(mat_pdf(sheets=sheets))[number]
    big = page.render(scale=25.4 / 72 / _FINE)
    grey = cv2.cvtColor(np.asarray(big.to_numpy())[:, :, :3], cv2.COLOR_BGR2GRAY)
    # grey edges of print are light, not tones, too: back to tones for the one who reads this
    light = cv2.GaussianBlur(_linear(grey.astype(np.float32)), (0, 0), 0.8)
    return np.clip(np.rint(light ** (1 / 2.2) * 255), 0, 255).astype(np.uint8)


@dataclass(frozen=True)
class Camera:
    """A camera in space. ``turn`` rows: its right, down and forward; ``f`` and ``middle`` in pixels."""

    at: np.ndarray
    turn: np.ndarray
    f: float
    middle: np.ndarray
    radius: float
    lam: float
    tangent: float

    def rays(self, pixels: np.ndarray) -> np.ndarray:
        """(n, 3) directions in space."""
        d = (pixels - self.middle) / self.radius
        r2 = (d * d).sum(axis=1)
        u = d / (1.0 + self.lam * r2)[:, None]
        u[:, 0] += self.tangent * (2 * d[:, 0] * d[:, 1])
        u[:, 1] += self.tangent * (r2 + 2 * d[:, 1] ** 2)
        return np.column_stack([u * self.radius / self.f, np.ones(len(u))]) @ self.turn

    def pixels(self, points: np.ndarray) -> np.ndarray:
        """(n, 2) pixels of points in space, by search."""
        v = (points - self.at) @ self.turn.T
        want = v[:, :2] / v[:, 2:] * self.f / self.radius
        d = want.copy()
        for _ in range(60):
            r2 = (d * d).sum(axis=1)
            t = np.column_stack([self.tangent * 2 * d[:, 0] * d[:, 1], self.tangent * (r2 + 2 * d[:, 1] ** 2)])
            d = (want - t) * (1.0 + self.lam * r2)[:, None]
        return d * self.radius + self.middle


def _sheets_around(scene: Scene, rng: np.random.Generator) -> list[tuple[float, float, float]]:
    """(x, y, turn) of the sheets' middles: left, right, far and near of the piece, none on it."""
    (x0, y0), (x1, y1) = scene.outline.min(axis=0), scene.outline.max(axis=0)
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    places = []
    for side in range(4):
        angle = rng.uniform(-5, 5)
        gap = rng.uniform(18, 35)
        jitter = rng.uniform(-25, 25)
        slant = 150 * math.sin(math.radians(abs(angle)))
        if side == 0:
            places.append((x0 - gap - slant - 105, cy + jitter, angle + rng.choice([0, 180])))
        elif side == 1:
            places.append((x1 + gap + slant + 105, cy + jitter, angle + rng.choice([0, 180])))
        elif side == 2:
            places.append((cx + jitter, y1 + gap + slant + 105, 90 + angle + rng.choice([0, 180])))
        else:
            places.append((cx + jitter, y0 - gap - slant - 105, 90 + angle + rng.choice([0, 180])))
    return places


def _ground(kind: str, x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(h, w, 3) colour of the ground at these places, red, green, blue 0 to 255."""
    if kind == "plain":
        base = np.array(rng.choice([(62, 70, 84), (88, 60, 58), (52, 84, 66), (120, 120, 118)]), dtype=np.float32)
        return np.broadcast_to(base, (*x.shape, 3)).astype(np.float32)
    if kind == "pale":
        base = np.array(rng.choice([(206, 204, 200), (214, 200, 178), (190, 206, 214)]), dtype=np.float32)
        return np.broadcast_to(base, (*x.shape, 3)).astype(np.float32)
    if kind == "white":
        return np.broadcast_to(np.array((236, 235, 231), dtype=np.float32), (*x.shape, 3)).astype(np.float32)
    if kind == "wood":
        plank = np.floor(y / 90.0)
        wave = np.sin(y * 0.9 + 3 * np.sin(x * 0.004 + plank)) + 0.6 * np.sin(y * 2.3 + 2 * np.sin(x * 0.007))
        tone = 118 + 9 * wave + 10 * np.sin(plank * 12.9)
        joint = np.abs(y / 90.0 - np.round(y / 90.0)) * 90 < 0.8
        tone = np.where(joint, tone * 0.55, tone).astype(np.float32)
        return np.stack([tone, tone * 0.72, tone * 0.47], axis=-1)
    if kind == "checks":
        a = (np.floor(x / 20.0) + np.floor(y / 20.0)) % 2
        return np.where(a[..., None] > 0, np.float32((225, 225, 225)), np.float32((60, 80, 140)))
    raise ValueError(kind)


def _mask(ring: np.ndarray, soft: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Coverage 0 to 255 of a ring at 0.1 mm a pixel, and the place of its first pixel."""
    from shapely import Polygon

    low = ring.min(axis=0) - 6 - 4 * soft
    whole = Polygon(ring).buffer(0)
    # by so much what cv2.fillPoly fills reaches beyond the line, found by areas
    inner = whole.buffer(-0.69 * _FINE, join_style="mitre")
    ring = np.array((inner if inner.geom_type == "Polygon" and not inner.is_empty else whole).exterior.coords[:-1])
    size = np.ceil((np.array(whole.bounds[2:]) + 6 + 4 * soft - low) / _FINE).astype(int)
    image = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(image, [np.round((ring - low) / _FINE * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    return cv2.GaussianBlur(image, (0, 0), max(0.8, soft / _FINE)), low


def _cover(mask: np.ndarray, low: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    mx, my = ((x - low[0]) / _FINE).astype(np.float32), ((y - low[1]) / _FINE).astype(np.float32)
    return cv2.remap(mask, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT).astype(np.float32) / 255


def _camera(scene: Scene, corners: np.ndarray, rng: np.random.Generator) -> tuple[Camera, tuple[int, int]]:
    w = round(math.sqrt(scene.megapixels * 1e6 * 4 / 3) / 4) * 4
    h = w * 3 // 4
    radius = math.hypot(w, h) / 2
    f = radius * rng.uniform(1.1, 1.35)
    tilt, way = math.radians(scene.tilt), rng.uniform(0, 2 * math.pi)
    aim = (corners.min(axis=0) + corners.max(axis=0)) / 2 + np.array(scene.shift)
    extent = corners.max(axis=0) - corners.min(axis=0)
    roll = rng.uniform(-0.12, 0.12) + (math.pi / 2 if extent[1] > extent[0] else 0.0)
    forward = np.array([math.sin(tilt) * math.cos(way), math.sin(tilt) * math.sin(way), -math.cos(tilt)])
    right = np.array([math.cos(roll), math.sin(roll), 0.0])
    right -= forward * (right @ forward)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    turn = np.stack([right, down, forward])
    off = rng.uniform(-1, 1, 2) * scene.decentre * radius
    # distortion: the share by which a corner of the picture is displaced
    camera = Camera(
        np.zeros(3), turn, f, np.array([(w - 1) / 2, (h - 1) / 2]) + off, radius, scene.distortion,
        rng.uniform(-1, 1) * 0.0006 if scene.decentre else 0.0,
    )  # fmt: skip
    low, high = 200.0, 8000.0
    solid = np.column_stack([corners, np.zeros(len(corners))])
    for _ in range(40):
        far = (low + high) / 2
        now = replace(camera, at=np.append(aim, 0.0) - forward * far)
        p = now.pixels(solid)
        edge = 0.015 * w
        if (p > edge).all() and (p[:, 0] < w - edge).all() and (p[:, 1] < h - edge).all():
            high = far
        else:
            low = far
    return replace(camera, at=np.append(aim, 0.0) - forward * high * (1.0 - scene.crop)), (w, h)


def render(scene: Scene) -> Shot:
    """The photograph of the scene."""
    rng = np.random.default_rng(scene.seed)
    places = list(scene.placed) if scene.placed is not None else _sheets_around(scene, rng)
    corners = [scene.outline]
    for x, y, turn in places:
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        r = np.array([[c, -s], [s, c]])
        corners.append(np.array([(-105, -148.5), (105, -148.5), (105, 148.5), (-105, 148.5)]) @ r.T + (x, y))
    camera, (w, h) = _camera(scene, np.concatenate(corners), rng)
    slope, gx, gy = _slopes(camera, w, h)
    image = _ground(scene.ground, gx, gy, rng)
    grain = cv2.GaussianBlur(rng.standard_normal((h // 4, w // 4)).astype(np.float32), (0, 0), 0.8)
    image *= (1 + np.float32(0.03) * cv2.resize(grain, (w, h)))[..., None]
    # Colours are as seen; what mixes, at edges and in the lens, is light.
    image = _linear(image)
    mask, low = _mask(scene.outline, scene.fuzz)
    for hole in scene.holes:
        inner, at = _mask(hole, scene.fuzz)
        k = np.round((at - low) / _FINE).astype(int)
        part = mask[k[1] : k[1] + inner.shape[0], k[0] : k[0] + inner.shape[1]]
        np.minimum(part, 255 - inner, out=part)
    cover = _cover(mask, low, gx, gy)[..., None]
    colour = np.float32(scene.colour if scene.colour is not None else _COLOURS[scene.paper])
    body = np.broadcast_to(_linear(colour), image.shape).copy()
    for line in scene.lines:
        ink, at = _mask(line)
        body *= 1 - np.float32(0.95) * _cover(ink, at, gx, gy)[..., None]
    body -= image
    body *= cover
    image += body
    for tape in scene.tapes:
        ink, at = _mask(tape)
        over = _cover(ink, at, gx, gy)[..., None]
        image = image * (1 - over) + _linear(np.float32((235, 120, 30))) * over
    for k, (x, y, turn) in enumerate(places):
        bow, way = rng.uniform(0.6, 1.0) * scene.bow, rng.integers(3)
        if k in scene.drop or k >= scene.sheets:
            continue
        _lay_sheet(scene, camera, image, slope, (k, len(places)), (x, y, turn), (bow, int(way)))
    light = _light(scene, gx, gy, rng)
    image *= light[..., None]
    linear = cv2.GaussianBlur(image, (0, 0), scene.blur)
    tones = np.empty((h, w, 3), np.uint8)
    for rows in _strips(h):
        seen = np.clip(linear[rows], 0, 1)
        np.power(seen, np.float32(1 / 2.2), out=seen)
        seen *= 255
        seen += rng.standard_normal(seen.shape, dtype=np.float32) * np.float32(scene.noise)
        np.clip(seen, 0, 255, out=seen)
        tones[rows] = seen[:, :, ::-1]
    ok, jpeg = cv2.imencode(".jpg", tones, [cv2.IMWRITE_JPEG_QUALITY, scene.quality])
    assert ok
    tap = camera.pixels(np.array([[*inner_point(scene.outline), 0.0]]))[0]
    return Shot(jpeg.tobytes(), (float(tap[0]), float(tap[1])), (w, h), camera)


def _strips(h: int, rows: int = 64) -> list[slice]:
    """Rows some at a time, which memory near the processor holds."""
    return [slice(y, min(h, y + rows)) for y in range(0, h, rows)]


def _slopes(camera: Camera, w: int, h: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(h, w, 2) mm aside for each mm up of the ray through each pixel, and the place (x, y) of the ground it meets."""
    slope, gx, gy = (np.empty((h, w, *k), np.float32) for k in ((2,), (), ()))
    dx = ((np.arange(w) - camera.middle[0]) / camera.radius)[None]
    for rows in _strips(h, 24):
        # as in ``Camera.rays``, number by number, which is four times as fast
        dy = ((np.arange(rows.start, rows.stop) - camera.middle[1]) / camera.radius)[:, None]
        r2 = dx * dx + dy * dy
        share = 1.0 / (1.0 + camera.lam * r2)
        u = (dx * share + camera.tangent * 2 * dx * dy) * (camera.radius / camera.f)
        v = (dy * share + camera.tangent * (r2 + 2 * dy * dy)) * (camera.radius / camera.f)
        x, y, z = (u * camera.turn[0, k] + v * camera.turn[1, k] + camera.turn[2, k] for k in range(3))
        for k, one in enumerate((x, y)):
            one /= z
            slope[rows, :, k] = one
            one *= -camera.at[2]
            one += camera.at[k]
            (gx, gy)[k][rows] = one
    return slope, gx, gy


def _lay_sheet(
    scene: Scene, camera: Camera, image: np.ndarray, slope: np.ndarray, which: tuple[int, int],
    place: tuple[float, float, float], bowed: tuple[float, int],
) -> None:  # fmt: skip
    """Draw a sheet over the image (light): ``which`` (its number, of how many), ``bowed`` (mm, which way)."""
    (x, y, turn), (bow, way) = place, bowed
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    u, v = np.meshgrid(np.linspace(-105, 105, 15), np.linspace(-148.5, 148.5, 15))
    flat = np.column_stack([c * u.ravel() - s * v.ravel() + x, s * u.ravel() + c * v.ravel() + y])
    spots = np.concatenate(
        [camera.pixels(np.column_stack([flat, np.full(len(flat), up)])) for up in (0.0, bow + 0.5)]
    )
    h, w = image.shape[:2]
    (x0, y0), (x1, y1) = spots.min(axis=0).astype(int) - 12, spots.max(axis=0).astype(int) + 13
    if x1 <= 0 or y1 <= 0 or x0 >= w or y0 >= h:
        return
    part = (slice(max(0, y0), min(h, y1)), slice(max(0, x0), min(w, x1)))
    own = slope[part]
    z = np.zeros(own.shape[:2], np.float32)
    for _ in range(3 if bow else 1):
        ax = camera.at[0] + (z - camera.at[2]) * own[..., 0] - x
        ay = camera.at[1] + (z - camera.at[2]) * own[..., 1] - y
        u, v = c * ax + s * ay, c * ay - s * ax
        if bow:
            a, b = np.clip(u / 105, -1, 1), np.clip(v / 148.5, -1, 1)
            z = (bow * ((1 - b * b) if way == 0 else a * a if way == 1 else (1 + b) ** 2 / 4)).astype(np.float32)
    texture = _sheet_texture(which[0], max(4, which[1]))
    mx = (u / scene.scale[0] / _FINE + texture.shape[1] / 2 - 0.5).astype(np.float32)
    my = (-v / scene.scale[1] / _FINE + texture.shape[0] / 2 - 0.5).astype(np.float32)
    grey = cv2.remap(texture, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    on = (np.abs(u) < 105) & (np.abs(v) < 148.5)
    image[part][on] = _linear(18 + grey[on] * 0.86)[:, None]


def _linear(tones: np.ndarray) -> np.ndarray:
    """Light, 0 to 1, of tones 0 to 255."""
    light = np.clip(tones, 0, 255).astype(np.float32, copy=False)
    light *= np.float32(1 / 255)
    return np.power(light, np.float32(2.2), out=light)


def _light(scene: Scene, x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    way, amount = rng.uniform(0, 2 * math.pi), rng.uniform(0.05, 0.3)
    t = (x - x.mean()) * math.cos(way) + (y - y.mean()) * math.sin(way)
    light = 0.85 + amount * t / np.abs(t).max()
    if scene.shadow:
        way, at, soft = rng.uniform(0, 2 * math.pi), rng.uniform(-250, 250), rng.uniform(12, 80)
        t = ((x - x.mean()) * math.cos(way) + (y - y.mean()) * math.sin(way) - at) / soft
        light = light * (1 - scene.shadow / (1 + np.exp(np.clip(-t, -30, 30))))
    return light.astype(np.float32)


def inner_point(ring: np.ndarray) -> tuple[float, float]:
    """A point well inside."""
    from shapely import Polygon
    from shapely.algorithms.polylabel import polylabel

    at = polylabel(Polygon(ring), 2.0)
    return at.x, at.y


def _curve(a: tuple, b: tuple, c: tuple, d: tuple) -> np.ndarray:
    t = np.linspace(0, 1, 200)[:-1, None]
    a, b, c, d = (np.array(p, dtype=float) for p in (a, b, c, d))
    return (1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t * t * (1 - t) * c + t**3 * d


def piece(rng: np.random.Generator, size: float) -> np.ndarray:
    """(n, 2) a random piece of underwear or dance shorts whose longer side is about ``size`` mm; anticlockwise."""
    u = rng.uniform
    kind = rng.integers(3)
    if kind == 0:  # half a brief front: fold on the left, waist, side, leg curve, crotch
        w, s, leg = u(0.45, 0.6), u(0.15, 0.35), u(0.3, 0.5)
        ring = np.concatenate([
            [(0, 0), (u(0.1, 0.15), 0)],
            _curve((0.16, 0.0), (0.2, leg * 0.8), (w * 0.6, 1 - s - 0.1), (w, 1 - s)),
            [(w, 1 - s)],
            _curve((w + u(-0.03, 0.03), 1.0), (w * 0.7, 1.0), (w * 0.3, 0.97), (0, 0.97)),
            [(0, 0.97)],
        ])  # fmt: skip
    elif kind == 1:  # a leg of shorts
        rise, hem = u(0.5, 0.65), u(0.0, 0.06)
        ring = np.concatenate([
            [(0.08, 0)],
            _curve((0.92, -hem), (0.97, 0.15), (1.0, 0.25), (1.02, 0.3)),
            _curve((1.02, 0.3), (0.9, 0.34), (0.84, 0.45), (0.82, rise + 0.1)),
            [(0.82, rise + 0.1), (0.2, rise)],
            _curve((0.2, rise), (0.18, 0.4), (0.14, 0.3), (0, 0.26)),
            [(0, 0.26)],
        ])  # fmt: skip
    else:  # a curved yoke with square ends
        h, bend = u(0.22, 0.4), u(0.05, 0.18)
        ring = np.concatenate([
            _curve((0, 0), (0.3, -bend), (0.7, -bend), (1, 0)),
            [(1, 0), (0.97, h)],
            _curve((0.97, h), (0.7, h - bend * 0.8), (0.3, h - bend * 0.8), (0.03, h)),
            [(0.03, h)],
        ])  # fmt: skip
    ring = ring * size
    keep = np.linalg.norm(ring - np.roll(ring, -1, axis=0), axis=1) > 1e-6
    ring = ring[keep]
    area = (ring[:, 0] * np.roll(ring[:, 1], -1) - ring[:, 1] * np.roll(ring[:, 0], -1)).sum()
    if area < 0:
        ring = ring[::-1]
    angle = u(0, 2 * math.pi) if size < 350 else u(-0.2, 0.2)
    c, s = math.cos(angle), math.sin(angle)
    return (ring - ring.mean(axis=0)) @ np.array([[c, s], [-s, c]])


def lines_in(ring: np.ndarray) -> tuple[np.ndarray, ...]:
    """A grainline to draw in a piece: a thin closed ring around it."""
    x, y = inner_point(ring)
    half, t = 55.0, 0.3
    return (np.array([(x - half, y - t), (x + half, y - t), (x + half, y + t), (x - half, y + t)]),)


def random_scene(seed: int, *, megapixels: float = 12.0, bow: float | None = None) -> Scene:
    """One of the scenes by which the reader is judged; every number comes from the seed."""
    rng = np.random.default_rng(seed + 1000)
    ring = piece(rng, float(rng.uniform(200, 600)))
    kinds = [("plain", "white"), ("wood", "white"), ("pale", "white"), ("pale", "kraft"), ("checks", "kraft"),
             ("wood", "white"), ("plain", "kraft")]  # fmt: skip
    ground, paper = kinds[int(rng.integers(len(kinds)))]
    bows = (0.0, 0.0, 1.0, 2.0)
    return Scene(
        ring,
        seed=seed,
        ground=ground,
        paper=paper,
        tilt=float(rng.uniform(0, 25)),
        distortion=float(rng.uniform(-0.05, 0.05)),
        decentre=float(rng.uniform(0, 0.01)),
        bow=bows[int(rng.integers(4))] if bow is None else bow,
        scale=(float(rng.uniform(0.995, 1.005)), float(rng.uniform(0.995, 1.005))),
        noise=float(rng.uniform(1, 3)),
        blur=float(rng.uniform(0.5, 1.1)),
        shadow=float(rng.uniform(0, 0.35)),
        quality=int(rng.integers(85, 96)),
        megapixels=megapixels,
        lines=lines_in(ring),
    )


def scrap_scene(seed: int, *, megapixels: float = 12.0) -> Scene:
    """A scrap of cloth: straight sides, a hollow, edges that fray, a hole; every number from the seed."""
    rng = np.random.default_rng(seed + 5000)
    w, h = rng.uniform(220, 520), rng.uniform(160, 380)
    cut = rng.uniform(0.8, 1.0), rng.uniform(0.8, 1.1), rng.uniform(0.6, 0.9)
    sides = [(0, 0), (w, 0), (w * cut[0], h * 0.5), (w, h), (w * 0.45, h * cut[1]), (w * 0.3, h * 0.7), (0, h * cut[2])]
    rough = np.array(sides)
    ring = rough - rough.mean(axis=0)
    x, y = inner_point(ring)
    a = np.linspace(0, 2 * math.pi, 60)[:-1]
    hole = np.column_stack([x + rng.uniform(8, 18) * np.cos(a), y + rng.uniform(8, 18) * np.sin(a)])
    colours = ((96, 98, 104), (60, 44, 80), (150, 60, 60), (40, 90, 110))
    return Scene(
        ring,
        seed=seed,
        ground=("pale", "white")[int(rng.integers(2))],
        tilt=float(rng.uniform(0, 20)),
        distortion=float(rng.uniform(-0.04, 0.04)),
        decentre=float(rng.uniform(0, 0.01)),
        scale=(float(rng.uniform(0.995, 1.005)), float(rng.uniform(0.995, 1.005))),
        noise=float(rng.uniform(1, 3)),
        blur=float(rng.uniform(0.5, 1.0)),
        shadow=float(rng.uniform(0, 0.3)),
        quality=int(rng.integers(85, 96)),
        megapixels=megapixels,
        holes=(hole,),
        fuzz=float(rng.uniform(0.3, 1.0)),
        colour=colours[int(rng.integers(4))],
    )


def spoilt_scene(seed: int, *, megapixels: float = 12.0) -> tuple[Scene, str]:
    """A random scene spoilt in one of six ways, in turn, and which: it cannot serve, or only just."""
    scene, rng = random_scene(seed + 400, megapixels=megapixels), np.random.default_rng(seed + 9000)
    ways = ("blurred", "sheets missing", "no mat", "cut off", "tilted", "paper on like ground")
    why = ways[seed % len(ways)]
    if why == "blurred":
        return replace(scene, blur=float(rng.uniform(5, 14)) * math.sqrt(megapixels / 12)), why
    if why == "sheets missing":
        return replace(scene, drop=tuple(int(k) for k in rng.permutation(4)[: rng.integers(2, 4)])), why
    if why == "no mat":
        return replace(scene, sheets=0), why
    if why == "cut off":
        return replace(scene, crop=float(rng.uniform(0.1, 0.3)), shift=(float(rng.uniform(180, 320)), 0.0)), why
    if why == "tilted":
        return replace(scene, tilt=float(rng.uniform(56, 64))), why
    return replace(scene, ground="white", paper="white"), why


def as_bytes(image: np.ndarray, kind: str) -> bytes:
    """A picture (blue, green, red) as bytes of a format of Pillow's."""
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(image[:, :, ::-1]).save(out, kind)
    return out.getvalue()
