"""A finding that forbids cutting stops a lay; ``--anyway`` lays for a look, and everything that it writes says so."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pypdf
import pytest

from nesting.report.drawing.drawing import lay_scene
from nesting.report.drawing.scene import Text
from tests.cli.calling import run
from tests.report import samples

SHORTS = """
title = "case"
units = "cm"
[[pattern]]
file = "shorts.svg"
[[seam]]
edges = ["front.side", "back.side"]
[[cloth]]
name = "main"
width = 100
[[garment]]
name = "g"
pieces = ["front", "back"]
"""
DRAWING = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="200mm" viewBox="0 0 400 200">'
    '<g id="front"><path class="cut" d="M 10 10 H 110 V {low} H 10 Z"/><path class="edge side" d="M 110 10 V {low}"/>'
    '<path class="grain" d="M 50 20 V 80"/></g>'
    '<g id="back"><path class="cut" d="M 210 10 H 310 V 110 H 210 Z"/><path class="edge side" d="M 210 10 V 110"/>'
    '<path class="grain" d="M 250 20 V 80"/>{label}</g></svg>'
)


def case(folder: Path, low: float = 120.0, label: str = "", order: str = SHORTS) -> Path:
    """Two squares of 10 cm sewn together; the front's side is 11 cm long where ``low`` is 120."""
    (folder / "shorts.svg").write_text(DRAWING.format(low=low, label=label), encoding="utf-8")
    path = folder / "order.toml"
    path.write_text(order, encoding="utf-8")
    return path


def test_a_seam_that_does_not_match_stops_the_lay(tmp_path: Path) -> None:
    """Sides of 11 and 10 cm: exit 2, nothing laid, and the reason comes first, with its figure."""
    done = run("lay", case(tmp_path), "--rounds", "1", "-o", tmp_path / "out", "--json", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stderr.startswith("nesting: Do not cut yet: seam front.side to back.side")
    assert "10.0 mm" in done.stderr and not (tmp_path / "out").exists()
    error = json.loads(done.stdout)["error"]
    assert error["code"] == "order.do-not-cut" and error["figures"]["codes"] == ["seam.mismatch"]


def test_anyway_lays_it_and_every_output_says_do_not_cut(tmp_path: Path) -> None:
    """Exit 0; terminal, report, sheet, pictures, lay file and what is printed from it later."""
    out = tmp_path / "out"
    done = run("lay", case(tmp_path), "--rounds", "1", "-o", out, "--anyway", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Do not cut yet: seam front.side")
    report = (out / "report.html").read_text(encoding="utf-8")
    body = re.sub(r"<[^>]+>|\s+", " ", report[report.index("<body>") :]).split()
    assert body[:4] == ["Do", "not", "cut", "yet"]
    assert "DO NOT CUT YET" in (out / "lay-main.svg").read_text(encoding="utf-8")
    sheet = pypdf.PdfReader(out / "sheet-main.pdf").pages[0].extract_text()
    assert "Do not cut yet" in sheet.splitlines()[:2]
    lay = json.loads((out / "lay-main.json").read_text(encoding="utf-8"))
    assert lay["do_not_cut"] and "front.side" in lay["do_not_cut"][0]
    document = json.loads((out / "report.json").read_text(encoding="utf-8"))
    assert "front.side" in document["do_not_cut"][0]
    made = {path.name for path in out.iterdir()}
    assert {"labels-a4.pdf", "cutting-list.csv"} <= made
    done = run("print", out / "lay-main.json", "-o", out / "p", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Do not cut yet: ")
    printed = {path.name for path in (out / "p").iterdir()}
    kinds = {"sheet", "whole", "tiles", "projector", "cut", "labels", "cutting"}
    assert {name.partition("-")[0] for name in printed} == kinds
    assert files_say_so(out) and files_say_so(out / "p")


def files_say_so(folder: Path) -> list[str]:
    """Holds every output of the folder to its words; which were read."""
    read = []
    for path in folder.iterdir():
        if path.suffix == ".pdf":
            # every page of them, whichever comes out of the printer first
            for page in pypdf.PdfReader(path).pages:
                assert "do not cut yet" in page.extract_text().casefold(), path.name
        elif path.suffix in (".svg", ".dxf"):
            assert "DO NOT CUT YET" in path.read_text(encoding="utf-8"), path.name
        elif path.suffix in (".txt", ".csv"):
            assert path.read_text(encoding="utf-8-sig").startswith(("DO NOT CUT YET", '"DO NOT CUT YET')), path.name
        elif path.name.startswith("lay-") and path.suffix == ".json":
            assert "front.side" in json.loads(path.read_text(encoding="utf-8"))["do_not_cut"][0], path.name
        else:
            continue
        read.append(path.name)
    return read


def test_check_says_the_same_of_a_question_as_lay(tmp_path: Path) -> None:
    """A fold that is not answered: exit 2 and "Do not cut yet", not that the pieces can be laid."""
    done = run("check", case(tmp_path, low=110.0, label="<text x='230' y='60'>cut 1 on fold</text>"), cwd=tmp_path)
    assert done.returncode == 2
    assert "Do not cut yet: 1 question is not answered" in done.stdout
    assert "can be laid" not in done.stdout and "sew together" not in done.stdout


@pytest.mark.parametrize("command", ["remnants", "batch"])
def test_leftovers_and_batches_stop_as_well_and_say_so_where_laid_anyway(tmp_path: Path, command: str) -> None:
    """Exit 2 and nothing written; with --anyway exit 0, and terminal, report, lay files, sheets and pictures say it."""
    order = SHORTS + '[[remnant]]\nname = "scrap"\ncloth = "main"\nwidth = 40\nlength = 20\n'
    path, out = case(tmp_path, order=order), tmp_path / "out"
    refused = run(command, path, "--rounds", "1", "-o", out, cwd=tmp_path)
    assert refused.returncode == 2 and refused.stderr.startswith("nesting: Do not cut yet: seam front.side")
    assert not out.exists()
    done = run(command, path, "--rounds", "1", "-o", out, "--anyway", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Do not cut yet: seam front.side")
    report = (out / "report.html").read_text(encoding="utf-8")
    body = re.sub(r"<[^>]+>|\s+", " ", report[report.index("<body>") :]).split()
    assert body[:4] == ["Do", "not", "cut", "yet"]
    read = files_say_so(out)
    for start, end in (("lay-", ".json"), ("lay-", ".svg"), ("sheet-", ".pdf")):
        assert any(name.startswith(start) and name.endswith(end) for name in read), (start, end, read)
    told = run(command, path, "--rounds", "1", "-o", out, "--anyway", "--json", cwd=tmp_path)
    assert "front.side" in json.loads(told.stdout)["do_not_cut"][0]


def test_the_picture_says_do_not_cut() -> None:
    """The PNG is drawn from the same scene, whose first words are these; without a reason there are none."""
    lay = replace(samples.open_lay(), do_not_cut=("the side does not match",))
    for one, there in ((lay, True), (samples.open_lay(), False)):
        words = [item.words for item in lay_scene(one).items if isinstance(item, Text)]
        assert any("DO NOT CUT YET" in text for text in words) == there
        titles = [text for text in words if "Chorus shorts" in text]
        assert all(text.startswith("DO NOT CUT YET") == there for text in titles)


@pytest.mark.parametrize(("fold", "code"), [("", 2), ('fold = "right"', 0), ('fold = "none"', 0)])
def test_a_fold_that_is_not_answered_stops_the_lay(tmp_path: Path, fold: str, code: int) -> None:
    """The label says "cut 1 on fold" and no side is drawn: asked until the order answers."""
    label = '<text x="220" y="60">back cut 1 on fold</text>'
    order = SHORTS + (f'[[piece]]\nname = "back"\n{fold}\n' if fold else "")
    path = case(tmp_path, 110.0, label, order)
    done = run("lay", path, "--rounds", "1", "-o", tmp_path / "out", cwd=tmp_path)
    assert done.returncode == code, done.stderr
    asked = run("check", path, cwd=tmp_path)
    for told in (done.stderr, asked.stdout + asked.stderr):
        words = " ".join(told.split())
        assert ("which side lies on the fold" in words) == (code == 2)
        # by hand, the sides of this drawing that are one straight edge
        assert ('fold = "left" or fold = "right"' in words) == (code == 2), words


def test_what_fits_is_laid_without_a_word_of_it(tmp_path: Path) -> None:
    """Equal sides: no such words anywhere."""
    done = run("lay", case(tmp_path, 110.0), "--rounds", "1", "-o", tmp_path / "out", cwd=tmp_path)
    assert done.returncode == 0 and "not cut" not in (done.stdout + done.stderr).casefold()


LONGER = SHORTS.replace('[[seam]]\nedges = ["front.side", "back.side"]\n', '[[alter]]\n{alter}by = "1 cm"\n')


@pytest.mark.parametrize(
    ("piece", "start", "exit_code"), [("front", "", 2), ("front", "tail", 0), ("front", "side", 2), ("back", "", 0)]
)
def test_where_an_alteration_is_measured_from_is_said_or_must_be_answered(
    tmp_path: Path, piece: str, start: str, exit_code: int
) -> None:
    """The arrow of the front points down its drawing: 3 cm from its tail may not be what was meant, so nothing is cut
    until the order says it; that of the back points up: check says from where it was reckoned. An edge that runs along
    the grain is no place to measure from."""
    alter = f'piece = "{piece}"\nkind = "lengthen"\nat = "3 cm"\n' + (f'from = "{start}"\n' if start else "")
    path = case(tmp_path, 110.0, order=LONGER.replace("{alter}", alter))
    (drawing,) = tmp_path.glob("*.svg")
    text = drawing.read_text(encoding="utf-8").replace("M 250 20 V 80", "M 250 80 V 20")
    drawing.write_text(text, encoding="utf-8")
    checked = run("check", path, cwd=tmp_path)
    laid = run("lay", path, "--rounds", "1", "-o", tmp_path / "out", cwd=tmp_path)
    assert (checked.returncode, laid.returncode) == (exit_code, exit_code)
    said = " ".join(checked.stdout.split())
    if not start:
        assert "measured from the tail of the grain arrow" in said
        assert said.count("question: ") == (piece == "front") and said.count("note: ") == (piece == "back")
        assert ("Do not cut yet" in said) == ("Do not cut yet" in laid.stderr) == (piece == "front")
    if start == "tail":
        assert "measured from" not in said
