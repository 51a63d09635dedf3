"""Slips that only a browser can make: two clicks for one, two drops at once, a drop beside the mark; a second try."""

from __future__ import annotations

import contextlib
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.page.browsing import GRAINS, browsed, lay_it, need_browser, order_of_both, served

pytestmark = pytest.mark.slow

#: drops one file at a place of the page, as a hand would
DROP = """([spot, name, text]) => {
    const held = new DataTransfer();
    held.items.add(new File([text], name));
    const drop = new DragEvent('drop', {dataTransfer: held, bubbles: true, cancelable: true});
    document.querySelector(spot).dispatchEvent(drop);
}"""


def _order(folder: Path) -> dict[str, Any]:
    return tomllib.loads((folder / "order.toml").read_text(encoding="utf-8"))


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A folder with a front and a back without grain, in an order of both and one cloth."""
    folder = tmp_path / "mine"
    order = order_of_both(folder) + '[[garment]]\nname = "shorts"\n'
    (folder / "order.toml").write_text(order, encoding="utf-8")
    return folder


def test_a_double_click_is_one_wish(own: Path) -> None:
    """A cloth is added once and nothing is refused; of two leftovers, the one whose button it was is taken out."""
    expect = need_browser().expect
    with served(own) as address, browsed(address) as page:
        page.locator('[data-key="go-cloth"]').click()
        page.locator('[data-key="new-cloth-name"]').fill("lining")
        page.locator('[data-key="new-cloth-width"]').fill("140 cm")
        page.locator('[data-key="add-cloth"]').dblclick()
        expect(page.locator('[data-key="cloth-1-width"]')).to_have_value("140 cm")
        page.wait_for_timeout(700)
        expect(page.locator("#view .wrong")).to_have_count(0)
        for name in ("one", "two"):
            page.locator('[data-key="new-remnant-name"]').fill(name)
            page.locator('[data-key="new-remnant-width"]').fill("40 cm")
            page.locator('[data-key="new-remnant-length"]').fill("50 cm")
            page.locator('[data-key="add-remnant"]').click()
            expect(page.get_by_text(f"{name} · main")).to_be_visible()
            page.wait_for_timeout(500)
        page.locator('[data-key="remnant-out-0"]').dblclick()
        expect(page.get_by_text("one · main")).to_have_count(0)
        page.wait_for_timeout(700)
    assert [one["name"] for one in _order(own)["cloth"]] == ["main", "lining"]
    assert [one["name"] for one in _order(own)["remnant"]] == ["two"]


def test_two_drops_at_once_are_both_read_and_asked_once(own: Path) -> None:
    """Of two sizes one question tells both; dropped where nothing is read, it is said where it would be."""
    expect = need_browser().expect
    (own / "order.toml").unlink()
    drawing = (own / "front.svg").read_text(encoding="utf-8")
    with served(own) as address, browsed(address) as page:
        for size in ("l", "xl"):
            page.evaluate(DROP, ["#view > *", f"front-{size}.svg", drawing])
        expect(page.locator("dialog[open]")).to_have_count(1)
        expect(page.locator("dialog[open]")).to_contain_text("XL")
        expect(page.locator("dialog[open] table tr")).to_have_count(2)
        page.locator("dialog[open] .answers .main").click()
        expect(page.locator("dialog[open]")).to_have_count(0)
        assert [one["file"] for one in _order(own)["pattern"]] == ["front-l.svg", "front-xl.svg"]
        page.locator('[data-key="go-seams"]').click()
        expect(page.locator('#view[data-view="seams"]')).to_be_visible()
        page.evaluate(DROP, ["#view", "front-s.svg", drawing])
        expect(page.locator("#status")).to_contain_text("drop pattern drawings under Pieces")
    assert len(_order(own)["pattern"]) == 2


def test_what_was_refused_is_tried_again_as_it_stands(own: Path) -> None:
    """Nobody types it twice: the Enter key in the field is enough."""
    expect = need_browser().expect
    with served(own) as address, browsed(address) as page:
        page.locator('[data-key="go-cloth"]').click()
        field = page.locator('[data-key="cloth-0-width"]')
        expect(field).to_have_value("150 cm")
        # another program's change bars every step until somebody decides
        text = (own / "order.toml").read_text(encoding="utf-8")
        (own / "order.toml").write_text(text + "# looked at\n", encoding="utf-8")
        field.fill("140 cm")
        field.press("Tab")
        expect(page.locator("#view .wrong").first).to_contain_text("another program", ignore_case=True)
        page.locator('[data-key="disk-reload"]').click()
        expect(page.locator('[data-key="disk-reload"]')).to_have_count(0)
        field.press("Enter")
        expect(page.locator("#view .wrong")).to_have_count(0)
    assert _order(own)["cloth"][0]["width"] == "140 cm"


def test_a_piece_that_nobody_named_is_named_by_a_click(own: Path) -> None:
    """The card of the piece asks for its name; the drawing, the list and the order have it."""
    expect = need_browser().expect
    bare = '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="300mm" viewBox="0 0 300 300">'
    bare += '<path fill="none" stroke="black" d="M10 10H290V290H10Z"/></svg>'
    (own / "front.svg").write_text(bare, encoding="utf-8")
    with served(own) as address, browsed(address) as page:
        page.locator('[data-piece="piece 1|"] .cutline').click()
        name = page.locator('[data-key="piece-name"]')
        expect(name).to_have_value("")
        name.fill("yoke")
        name.press("Enter")
        expect(page.locator('[data-piece="yoke|"] .word').first).to_have_text("yoke")
        expect(page.locator('[data-key="piece-name"]')).to_have_value("yoke")
    assert _order(own)["pattern"][0]["names"] == {"piece 1": "yoke"}


def test_an_open_outline_is_drawn_where_it_is_told(own: Path) -> None:
    """The refusal under the drop field has a picture with the gap's width; so has a file in the order that was opened
    by another program."""
    expect = need_browser().expect
    bare = '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="300mm" viewBox="0 0 300 300">'
    bare += '<path fill="none" stroke="black" d="M10 10H290V290H10V35"/></svg>'
    with served(own) as address, browsed(address) as page:
        page.evaluate(DROP, ["#view > *", "open.svg", bare])
        told = page.locator(".openoutline")
        expect(told.locator("text")).to_have_text("2.5 cm")
        expect(told.locator("figcaption")).to_contain_text("Open at 1 place: 2.5 cm")
        (own / "front.svg").write_text(bare, encoding="utf-8")
        page.reload()
        expect(page.locator('section[aria-label="Pattern files"] .openoutline figcaption')).to_contain_text("2.5 cm")
    assert not (own / "open.svg").exists()


def test_an_order_in_inches_has_a_tape_in_inches(own: Path) -> None:
    """On the projected rectangle, which is 24 by 16 in: every second inch is told, as are the diagonals."""
    expect = need_browser().expect
    text = (own / "order.toml").read_text(encoding="utf-8").replace('"cm"', '"in"').replace("150 cm", "60")
    text += GRAINS
    (own / "order.toml").write_text(text, encoding="utf-8")
    with served(own) as address, browsed(address) as page:
        lay_it(page)
        page.locator('[data-key="go-cut"]').click()
        page.locator('[data-key="beam"]').click()
        # worked by hand: the root of 24² + 16² is 28.8444, nearer to 28 14/16 than to 28 13/16
        expect(page.locator(".beam .said")).to_have_text("both diagonals 28 7/8 in")
        tape = page.locator(".beam .tape").all_text_contents()
        assert set(tape) == {str(n) for n in range(2, 24, 2)}, tape
        expect(page.locator('[data-key="beam-w"]')).to_have_value("24 in")
        page.locator('[data-key="beam-w"]').fill("30 1/2")
        page.locator('[data-key="beam-w"]').press("Tab")
        expect(page.locator('[data-key="beam-w"]')).to_have_value("30 1/2 in")
    # a page that is started anew proves the lay again, and the sheet that was asked for first hears of it
    with served(own) as address, browsed(address) as page:
        page.locator('[data-key="go-cut"]').click()
        expect(page.locator('[data-key^="tick-"]').first).to_be_visible()
        page.wait_for_timeout(1000)
        expect(page.locator("#view .wrong")).to_have_count(0)


def test_a_server_that_is_gone_is_told_once_and_the_work_goes_on_when_it_is_back(own: Path) -> None:
    """Killed under an open tab: one sentence, nothing asked for meanwhile (``browsed`` holds that the console stays
    empty), what was typed is tried again as it stands; started again in the same way, the tab is its own."""
    expect = need_browser().expect
    with contextlib.ExitStack() as stack:
        started = stack.enter_context(contextlib.ExitStack())
        address = started.enter_context(served(own))
        page = stack.enter_context(browsed(address))
        page.locator('[data-key="go-cloth"]').click()
        field = page.locator('[data-key="cloth-0-width"]')
        expect(field).to_have_value("150 cm")
        started.close()
        expect(page.locator("#notices")).to_contain_text("The program does not answer. Nothing is lost")
        field.fill("140 cm")
        field.press("Tab")
        expect(page.locator("#view .wrong").first).to_contain_text("was not done")
        for view in ("seams", "cut", "cloth"):
            page.locator(f'[data-key="go-{view}"]').click()
        page.wait_for_timeout(6000)
        again = stack.enter_context(served(own))
        assert again == address
        expect(page.locator("#status")).to_contain_text("The program is back")
        expect(page.locator("#notices")).not_to_contain_text("does not answer")
        field.press("Enter")
        expect(page.locator("#view .wrong")).to_have_count(0)
        expect(field).to_have_value("140 cm")
        # a second page of the same order, while the first is there, has a place and a key of its own
        other = stack.enter_context(served(own))
        assert other.partition("?")[0] != address.partition("?")[0] and other.partition("=")[2] not in address
    assert _order(own)["cloth"][0]["width"] == "140 cm"
