"""Scraps of cloth in photographs, and by their measures, come into the stash."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import shapely
from scipy.optimize import minimize
from shapely import affinity
from typer.testing import CliRunner

from nesting.cli.app import app
from nesting.outlines.mat import Bars
from nesting.outlines.trace import Tap, trace_photos
from nesting.planning.leftovers.stash import read_stash
from tests.outlines.scenes import Scene, render

CLOTH = np.array([(-160, -110), (170, -110), (150, -20), (175, 90), (40, 120), (-160, 100)], float)
HOLE = np.array([(20 + 14 * np.cos(a), 10 + 10 * np.sin(a)) for a in np.linspace(0, 6.2, 40)])


def test_a_scrap_is_added_with_its_hole_and_its_picture_and_lies_inside_the_cloth(tmp_path: Path) -> None:
    """Fuzzy edges, a hole: what is usable lies inside the true cloth and outside of the hole, grain along its edge."""
    scene = Scene(CLOTH, seed=3, ground="pale", tilt=8, distortion=0.02, megapixels=3, holes=(HOLE,), fuzz=0.4,
                  colour=(96, 98, 104))  # fmt: skip
    shot = render(scene)
    photo = tmp_path / "scrap.jpg"
    photo.write_bytes(shot.jpeg)
    stash = tmp_path / "home.toml"
    told = CliRunner().invoke(app, [
        "stash", str(stash), "--photo", str(photo), "--cloth", "grey jersey", "--bars", "180x240",
        "--tap", ",".join(f"{v:.0f}" for v in shot.pixel(np.array([(-80.0, 0.0)]))[0]),
    ])  # fmt: skip
    assert told.exit_code == 0, (told.output, told.exception)
    (item,) = read_stash(stash).items
    assert item.error > 0 and (tmp_path / item.picture).read_bytes()[:2] == b"\xff\xd8"
    assert len(item.remnant.flaws) == 1
    usable = shapely.Polygon(item.remnant.outline, item.remnant.flaws)
    true = shapely.Polygon(CLOTH, [HOLE])
    assert 0.85 * true.area < usable.area < true.area

    def outside(v: np.ndarray) -> float:
        turned = affinity.rotate(usable, v[2], origin="centroid")
        return float(affinity.translate(turned, v[0], v[1]).difference(true).area)

    middle = np.subtract(true.centroid.coords[0], usable.centroid.coords[0])
    best = min(
        (minimize(outside, [*middle, turn], method="Nelder-Mead", options={"maxiter": 400}) for turn in (0, 180)),
        key=lambda r: r.fun,
    )
    assert best.fun < 0.5


def test_an_edge_that_frays_is_read_where_half_of_it_is_cloth() -> None:
    """Cloth that goes over into the ground over some 4 mm (σ 0.9): the edge, away from its corners, lies within half a
    millimetre of the line that it was drawn from, and not where the ground is first seen through it."""
    scene = Scene(CLOTH, seed=6, ground="pale", tilt=5, megapixels=3, colour=(60, 44, 80), fuzz=0.9)
    shot = render(scene)
    (piece,) = trace_photos([shot.jpeg], bars=Bars(), taps=(Tap(*shot.tap),), cloth=True).pieces
    raw = shapely.Polygon(piece.raw)
    assert abs(raw.area - shapely.Polygon(CLOTH).area) < 0.5 * raw.length


def test_a_rim_coloured_like_the_tape_that_marks_flaws_is_left_outside() -> None:
    """Tape, 15 mm wide, lies all along the edge of a scrap: what was tapped in its middle has another colour than the
    rim, so the edge that goes round the rim is not taken, and no tape is in what is."""
    whole = shapely.Polygon(CLOTH)
    strips = []
    for a, b in zip(CLOTH, np.roll(CLOTH, -1, axis=0), strict=True):
        along = (b - a) / np.linalg.norm(b - a)
        inwards = 15.0 * np.array([-along[1], along[0]])
        ends = (a - 30 * along, b + 30 * along)
        strip = shapely.Polygon([*ends, ends[1] + inwards, ends[0] + inwards]).intersection(whole)
        strips.append(np.array(strip.exterior.coords[:-1]))
    scene = Scene(CLOTH, seed=5, ground="pale", tilt=6, megapixels=2, colour=(150, 60, 60), tapes=tuple(strips))
    shot = render(scene)
    traced = trace_photos([shot.jpeg], bars=Bars(), taps=(Tap(*shot.tap),), cloth=True)
    free = whole.difference(shapely.union_all([shapely.Polygon(s) for s in strips]))
    (piece,) = traced.pieces
    assert 0.9 * free.area < piece.area < 1.02 * free.area < 0.8 * whole.area


def test_a_scrap_by_its_measures(tmp_path: Path) -> None:
    """42 x 70 cm is 420 mm along the grain and 700 across; without a cloth it is asked for."""
    stash = tmp_path / "home.toml"
    run = CliRunner()
    assert run.invoke(app, ["stash", str(stash), "--size", "42 x 70 cm"]).exit_code != 0
    assert run.invoke(app, ["stash", str(stash), "--size", "42 x 70 cm", "--cloth", "grey jersey"]).exit_code == 0
    (remnant,) = read_stash(stash).remnants
    assert remnant.cloth == "grey jersey" and np.ptp(remnant.outline, axis=0).tolist() == [420.0, 700.0]
