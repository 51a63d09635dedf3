"""Lays in several widths against the published fabric-width conversion chart.

"Fabric Conversion Chart", three web copies that agree (attributed to Rutgers Cooperative Extension, from memory).
All eight widths are compared by scripts/check_width_chart.py; here the search makes a quick run in two of them.
"""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from nesting.model.order import Cloth, Garment
from nesting.planning.layout.laying import laying
from nesting.planning.layout.options import SearchOptions
from nesting.resolving.resolve import resolve
from tests.planning.area_lays import order_of, rectangle

_PATH = Path(__file__).resolve().parents[3] / "scripts" / "check_width_chart.py"
_SPEC = importlib.util.spec_from_file_location("check_width_chart", _PATH)
assert _SPEC is not None and _SPEC.loader is not None
chart = importlib.util.module_from_spec(_SPEC)
sys.modules["check_width_chart"] = chart
_SPEC.loader.exec_module(chart)


def test_the_chart_is_copied_rightly():
    """Its own regularities: multiples of 1/8 yd, rows never rise, columns rise, about the same area in every width."""
    columns = list(chart.CHART.items())
    for width, yards in columns:
        assert all(y * 8 == int(y * 8) for y in yards)
        assert all(a < b for a, b in pairwise(yards))
        assert width * sum(yards) == pytest.approx(44.5 * sum(chart.CHART[44.5]), rel=0.09)
    for (_, narrow), (_, wide) in pairwise(columns):
        assert all(a >= b for a, b in zip(narrow, wide, strict=True))


@pytest.mark.slow
def test_lays_in_other_widths_agree_with_the_chart():
    """Twelve briefs, lengths before rounding, relative to the 44/45 in column: within ten per cent of the chart's.

    No piece of the briefs is limited by these widths: the widest, an opened back, is 450 mm and goes into the narrowest
    cloth's usable 854 mm with a front beside it, so there is no exception to explain.
    """
    order = chart.chart_order("briefs", "M")
    found = chart.lengths(order, SearchOptions(seconds=None, rounds=3), (44.5, 53.0))
    assert found[53.0] / found[44.5] == pytest.approx(chart.chart_ratio(53.0), rel=0.10)


@pytest.mark.slow
def test_a_piece_limited_by_width_is_the_exception():
    """Twelve squares of 480 mm: one fits across 35/36 in (902 mm), two across 44/45 in (1,130 mm).

    Twice the length, where the chart says 1.28: half of the narrow cloth cannot be used, whatever the search does. So
    the chart holds only where no piece is limited by width.
    """
    order = order_of([rectangle("square", 480.0, 480.0)], [Garment("g", None, 12, ("square",))], [Cloth("main", 1.0)])
    lay = laying(SearchOptions(seconds=None, rounds=1))
    lengths = []
    for width in (35.5, 44.5):
        cloths = (replace(order.cloths[0], width=25.4 * width, increment=0.0),)
        lengths.append(lay(resolve(replace(order, cloths=cloths)), "main", spread="open").lay_length)
    assert lengths[0] == pytest.approx(12 * 480.0, rel=1e-6)
    assert lengths[1] == pytest.approx(6 * 480.0, rel=1e-6)
    assert lengths[0] / lengths[1] > 1.1 * chart.chart_ratio(35.5)
