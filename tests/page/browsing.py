"""What the browser tests share: a page of its own for each test, its browser, and a pattern drawn here."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
CHROMIUM = os.environ.get("NESTING_CHROMIUM", "/usr/bin/chromium")
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


def need_browser() -> Any:
    """Playwright's synchronous interface, or a skip with the reason."""
    try:
        import playwright.sync_api as sync_api
    except ImportError:
        pytest.skip("playwright is not installed")
    if not Path(CHROMIUM).exists():
        pytest.skip(f"no browser at {CHROMIUM} (Debian: apt-get install chromium)")
    # other work may go on beside: nothing here is judged by the clock but where a test says so
    sync_api.expect.set_options(timeout=20_000)
    return sync_api


@contextmanager
def served(place: Path) -> Iterator[str]:
    """The page of a folder or an order, in a process of its own; gives the address with its key."""
    command = [sys.executable, "-m", "nesting.cli", "page", str(place), "--no-open", "--json"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(place if place.is_dir() else place.parent)}
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment, start_new_session=True)
    assert process.stdout is not None
    try:
        line = process.stdout.readline()
        assert '"address"' in line, f"the page did not start: {line}{process.stdout.read() if process.poll() else ''}"
        yield json.loads(line)["address"]
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait(5)
        process.stdout.close()


@contextmanager
def browsed(address: str, *, width: int = 1280, height: int = 900, scheme: str = "light") -> Iterator[Any]:
    """A tab on the address; whatever the console says, or a script throws, fails the test at its end."""
    sync_api = need_browser()
    told: list[str] = []
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
        context.set_default_timeout(20_000)
        page = context.new_page()
        page.on("console", lambda message: told.append(f"{message.type}: {message.text} {message.location['url']}"))
        page.on("pageerror", lambda error: told.append(f"thrown: {error}"))
        page.goto(address)
        sync_api.expect(page.locator("#steps button").first).to_be_visible(timeout=60_000)
        try:
            yield page
        finally:
            browser.close()
    assert not told, told


def run_ended(page: Any, number: int) -> None:
    """Wait until the page's search of that number, counted from 1, has ended: its button may come and go unseen."""
    asked = "async () => (await (await fetch('/api/state')).json()).run"
    for _ in range(1200):
        run = page.evaluate(asked)
        if run is not None and run["id"] >= number and run["state"] in ("done", "stopped", "failed"):
            assert run["state"] == "done", run
            return
        page.wait_for_timeout(200)
    raise AssertionError(f"search {number} does not end: {run}, {page.locator('#status').inner_text()}")


def grabbed(page: Any, spot: str, in_hand: str) -> tuple[float, float]:
    """Press the mouse on something until ``in_hand`` is there, by which it tells that it was taken; where it was
    pressed. A drawing that is replaced at that very moment is missed: a person presses again."""
    shown = page.locator(spot)
    for _ in range(40):
        shown.hover()
        box = shown.bounding_box()
        if box is not None:
            x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
            page.mouse.move(x, y)
            page.mouse.down()
            if page.locator(in_hand).count():
                return x, y
            page.mouse.up()
        page.wait_for_timeout(250)
    raise AssertionError(f"{spot} cannot be taken in the hand")


def front_and_back(folder: Path, back_cut: str = "cut 2 mirrored") -> list[Path]:
    """Two drawings of a small pair of shorts, without any names: outlines in mm and a label each."""
    front = "M 20 20 L 240 20 L 260 300 L 60 300 C 50 240 40 220 20 200 Z"
    back = "M 20 20 L 260 20 L 280 300 L 40 300 C 34 250 30 220 20 200 Z"
    made = []
    for name, outline, wide, cut in (("front", front, 280, "cut 2 mirrored"), ("back", back, 300, back_cut)):
        path = folder / f"{name}.svg"
        path.write_text(
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}mm" height="320mm" viewBox="0 0 {wide} 320">'
            f'<g id="{name}"><path class="cut" fill="none" stroke="black" d="{outline}"/>'
            f'<text x="100" y="150">{name} {cut}</text></g></svg>',
            encoding="utf-8",
        )
        made.append(path)
    return made


def order_of_both(folder: Path, cloth: str = "") -> str:
    """The two drawings in a folder made for them, and the text of an order of both on cloth of 150 cm; ``cloth``: more
    lines of that cloth. What is cut is the caller's to say."""
    folder.mkdir()
    front_and_back(folder)
    return (
        'units = "cm"\n[[pattern]]\nfile = "front.svg"\n[[pattern]]\nfile = "back.svg"\n'
        f'[[cloth]]\nname = "main"\nwidth = "150 cm"\n{cloth}'
    )


#: the grain of both, which their drawings do not tell
GRAINS = '[[piece]]\nname = "front"\ngrain = 90\n[[piece]]\nname = "back"\ngrain = 90\n'


def lay_it(page: Any) -> None:
    """By click, to the end of the page's first search."""
    page.locator('[data-key="go-lay"]').click()
    page.locator('[data-key="lay-start"]').click()
    run_ended(page, 1)


def axe() -> str:
    """The source of axe-core, or a skip with the reason."""
    found = Path(os.environ.get("NESTING_NPM", ROOT.parents[1] / "npm")) / "node_modules" / "axe-core" / "axe.min.js"
    if not found.exists():
        pytest.skip("axe-core is not installed (npm install axe-core, and NESTING_NPM names the folder)")
    return found.read_text(encoding="utf-8")


def demo(folder: Path) -> Path:
    """A copy of the demo order with all its files."""
    copy = folder / "demo"
    shutil.copytree(ROOT / "fixtures" / "demo", copy)
    return copy / "chorus.toml"
