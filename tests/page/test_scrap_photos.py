"""A leftover from its photograph to the plan that lays on it, by the page: traced, in the stash, drawn, laid on."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from nesting.planning.leftovers.stash import read_stash
from tests.outlines.scenes import Scene, Shot, render
from tests.outlines.test_scraps import CLOTH
from tests.page.browsing import browsed, need_browser, run_ended, served
from tests.page.conftest import Server


def _shot() -> Shot:
    return render(Scene(CLOTH, seed=3, ground="pale", tilt=8, megapixels=3, fuzz=0.4, colour=(96, 98, 104)))


def _trace(server: Server, **asked: Any) -> dict[str, Any]:
    return server.client.post("/api/trace", json=asked).json()


def test_a_photographed_leftover_goes_into_the_stash(empty: Server) -> None:
    """Bars and cloth first, each asked for where it belongs; then it is there with its outline, and the command that
    does the same is shown."""
    empty.do("cloth.add", name="grey jersey", width="150 cm")
    shot = _shot()
    sent = empty.drop(("end of roll.jpg", shot.jpeg), kind="photo")
    told = empty.drop(("end of roll.jpg", shot.jpeg), kind="remnant")["problem"]
    assert "measured by the sheets of the mat" in told["message"] and "end of roll.jpg" in told["message"]
    tap = ",".join(f"{v:.0f}" for v in shot.pixel(np.array([(-80.0, 0.0)]))[0])
    asked = {"photos": sent["photos"], "bars": ["180,0", "240"], "cloth": "grey jersey", "taps": [f"1:{tap}"]}
    for change, words in (
        ({"bars": ["180", "long"]}, "bars"),
        ({"cloth": " "}, "which cloth"),
        ({"photos": ["../order.toml.jpg"]}, "the photograph of the leftover first"),
    ):
        refused = _trace(empty, **{**asked, **change})
        assert not refused["ok"] and words in refused["problem"]["message"], refused
        assert refused["problem"]["where"]["view"] == "cloth"
    made = _trace(empty, **asked, name="end of roll")
    assert made["ok"] and made["result"]["added"] == ["end of roll"], made
    assert "nesting stash stash.toml" in made["result"]["command"] and "--bars=180.0x240" in made["result"]["command"]
    (there,) = [one for one in empty.get("cloth")["remnants"] if one["source"] == "stash"]
    # drawn 335 by 230 mm: a little less than that is usable
    assert 300 < there["length"] < 335 and 200 < there["width"] < 230 and not there["rectangular"]


@pytest.mark.slow
def test_a_photographed_leftover_is_laid_on_by_click(tmp_path: Path) -> None:
    """Chosen on its card, measured, in the stash with its picture; the plan lays a small piece on it."""
    expect = need_browser().expect
    folder = tmp_path / "mine"
    folder.mkdir()
    square = '<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="120mm" viewBox="0 0 120 120">'
    square += '<g id="patch"><path class="cut" fill="none" stroke="black" d="M10 10H110V110H10Z"/></g></svg>'
    (folder / "patch.svg").write_text(square, encoding="utf-8")
    order = 'units = "cm"\n[[pattern]]\nfile = "patch.svg"\n[[cloth]]\nname = "main"\nwidth = "150 cm"\n'
    order += '[[garment]]\nname = "patch"\n[[piece]]\nname = "patch"\ngrain = 90\n'
    (folder / "order.toml").write_text(order, encoding="utf-8")
    shot = _shot()
    (tmp_path / "end.jpg").write_bytes(shot.jpeg)
    with served(folder) as address, browsed(address) as page:
        page.locator('[data-key="go-cloth"]').click()
        card = page.locator('section[aria-label="Leftovers"]')
        page.locator('[data-key="remnant-choose-files"]').set_input_files(os.fspath(tmp_path / "end.jpg"))
        expect(card.locator("legend")).to_contain_text("end.jpg")
        page.locator('[data-key="scrap-add"]').click()
        expect(card.locator(".wrong")).to_have_text("Measure the two bars printed on a sheet of the mat, in mm")
        for key, text in (("scrap-name", "end"), ("scrap-level", "180"), ("scrap-upright", "240")):
            page.locator(f'[data-key="{key}"]').fill(text)
            page.locator(f'[data-key="{key}"]').press("Tab")
        # the leftover is clicked in the picture
        picture = card.locator("img.picture")
        expect(picture).to_be_visible()
        box = picture.bounding_box()
        size = shot.size
        x, y = shot.pixel(np.array([(-80.0, 0.0)]))[0]
        picture.click(position={"x": x / size[0] * box["width"], "y": y / size[1] * box["height"]})
        page.locator('[data-key="scrap-add"]').click()
        expect(page.locator("#status")).to_contain_text("In the stash: end", timeout=120_000)
        row = card.locator("li").filter(has_text="end")
        expect(row.locator("svg")).to_be_visible()
        expect(row).to_contain_text("at home")
        expect(row).to_contain_text("Counts under Buy & use up")
        page.locator('[data-key="go-buy"]').click()
        page.locator('[data-key="remnants-start"]').click()
        run_ended(page, 1)
        answer = page.locator('section[aria-label="From leftovers"]')
        expect(answer).to_contain_text("patch (patch 1)")
        expect(answer.locator("svg, img").first).to_be_visible()
        page.locator('[data-key="go-cloth"]').click()
        page.locator('[data-key="gone-end"]').click()
        expect(card.locator("li")).to_have_count(0)
    assert not read_stash(folder / "stash.toml").items
