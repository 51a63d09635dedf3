"""Somebody whom a garment is cut for: their own alterations are drawn, tried and carried through to the sheet."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from tests.page.browsing import GRAINS, browsed, front_and_back, lay_it, need_browser, order_of_both, served
from tests.page.conftest import Server


def _order(server: Server) -> dict:
    return tomllib.loads(server.page.work.path.read_text(encoding="utf-8"))


def _high(outline: list[list[float]]) -> float:
    ys = [y for _, y in outline]
    return max(ys) - min(ys)


@pytest.fixture
def shorts(empty: Server, tmp_path: Path) -> Server:
    """Front and back, grain up the drawing, 280 mm high, side seam named and sewn; Ada with two measures."""
    folder = tmp_path / "drawn"
    folder.mkdir()
    for path in front_and_back(folder):
        assert empty.drop((path.name, path.read_bytes()))["ok"]
    for piece in ("front", "back"):
        empty.do("piece.set", piece=piece, key="grain", value=90)
        empty.do("edge.name", piece=piece, start=2, end=3, name="side")
    empty.do("cloth.add", name="main", width="150 cm")
    empty.do("seam.add", sides=["front.side", "back.side"])
    empty.do("wearer.add", name="Ada", measures={"hip": "96 cm"})
    return empty


def test_what_is_altered_for_a_wearer_is_drawn_for_her(shorts: Server) -> None:
    """280 mm and 20 mm are 300 mm (worked by hand), for her alone, tried or written, with or without a garment."""
    wish = {"kind": "lengthen", "pieces": ["front"], "by": "2 cm", "at": "14 cm", "wearer": "Ada"}
    tried = shorts.do("alter.try", **wish)["shapes"]["front|Ada"]
    assert (_high(tried["before"]["outline"]), _high(tried["after"]["outline"])) == pytest.approx((280, 300), abs=0.01)
    shorts.do("alter.add", **wish)
    doc = shorts.get("alterations")
    assert _high(doc["shapes"]["front|Ada"]["after"]["outline"]) == pytest.approx(300, abs=0.01)
    assert _high(doc["shapes"]["front|"]["after"]["outline"]) == pytest.approx(280, abs=0.01)
    assert doc["alterations"][0]["at_mm"] == pytest.approx(140, abs=0.01)
    # a second of hers is tried on top of the first
    again = shorts.do("alter.try", **{**wish, "by": "1 cm"})["shapes"]["front|Ada"]
    assert _high(again["after"]["outline"]) == pytest.approx(310, abs=0.01)
    # what no longer meets turns up beside it as soon as something is cut for her, and bars cutting
    shorts.do("garment.set", index=0, key="wearer", value="Ada")
    assert [one["agrees"] for one in shorts.get("alterations")["seams"]] == [False]
    assert shorts.get("state")["blockers"]


def test_what_cannot_be_done_for_a_wearer_is_refused_when_it_is_tried(shorts: Server) -> None:
    """Shorter by more than the piece has, though nothing is cut for her yet; and for nobody that the order knows."""
    wish = {"kind": "shorten", "pieces": ["front"], "at": "14 cm", "wearer": "Ada"}
    assert "front" in shorts.refused("alter.try", by="50 cm", **wish)["message"]
    assert "Bea" in shorts.refused("alter.add", by="1 cm", **{**wish, "wearer": "Bea"})["message"]
    assert "alter" not in _order(shorts)


def test_a_wearer_is_called_something_else_with_all_that_is_hers(shorts: Server) -> None:
    """Garments and alterations go along; one name twice, or none, is refused, as is taking her out."""
    shorts.do("garment.set", index=0, key="wearer", value="Ada")
    shorts.do("alter.add", kind="lengthen", pieces=["front"], by="2 cm", at="14 cm", wearer="Ada")
    shorts.do("wearer.set", index=0, key="name", value="Ada L")
    order = _order(shorts)
    assert order["garment"][0]["wearer"] == order["alter"][0]["wearer"] == order["wearer"][0]["name"] == "Ada L"
    assert shorts.get("state")["readable"]
    shorts.do("wearer.add", name="Bea")
    for name in ("Ada L", " Ada L "):
        assert "already" in shorts.refused("wearer.add", name=name)["message"]
    assert "already" in shorts.refused("wearer.set", index=1, key="name", value="Ada L")["message"]
    assert "name" in shorts.refused("wearer.set", index=1, key="name", value=" ")["message"]
    told = shorts.refused("wearer.remove", index=0)["message"]
    assert "cut for Ada L" in told and "1 alteration " in told
    shorts.do("wearer.remove", index=1)
    assert [one["name"] for one in _order(shorts)["wearer"]] == ["Ada L"]


@pytest.mark.slow
def test_a_garment_for_a_wearer_by_click(tmp_path: Path) -> None:
    """Added, measured, altered, laid: the drawing, the lay, the list to tick and the files carry her name."""
    expect = need_browser().expect
    folder = tmp_path / "mine"
    order = order_of_both(folder) + GRAINS + '[[garment]]\nname = "shorts"\n'
    (folder / "order.toml").write_text(order, encoding="utf-8")
    with served(folder) as address, browsed(address) as page:

        def fill(key: str, text: str) -> None:
            field = page.locator(f'[data-key="{key}"]')
            field.fill(text)
            field.press("Enter")

        page.locator('[data-key="go-cloth"]').click()
        fill("new-wearer", "Ada")
        page.locator('[data-key="add-wearer"]').click()
        # who has no measures yet is asked for them
        fill("wearer-0-hip", "96 cm")
        people = page.locator('section[aria-label="People"]')
        expect(people).to_contain_text("Ada · 1 measure")
        fill("wearer-0-waist", "seventy")
        expect(people.locator(".wrong")).to_contain_text("seventy")
        fill("wearer-0-waist", "72,5")
        expect(people).to_contain_text("Ada · 2 measures")
        page.locator('[data-key="go-alterations"]').click()
        for number, piece in enumerate(("front", "back")):
            page.locator('[data-key="alter-piece"]').select_option(piece)
            page.locator('[data-key="alter-wearer"]').select_option("Ada")
            fill("alter-by-text", "2 cm")
            page.locator('[data-key="alter-add"]').click()
            row = page.locator('section[aria-label="Alterations of this order"] li').nth(number)
            expect(row).to_contain_text("No garment is cut for Ada yet")
            # it is drawn over the piece as everybody has it
            expect(page.locator(f'[data-key="alter-{number}-show"]')).to_have_attribute("aria-pressed", "true")
            before, after = (page.locator(f".stage path.{one}").get_attribute("d") for one in ("before", "after"))
            assert before != after
        page.locator('[data-key="go-cloth"]').click()
        page.locator('[data-key="garment-0-wearer"]').select_option("Ada")
        expect(page.locator("#status")).to_contain_text("Ada")
        lay_it(page)
        expect(page.locator('#view[data-view="lay"]')).to_contain_text("shorts Ada")
        page.locator('[data-key="go-cut"]').click()
        expect(page.locator("#view table")).to_contain_text("front Ada")
        for kind in ("sheet", "labels", "list"):
            page.locator(f'[data-key="kind-{kind}"]').check()
        page.locator('[data-key="print-files"]').click()
        expect(page.locator("#status")).to_contain_text("Written", timeout=60_000)
    measures = tomllib.loads((folder / "order.toml").read_text(encoding="utf-8"))["wearer"][0]["measures"]
    assert measures == {"hip": "96 cm", "waist": "72,5"}
    lay = json.loads((folder / "order-results" / "lay-main.json").read_text(encoding="utf-8"))
    assert {p["size"] for p in lay["placements"]} == {"Ada"}
    assert ",Ada," in (folder / "order-results" / "cutting-list.csv").read_text(encoding="utf-8")
    import pypdfium2

    for name in ("labels-a4.pdf", "sheet-main-a4.pdf"):
        with pypdfium2.PdfDocument(folder / "order-results" / name) as pdf:
            assert "Ada" in "".join(one.get_textpage().get_text_range() for one in pdf), name
