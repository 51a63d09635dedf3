"""How near traced outlines come to the true ones, on photographs drawn by the tests' own renderer.

    python scripts/measure_photos.py --scenes 300 --megapixels 12 [--alone] [--scraps | --spoilt]
    python scripts/measure_photos.py --scenes 300 --rows photos.jsonl --pictures FOLDER --seconds 240    again and again

Settings were fixed on even seeds; figures are those of odd ones. Prints a line a scene and a summary of both halves.
With ``--rows`` scenes that the file has are not done again, so that many short runs make one long one; ``--pictures``
keeps what was rendered, which takes longer than reading it.
"""

from __future__ import annotations

import argparse
import json
import pickle
import sys
import time
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))


def nearest(a: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """Distances of points from a ring, mm."""
    import shapely

    return np.asarray(shapely.distance(shapely.LinearRing(ring), shapely.points(a)))


def dense(ring: np.ndarray, step: float = 0.5) -> np.ndarray:
    """The ring with places about every half millimetre and its corners."""
    import shapely

    return np.asarray(shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(ring), step)))


def compared(found: np.ndarray, true: np.ndarray) -> tuple[np.ndarray, float]:
    """Distances both ways after the best turn and shift (mm), and the relative difference of the areas."""
    import shapely

    moved, t = laid_over(found, true)
    off = np.concatenate([nearest(moved, true), nearest(t, moved)])
    area = shapely.Polygon(found).area / shapely.Polygon(true).area - 1
    return off, area


def laid_over(found: np.ndarray, true: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places close together of the found outline, turned and shifted nearest to the true one, and of the true one.

    Turned and shifted from 24 starts, each time to the nearest places of the true outline, the last times across it
    only (Y. Chen, G. Medioni, Image and Vision Computing 10, 1992).
    """
    import shapely
    from scipy.spatial import cKDTree

    f, t = dense(found), dense(true)
    t = t[np.linalg.norm(np.roll(t, -1, axis=0) - t, axis=1) > 1e-9]
    sides = np.roll(t, -1, axis=0) - t
    normals = np.column_stack([sides[:, 1], -sides[:, 0]]) / np.linalg.norm(sides, axis=1, keepdims=True)
    tree = cKDTree(t)
    middle = np.array(shapely.Polygon(true).centroid.coords[0])
    start = f - np.array(shapely.Polygon(found).centroid.coords[0]) + middle

    def stepped(points: np.ndarray, *, across: bool) -> tuple[np.ndarray, float]:
        _, which = tree.query(points)
        apart = points - t[which]
        r = np.column_stack([-(points - middle)[:, 1], (points - middle)[:, 0]])
        if across:
            n = normals[which]
            design = np.column_stack([n, (n * r).sum(axis=1)])
            right = (n * apart).sum(axis=1)
        else:
            k = len(points)
            design = np.zeros((2 * k, 3))
            design[:k, 0], design[k:, 1], design[:k, 2], design[k:, 2] = 1.0, 1.0, r[:, 0], r[:, 1]
            right = np.concatenate([apart[:, 0], apart[:, 1]])
        x, y, turn = -np.linalg.lstsq(design, right, rcond=None)[0]
        c, s = np.cos(turn), np.sin(turn)
        return (points - middle) @ np.array([[c, s], [-s, c]]) + middle + (x, y), float((right**2).mean())

    tried = []
    for angle in np.arange(24) * np.pi / 12:
        c, s = np.cos(angle), np.sin(angle)
        points = (start[::8] - middle) @ np.array([[c, s], [-s, c]]) + middle
        for _ in range(8):
            points, cost = stepped(points, across=False)
        tried.append((cost, angle))
    _, angle = min(tried)
    c, s = np.cos(angle), np.sin(angle)
    moved = (start - middle) @ np.array([[c, s], [-s, c]]) + middle
    for k in range(24):
        moved, _ = stepped(moved, across=k >= 8)
    return moved, t


def shot_of(scene: Any, name: str, pictures: Path | None) -> Any:
    """The scene's photograph, rendered or from the folder."""
    from tests.outlines.scenes import render

    path = None if pictures is None else pictures / f"{name}.pickle"
    if path is not None and path.exists():
        return pickle.loads(path.read_bytes())
    shot = render(scene)
    if path is not None:
        path.write_bytes(pickle.dumps(shot))
    return shot


def one(seed: int, *, megapixels: float, alone: bool, pictures: Path | None) -> dict[str, object]:
    """Render and read one scene."""
    from nesting.model.errors import PatternError
    from nesting.outlines.mat import Bars
    from nesting.outlines.trace import Tap, trace_photos
    from tests.outlines.scenes import random_scene

    scene = random_scene(seed, megapixels=megapixels)
    shot = shot_of(scene, f"piece-{seed}-{megapixels:g}", pictures)
    rng = np.random.default_rng(seed + 77)
    bars = Bars(180 * scene.scale[0] + rng.uniform(-0.2, 0.2), 240 * scene.scale[1] + rng.uniform(-0.2, 0.2))
    begun = time.process_time()
    told = {
        "seed": seed, "ground": scene.ground, "paper": scene.paper, "bow": scene.bow, "tilt": round(scene.tilt, 1),
        "size": round(float(np.ptp(scene.outline, axis=0).max())),
    }  # fmt: skip
    try:
        traced = trace_photos([shot.jpeg], bars=bars, taps=() if alone else (Tap(*shot.tap),))
    except PatternError as error:
        return {**told, "refused": error.message, "cpu": round(time.process_time() - begun, 2)}
    cpu = time.process_time() - begun
    piece = traced.pieces[0]
    off, area = compared(np.array(piece.outline), scene.outline)
    p = piece.promise
    return {
        **told, "p95": round(float(np.quantile(off, 0.95)), 3), "max": round(float(off.max()), 3),
        "area": round(100 * area, 3), "promise": round(piece.error, 3), "pieces": len(traced.pieces),
        "parts": [round(v or 0.0, 3) for v in (p.draws, p.left_out, p.scale, p.lift, p.edge, p.pattern)],
        "grain": len(piece.grain), "notches": len(piece.notches), "cpu": round(cpu, 2),
    }  # fmt: skip


def scrap(seed: int, *, megapixels: float, alone: bool, pictures: Path | None) -> dict[str, object]:
    """Render and read one scrap of cloth."""
    import shapely

    from nesting.model.errors import PatternError
    from nesting.outlines.mat import Bars
    from nesting.outlines.scrap import scrap_from_photo
    from nesting.outlines.trace import Tap, trace_photos
    from tests.outlines.scenes import scrap_scene

    scene = scrap_scene(seed, megapixels=megapixels)
    shot = shot_of(scene, f"scrap-{seed}-{megapixels:g}", pictures)
    rng = np.random.default_rng(seed + 77)
    bars = Bars(180 * scene.scale[0] + rng.uniform(-0.2, 0.2), 240 * scene.scale[1] + rng.uniform(-0.2, 0.2))
    x, y = shot.pixel(np.array([scene.outline[:2].mean(axis=0) * 0.6]))[0]
    tap = None if alone else Tap(float(x), float(y))
    told = {"seed": seed, "ground": scene.ground, "fuzz": round(scene.fuzz, 2)}
    begun = time.process_time()
    try:
        read = scrap_from_photo([shot.jpeg], bars=bars, tap=tap)
    except PatternError as error:
        return {**told, "refused": error.message}
    cpu = time.process_time() - begun
    raw = trace_photos([shot.jpeg], bars=bars, taps=() if tap is None else (tap,), cloth=True).pieces[0].raw
    off, _ = compared(np.array(raw), scene.outline)
    true = shapely.Polygon(scene.outline, [scene.holes[0]])
    within = np.array(
        shapely.Polygon(scene.outline).buffer(-(read.error + 1.3), join_style="mitre").exterior.coords[:-1]
    )
    moved, _ = laid_over(np.array(read.outline), within)
    return {
        **told, "p95": round(float(np.quantile(off, 0.95)), 3), "max": round(float(off.max()), 3),
        "promise": round(read.error, 3), "holes": len(read.flaws),
        "outside_mm2": round(shapely.Polygon(moved).difference(shapely.Polygon(scene.outline)).area, 2),
        "usable": round(100 * shapely.Polygon(read.outline, read.flaws).area / true.area, 1),
        "hole_larger": bool(read.flaws) and shapely.Polygon(read.flaws[0]).area > shapely.Polygon(scene.holes[0]).area,
        "cpu": round(cpu, 2),
    }  # fmt: skip


def scrap_summary(rows: list[dict[str, Any]]) -> None:
    """The figures of scraps."""
    read = [r for r in rows if "max" in r]
    p95 = np.array([float(r["p95"]) for r in read])
    print(
        f"\nscraps: {len(rows)} scenes, {len(rows) - len(read)} refused; 95 % of the edge within: median "
        f"{np.median(p95):.2f}, worst {p95.max():.2f} mm; outside of the cloth in "
        f"{sum(float(r['outside_mm2']) > 0.5 for r in read)}; holes not found in "
        f"{sum(r['holes'] != 1 or not r['hole_larger'] for r in read)}"
    )


def summary(rows: list[dict[str, Any]], title: str) -> None:
    """The figures of some scenes."""
    read = [r for r in rows if "max" in r]
    print(f"\n{title}: {len(rows)} scenes, {len(rows) - len(read)} refused")
    for bow in (0.0, 1.0, 2.0):
        some = [r for r in read if r["bow"] == bow]
        if not some:
            continue
        p95, most, area = (np.array([float(r[k]) for r in some]) for k in ("p95", "max", "area"))
        print(
            f"  bow {bow:g}: {len(some)} read; 95 % of the outline within: median {np.median(p95):.2f}, "
            f"worst {p95.max():.2f} mm; largest error: median {np.median(most):.2f}, "
            f"95 % {np.quantile(most, 0.95):.2f}, worst {most.max():.2f} mm; area worst {np.abs(area).max():.2f} %"
        )
    if read:
        most, promise = (np.array([float(r[k]) for r in read]) for k in ("max", "promise"))
        print(
            f"  promise below the truth in {(promise < most).sum()}; within four times or 0.5 mm in "
            f"{np.mean(promise <= np.maximum(4 * most, 0.5)):.0%}; promise median {np.median(promise):.2f} mm"
        )
        cpu = np.array([float(r["cpu"]) for r in read])
        print(f"  processor time median {np.median(cpu):.2f}, worst {cpu.max():.2f} s")


def spoilt(seed: int, *, megapixels: float, alone: bool, pictures: Path | None) -> dict[str, object]:
    """Render and read one scene that cannot serve."""
    from nesting.model.errors import PatternError
    from nesting.outlines.mat import Bars
    from nesting.outlines.trace import Tap, trace_photos
    from tests.outlines.scenes import spoilt_scene

    scene, why = spoilt_scene(seed, megapixels=megapixels)
    shot = shot_of(scene, f"spoilt-{seed}-{megapixels:g}", pictures)
    told: dict[str, object] = {"seed": seed, "spoilt": why}
    try:
        bars = Bars(180 * scene.scale[0], 240 * scene.scale[1])
        traced = trace_photos([shot.jpeg], bars=bars, taps=() if alone else (Tap(*shot.tap),))
    except PatternError as error:
        return {**told, "refused": error.message, "code": error.code}
    piece = traced.pieces[0]
    off, _ = compared(np.array(piece.outline), scene.outline)
    return {**told, "max": round(float(off.max()), 3), "promise": round(piece.error, 3)}


def spoilt_summary(rows: list[dict[str, Any]]) -> None:
    """How many were refused, by what was wrong with them, and how far off the others are."""
    print(f"\n{len(rows)} scenes that cannot serve")
    for why in sorted({r["spoilt"] for r in rows}):
        mine = [r for r in rows if r["spoilt"] == why]
        read = [r for r in mine if "max" in r]
        print(
            f"  {why}: {len(mine)}, refused {len(mine) - len(read)}; largest error of those read "
            f"{max((r['max'] for r in read), default=0.0):.2f} mm, promise too small in "
            f"{sum(r['max'] > r['promise'] for r in read)}"
        )


def main() -> None:
    """Run the scenes."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--scenes", type=int, default=300)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--megapixels", type=float, default=12.0)
    parser.add_argument("--alone", action="store_true", help="without a tap")
    parser.add_argument("--scraps", action="store_true", help="scraps of cloth")
    parser.add_argument("--spoilt", action="store_true", help="scenes that cannot serve")
    parser.add_argument("--rows", type=Path, help="a file of results, gone on with")
    parser.add_argument("--pictures", type=Path, help="a folder to keep the photographs in")
    parser.add_argument("--seconds", type=float, default=1e9, help="begin no scene after so long")
    given = parser.parse_args()
    kind, told = (
        (scrap, scrap_summary) if given.scraps else (spoilt, spoilt_summary) if given.spoilt else (one, both_halves)
    )
    if given.pictures is not None:
        given.pictures.mkdir(parents=True, exist_ok=True)
    rows: list[dict[str, Any]] = []
    if given.rows is not None and given.rows.exists():
        rows = [json.loads(line) for line in given.rows.read_text("utf-8").splitlines()]
    done = {r["seed"] for r in rows}
    begun = time.monotonic()
    measure = partial(kind, megapixels=given.megapixels, alone=given.alone, pictures=given.pictures)
    for seed in range(given.first, given.first + given.scenes):
        if seed in done:
            continue
        if time.monotonic() - begun > given.seconds:
            break
        rows.append(measure(seed))
        line = json.dumps(rows[-1])
        print(line, flush=True)
        if given.rows is not None:
            with given.rows.open("a", encoding="utf-8") as file:
                file.write(line + "\n")
    told(rows)


def both_halves(rows: list[dict[str, Any]]) -> None:
    """The figures of either half."""
    summary([r for r in rows if r["seed"] % 2 == 0], "even seeds (settings)")
    summary([r for r in rows if r["seed"] % 2 == 1], "odd seeds (figures)")


if __name__ == "__main__":
    main()
