"""Outlines of leftovers with their holes and flaws."""
# Drawings stay on one line each:
# ruff: noqa: E501

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from shapely import Polygon

from nesting.files.remnant import read_remnant
from nesting.model.errors import PatternError
from nesting.model.order import Remnant

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="600mm" height="500mm" viewBox="0 0 600 500">'
CLOTH = '<path d="M100 50H500V400L300 450L100 400Z"/>'


@pytest.fixture
def read(write: Callable[..., Path]) -> Callable[..., Any]:
    """Read the inside of an ``svg`` element of 600 × 500 mm as a remnant."""
    return lambda body, **how: read_remnant(write(f"{HEAD}{body}</svg>"), **how)


def test_outline_and_flaws(read: Callable[..., Any]) -> None:
    """The largest outline is the cloth, what is closed inside it a flaw, whatever its role; the corner is the origin."""
    body = f'{CLOTH}<circle class="flaw" cx="300" cy="200" r="20"/><rect x="120" y="70" width="40" height="10"/><path class="hole" d="M400 100h20v20z"/>'
    outline, flaws, findings = read(body)
    cloth = Polygon(outline)
    assert cloth.bounds == (0, 0, 400, 400) and cloth.exterior.is_ccw
    assert cloth.area == 400 * 350 + 400 * 50 / 2
    assert sorted(Polygon(f).area for f in flaws) == [200, 400, pytest.approx(math.pi * 400, rel=2e-3)]
    assert all(cloth.contains(Polygon(f)) and Polygon(f).exterior.is_ccw for f in flaws)
    # the rectangle's upper left corner was (120, 70) on the page
    assert any((20, 380) in f for f in flaws)
    assert [f.kind for f in findings] == ["note"]


@pytest.mark.parametrize(
    ("grain", "box"),
    [((200, 300, 300, 300), (400, 400)), ((200, 300, 200, 100), (400, 400)), ((300, 300, 200, 300), (400, 400))],
)
def test_grainline_turns_it(read: Callable[..., Any], grain: tuple[int, ...], box: tuple[float, float]) -> None:
    """A drawn grainline points to +x afterwards: the low point of the drawing goes where the turn sends it."""
    x1, y1, x2, y2 = grain
    outline, _, findings = read(f'{CLOTH}<line class="grain" x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}"/>')
    assert Polygon(outline).bounds == (0, 0, *box)
    # the tip, lowest on the page: below without a turn, to the left for an arrow up the page, above for one to the left
    tip = {(1, 0): (200, 0), (0, -1): (0, 200), (-1, 0): (200, 400)}
    assert tip[((x2 > x1) - (x2 < x1), (y2 > y1) - (y2 < y1))] in outline
    assert findings == ()


def test_turned_by_any_angle(read: Callable[..., Any]) -> None:
    """A rectangle drawn askew with its grainline is a rectangle along the grain, so that it can be folded."""
    body = '<g transform="rotate(17 300 250)"><rect x="150" y="150" width="300" height="200"/><line class="grain" x1="200" y1="200" x2="300" y2="200"/></g>'
    outline, flaws, _ = read(body)
    assert Remnant("scrap", "main", outline, flaws).rectangular
    assert Polygon(outline).area == pytest.approx(60_000)


def test_rectangle_in_inches(write: Callable[..., Path]) -> None:
    """A rectangle with a size in inches stays one."""
    path = write(
        '<svg xmlns="http://www.w3.org/2000/svg" width="30in" height="20in"><path d="M33.3 7.7H955.1V900.3H33.3Z"/></svg>'
    )
    assert Remnant("scrap", "main", read_remnant(path)[0]).rectangular


def test_outline_of_lines_with_a_gap(read: Callable[..., Any]) -> None:
    """An outline of several lines is put together, a gap reported; a stray line is left out."""
    body = '<path d="M100.2 50H500V400"/><path d="M500 400H100V50"/><path d="M200 100H300"/>'
    outline, flaws, findings = read(body)
    assert Polygon(outline).area == pytest.approx(400 * 350)
    assert flaws == ()
    assert {f.kind for f in findings} == {"repaired", "ignored", "note"}


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("", "no closed outline"),
        ('<path d="M100 50H500V400"/>', "outline is open"),
        ('<path d="M100 50L500 400V50L100 400Z"/>', "crosses or touches itself"),
        (f'{CLOTH}<path class="flaw" d="M200 200H300"/>', "flaw .* no closed outline"),
        (f'{CLOTH}<rect class="flaw" x="10" y="10" width="20" height="20"/>', "lies outside the cloth"),
        (f'{CLOTH}<rect x="510" y="10" width="80" height="80"/>', "lies outside the cloth"),
        (f'{CLOTH}<path class="flaw" d="M200 200L240 300V200L200 300Z"/>', "crosses or touches itself"),
    ],
)
def test_refused(read: Callable[..., Any], body: str, words: str) -> None:
    """What is no remnant, or more than one, is refused."""
    with pytest.raises(PatternError, match=words):
        read(body)


def test_flaw_over_the_edge_is_kept(read: Callable[..., Any]) -> None:
    """A flaw that reaches over the edge of the cloth counts, and it is said."""
    _, flaws, findings = read(f'{CLOTH}<rect class="flaw" x="90" y="100" width="40" height="40"/>')
    assert len(flaws) == 1
    assert any("over the edge" in f.message for f in findings)


def test_from_dxf(tmp_path: Path) -> None:
    """The same from a DXF drawing with a flaw on its own layer."""
    doc = ezdxf.new("R2000")
    doc.header["$INSUNITS"] = 5
    doc.modelspace().add_lwpolyline([(5, 5), (45, 5), (45, 40), (5, 40)], close=True)
    doc.modelspace().add_circle((20, 20), 2, dxfattribs={"layer": "Flaws"})
    doc.saveas(tmp_path / "scrap.dxf")
    outline, flaws, _ = read_remnant(tmp_path / "scrap.dxf")
    assert Polygon(outline).bounds == (0, 0, 400, 350)
    assert Polygon(flaws[0]).area == pytest.approx(math.pi * 400, rel=2e-3)
    assert Polygon(flaws[0]).centroid.coords[0] == pytest.approx((150, 150))
