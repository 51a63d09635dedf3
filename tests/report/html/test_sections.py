"""One report for all commands: what is kept, what is replaced, and that two orders are never mixed."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from nesting.cli.commands import draw_report
from nesting.files.outputs import write_outputs
from nesting.model.errors import InputError
from nesting.model.findings import Finding
from nesting.model.order import Garment, Order
from nesting.proof.verdict import Failure, Verdict
from nesting.report.html.drawn import html_of
from nesting.report.html.folder_report import Report, mark_of, report_with
from nesting.report.html.lay_part import care_part, lay_part
from nesting.resolving.resolve import resolve
from tests.report import samples
from tests.report.html.test_page import order_for, parsed


def an_order(count: int = 2) -> Order:
    """An order of some garments."""
    order = order_for(samples.open_lay())
    return replace(order, garments=(Garment("shorts", "M", count, ("front leg",)),))


def part(name: str, words: str) -> dict[str, Any]:
    """What a part shows that tells these words and little else."""
    if name == "care":
        return {"findings": [], "cautions": [words]}
    if name == "buy":
        curve = {"cloth": "main", "words": words, "adds": "", "svg": "", "points": []}
        return {"answers": [], "rows": [], "others": 0, "second": False, "refused": [], "curves": [curve]}
    if name == "trims":
        need = {"opening": words, "kind": "elastic", "words": "", "buy": "1 m", "cost": "", "openings": [
            {"garment": words, "count": 1, "openings": 1, "edge": "1", "trim": "1", "total": "1"}]}
        return {"needs": [need], "practice": False}
    shop = {"items": [words], "total": "1.00", "unpriced": []}
    return {"lays": [], "extra": [], "leftovers": True, "several": False, "shopping": shop}


def told(
    folder: Path, order: Order, name: str, *, words: str = "", spare: str | None = None, **document: Any
) -> Report:
    """A report with that part, written to the folder."""
    shown = {name: part(name, f"{words or name} is told")}
    files = [str(folder / f"{words or name}.txt"), str(folder / "report.html")]
    cares = None if spare is None else {"care": part("care", spare)}
    report = report_with(folder, order, shown, {**document, "files": files}, spare=cares)
    write_outputs(report.files)
    return report


def read(folder: Path) -> tuple[str, dict[str, Any]]:
    """The page's words and the document."""
    document = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    return parsed((folder / "report.html").read_bytes()).text, document


def test_each_command_keeps_what_the_others_told(tmp_path: Path) -> None:
    """Lay, buy, batch and remnants one after another, in any sequence: all in the page in their places, all in JSON."""
    order = an_order()
    told(tmp_path, order, "batch", plans=[1])
    assert read(tmp_path)[1]["lays"] == []
    told(tmp_path, order, "lay", lays=[{"cloth": "main"}], findings=[])
    told(tmp_path, order, "remnants", number=3)
    report = told(tmp_path, order, "buy", rows=[2])
    assert report.kept == ("lay", "remnants", "batch") and not report.replaced
    text, document = read(tmp_path)
    places = [text.index(f"{name} is told") for name in ("lay", "buy", "remnants", "batch")]
    assert places == sorted(places)
    assert document["lays"] == [{"cloth": "main"}]
    assert document["buy"]["rows"] == [2] and document["remnants"]["number"] == 3 and document["batch"]["plans"] == [1]
    names = {Path(f).name for f in document["files"]}
    assert names == {"lay.txt", "buy.txt", "remnants.txt", "batch.txt", "report.html"}
    headings = parsed((tmp_path / "report.html").read_bytes()).headings
    assert headings == ["Lay", "What to buy", "From leftovers", "The batch in sections"]


def test_a_part_told_again_takes_the_place_of_the_old_one(tmp_path: Path) -> None:
    """Once in the page, the new figures in JSON, files of the old one no longer listed."""
    order = an_order()
    told(tmp_path, order, "buy", words="old", rows=[1])
    told(tmp_path, order, "lay", words="first", lays=[1])
    told(tmp_path, order, "buy", words="new", rows=[2])
    told(tmp_path, order, "lay", words="second", lays=[2])
    text, document = read(tmp_path)
    assert "old is told" not in text and "first is told" not in text
    assert text.count("new is told") == text.count("second is told") == 1
    assert document["buy"]["rows"] == [2] and document["lays"] == [2]
    assert {Path(f).name for f in document["files"]} == {"new.txt", "second.txt", "report.html"}


@pytest.mark.parametrize("change", ["count", "title", "cloth", "piece"])
def test_a_report_of_another_order_is_replaced_whole(tmp_path: Path, change: str) -> None:
    """Another count, title, cloth or drawing: nothing of the old report stays, and that is told."""
    order = an_order()
    told(tmp_path, order, "lay", lays=[1])
    other = {
        "count": replace(order, garments=(replace(order.garments[0], count=3),)),
        "title": replace(order, title="another"),
        "cloth": replace(order, cloths=(replace(order.cloths[0], width=1400.0),)),
        "piece": replace(
            order, pieces=(replace(order.pieces[0], piece=samples.band("front", "M", 101.0, 40.0)), *order.pieces[1:])
        ),
    }[change]
    report = told(tmp_path, other, "buy", rows=[])
    assert report.replaced and report.kept == ()
    text, document = read(tmp_path)
    assert "lay is told" not in text and document["lays"] == []
    assert [Path(f).name for f in document["files"]] == ["buy.txt", "report.html"]


def test_where_the_order_lies_and_what_was_noticed_changes_nothing() -> None:
    """The mark is that of what is to be cut from what."""
    order = an_order()
    moved = replace(order, path=Path("elsewhere/order.toml"), findings=(Finding("note", "seen", code="piece.not-cut"),))
    assert mark_of(moved) == mark_of(order) != mark_of(an_order(3))


@pytest.mark.parametrize("damage", ["no json", "not json", "list", "other mark", "files", "shown"])
def test_what_is_not_whole_is_not_kept(tmp_path: Path, damage: str) -> None:
    """Half a report, or files that somebody else made: a fresh report, never a mix."""
    order = an_order()
    told(tmp_path, order, "lay", lays=[1])
    document_file = tmp_path / "report.json"
    document = json.loads(document_file.read_text(encoding="utf-8"))
    if damage == "no json":
        document_file.unlink()
    elif damage == "shown":
        del document["shown"]["lay"]["lays"]
        document_file.write_text(json.dumps(document), encoding="utf-8")
    elif damage == "not json":
        document_file.write_text("{", encoding="utf-8")
    elif damage == "list":
        document_file.write_text("[]", encoding="utf-8")
    elif damage == "other mark":
        document["order"]["mark"] = "0" * 64
        document_file.write_text(json.dumps(document), encoding="utf-8")
    else:
        document["files"] = [1]
        document_file.write_text(json.dumps(document), encoding="utf-8")
    report = told(tmp_path, order, "buy", rows=[])
    assert report.replaced and report.kept == ()
    text, document = read(tmp_path)
    assert "lay is told" not in text and document["lays"] == []


def test_what_is_said_with_any_part_is_said_once(tmp_path: Path) -> None:
    """A spare part is taken where there is none; trims that a lay tells are not told twice."""
    order = an_order()
    told(tmp_path, order, "buy", spare="take care")
    told(tmp_path, order, "batch", spare="take other care")
    text, _ = read(tmp_path)
    assert "take care" in text and "other care" not in text
    assert text.index("batch is told") < text.index("take care")
    two = {"buy": part("buy", "b"), "trims": part("trims", "trims of buy")}
    assert "trims of buy" in parsed(html_of({"title": "t", "shown": two}).encode()).text
    three = {**two, "lay": part("lay", "l")}
    assert "trims of buy" not in parsed(html_of({"title": "t", "shown": three}).encode()).text


@pytest.mark.parametrize("title", ["Chorus", "<script>alert(1)</script>"])
def test_a_page_of_parts_closes_all_its_tags(title: str) -> None:
    """Whatever the title; a link for each part leads to an anchor that is there."""
    shown = html_of({"title": title, "shown": {"buy": part("buy", "one"), "batch": part("batch", "two")}}).encode()
    found = parsed(shown)
    assert title in found.text and b"one" in shown
    assert found.links == ["#buy", "#batch"]
    assert all(f'id="{link[1:]}"'.encode() in shown for link in found.links)


def test_the_page_is_drawn_from_the_document_alone(tmp_path: Path) -> None:
    """report.json is kept, all else deleted: drawn again by the command, the page is the same byte for byte; names that
    look like marks divide nothing."""
    bad = "x\n<!-- end of part lay -->\n<!-- part buy --> <script>alert(1)</script>\ny"
    order = replace(an_order(), title=bad, do_not_cut=("the side does not match",))
    lay = replace(samples.partial_lay(), title=bad, notes=(bad,), do_not_cut=order.do_not_cut)
    verdicts = {0: Verdict((Failure("overlap", "two pieces overlap"),), 0, 0, 0.0, 0.0, 0.0)}
    both = lay_part([lay, samples.remnant_lay()], resolve(order), verdicts=verdicts)
    shown = {"lay": both, "care": care_part(order.findings)}
    write_outputs(report_with(tmp_path, order, shown, {"lays": [1], "files": []}).files)
    assert told(tmp_path, order, "batch", plans=[]).kept == ("lay",)
    before = (tmp_path / "report.html").read_bytes()
    assert b"<script>" not in before and b"the side does not match" in before
    document = (tmp_path / "report.json").read_bytes()
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "report.json").write_bytes(document)
    for other in [*tmp_path.glob("*.*")]:
        other.unlink()
    draw_report(elsewhere, None)
    assert (elsewhere / "report.html").read_bytes() == before
    for spoiled in (b"{", b"[]", b"{}", document.replace(b'"cautions"', b'"quotations"')):
        (elsewhere / "report.json").write_bytes(spoiled)
        with pytest.raises(InputError):
            draw_report(elsewhere, None)
