"""What to buy never contradicts the lay that is there."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from nesting.page.known_lays import with_known
from nesting.report.drawing.view import laid_sections, picture
from tests.page.conftest import Server
from tests.report import samples


def _row(width: float, buy: float, **more: Any) -> dict[str, Any]:
    row = {"cloth": "main", "width": width, "spread": "lengthwise fold", "nap": "none", "garments": 4, "best": False,
           "lay_length": buy - 40.0, "buy_length": buy, "per_garment": buy / 4, "cost": buy / 100, "one_more": 300.0,
           "next_garment": "bag", "utilisation": 0.7, "over": None, "apart_from": None, "in_all": None}  # fmt: skip
    return {**row, **more}


def _document(*rows: dict[str, Any]) -> dict[str, Any]:
    points = [{"count": n, "buy_length": 500.0 * n} for n in (1, 2, 3, 4, 5)]
    return {"rows": list(rows), "curves": [{"cloth": "main", "points": points}], "trims": [], "refused": []}


def _lay(buy: float, width: float) -> Any:
    return replace(samples.open_lay(), cloth="main", width=width, buy_length=buy, lay_length=buy - 50.0)


def test_a_shorter_lay_takes_the_row_of_its_width() -> None:
    """Lengths, cost, what one more adds and the curve follow; the document that is kept stays as it was."""
    document = _document(_row(1400, 2000.0), _row(1400, 2100.0, nap="one way"), _row(1500, 1700.0, best=True))
    before = json.dumps(document)
    found = with_known(document, [_lay(1700.0, 1400)])
    assert json.dumps(document) == before
    mine, napped, other = found["rows"]
    assert (mine["buy_length"], mine["lay_length"], mine["spread"]) == (1700.0, 1650.0, "open")
    assert (mine["cost"], mine["per_garment"], mine["one_more"]) == (17.0, 425.0, 600.0)
    assert (mine["best"], other["best"]) == (True, False), "the cloth that is there takes no more than another width"
    assert napped == document["rows"][1] and napped["buy_length"] == 2100.0
    assert [p["buy_length"] for p in found["curves"][0]["points"]] == [500, 1000, 1500, 1700, 2500]


@pytest.mark.parametrize(("buy", "width"), [(2000.0, 1400), (2300.0, 1400), (900.0, 1450)])
def test_a_lay_that_is_no_shorter_or_of_another_width_changes_nothing(buy: float, width: float) -> None:
    """Rows and curve stay."""
    document = _document(_row(1400, 2000.0, best=True))
    assert with_known(document, [_lay(buy, width)]) == document


def test_the_page_s_table_goes_by_the_lay_that_is_shown(empty: Server) -> None:
    """Only while it is of the order as it is; the shopping list says the same length."""
    work, lays = empty.page.work, empty.page.lays
    order = '[[cloth]]\nname = "main"\nwidth = "140 cm"\n'
    work.path.write_text(order, encoding="utf-8")
    empty.do("disk.reload")
    lay = replace(_lay(1700.0, 1400.0), order_sha256=work.sha256)
    assert laid_sections(lay, picture(lay))
    kept = {"document": _document(_row(1400, 2000.0, best=True)), "sha": work.sha256}
    work.store("buy.json", json.dumps(kept).encode())
    assert empty.get("buy")["rows"][0]["buy"] == 2000.0
    work.history.state["lay:main"] = {"lay": lays.keep(lay), "moves": {}, "kept": [], "move": 1}
    doc = empty.get("buy")
    assert (doc["rows"][0]["buy"], doc["rows"][0]["known"]) == (1700.0, True)
    assert doc["shopping"] == ["main: 1.7 m, 140 cm wide (open)"]
    old = replace(lay, order_sha256="0" * 64)
    work.history.state["lay:main"] = {"lay": lays.keep(old), "moves": {}, "kept": [], "move": 2}
    assert empty.get("buy")["rows"][0]["buy"] == 2000.0
