"""The commands about buying from the command line: one report, lays on leftovers that can be checked, progress."""

from __future__ import annotations

import csv
import json
import os
import re
import subprocess
from pathlib import Path

import pytest

from tests.cli.calling import command, run

SHAPES = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="200mm" viewBox="0 0 400 200">'
    '<g id="front"><path class="cut" d="M 10 10 H 110 V 110 H 10 Z"/><path class="grain" d="M 50 20 V 80"/></g>'
    '<g id="back"><path class="cut" d="M 210 10 H 330 V 110 H 210 Z"/><path class="grain" d="M 250 20 V 80"/></g></svg>'
)
ORDER = """
title = "case"
units = "mm"
[[pattern]]
file = "shapes.svg"
[[cloth]]
name = "main"
width = 500
price = 10.0
spreads = ["open"]
[[remnant]]
name = "square"
cloth = "main"
width = 105
length = 105
[[trim]]
name = "tape"
kind = "binding"
edges = ["front.hem"]
[[edge]]
piece = "front"
name = "hem"
from = 1
to = 2
[[garment]]
name = "g"
count = 2
pieces = ["front", "back"]
"""
FEW = ("--rounds", 1, "--workers", 1)


@pytest.fixture
def case(tmp_path: Path) -> Path:
    """A folder with an order of two small garments."""
    (tmp_path / "shapes.svg").write_text(SHAPES, encoding="utf-8")
    (tmp_path / "order.toml").write_text(ORDER, encoding="utf-8")
    return tmp_path


def test_all_commands_tell_in_one_report(case: Path) -> None:
    """Buy, lay, batch and remnants into one folder: one page, one document; a changed order begins anew."""
    stash = case / "home.toml"
    stash.write_text(
        'schema = "stash/1"\nunits = "mm"\n[[remnant]]\nname = "strip"\ncloth = "main"\nwidth = 125\nlength = 105\n',
        encoding="utf-8",
    )
    told = {}
    for name, more in (("buy", ()), ("lay", ()), ("batch", ()), ("remnants", ("--stash", stash))):
        done = run(name, "order.toml", "-o", "out", *FEW, "--json", *more, cwd=case)
        assert done.returncode == 0, done.stderr
        told[name] = json.loads(done.stdout)
        assert not re.search(r"\d+ s left|rows? \d", done.stderr)
    report = json.loads((case / "out" / "report.json").read_text(encoding="utf-8"))
    assert report["lays"] == told["lay"]["lays"] and report["lays"][0]["garments"][0]["share"] == 1.0
    for name in ("buy", "batch", "remnants"):
        assert report[name] == told[name]
    # hem 100 mm, twice, in the ratio that is common for bindings
    assert report["trims"] == told["buy"]["trims"] == told["lay"]["trims"]
    assert report["trims"][0]["openings"][0]["edge_length"] == pytest.approx(100.0)
    assert {Path(f).name for f in report["files"]} == {p.name for p in (case / "out").iterdir()}
    page = (case / "out" / "report.html").read_text(encoding="utf-8")
    headings = re.findall(r'<h2 class="part" id="(\w+)">', page)
    assert headings == ["lay", "buy", "remnants", "batch"]
    assert page.count(">Trims<") == 1 and page.count("Findings and cautions") == 1
    # one garment: its back on the strip of the stash, its front on the square
    assert told["remnants"]["number"] == 1
    lays = sorted(p.name for p in (case / "out").glob("lay-main-*.json"))
    assert lays == ["lay-main-part-1.json", "lay-main-square.json", "lay-main-strip.json"]
    for name in lays:
        judged = run("check", case / "out" / name, "--json", cwd=case)
        assert judged.returncode == 0, judged.stdout
    # the leftover of the stash makes way for its offcuts
    lay = case / "out" / "lay-main-strip.json"
    kept = run("stash", stash, "--add", lay, "--least", "2 cm x 2 cm", "--json", cwd=case)
    assert kept.returncode == 0 and json.loads(kept.stdout)["taken_out"] == ["strip"]
    (case / "order.toml").write_text(ORDER.replace("count = 2", "count = 3"), encoding="utf-8")
    done = run("batch", "order.toml", "-o", "out", *FEW, cwd=case)
    assert "was not of this order as it is now" in done.stdout
    report = json.loads((case / "out" / "report.json").read_text(encoding="utf-8"))
    assert report["lays"] == [] and "buy" not in report and report["batch"]["plans"][0]["garments"][0]["count"] == 3


def test_progress_is_for_people_who_watch(case: Path) -> None:
    """In a terminal, the row and what is left; with --json nothing of it, nor where standard error goes to a file."""

    def seen(*args: object) -> str:
        ours, theirs = os.openpty()
        env = {**os.environ, "COLUMNS": "200", "TERM": "xterm"}
        with subprocess.Popen(
            command("buy", "order.toml", *FEW, *args), cwd=case, env=env, stdout=subprocess.DEVNULL, stderr=theirs
        ) as process:
            os.close(theirs)
            text = b""
            while True:
                try:
                    block = os.read(ours, 65536)
                except OSError:
                    break
                if not block:
                    break
                text += block
            assert process.wait(timeout=120) == 0
        os.close(ours)
        return text.decode("utf-8", "replace")

    shown = seen()
    assert "main: row 1 of 2, 50 cm wide" in shown
    assert "the curve, 3 of 3 garments" in shown and re.search(r"about \d+ s left", shown)
    assert not re.search(r"rows? \d|s left", seen("--json"))
    assert "row" not in run("buy", "order.toml", *FEW, cwd=case).stderr


def test_as_many_as_the_cloth_holds_from_the_command_line(case: Path) -> None:
    """By hand: a garment is a front of 100 × 100 and a back of 120 × 100 (mm); on 220 wide they lie beside each other,
    so that 304 of cloth, less 2 × 2 of ends, hold three; labels, list, report and lay file tell three, the lay stands
    its check, and one number changed does not."""
    text = ORDER.replace("width = 500", "width = 220\nlength = 304\nend_allowance = 2").replace(
        "count = 2", 'count = "most"'
    )
    (case / "order.toml").write_text(text, encoding="utf-8")
    done = run("lay", "order.toml", "-o", "out", "--rounds", 8, "--workers", 1, "--json", cwd=case)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert [g["count"] for g in told["lays"][0]["garments"]] == [3]
    assert any("3 × g" in note and "no more fit, which is proved" in note for note in told["lays"][0]["notes"])
    # hem 100 mm for each of three, as for a binding
    assert told["trims"][0]["openings"][0]["count"] == 3
    lay = case / "out" / "lay-main.json"
    document = json.loads(lay.read_text(encoding="utf-8"))
    assert document["as_many"]["proved"] and document["as_many"]["garments"] == [
        {"name": "g", "size": None, "count": 3}
    ]
    with (case / "out" / "cutting-list.csv").open(encoding="utf-8") as rows:
        assert {row["copy"] for row in csv.DictReader(rows)} == {"1", "2", "3"}
    assert run("check", lay, cwd=case).returncode == 0
    printed = run("print", lay, "-o", "paper", "--as", "labels,list", cwd=case)
    assert printed.returncode == 0, printed.stderr
    again = run("lay", "order.toml", "-o", "again", "--from", lay, *FEW, "--json", cwd=case)
    assert again.returncode == 0 and json.loads(again.stdout)["lays"][0]["garments"][0]["count"] == 3
    document["garments"][0]["count"] = 4
    lay.write_text(json.dumps(document), encoding="utf-8")
    assert run("check", lay, cwd=case).returncode == 2
    refused = run("buy", "order.toml", *FEW, "--json", cwd=case)
    assert refused.returncode == 2 and json.loads(refused.stdout)["error"]["code"] == "garment.most-here"


@pytest.mark.parametrize("command", ["buy", "batch"])
def test_what_is_planned_is_written_beside_the_order(case: Path, tmp_path: Path, command: str) -> None:
    """Without -o, wherever one happens to be: a report, and of a batch the lays that can be cut."""
    here = tmp_path / "elsewhere"
    here.mkdir()
    done = run(command, case / "order.toml", *FEW, cwd=here)
    assert done.returncode == 0, done.stderr
    made = {path.name for path in (case / "order").iterdir()}
    assert {"report.html", "report.json"} <= made and not list(here.iterdir())
    assert any(name.startswith("lay-") for name in made) == (command == "batch")
