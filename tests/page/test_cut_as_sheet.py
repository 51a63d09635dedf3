"""The page measures as the sheet does: from the cut end of the cloth as it is bought."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from nesting.model.lay import Lay
from nesting.page.cut_doc import _before, _rows
from nesting.page.documents import LaySection
from nesting.page.lays import Lays, laid_ids
from nesting.report.drawing.grainline import measured_line
from nesting.report.sheet.sheet import rows
from tests.page.conftest import Server
from tests.report import samples


def _sections(empty: Server, lay: Lay) -> list[LaySection]:
    return Lays(empty.page.work).doc_of(lay, lay.cloth, 1, "")["sections"]


def test_the_lay_s_view_and_the_cut_list_measure_from_the_same_end(empty: Server) -> None:
    """What the view adds to a place brings the ends of the line through the piece to what the list says of them."""
    lay = samples.open_lay()
    assert lay.end_allowance > 5.0, "a lay without end allowances would show nothing"
    by_id = dict(zip(laid_ids(lay), lay.placements, strict=True))
    cells = {row["laid"]: row["cells"] for row in _rows(lay, set())}
    for section in _sections(empty, lay):
        for piece in section["pieces"]:
            p = by_id[piece["id"]]
            line = measured_line(p, False)
            for key, end in (("tail", line.tail), ("head", line.head)):
                seen = piece["x"] + section["before"] + (end[0] - p.x)
                assert float(cells[piece["id"]][key].split(" · ")[1]) == pytest.approx(seen / 10, abs=0.051)


@pytest.mark.parametrize("make", [samples.open_lay, samples.crosswise_lay, samples.sections_lay, samples.remnant_lay])
def test_no_row_reaches_past_the_cloth_that_is_spread(empty: Server, make: Callable[[], Lay]) -> None:
    """All cloth that lies on the table is drawn: two end allowances, one where the other end is a fold across."""
    lay = make()
    sections = _sections(empty, lay)
    ends = sum(s["before"] + s["after"] for s in sections)
    if lay.remnant is None:
        kinds = [s["spread"] for s in sections]
        assert ends == pytest.approx(lay.end_allowance * (1 if kinds[-1] == "crosswise fold" else 2))
    length = sum(s.lay_length for s in lay.sections) + ends
    said = _before(lay)[-1]
    # "1.581 m" or "58.1 cm"
    long = next(
        float(number) * scale
        for number, unit in (said.split(", ")[-2 if " included" in said else -1].split(" long")[0].split()[:2],)
        for scale in ({"m": 1000.0, "cm": 10.0}[unit],)
    )
    assert long == pytest.approx(length, abs=1.0), said
    if len(lay.sections) == 1 and not lay.imperial:
        for row in _rows(lay, set()):
            for key in ("tail", "head"):
                assert float(row["cells"][key].split(" · ")[1]) * 10 <= length + 0.5


def test_the_cut_list_tells_left_from_right_and_whose_it_is() -> None:
    """As the printed sheet does; number 1 of a garment is there once in each size."""
    seen = set()
    for make in samples.ALL.values():
        lay = make()
        for row, cells in zip(rows(lay), (r["cells"] for r in _rows(lay, set())), strict=True):
            assert cells["hand"] == row.hand
            assert cells["for"].split() == " ".join(filter(None, (row.garment, row.size, row.copy))).split()
            seen.add(row.hand)
    assert {"left", "right"} <= seen
