"""The page's own modules: geometry by node's test runner, types by tsc, and what a strict policy forbids."""

from __future__ import annotations

import itertools
import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PAGE = HERE.parents[1] / "nesting" / "page"
STATIC = PAGE / "static"
MODULES = sorted(STATIC.rglob("*.js"))


def _tsc() -> str | None:
    """The type checker: on the path, or where NESTING_NPM has its packages."""
    beside = Path(os.environ.get("NESTING_NPM", HERE.parents[3] / "npm")) / "node_modules" / ".bin" / "tsc"
    return shutil.which("tsc") or (str(beside) if beside.exists() else None)


def test_geometry_by_nodes_own_runner() -> None:
    """Points, contacts, sliding, snapping, the projector's four corners; see js/geometry.test.mjs."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed")
    done = subprocess.run([node, "--test", str(HERE / "js")], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
    assert re.search(r"# pass (\d+)", done.stdout) and int(re.search(r"# pass (\d+)", done.stdout)[1]) >= 20  # type: ignore[index]


def test_types() -> None:
    """JSDoc types hold under tsc, strict."""
    tsc = _tsc()
    if tsc is None:
        pytest.skip("typescript is not installed (npm install typescript, and NESTING_NPM names the folder)")
    done = subprocess.run([tsc, "-p", str(STATIC / "jsconfig.json")], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout[-4000:]


def test_geometry_knows_no_browser() -> None:
    """Modules of geometry import geometry alone and name nothing of a browser."""
    for module in (STATIC / "geometry").glob("*.js"):
        text = module.read_text()
        for found in re.findall(r'^import .* from "([^"]+)"', text, re.MULTILINE):
            assert re.fullmatch(r"\./[a-z-]+\.js", found), f"{module.name} imports {found}"
        assert not re.search(r"\b(document|window|HTMLElement|SVG[A-Z]\w+|fetch)\b(?!\.js)", _code(text)), module.name


def _code(text: str) -> str:
    return re.sub(r"/\*.*?\*/|//[^\n]*", "", text, flags=re.DOTALL)


def test_imports_of_modules_run_one_way() -> None:
    """geometry ← draw, handlers ← views ← main; and every import names a file that is there."""
    rank = {"geometry": 0, "handlers": 1, "draw": 2, "": 3, "views": 4}
    for module in MODULES:
        part = module.parent.relative_to(STATIC).as_posix().replace(".", "")
        for found in re.findall(r'^import [^;]* from "([^"]+)";', module.read_text(), re.MULTILINE):
            target = (module.parent / found).resolve()
            assert target.is_file(), f"{module.name} imports {found}, which is not there"
            other = target.parent.relative_to(STATIC.resolve()).as_posix().replace(".", "")
            allowed = rank[other] <= rank[part] or target.name in ("help.js", "view.js")
            assert allowed or module.name == "main.js", f"{part}/{module.name} imports {found}"


def test_nothing_that_a_strict_policy_forbids() -> None:
    """No inline script or style, no eval, no markup from strings, nothing fetched from elsewhere."""
    page = (PAGE / "templates" / "page.html").read_text()
    assert not re.search(r"\sstyle=|<style|\son\w+=|javascript:|https?://", page)
    assert re.findall(r"<script[^>]*>(.*?)</script>", page) == [""]
    for module in MODULES:
        text = _code(module.read_text()).replace("http://www.w3.org/2000/svg", "")
        markup = r"innerHTML|outerHTML|insertAdjacentHTML|\beval\(|new Function|document\.write|https?://"
        assert not re.search(markup, text), module
        assert not re.search(r'setAttribute\("style"|style: ["`]', text), module
    for sheet in STATIC.rglob("*.css"):
        assert "@import" not in sheet.read_text()
        assert "http" not in sheet.read_text()


def test_every_word_that_is_asked_for_is_explained_with_a_picture() -> None:
    """Terms used by the views stand in words.json; each has words and a picture that is there."""
    terms = json.loads((STATIC / "help" / "words.json").read_text())["terms"]
    used: set[str] = set()
    for module in MODULES:
        text = module.read_text()
        used |= set(re.findall(r'\bterm: "([^"]+)"', text)) | set(re.findall(r'heading\([^;\n]*?, "([a-z ]+)"\)', text))
        used |= set(re.findall(r'whatIs\("([^"]+)"', text))
    cloth = (STATIC / "views" / "cloth.js").read_text().split("const TERMS", 1)[1].split("};", 1)[0]
    used |= set(re.findall(r': "([^"]+)"', cloth))
    assert len(used) > 20
    assert not used - set(terms), f"not explained: {used - set(terms)}"
    for key, term in terms.items():
        assert len(term["words"]) > 20, key
        assert (STATIC / "help" / term["picture"]).read_text().startswith("<svg"), key


def _luminance(colour: str) -> float:
    """Relative luminance after WCAG 2.2 (https://www.w3.org/TR/WCAG22/#dfn-relative-luminance)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(a: str, b: str) -> float:
    bright, dark = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_contrast(scheme: int) -> None:
    """Text stands out by 4.5 to 1, signs by 3 to 1 (WCAG 2.2, 1.4.3 and 1.4.11), on every ground they lie on."""
    css = (STATIC / "look.css").read_text()
    blocks = re.findall(r":root \{(.*?)\n\s*\}", css, re.DOTALL)[:2]
    colours = dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{6})", blocks[0]))
    if scheme:
        colours |= dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{6})", blocks[1]))
    for text in ("ink", "soft", "bad", "good"):
        for ground in ("paper", "sheet"):
            assert _contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    assert _contrast(colours["on-main"], colours["main"]) >= 4.5
    assert _contrast(colours["bad"], colours["bad-ground"]) >= 4.5
    for tint in ("t0", "t1", "t2", "t3", "t4", "t5"):
        assert _contrast(colours["ink"], colours[tint]) >= 4.5, tint
        for sign in ("focus", "bad"):
            assert _contrast(colours[sign], colours[tint]) >= 3, (sign, tint)
    # printed in grey, or seen without colours, each tint is another: luma after ITU-R BT.601, of 255
    parts = [[int(colours[f"t{k}"][i : i + 2], 16) for i in (1, 3, 5)] for k in range(6)]
    greys = sorted(0.299 * r + 0.587 * g + 0.114 * b for r, g, b in parts)
    assert min(b - a for a, b in itertools.pairwise(greys)) >= 6, greys
