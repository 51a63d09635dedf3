"""A lay file is judged with what stands beside it: a second cloth by its leaders' lay, a bound by proof."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import nesting
from nesting.checking.lays import judge_file
from nesting.files.lays.layfile import lay_as_bytes

ORDER = """
title = "fronts"
units = "mm"
[[piece]]
name = "front"
rectangle = [300, 200]
[[piece]]
name = "lining"
rectangle = [300, 200]
cloth = "thin"
[[together]]
leader = "front"
follower = "lining"
[[cloth]]
name = "main"
width = 1000
spreads = ["open"]
[[cloth]]
name = "thin"
width = 1000
spreads = ["open"]
[[garment]]
name = "briefs"
count = 3
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[nesting.Order, Path]:
    """Both cloths laid, in one folder with their order."""
    folder = tmp_path_factory.mktemp("lays")
    (folder / "fronts.toml").write_text(ORDER, encoding="utf-8")
    order = nesting.load_order(folder / "fronts.toml")
    for lay in nesting.lay(order, rounds=2, workers=1):
        (folder / f"lay-{lay.cloth}.json").write_bytes(lay_as_bytes(lay))
    return order, folder


def spoiled(folder: Path, tmp_path: Path, name: str, change) -> Path:
    """The files in a folder of their own, one of them changed."""
    for path in folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    document = json.loads((tmp_path / name).read_text(encoding="utf-8"))
    change(document)
    (tmp_path / name).write_text(json.dumps(document), encoding="utf-8")
    return tmp_path / name


def shifted(document, dx: float, dy: float) -> None:
    """The first placement moved, outline, grainline and all."""
    p = document["placements"][0]
    p["x"], p["y"] = p["x"] + dx, p["y"] + dy
    for key in ("outline", "grainline"):
        p[key] = [[x + dx, y + dy] for x, y in p[key]]


def test_both_lays_hold(made) -> None:
    """As they were written."""
    order, folder = made
    for name in ("lay-main.json", "lay-thin.json"):
        judged = judge_file(folder / name, order)
        assert judged.verdict.ok, judged.verdict.failures


@pytest.mark.parametrize(("dx", "dy"), [(0.0, 2.0), (0.0, -2.0)])
def test_a_follower_moved_off_its_leader_is_refused(made, tmp_path, dx, dy) -> None:
    """By two millimetres, where one is allowed."""
    order, folder = made
    path = spoiled(folder, tmp_path, "lay-thin.json", lambda d: shifted(d, dx, dy))
    kinds = {f.kind for f in judge_file(path, order).verdict.failures}
    assert "together" in kinds or "cloth" in kinds or "overlap" in kinds
    assert kinds


def test_a_leader_moved_away_is_found_in_the_second_cloth(made, tmp_path) -> None:
    """The leader lies 2 mm further across than the follower says: the second cloth's lay is refused for it."""
    order, folder = made
    path = spoiled(folder, tmp_path, "lay-main.json", lambda d: [shifted(d, 0.0, 2.0)])
    assert "together" in {f.kind for f in judge_file(path.with_name("lay-thin.json"), order).verdict.failures}


def test_a_second_cloth_cut_loose_is_refused(made, tmp_path) -> None:
    """It says no more that it lies over its leaders' cloth; only one that says why it cannot may do so."""
    order, folder = made
    path = spoiled(folder, tmp_path, "lay-thin.json", lambda d: d.update(over=None))
    assert {f.kind for f in judge_file(path, order).verdict.failures} == {"together"}


def test_a_second_cloth_without_its_leaders_lay_is_not_believed(made, tmp_path) -> None:
    """The lay of the leaders' cloth is not there, so their places cannot be judged."""
    order, folder = made
    path = spoiled(folder, tmp_path, "lay-thin.json", lambda d: None)
    path.with_name("lay-main.json").unlink()
    (failure,) = judge_file(path, order).verdict.failures
    assert failure.kind == "together" and "not beside this file" in failure.message


def test_what_is_no_left_one_may_not_be_called_so(made, tmp_path) -> None:
    """A front is cut once, so it is neither left nor right: labels would say what is not so."""
    order, folder = made
    path = spoiled(folder, tmp_path, "lay-main.json", lambda d: d["placements"][1].update(hand="left"))
    (failure,) = judge_file(path, order).verdict.failures
    assert failure.kind == "hand" and "neither left nor right" in failure.message


def test_a_cloth_may_not_be_called_a_knit_where_the_order_does_not(made, tmp_path) -> None:
    """The sheet says of a knit how it is to rest before it is cut. A file that says nothing of it is not refused."""
    order, folder = made
    path = spoiled(folder, tmp_path, "lay-main.json", lambda d: d["cloth"].update(knit=True))
    (failure,) = judge_file(path, order).verdict.failures
    assert failure.kind == "value" and "the lay says a knit" in failure.message
    older = spoiled(folder, tmp_path, "lay-main.json", lambda d: d["cloth"].pop("knit"))
    assert judge_file(older, order).verdict.ok


def test_a_bound_that_cannot_be_proved_is_refused(made, tmp_path) -> None:
    """Three of 300 × 200 on 1000: 300 are proved by the longest piece, as the file says; 250 is less and may stand."""
    order, folder = made
    document = json.loads((folder / "lay-main.json").read_text(encoding="utf-8"))
    assert document["lay_length"] == pytest.approx(300.0, abs=0.01)
    assert document["lower_bound"] == pytest.approx(300.0, abs=0.1)
    longer = spoiled(folder, tmp_path, "lay-main.json", lambda d: d.update(lower_bound=250.0))
    assert judge_file(longer, order).verdict.ok

    def claimed(d) -> None:
        # the first piece stands 100 mm further along, and the file claims that no lay is shorter
        shifted(d, 100.0, 0.0)
        d["lay_length"] = d["spread"]["length"] = d["lower_bound"] = 400.0
        for ply in d["spread"]["plies"]:
            ply["region"] = [[400.0 if x == pytest.approx(300.0, abs=0.01) else x, y] for x, y in ply["region"]]
        d["utilisation"] *= 300.0 / 400.0
        d["buy_length"] = 500.0
        for g in d["garments"]:
            g["length_each"] = 500.0 / 3.0

    path = spoiled(folder, tmp_path, "lay-main.json", claimed)
    kinds = {f.kind for f in judge_file(path, order).verdict.failures}
    assert kinds == {"bound"}


def test_a_copy_that_its_placement_does_not_serve_is_refused(made, tmp_path) -> None:
    """The label names copy 3, the list of copies another."""
    order, folder = made
    path = spoiled(folder, tmp_path, "lay-main.json", lambda d: d["placements"][0].update(copy=3, copies=[1]))
    assert "copy" in {f.kind for f in judge_file(path, order).verdict.failures}


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [
        ("other piece", lambda p: p[0].update(ids=["briefs///1/back/1"]), "is that of no piece that it gives"),
        ("other copy", lambda p: p[0].update(ids=[p[0]["ids"][0].replace("/1/", "/7/")]), "of no piece that it gives"),
        ("swapped", lambda p: p[0].update(ids=p[1]["ids"]), "of no piece that it gives"),
        ("one too many", lambda p: p[0]["ids"].append(p[0]["ids"][0].replace("/front/1", "/front/2")), "2 ids for 1"),
        ("twice", lambda p: p[0]["ids"].append(p[0]["ids"][0]), "stands twice"),
        ("number twice", lambda p: p[0].update(number=p[1]["number"]), "stands twice"),
        ("without", lambda p: [one.pop("ids") for one in p] and None, ""),
        ("as it was", lambda p: None, ""),
    ],
)
def test_ids_are_those_of_the_pieces_they_name(made, tmp_path: Path, name: str, change, words: str) -> None:
    """Labels and --keep go by them: one that names another piece, or stands twice, is told; a file of before ids is
    none the worse."""
    _, folder = made
    path = spoiled(folder, tmp_path, "lay-main.json", lambda document: change(document["placements"]))
    verdict = judge_file(path).verdict
    assert verdict.ok == (not words), [str(f) for f in verdict.failures]
    assert not words or any(words in f.message for f in verdict.failures)
