"""The whole job in a browser, by mouse and keyboard only, on a pattern of its own; then again on the command line."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.page.browsing import ROOT, browsed, front_and_back, grabbed, need_browser, run_ended, served

pytestmark = pytest.mark.slow


def _drop(page: Any, files: list[Path]) -> None:
    """Files dropped onto the page, as a file manager would."""
    data = page.evaluate_handle(
        """(files) => { const d = new DataTransfer();
           for (const [name, text] of files) d.items.add(new File([text], name, {type: "image/svg+xml"}));
           return d; }""",
        [[f.name, f.read_text(encoding="utf-8")] for f in files],
    )
    for kind in ("dragenter", "dragover", "drop"):
        page.dispatch_event("#view", kind, {"dataTransfer": data})


def _fill(page: Any, key: str, text: str) -> None:
    """A field is typed into and left with the Enter key."""
    field = page.locator(f'[data-key="{key}"]')
    field.fill(text)
    field.press("Enter")


def _edge(page: Any, piece: str, start: int, end: int) -> Any:
    return page.locator(f'.edge[aria-label^="edge from corner {start} to {end}, no name of {piece},"]')


def _name(page: Any, piece: str, start: int, end: int, name: str) -> None:
    """An edge is clicked on its line and named."""
    _edge(page, piece, start, end).locator(".edgehit").dispatch_event("click")
    _fill(page, "edge-name", name)
    need_browser().expect(page.locator(f'.edge[aria-label^="edge {name} of {piece},"]')).to_be_visible()


def test_the_whole_job_by_mouse_and_keyboard(tmp_path: Path) -> None:
    """Drop, grain, edges, finishes, fold, seams, alteration, cloth, lay, drag, go on, tick, print, repeat."""
    expect = need_browser().expect
    folder, drawings = tmp_path / "mine", tmp_path / "drawings"
    folder.mkdir()
    drawings.mkdir()
    with served(folder) as address, browsed(address) as page:
        status = page.locator("#status")
        _drop(page, front_and_back(drawings, back_cut="cut 1"))
        expect(page.locator(".shape")).to_have_count(2)
        expect(page.locator("#blockers")).to_contain_text("Do not cut yet")

        # both are drawn with one outline: it is the one to cut along, with 1 cm in it
        expect(page.locator("[aria-label='Seam allowance']")).to_contain_text("front and back have one outline")
        _fill(page, "allowance-width", "1 cm")
        page.locator('[data-key="allowance-say"]').click()
        expect(status).to_contain_text("the allowance lies in the drawn line")
        expect(page.locator('[data-key="allowance-say"]')).to_have_count(0)

        # one guess at a grain is accepted, the other is not so, and that is not forgotten: there the arrow is drawn
        page.locator('[data-key^="accept-grain:front:"]').click()
        expect(status).to_contain_text("The grain of front may run up the drawing")
        offered = page.locator('[data-key^="decline-grain:back:"]')
        offered.click()
        expect(offered).to_have_count(0)
        page.reload()
        expect(page.locator('.shape[data-piece^="back|"]')).to_be_visible()
        expect(offered).to_have_count(0)
        page.locator('.shape[data-piece^="back|"] .cutline').click(position={"x": 40, "y": 40})
        page.locator('[data-key="grain-arrow"]').click()
        expect(status).to_contain_text("An arrow on back, pointing up")
        knob = page.locator('[data-key="grain-knob"]')
        knob.focus()
        knob.press("Shift+ArrowRight")
        expect(status).to_contain_text("Grain of back: 75°")
        page.locator('[data-key="undo"]').click()
        expect(status).to_contain_text("Taken back")
        expect(page.locator('[data-key="set-grain"]')).to_have_value("90")

        # edges: front 2-3 and back 2-3 are the sides, 4-5 the inner legs, 3-4 the waists, 1-2 ... as numbered
        for piece in ("front", "back"):
            _name(page, piece, 2, 3, "side")
            _name(page, piece, 1, 2, "leg")
            _name(page, piece, 3, 4, "waist")
        _fill(page, "edge-finish", "elastic 8 mm")
        expect(status).to_contain_text("elastic 8 mm")
        page.locator('.edge[aria-label^="edge leg of front"]').focus()
        page.keyboard.press("Enter")
        _fill(page, "edge-finish", "fold back 2,5 cm")
        expect(status).to_contain_text("fold back")
        # an edge that cannot be a fold says why
        page.locator('.edge[aria-label^="edge side of front"]').focus()
        page.keyboard.press("Enter")
        page.locator('[data-key="edge-fold"]').click()
        expect(page.locator(".wrong").first).not_to_be_empty()
        # the straight side at the centre of the back can, and lies on it from then on
        _edge(page, "back", 4, 5).locator(".edgehit").dispatch_event("click")
        page.locator('[data-key="edge-fold"]').click()
        expect(status).to_contain_text("back lies on the fold with this edge")
        expect(page.locator('.shape[data-piece^="back|"] .edge.onfold')).to_have_count(1)

        # seams
        page.keyboard.press("Alt+2")
        expect(page.locator('[data-key="go-seams"]')).to_have_attribute("aria-current", "page")
        page.locator('.edge[aria-label^="edge side of front"]').focus()
        page.keyboard.press("Enter")
        page.locator('.edge[aria-label^="edge side of back"]').focus()
        page.keyboard.press("Enter")
        expect(page.locator("figure svg.walk").first).to_be_visible()
        page.locator('[data-key="seam-add"]').click()
        expect(page.locator('[data-key="seam-0"]')).to_be_attached()

        # one alteration, the same on both pieces: the first by dragging its line, the second typed
        page.keyboard.press("Alt+3")
        page.locator('[data-key="alter-piece"]').select_option("front")
        x, y = grabbed(page, '[data-key="alter-by"]', '[data-key="alter-by"]:focus')
        for step in range(1, 9):
            page.mouse.move(x, y - 3 * step)
        page.mouse.up()
        by = page.locator('[data-key="alter-by-text"]')
        expect(by).not_to_have_value("1 cm")
        expect(page.locator("[aria-label='Seams beside it'] summary")).to_contain_text("apart")
        _fill(page, "alter-by-text", "1,5 cm")
        page.locator('[data-key="alter-add"]').click()
        expect(page.locator("#blockers")).to_contain_text("side")
        page.locator('[data-key="alter-piece"]').select_option("back")
        _fill(page, "alter-by-text", "1,5 cm")
        page.locator('[data-key="alter-add"]').click()
        expect(page.locator('[data-key="alter-1-by"]')).to_be_visible()

        # cloth and what to cut
        page.keyboard.press("Alt+4")
        _fill(page, "new-cloth-name", "main")
        _fill(page, "new-cloth-width", "90 cm")
        page.locator('[data-key="add-cloth"]').click()
        expect(page.locator('[data-key="cloth-0-width"]')).to_have_value("90 cm")
        _fill(page, "cloth-0-gap", "3 mm")
        _fill(page, "garment-0-name", "shorts")
        expect(page.locator('[data-key="garment-0-name"]')).to_have_value("shorts")
        _fill(page, "garment-0-count", "2")
        expect(page.locator('[data-key="garment-0-count"]')).to_have_value("2")
        expect(page.locator("#blockers")).to_be_hidden()

        # lay, by rounds
        page.keyboard.press("Alt+5")
        page.locator('[data-key="lay-exact-s"]').click()
        _fill(page, "lay-rounds", "5")
        page.locator('[data-key="lay-spread"]').select_option("open")
        page.locator('[data-key="lay-start"]').click()
        expect(page.locator(".verdict")).to_contain_text("Proved", timeout=240_000)
        expect(page.locator(".laid")).to_have_count(6)

        # drag to the right, beyond the end of the lay: there is room
        name = page.locator(".laid").last.get_attribute("data-laid")
        laid = f'.laid[data-laid="{name}"]'
        x, y = grabbed(page, f"{laid} .cutline", f"{laid}.chosen")
        page.mouse.move(x + 30, y, steps=5)
        page.mouse.move(x + 420, y, steps=20)
        page.mouse.up()
        expect(status).to_contain_text("moved")
        expect(page.locator(".verdict")).to_contain_text(re.compile("Proved|Does not hold"))
        expect(page.locator(laid)).to_have_class(re.compile("chosen"))
        page.locator('[data-key="hold"]').click()
        expect(page.locator('[data-key="lay-go-on"]')).to_contain_text("1 piece held")
        page.locator('[data-key="lay-go-on"]').click()
        run_ended(page, 2)
        expect(page.locator('[data-key="stop-lay"]')).to_be_hidden()
        expect(page.locator(".verdict")).to_contain_text("Proved")

        # the same on the command line
        command = page.locator("#foot code").inner_text()
        places = page.evaluate("async () => (await (await fetch('/api/lay')).json())")

        # tick and print
        page.keyboard.press("Alt+7")
        box = page.locator('[data-key^="tick-"]').first
        for _ in range(40):
            # a list that is replaced between the key's way down and up is not ticked: a person presses again
            box.focus()
            page.keyboard.press("Space")
            if page.locator(".laid.cutout").count():
                break
            page.wait_for_timeout(250)
        expect(page.locator(".laid.cutout")).to_have_count(1)
        expect(box).to_be_checked()
        page.reload()
        expect(page.locator(".laid.cutout")).to_have_count(1)
        page.locator('[data-key="kind-sheet"]').check()
        page.locator('[data-key="kind-tiles"]').check()
        page.locator('[data-key="print-files"]').click()
        expect(status).to_contain_text("Written", timeout=60_000)
        listed = page.locator("tr[data-row]").all_inner_texts()
        assert len(listed) == 6
        sheet, tiles = (_printed(page, kind) for kind in ("sheet", "tiles"))
        # what is printed has the distances that the page lists, and something to measure it by
        for row in listed:
            distances = re.findall(r"\d+\.\d", row)
            assert len(distances) >= 4 and all(one in sheet for one in distances), (row, sheet)
        assert re.search(r"square.*5(\.0)? cm", tiles, re.S), tiles

    _same_lay(command, folder, places)


def _printed(page: Any, kind: str) -> str:
    """The words on a printed file, fetched by its link on the page."""
    import pypdfium2

    link = page.locator(f'a[href*="{kind}"][href$=".pdf"]').first.get_attribute("href")
    answer = page.request.get(str(page.evaluate("(link) => new URL(link, location.href).href", link)))
    assert answer.ok, answer.status
    with pypdfium2.PdfDocument(answer.body()) as document:
        return "\n".join(sheet.get_textpage().get_text_range() for sheet in document)


def _same_lay(command: str, folder: Path, places: dict[str, Any]) -> None:
    words = shlex.split(command)
    assert words[:2] == ["nesting", "lay"], command
    assert "--from" in words and "--keep" in words and "--rounds" in words, command
    if "-o" in words:
        words[words.index("-o") + 1] = "again"
    else:
        words += ["-o", "again"]
    done = subprocess.run(
        [sys.executable, "-m", "nesting.cli", *words[1:]],
        cwd=folder, capture_output=True, text=True, timeout=300, env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    lay = json.loads(next((folder / "again").glob("lay-*.json")).read_text())
    ours = sorted(
        (p["piece"], round(p["x"], 3), round(p["y"], 3), p["turn"], p["flipped"])
        for part in places["sections"]
        for p in part["pieces"]
    )
    theirs = sorted(
        (p["piece"], round(p["x"], 3), round(p["y"], 3), p["turn"], p["flipped"]) for p in lay["placements"]
    )
    assert ours == theirs
