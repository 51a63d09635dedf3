"""What is drawn of an alteration: the sewn line before and after, one over the other, with and without allowances."""

from __future__ import annotations

from typing import Any

import pytest

from tests.page.conftest import Server

#: half a piece, 200 mm along its upright grain arrow and 100 mm across, its fold on the left
_HALF = b"""<svg xmlns="http://www.w3.org/2000/svg" width="140mm" height="240mm" viewBox="0 0 140 240">
<path d="M 20,20 L 120,20 L 100,220 L 20,220 Z"/>
<g class="grain"><path d="M 60,160 L 60,80"/></g><text x="30" y="50">half</text></svg>"""


def _box(ring: Any) -> tuple[float, float, float, float]:
    xs, ys = [p[0] for p in ring], [p[1] for p in ring]
    return min(xs), min(ys), max(xs), max(ys)


@pytest.mark.parametrize("allowance", [None, True, False], ids=["nothing said", "in the line", "to be added"])
def test_before_and_after_lie_on_one_another(empty: Server, allowance: bool | None) -> None:
    """Lengthened by 1 cm at 15 cm: 10 mm longer, as wide, fold on fold; below the tail of the arrow nothing moves."""
    empty.drop(("half.svg", _HALF))
    empty.do("piece.fold", piece="half", side="left")
    inset = 0.0
    if allowance is not None:
        empty.do("pieces.allowance", pieces=["half"], includes=allowance, length="1 cm")
        inset = 10.0 if allowance else 0.0
    asked = {"kind": "lengthen", "pieces": ["half"], "by": "1 cm", "at": "15 cm"}
    tried = empty.do("alter.try", **asked)["shapes"]
    empty.do("alter.add", **asked)
    for shapes in (tried, empty.get("alterations")["shapes"]):
        (shape,) = shapes.values()
        before, after = (_box(shape[when]["outline"]) for when in ("before", "after"))
        x0, y0, _, y1 = _box(empty.get("pieces")["pieces"][0]["outline"])
        assert before[:2] == pytest.approx((x0, y0 + inset), abs=0.01)
        assert before[3] == pytest.approx(y1 - inset, abs=0.01)
        assert after == pytest.approx((before[0], before[1], before[2], before[3] + 10.0), abs=0.01)
