"""Measure the page in a browser: first paint, first lay, stop, and a drag among many pieces.

    python scripts/measure_page.py --only open search drag --pieces 200 --times 3

``open``: seconds from asking for the address until something is painted, and until a piece's edge is there to click.
``search``: seconds from the click on "Lay it" until a lay is drawn, and from the click on "Stop" until the page says
so, and until the lay that was kept is proved. ``drag``: a lay of ``--pieces`` pieces, one of them pulled to and fro
across its neighbours by ``--moves`` reports of the mouse: milliseconds between frames, from a report of the mouse until
the piece is drawn and judged against its neighbours, and from letting go until the proof has judged it. The order is
the demo's, its counts raised for ``drag``. Chromium without a screen draws by the processor.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from bench_layout import machine

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from tests.page.browsing import browsed, demo, need_browser, served  # noqa: E402

#: notes when the view's text says something for the first time; seconds since the click that was noted last
WATCH = """([what, text]) => new Promise((found) => {
    const says = (e) => e.checkVisibility() && e.textContent.includes(text);
    const shown = () => [...document.querySelectorAll(what)].some(says);
    const look = () => shown() ? found(performance.now() - window.clicked) : requestAnimationFrame(look);
    look();
})"""
#: the clicks that are timed
CLICKS = "() => { window.clicked = 0; addEventListener('click', () => { window.clicked = performance.now(); }, true); }"
#: raises how many are cut of every garment
COUNTS = """async (count) => {
    const state = await (await fetch('/api/state')).json();
    const counts = Object.fromEntries(state.garments.map((g) => [String(g.index), count]));
    const body = JSON.stringify({ cmd: 'garment.counts', counts });
    const reply = await (await fetch('/api/command', { method: 'POST', body })).json();
    if (!reply.ok) throw new Error(JSON.stringify(reply));
}"""
#: seconds since the piece was let go until the proof has judged
JUDGED = """() => new Promise((done) => {
    const moved = () => document.querySelector('#status').textContent.includes('moved');
    const judged = () => moved() && !/being judged/i.test(document.querySelector('.verdict').textContent);
    const look = () => judged() ? done(performance.now() - window.clicked) : requestAnimationFrame(look);
    look();
})"""
#: frames, and how long after a report of the mouse the piece was drawn where it belongs
FRAMES = """() => {
    const seen = window.seen = { frames: [], lags: [], on: true };
    let last = performance.now(), report = 0;
    const frame = (now) => { seen.frames.push(now - last); last = now; if (seen.on) requestAnimationFrame(frame); };
    requestAnimationFrame(frame);
    addEventListener('pointermove', (e) => { report ||= e.timeStamp; }, true);
    const watched = { subtree: true, attributes: true, attributeFilter: ['transform'] };
    new MutationObserver(() => { if (report) { seen.lags.push(performance.now() - report); report = 0; } })
        .observe(document.querySelector('.laid').parentElement, watched);
}"""


def main() -> None:
    """Print one line per figure."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", nargs="+", choices=("open", "search", "drag"), default=["open", "search", "drag"])
    parser.add_argument("--pieces", type=int, default=200)
    parser.add_argument("--moves", type=int, default=400)
    parser.add_argument("--times", type=int, default=3)
    asked = parser.parse_args()
    need_browser()
    print(machine())
    for name in asked.only:
        with tempfile.TemporaryDirectory() as folder, served(demo(Path(folder))) as address:
            {"open": _open, "search": _search, "drag": _drag}[name](address, asked)


def _say(name: str, seconds: list[float]) -> None:
    print(f"{name:>44}: " + ", ".join(f"{one:.2f}" for one in seconds) + " s", flush=True)


def _open(address: str, asked: argparse.Namespace) -> None:
    paints, usable = [], []
    with browsed(address) as page:
        for _ in range(asked.times):
            page.goto("about:blank")
            page.goto(address)
            page.locator(".edge").first.wait_for(state="attached")
            usable.append(page.evaluate("performance.now()") / 1000)
            paints.append(page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime") / 1000)
    _say("first paint", paints)
    _say("a piece's edge is there to click", usable)


def _ready(page: Any) -> None:
    """Wait for the search to be loaded: what a person does first takes longer than that."""
    need_browser().expect(page.locator("#notices")).not_to_contain_text("Getting ready", timeout=180_000)


def _search(address: str, asked: argparse.Namespace) -> None:
    expect = need_browser().expect
    first, told, kept = [], [], []
    with browsed(address) as page:
        _ready(page)
        page.keyboard.press("Alt+5")
        page.evaluate(CLICKS)
        for _ in range(asked.times):
            start = page.locator('[data-key="lay-start"]')
            expect(start).to_be_enabled()
            start.click()
            first.append(page.evaluate(WATCH, [".verdict", "best so far"]) / 1000)
            page.wait_for_timeout(2500)
            page.locator('[data-key="stop-lay"]').click()
            told.append(page.evaluate(WATCH, ["#status", "Stopped"]) / 1000)
            kept.append(page.evaluate(WATCH, [".verdict", "Proved"]) / 1000)
    _say("first lay drawn after the click", first)
    _say("stop told after the click", told)
    _say("the kept lay proved after that click", kept)


def _many(page: Any, pieces: int, begun: float) -> int:
    """Raise the counts until the first cloth carries that many pieces; the first lay of them is taken, as a good one
    of so many takes minutes. How many they are."""
    expect = need_browser().expect
    page.evaluate(COUNTS, max(1, round(pieces / 18)))
    page.keyboard.press("Alt+5")
    page.locator('[data-key="lay-spread"]').select_option("open")
    page.locator('[data-key="lay-start"]').click()
    expect(page.locator(".verdict")).to_contain_text("best so far", timeout=110_000)
    _say("a first lay of so many drawn", [time.monotonic() - begun])
    stop = page.locator('[data-key="stop-lay"]')
    if stop.is_visible():
        stop.click()
    expect(page.locator(".verdict")).to_contain_text("Proved", timeout=60_000)
    _say("stopped and proved", [time.monotonic() - begun])
    return int(page.locator(".laid").count())


def _drag(address: str, asked: argparse.Namespace) -> None:
    with browsed(address) as page:
        _ready(page)
        begun = time.monotonic()
        count = _many(page, asked.pieces, begun)
        laid = page.locator(".laid").nth(count // 2)
        box = stage = None
        until = time.monotonic() + 20.0
        while (box is None or stage is None) and time.monotonic() < until:
            # the proof's end draws the view once more
            box = laid.locator(".cutline").first.bounding_box()
            stage = page.locator(".stage .board").bounding_box()
        if box is None or stage is None:
            raise SystemExit("no piece of the lay is to be seen")
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.wait_for_timeout(500)  # the last redraw would take the piece out of the hand
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + 6, y)
        page.evaluate(FRAMES)
        for k in range(asked.moves):
            t = 1.7 * np.pi * k / asked.moves  # not quite round: it is let go elsewhere than it was taken
            page.mouse.move(x + 0.3 * stage["width"] * np.sin(3 * t), y + 0.35 * stage["height"] * np.sin(2 * t))
        seen = page.evaluate("() => { window.seen.on = false; return window.seen; }")
        page.evaluate("() => addEventListener('pointerup', () => { window.clicked = performance.now(); }, true)")
        page.mouse.up()
        proof = page.evaluate(JUDGED) / 1000
        words = page.locator(".verdict").inner_text()
    lines = (("between frames", seen["frames"]), ("from the mouse's report to drawn and judged", seen["lags"]))
    for name, values in lines:
        a = np.array(values)
        most = np.quantile(a, 0.95)
        print(f"{name:>44}: {len(a)}, half below {np.median(a):.1f}, 95 % below {most:.1f}, worst {a.max():.1f} ms; "
              f"{(a < 20).mean():.1%} below 20 ms")  # fmt: skip
    _say(f"proved after letting go, {count} pieces ({words[:14]})", [proof])


if __name__ == "__main__":
    begun = time.monotonic()
    main()
    print(f"{time.monotonic() - begun:.0f} s")
