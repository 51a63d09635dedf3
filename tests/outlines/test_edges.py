"""Edges, corners and the print's scale, each judged alone on what is known exactly."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from nesting.outlines.mat import Bars, corner_points
from nesting.outlines.photo_bundle import View, ViewSeen, bundle
from nesting.outlines.photo_markers import SheetSeen
from nesting.outlines.trace_edge import read_edge
from nesting.outlines.trace_fit import fit_outline

PER_MM = 4.0


def from_above(size: int) -> View:
    """A picture of the ground at a quarter of a millimetre a pixel, its middle at the origin."""
    radius = np.hypot(size, size) / 2
    values = np.zeros(12)
    values[0], values[4] = radius / PER_MM, -radius / PER_MM
    return View((size, size), values)


@pytest.mark.parametrize(("paper", "ground"), [(238, 60), (238, 205), (120, 200)])
def test_an_edge_is_read_where_light_is_half_way(paper: int, ground: int) -> None:
    """A disc of 40 mm in light that is blurred by a pixel, white or dark: its radius within a fiftieth of a mm."""
    size, fine = 520, 8
    y, x = (np.mgrid[0 : size * fine, 0 : size * fine] + 0.5) / fine - size / 2
    cover = ((x * x + y * y) <= (40.0 * PER_MM) ** 2).astype(np.float32)
    cover = cover.reshape(size, fine, size, fine).mean(axis=(1, 3))
    light = cover * (paper / 255) ** 2.2 + (1 - cover) * (ground / 255) ** 2.2
    light = cv2.GaussianBlur(light, (0, 0), 1.0)
    photo = np.repeat(np.rint(light ** (1 / 2.2) * 255).astype(np.uint8)[:, :, None], 3, axis=2)
    angle = np.linspace(0, 2 * np.pi, 260)[:-1]
    rough = 40.4 * np.column_stack([np.cos(angle), np.sin(angle)])
    edge = read_edge([photo], [from_above(size)], rough)
    radii = np.linalg.norm(edge.points, axis=1)
    assert edge.sound.all() and radii.mean() == pytest.approx(40.0, abs=0.02) and np.ptp(radii) < 0.1


def seen(pose: tuple[float, float, float], number: int, rng: np.random.Generator) -> SheetSeen:
    """A sheet at (x, y, degrees) through a known projection, corners read to a twentieth of a pixel."""
    a = np.radians(pose[2])
    ground = corner_points() @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + pose[:2]
    way = np.array([[3.2, 0.1, 1500.0], [-0.05, -3.1, 1100.0], [1e-4, 6e-5, 1.0]])
    hom = np.column_stack([ground, np.ones(len(ground))]) @ way.T
    pixels = hom[:, :2] / hom[:, 2:] + rng.normal(0, 0.05, (len(ground), 2))
    return SheetSeen(number, corner_points(), pixels, np.eye(3), 1.0)


def test_sheets_that_lie_across_tell_how_the_print_is_stretched() -> None:
    """Bars read 0.15 mm long and 0.15 mm short: what differs between them is found by sheets turned to one another;
    their mean is not, as only a ruler knows it."""
    rng = np.random.default_rng(3)
    poses = ((-300.0, 0.0, 2.0), (300.0, 10.0, -3.0), (0.0, 280.0, 88.0), (10.0, -280.0, 92.0))
    sheets = tuple(seen(p, k, rng) for k, p in enumerate(poses))
    found = bundle([ViewSeen((3000, 2200), sheets)], Bars(180.15, 239.85))
    assert found is not None
    # middles of the sheets as they truly lie, against those on the ground that was found
    apart = {}
    for name, (a, b) in {"across": (0, 1), "up": (2, 3)}.items():
        true = np.hypot(*np.subtract(poses[a][:2], poses[b][:2]))
        apart[name] = float(np.hypot(*(found.sheets[a][:2] - found.sheets[b][:2])) / true - 1.0)
    assert abs(apart["across"] - apart["up"]) < 1e-4
    mean = (0.15 / 180 - 0.15 / 240) / 2
    assert apart["across"] == pytest.approx(mean, abs=4e-4)


def ring(noise: float, ragged: bool, radius: float = 90.0, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """An edge read each millimetre: a square of 120 mm, its right side an arc; its corners, mm."""
    corners = np.array([(0.0, 0.0), (120.0, 0.0), (120.0, 120.0), (0.0, 120.0)])
    t = np.arange(0, 120.0)
    low = np.column_stack([t, 0 * t])
    half = np.arcsin(60 / radius)
    a = np.linspace(-half, half, round(2 * half * radius) + 1)[:-1]
    arc = np.column_stack([120 - radius * np.cos(half) + radius * np.cos(a), 60 + radius * np.sin(a)])
    top = np.column_stack([120 - t, 0 * t + 120])
    left = np.column_stack([0 * t, 120 - t])
    points = np.concatenate([low, arc, top, left])
    points = points + np.random.default_rng(seed).normal(0, noise, points.shape)
    if ragged:
        points[50:56, 1] += np.array([0.2, 0.7, 1.3, 1.3, 0.7, 0.2])
    return points, corners


def test_a_corner_between_a_curve_and_a_line_is_where_they_cross() -> None:
    """The curve goes on as it bends, not straight, which would miss by 0.24 mm on the mean."""
    away = []
    for seed in range(8):
        points, corners = ring(0.03, ragged=False, radius=64.0, seed=seed)
        fitted = fit_outline(points, np.ones(len(points), bool), 0.03)
        assert len(fitted.runs) == 4
        away += [float(np.linalg.norm(fitted.corners - c, axis=1).min()) for c in corners[1:3]]
    assert np.mean(away) <= 0.17


def test_a_ragged_stretch_makes_no_corners() -> None:
    """Readings that jump by 1.3 mm in the middle of a straight edge: it stays one straight edge."""
    points, _ = ring(0.03, ragged=True)
    fitted = fit_outline(points, np.ones(len(points), bool), 0.03)
    assert len(fitted.runs) == 4 and sum(run.straight for run in fitted.runs) >= 2


def test_a_badly_read_corner_is_no_short_edge() -> None:
    """Readings that cut a corner off raggedly: one corner, where its edges cross; a clean bevel of 8 mm stays one."""
    points, corners = ring(0.02, ragged=False)
    at = int(np.argmin(np.linalg.norm(points - (0.0, 120.0), axis=1)))
    cut = points.copy()
    ragged = [(0, -0.1), (0.2, -0.5), (0.2, -1.4), (0.3, -1.6), (1.9, -1.2), (1.5, -0.3), (1.3, 0), (0.4, 0), (0.1, 0)]
    for k, (dx, dy) in zip(range(at - 4, at + 5), ragged, strict=True):
        cut[k] += (dx, dy)
    fitted = fit_outline(cut, np.ones(len(cut), bool), 0.02)
    assert len(fitted.runs) == 4
    assert np.linalg.norm(fitted.corners - corners[3], axis=1).min() <= 0.3
    keep = np.linalg.norm(points - corners[3], axis=1) > 8.5
    before, after = points[keep & (points[:, 1] > 119)][-1], (0.0, 111.5)
    t = np.linspace(0, 1, 13)[1:-1, None]
    first = int(np.argmax(~keep))
    bevel = np.concatenate(
        [points[:first], before + t * (np.array(after) - before), points[first + int((~keep).sum()) :]]
    )
    assert len(fit_outline(bevel, np.ones(len(bevel), bool), 0.02).runs) == 5


@pytest.mark.parametrize(("long", "by", "over"), [(75, 0.35, 14), (110, 0.4, 14)])
def test_an_edge_that_bends_just_before_its_corner_is_not_straight(long: int, by: float, over: int) -> None:
    """A rectangle, one side of which is even on the whole and bends away by so much over its last millimetres: taken as
    straight, its corner would be as far off as it bends."""
    x, y = np.arange(0.0, long), np.arange(60.0)
    side = np.column_stack([x, -by * np.clip((x - long + over) / over, 0.0, 1.0) ** 2])
    right = np.column_stack([np.full(60, float(long)), -by + y * (60.0 + by) / 60.0])
    top, left = np.column_stack([long - x, 0 * x + 60.0]), np.column_stack([0 * y, 60.0 - y])
    points = np.concatenate([side, right, top, left])
    fitted = fit_outline(points, np.ones(len(points), bool), 0.02)
    assert np.linalg.norm(fitted.corners - (long, -by), axis=1).min() <= 0.15
