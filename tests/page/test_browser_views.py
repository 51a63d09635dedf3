"""Every view in a browser: nothing serious by axe-core, a silent console, quick, by keyboard, legible when narrow."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.browsing import (
    GRAINS,
    ROOT,
    axe,
    browsed,
    demo,
    front_and_back,
    lay_it,
    need_browser,
    order_of_both,
    served,
)

pytestmark = pytest.mark.slow

#: draws the view anew with the same elements, as a new document of the server does
REDRAWN = """async () => {
    const { redraw } = await import('/static/draw/dom.js');
    const view = document.querySelector('#view');
    redraw(view, ...view.cloneNode(true).childNodes);
}"""
VIEWS = ("pieces", "seams", "alterations", "cloth", "lay", "buy", "cut")
#: what is there once a view has what it shows
THERE = {
    "pieces": ".edge", "seams": '[data-key="seam-0"]', "alterations": '[data-key="alter-piece"]',
    "cloth": '[data-key="cloth-0-width"]', "lay": '[data-key="new-order"]', "buy": '[data-key="buy-start"]',
    "cut": '[data-key="print-files"]',
}  # fmt: skip


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The page of the demo."""
    need_browser()
    with served(demo(tmp_path_factory.mktemp("views"))) as address:
        yield address


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    """The page of an empty folder, and the folder."""
    need_browser()
    folder = tmp_path / "mine"
    folder.mkdir()
    with served(folder) as address:
        yield address, folder


def _go(page: Any, view: str) -> None:
    page.keyboard.press(f"Alt+{VIEWS.index(view) + 1}")
    need_browser().expect(page.locator(f'#view[data-view="{view}"]')).to_be_visible()


def _violations(page: Any, source: str) -> list[str]:
    """Serious findings; axe is injected through the debugger, so the policy of the page stays as it is."""
    page.evaluate(source)
    found = page.evaluate("async () => (await axe.run(document, {resultTypes: ['violations']})).violations")
    return [f"{v['id']}: {v['nodes'][0]['html'][:200]}" for v in found if v["impact"] in ("serious", "critical")]


@pytest.mark.parametrize("width", [1280, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_serious_finding_on_any_view(shown: str, width: int, scheme: str) -> None:
    """axe-core on each view, with what is folded away unfolded; and nothing is wider than the window."""
    source = axe()
    expect = need_browser().expect
    with browsed(shown, width=width, scheme=scheme) as page:
        found = {}
        for view in VIEWS:
            _go(page, view)
            expect(page.locator(THERE[view]).first).to_be_attached()
            if view == "pieces":
                page.locator(".edge").first.focus()
                page.keyboard.press("Enter")
                expect(page.locator('[data-key="edge-name"]')).to_be_visible()
            page.evaluate("() => { for (const e of document.querySelectorAll('#view details')) e.open = true; }")
            found[view] = _violations(page, source)
            overhang = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            assert overhang <= 0, f"{view} is {overhang} px wider than a window of {width}"
        page.locator('[data-key="help"]').click()
        found["help"] = _violations(page, source)
    assert not any(found.values()), found


def test_first_paint_and_usable(shown: str) -> None:
    """First paint within 1 s, pieces there to click within 2 s; the best of three, as other work may go on beside."""
    expect = need_browser().expect
    if os.getloadavg()[0] > 1.5:
        pytest.skip("the machine is busy: seconds tell nothing now")
    paints, usable = [], []
    with browsed(shown) as page:
        for _ in range(3):
            page.goto("about:blank")
            page.goto(shown)
            expect(page.locator(".edge").first).to_be_attached()
            usable.append(page.evaluate("performance.now()"))
            paints.append(page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime"))
    assert min(paints) < 1000, paints
    assert min(usable) < 2000, usable


def test_every_control_is_reached_by_the_tab_key(shown: str) -> None:
    """On each view the Tab key comes by every button, field and link that is not switched off."""
    with browsed(shown) as page:
        for view in ("cloth", "lay", "cut"):
            _go(page, view)
            need_browser().expect(page.locator(THERE[view]).first).to_be_attached()
            unreachable = page.evaluate(
                """() => [...document.querySelectorAll('#view :is(button, input, select, a[href], summary)')]
                .filter((e) => !e.disabled && e.checkVisibility() && e.tabIndex < 0 && !e.matches('.what'))
                .map((e) => e.outerHTML.slice(0, 160))"""
            )
            assert not unreachable, (view, unreachable)


def test_words_are_explained_where_they_stand(shown: str) -> None:
    """A question mark shows a sentence and a picture; F1 in a field does the same; Esc takes it away."""
    expect = need_browser().expect
    with browsed(shown) as page:
        _go(page, "cloth")
        page.locator('[data-key="cloth-0-nap"]').focus()
        page.keyboard.press("F1")
        card = page.locator(".card-of-word")
        expect(card).to_contain_text("upside down")
        expect(card.locator("img")).to_be_visible()
        # The picture may still be on its way when the card is shown; one that never comes fails here.
        # not by a function that the page waits for: asked twice, the security policy refuses it
        picture = page.locator(".card-of-word img")
        assert picture.evaluate("img => img.decode().then(() => img.naturalWidth)") > 0
        # A document that comes in while somebody reads draws the view anew: the card stays until the reader moves on.
        page.evaluate(REDRAWN)
        page.wait_for_timeout(100)
        expect(page.locator('[data-key="cloth-0-nap"]')).to_be_focused()
        expect(card).to_be_visible()
        page.locator('[data-key="cloth-0-name"]').focus()
        expect(card).to_be_hidden()
        page.locator('[data-key="cloth-0-nap"]').focus()
        page.keyboard.press("F1")
        expect(card).to_be_visible()
        page.keyboard.press("Escape")
        expect(card).to_be_hidden()
        page.locator('.what[data-term="selvage"]').first.hover()
        expect(card).to_contain_text("finished edge")


#: field, what is typed into it, what is told
WORDS = [
    ("cloth-0-width", "wide", r"wide"),
    ("cloth-0-gap", "-3 mm", r"3"),
    ("cloth-0-shrink_along", "130 %", r"130|shrink"),
    ("cloth-0-stretch_across", "much", r"much"),
    ("cloth-0-price", "cheap", r"cheap"),
    ("garment-0-count", "some", r"some"),
    ("trim-0-ratio", "tight", r"tight"),
]


def test_a_wrong_word_is_told_where_it_was_typed(shown: str) -> None:
    """One sentence under the field, what was typed stays, the order is as before, nothing in the console."""
    expect = need_browser().expect
    with browsed(shown) as page:
        _go(page, "cloth")
        page.locator('[data-key="trim-0-s"]').click()
        for key, text, said in WORDS:
            field = page.locator(f'[data-key="{key}"]')
            expect(field).to_be_visible()
            before = field.input_value()
            field.fill(text)
            field.press("Enter")
            wrong = page.locator(f'.field:has([data-key="{key}"]) .wrong')
            expect(wrong).to_have_text(re.compile(said))
            assert len(wrong.inner_text()) < 320
            expect(field).to_have_value(text)
            expect(field).to_have_attribute("aria-invalid", "true")
            field.fill(before)
            field.press("Enter")
            expect(wrong).to_have_count(0)


def test_a_comma_is_a_point(shown: str) -> None:
    """147,5 cm is 147.5 cm."""
    expect = need_browser().expect
    with browsed(shown) as page:
        _go(page, "cloth")
        field = page.locator('[data-key="cloth-0-width"]')
        field.fill("147,5 cm")
        field.press("Enter")
        expect(page.locator("#status")).to_contain_text("147,5 cm")
        expect(page.locator(".wrong")).to_have_count(0)
        page.locator('[data-key="undo"]').click()
        expect(field).to_have_value("150 cm")


#: file, its content, what is told
FILES = [
    ("open.svg", '<svg xmlns="http://www.w3.org/2000/svg" width="99mm" height="99mm" viewBox="0 0 99 99">'
                 '<path fill="none" stroke="black" d="M5 5L90 5L90 90L5 60"/></svg>', r"open|clos"),
    ("empty.svg", "", r"empty|nothing|no "),
    ("letter.svg", "Dear aunt", r"letter\.svg"),
    ("thing.exe", "MZ", r"thing\.exe|SVG"),
]  # fmt: skip


def test_a_wrong_file_is_told_where_it_was_dropped(empty: tuple[str, Path]) -> None:
    """One sentence beside the place, the page goes on, nothing in the console."""
    expect = need_browser().expect
    address, folder = empty
    with browsed(address) as page:
        for name, content, said in FILES:
            drawing = folder.parent / name
            drawing.write_text(content)
            page.locator("#files").set_input_files(str(drawing))
            told = page.locator("#view .wrong", has_text=name).filter(has_text=re.compile(said, re.I))
            expect(told.first).to_be_visible()
        files = [str(f) for f in front_and_back(folder.parent)]
        page.locator("#files").set_input_files(files)
        expect(page.locator('.shape[data-piece^="front|"]')).to_be_visible()
        expect(page.locator("#view .wrong")).to_have_count(0)


def test_what_a_file_asks_when_it_comes(empty: tuple[str, Path]) -> None:
    """A PDF which of its pages and layers are read; a file of three sizes how many of each; an edge without a name,
    clicked among the seams, what it is called. Each answer stands in the order, and one step back takes it away."""
    from tests.outlines.pdf_makers import by_hand, front, moved

    expect = need_browser().expect
    address, folder = empty
    counts = "async () => (await (await fetch('/api/state')).json()).garments.map((g) => [g.size, g.count])"
    with browsed(address) as page:
        status, dialog = page.locator("#status"), page.locator("dialog[open]")
        page.locator("#files").set_input_files(str(ROOT / "fixtures" / "demo" / "briefs.dxf"))
        expect(dialog).to_contain_text("3 sizes")
        fields = dialog.locator("input")
        expect(fields).to_have_count(3)
        for at, count in enumerate(("0", "2", "1")):
            fields.nth(at).fill(count)
        before = page.evaluate(counts)
        assert [n for _, n in before] == [1, 1, 1]
        dialog.get_by_role("button", name="Take these").click()
        expect(status).to_contain_text("Counted")
        assert page.evaluate(counts) == [[before[1][0], 2], [before[2][0], 1]]
        page.locator('[data-key="undo"]').click()
        expect(status).to_contain_text("Taken back")
        assert page.evaluate(counts) == before

        drawing = folder.parent / "sheets.pdf"
        first = [{"shape": front(), "layer": "outline"}, {"shape": moved(front(0.8), 0, 0), "layer": "smaller"}]
        drawing.write_bytes(by_hand([first, [{"shape": front(0.6)}]], (260.0, 260.0)))
        page.locator("#files").set_input_files(str(drawing))
        expect(dialog).to_contain_text("sheets.pdf")
        expect(dialog.locator("svg.small")).to_have_count(2)
        for at in (0, 1):
            dialog.locator('input[id^="pdf-page"]').nth(at).uncheck()
        dialog.get_by_role("button", name="Read these").click()
        expect(dialog.locator(".wrong")).to_contain_text("at least one page")
        dialog.locator('[data-key="pdf-page-1"]').check()
        dialog.get_by_label("smaller").uncheck()
        dialog.get_by_role("button", name="Read these").click()
        expect(dialog).to_have_count(0)
        expect(page.locator('[data-key="file-choose-1"]')).to_contain_text("pages 1, layers outline")

        page.locator("#files").set_input_files([str(f) for f in front_and_back(folder.parent)])
        expect(page.locator('.shape[data-piece^="back|"]')).to_have_count(1)
        _go(page, "seams")
        page.locator('.edge[aria-label^="edge from corner 2 to 3, no name of back,"]').focus()
        page.keyboard.press("Enter")
        expect(dialog).to_contain_text("back")
        page.keyboard.type("side")
        page.keyboard.press("Enter")
        expect(page.locator('.edge.chosen[aria-label^="edge side of back,"]')).to_be_visible()
        expect(page.locator("[aria-label='A seam in the making']")).to_contain_text("back.side")


def test_a_scanned_sheet_becomes_a_piece_by_click(empty: tuple[str, Path]) -> None:
    """A PDF that is a scan: two lengths are clicked in it, what only a person knows is chosen, and it is a piece."""
    from tests.outlines.test_photos import scanned

    expect = need_browser().expect
    address, folder = empty
    with browsed(address) as page:
        sheet = folder.parent / "sheet.pdf"
        sheet.write_bytes(scanned()[1])
        page.locator("#files").set_input_files(str(sheet))
        page.locator('[data-key="photo-way"]').select_option("scan")
        page.locator('[data-key="photo-look"]').click()
        expect(page.locator("[aria-label='Photographs'] .wrong")).to_contain_text("level length")
        # 300 dots an inch, 2400 by 2700: 20 cm are 2362 of them
        for of, ends in (("level", ((0.005, 0.02), (0.9893, 0.02))), ("upright", ((0.02, 0.005), (0.02, 0.8799)))):
            page.locator(f'[data-key="scan-{of}-pick"]').click()
            for across, down in ends:
                box = page.locator(".tapped .picture").bounding_box()
                at = {"x": box["width"] * across, "y": box["height"] * down}
                page.locator(".tapped .picture").click(position=at)
            expect(page.locator(f'[data-key="scan-{of}-ends"]')).to_have_value(re.compile(r"^\d+,\d+ \d+,\d+$"))
            page.locator(f'[data-key="scan-{of}-long"]').fill("20 cm")
            page.locator(f'[data-key="scan-{of}-long"]').press("Enter")
        expect(page.locator(".tapped .measured")).to_have_count(2)
        page.locator('[data-key="photo-look"]').click()
        expect(page.locator('[data-key="photo-0-line"]')).to_be_visible(timeout=90_000)
        for field, answer in (("line", "cut"), ("fold", "none"), ("grain", "none")):
            page.locator(f'[data-key="photo-0-{field}"]').select_option(answer)
        if page.locator('[data-key="photo-0-notches"]').count():
            page.locator('[data-key="photo-0-notches"]').select_option("none")
        page.locator('[data-key="photo-look"]').click()
        expect(page.locator(".shape")).to_have_count(1, timeout=90_000)


def test_two_tabs_are_told_and_show_the_same(shown: str) -> None:
    """The second tab is told; what the first changes, the second shows."""
    expect = need_browser().expect
    with browsed(shown) as page:
        second = page.context.new_page()
        second.goto(shown)
        expect(second.locator("#notices")).to_contain_text("2 tabs")
        _go(page, "cloth")
        second.bring_to_front()
        _go(second, "cloth")
        field = page.locator('[data-key="garment-0-count"]')
        before = field.input_value()
        field.fill("9")
        field.press("Enter")
        expect(second.locator('[data-key="garment-0-count"]')).to_have_value("9")
        second.locator('[data-key="undo"]').click()
        expect(field).to_have_value(before)
        second.close()


def test_projector_by_keyboard(shown: str) -> None:
    """Laid, thrown on the table: corners by arrow keys, check lines, dark and light, the cloth moved on, one by one."""
    expect = need_browser().expect
    with browsed(shown) as page:
        _go(page, "lay")
        page.locator('[data-key="lay-exact-s"]').click()
        page.locator('[data-key="lay-rounds"]').fill("1")
        page.locator('[data-key="lay-rounds"]').press("Enter")
        page.locator('[data-key="lay-spread"]').select_option("open")
        page.locator('[data-key="lay-start"]').click()
        expect(page.locator(".verdict")).to_contain_text("Proved", timeout=240_000)
        _go(page, "cut")
        page.locator('[data-key="beam"]').click()
        beam = page.locator("dialog.beam")
        expect(beam).to_be_visible()
        expect(beam.locator(".frame")).to_contain_text("diagonals")
        corner = page.locator('[data-key="beam-corner-0"]')
        corner.focus()
        before = corner.get_attribute("transform")
        corner.press("Shift+ArrowLeft")
        corner.press("ArrowUp")
        assert corner.get_attribute("transform") != before
        page.locator('[data-key="beam-save"]').click()
        expect(beam.locator("[data-beam]").first).to_be_attached()
        first = beam.locator("[data-beam] path").first.get_attribute("d")
        page.locator('[data-key="beam-on"]').click()
        assert beam.locator("[data-beam] path").first.get_attribute("d") != first
        page.locator('[data-key="beam-one"]').click()
        expect(beam.locator("[data-beam]")).to_have_count(1)
        page.locator('[data-key="beam-invert"]').click()
        expect(beam).to_have_class(re.compile("light"))
        page.locator('[data-key="beam-leave"]').click()
        expect(beam).to_have_count(0)
        # the views of a lay, and the picture on the cloth, by axe-core as well
        source = axe()
        found = {"cut": _violations(page, source)}
        page.locator('[data-key="beam"]').click()
        expect(page.locator("dialog.beam")).to_be_visible()
        found["beam"] = _violations(page, source)
        page.locator('[data-key="beam-leave"]').click()
        _go(page, "lay")
        page.locator(".laid").first.click()
        expect(page.locator('[data-key="hold"]')).to_be_visible()
        found["lay"] = _violations(page, source)
        assert not any(found.values()), found


#: marks of a state by class, beside the plain thing; what makes the difference must not be colour alone
STATES = [
    ("shape", "shape chosen"), ("shape", "shape broken"), ("laid", "laid chosen"), ("laid", "laid overlapping"),
    ("laid", "laid failing"), ("laid", "laid kept"), ("laid", "laid lit"), ("laid", "laid cutout"),
    ("shape chosen", "shape broken"), ("laid chosen", "laid overlapping"),
]  # fmt: skip
#: width and dashes of the outline that a state has, drawn for a moment on a board of the page
OUTLINE = """(state) => {
    const svg = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
    const group = document.createElementNS('http://www.w3.org/2000/svg', 'g');
    const path = document.createElementNS('http://www.w3.org/2000/svg', 'path');
    svg.setAttribute('class', 'board'); group.setAttribute('class', state); path.setAttribute('class', 'cutline');
    group.append(path); svg.append(group); document.body.append(svg);
    const {strokeWidth, strokeDasharray} = getComputedStyle(path);
    svg.remove();
    return strokeWidth + ' ' + strokeDasharray;
}"""


def test_nothing_on_a_drawing_is_told_by_colour_alone(shown: str) -> None:
    """Chosen, unusable, overlapping, held, cut: each has another width or dash, so that it is seen in grey."""
    with browsed(shown) as page:
        for plain, marked in STATES:
            assert page.evaluate(OUTLINE, plain) != page.evaluate(OUTLINE, marked), (plain, marked)


def test_the_pieces_of_a_garment_are_lit_from_the_list_of_tints(tmp_path: Path) -> None:
    """Tints are near to one another in grey: a click on a garment tells which pieces are its own, another ends it."""
    expect = need_browser().expect
    folder = tmp_path / "mine"
    order = order_of_both(folder, 'spreads = ["open"]\n') + GRAINS
    order += '[[garment]]\nname = "long"\n[[garment]]\nname = "bib"\npieces = ["front"]\n'
    (folder / "order.toml").write_text(order, encoding="utf-8")
    with served(folder) as address, browsed(address) as page:
        lay_it(page)
        # two fronts of the bib among six pieces, two of each
        expect(page.locator(".laid")).to_have_count(6)
        page.locator('[data-key="whose-bib"]').click()
        expect(page.locator(".laid.lit")).to_have_count(2)
        expect(page.locator('[data-key="whose-bib"]')).to_have_attribute("aria-pressed", "true")
        page.locator('[data-key="whose-long"]').press("Enter")
        expect(page.locator(".laid.lit")).to_have_count(4)
        page.locator('[data-key="whose-long"]').click()
        expect(page.locator(".laid.lit")).to_have_count(0)
