"""The command line: bad input, exit codes, JSON, and that nothing is left behind when something is wrong."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "fixtures" / "demo"
HAND = ROOT / "fixtures" / "hand"

SQUARE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="200mm" viewBox="0 0 200 200">'
    '<g id="front"><path class="cut" d="{cut}"/><path class="grain" d="M 50 20 V 80"/></g></svg>'
)
ORDER = """
title = "case"
units = "mm"
[[pattern]]
file = "front.svg"
[[cloth]]
name = "main"
width = 500
[[garment]]
name = "g"
count = 1
pieces = ["front"]
"""


def run(*args: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """The command with these arguments, in its own process."""
    return subprocess.run(
        [sys.executable, "-m", "nesting.cli", *map(str, args)],
        cwd=cwd,
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "COLUMNS": "200"},
    )


def write_case(folder: Path, cut: str = "M 10 10 H 110 V 110 H 10 Z", order: str = ORDER) -> Path:
    """A pattern with one piece and its order."""
    (folder / "front.svg").write_text(SQUARE.format(cut=cut), encoding="utf-8")
    path = folder / "order.toml"
    path.write_text(order, encoding="utf-8")
    return path


def test_help_is_quick_and_lists_the_commands(tmp_path: Path) -> None:
    """Help answers in under half a second (best of three, as the machine may be busy)."""
    best = 9.0
    for _ in range(3):
        begun = time.monotonic()
        done = run("--help", cwd=tmp_path)
        best = min(best, time.monotonic() - begun)
    assert done.returncode == 0
    for command in ("new", "check", "lay", "print", "buy", "remnants", "batch", "stash", "keys"):
        assert command in done.stdout
    assert best < 0.5


def test_a_small_order_from_start_to_end(tmp_path: Path) -> None:
    """One square of 100 mm: everything is written, JSON stands alone on standard output."""
    order = write_case(tmp_path)
    done = run("lay", order, "-o", tmp_path / "out", "--rounds", 2, "--workers", 1, "--json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["lays"][0]["lay_length"] == pytest.approx(100.0, abs=0.01)
    names = {p.name for p in (tmp_path / "out").iterdir()}
    assert {"lay-main.json", "lay-main.svg", "lay-main.png", "report.html", "report.json", "sheet-main.pdf"} <= names
    judged = run("check", tmp_path / "out" / "lay-main.json", "--json", cwd=tmp_path)
    assert judged.returncode == 0 and json.loads(judged.stdout)["ok"] is True


def test_a_lay_edited_by_hand_is_judged(tmp_path: Path) -> None:
    """A piece moved off the cloth by hand is found, with exit code 2."""
    order = write_case(tmp_path)
    assert run("lay", order, "-o", tmp_path, "--rounds", 1, "--workers", 1, cwd=tmp_path).returncode == 0
    path = tmp_path / "lay-main.json"
    lay = json.loads(path.read_text(encoding="utf-8"))
    lay["placements"][0]["y"] -= 30.0
    path.write_text(json.dumps(lay), encoding="utf-8")
    judged = run("check", path, cwd=tmp_path)
    assert judged.returncode == 2
    assert "front" in judged.stdout


BAD = [
    # (case, cut outline, order, exit code, words of the message)
    ("open outline", "M 10 10 H 110 V 110", ORDER, 2, "open"),
    ("self-crossing outline", "M 10 10 L 110 110 H 10 L 110 10 Z", ORDER, 2, "cross"),
    ("zero area", "M 10 10 H 110 H 10 Z", ORDER, 2, "closed outline"),
    ("NaN", "M 10 10 H NaN V 110 Z", ORDER, 2, "front.svg"),
    ("far too large", "M 10 10 H 1e9 V 110 H 10 Z", ORDER, 2, "100 m"),
    ("wider than the cloth", "M 10 10 H 110 V 110 H 10 Z", ORDER.replace("500", "60"), 3, "front"),
    ("unknown key", "M 10 10 H 110 V 110 H 10 Z", ORDER.replace("width = 500", "widht = 500"), 2, "width"),
    ("missing file", "M 10 10 H 110 V 110 H 10 Z", ORDER.replace("front.svg", "frnt.svg"), 2, "frnt.svg"),
    ("negative count", "M 10 10 H 110 V 110 H 10 Z", ORDER.replace("count = 1", "count = -1"), 2, "count"),
    ("no such piece", "M 10 10 H 110 V 110 H 10 Z", ORDER.replace('["front"]', '["frount"]'), 2, "front"),
    ("wrong unit", "M 10 10 H 110 V 110 H 10 Z", ORDER.replace("width = 500", 'width = "500 furlongs"'), 2, "furlong"),
    ("not TOML", "M 10 10 H 110 V 110 H 10 Z", "title = ", 2, "order.toml"),
]


@pytest.mark.parametrize(("name", "cut", "order", "code", "words"), BAD, ids=[b[0] for b in BAD])
def test_bad_input_has_a_clear_error_and_leaves_nothing(
    tmp_path: Path, name: str, cut: str, order: str, code: int, words: str
) -> None:
    """One message that names the thing, the right exit code, and no result."""
    path = write_case(tmp_path, cut, order)
    done = run("lay", path, "-o", tmp_path / "out", "--rounds", 1, "--workers", 1, cwd=tmp_path)
    assert done.returncode == code, done.stderr
    assert words.lower() in done.stderr.lower()
    assert "Traceback" not in done.stderr
    left = list((tmp_path / "out").glob("*")) if (tmp_path / "out").exists() else []
    assert not left


RAW = [
    ("text that is not XML", b"hello, this is no drawing", "svg"),
    ("entity bomb", b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><svg>&b;</svg>', "svg"),
    ("DXF cut in half", (DEMO / "briefs.dxf").read_bytes()[:60000], "dxf"),
    ("empty file", b"", "svg"),
]


@pytest.mark.parametrize(("name", "content", "suffix"), RAW, ids=[r[0] for r in RAW])
def test_files_that_are_no_drawings(tmp_path: Path, name: str, content: bytes, suffix: str) -> None:
    """Refused with the file's name, exit code 2, nothing written."""
    order = write_case(tmp_path, order=ORDER.replace("front.svg", f"bad.{suffix}"))
    (tmp_path / f"bad.{suffix}").write_bytes(content)
    done = run("lay", order, "-o", tmp_path / "out", "--rounds", 1, cwd=tmp_path)
    assert done.returncode == 2, done.stderr
    assert f"bad.{suffix}" in done.stderr and "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists() or not list((tmp_path / "out").iterdir())


def test_a_folder_for_a_file_and_a_file_for_a_folder(tmp_path: Path) -> None:
    """Both mix-ups are told apart from other errors."""
    order = write_case(tmp_path)
    done = run("lay", tmp_path, "-o", tmp_path / "out", cwd=tmp_path)
    assert done.returncode == 2 and "folder" in done.stderr
    (tmp_path / "taken").write_text("x", encoding="utf-8")
    done = run("lay", order, "-o", tmp_path / "taken", "--rounds", 1, cwd=tmp_path)
    assert done.returncode == 2 and "taken" in done.stderr
    assert (tmp_path / "taken").read_text(encoding="utf-8") == "x"


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    """Said before the search begins."""
    order = write_case(tmp_path)
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    done = run("lay", order, "-o", locked, "--rounds", 1, cwd=tmp_path)
    assert done.returncode == 2 and "locked" in done.stderr


def test_errors_as_json(tmp_path: Path) -> None:
    """With --json an error is a document, too."""
    done = run("lay", tmp_path / "none.toml", "--json", cwd=tmp_path)
    assert done.returncode == 2
    assert json.loads(done.stdout)["error"]["file"].endswith("none.toml")


def test_new_writes_an_order_that_loads_and_never_overwrites(tmp_path: Path) -> None:
    """The starter order of the demo's patterns can be checked as it is."""
    target = tmp_path / "order.toml"
    done = run("new", DEMO / "shorts-m.svg", "-o", target, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    from nesting.files.order import load_order

    assert {cut.name for cut in load_order(target).pieces} >= {"shorts front", "shorts back"}
    before = target.read_bytes()
    again = run("new", DEMO / "shorts-m.svg", "-o", target, cwd=tmp_path)
    assert again.returncode == 2 and target.read_bytes() == before


def test_rounds_repeat_from_the_command_line(tmp_path: Path) -> None:
    """Same order, seed, rounds and workers: the same lay file but for the time used."""
    lays = []
    for n in range(2):
        out = tmp_path / str(n)
        done = run("lay", HAND / "triangles.toml", "-o", out, "--rounds", 6, "--workers", 2, cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        lay = json.loads((out / "lay-main.json").read_text(encoding="utf-8"))
        lays.append({k: v for k, v in lay.items() if k != "seconds"})
    assert lays[0] == lays[1]


def test_print_and_stash(tmp_path: Path) -> None:
    """Paper and cutter files from a lay; its offcuts remembered and listed."""
    order = write_case(tmp_path)
    assert run("lay", order, "-o", tmp_path, "--rounds", 1, "--workers", 1, cwd=tmp_path).returncode == 0
    done = run("print", "lay-main.json", "-o", tmp_path / "p", "--as", "sheet,tiles,cutter", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert {p.suffix for p in (tmp_path / "p").iterdir()} >= {".pdf", ".svg", ".dxf"}
    wrong = run("print", "lay-main.json", "-o", tmp_path / "q", "--as", "poster", cwd=tmp_path)
    assert wrong.returncode == 2 and "poster" in wrong.stderr
    kept = run("stash", "home.toml", "--add", "lay-main.json", "--least", "5 cm x 5 cm", "--json", cwd=tmp_path)
    assert kept.returncode == 0, kept.stderr
    assert json.loads(kept.stdout)["remnants"]
