"""Lay files that a person has edited: what was moved is named, and the lay is judged where the numbers now put it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from nesting.files.lays.layfile import lay_as_bytes, read_lay
from nesting.files.orders.order import load_order
from nesting.model.errors import OrderError
from nesting.model.lay import Lay
from nesting.proof import prove
from nesting.proof.edited import judge_lay_file, judgement_of, redrawn
from nesting.proof.pattern import near

from .build import finished, lay_of, moved, put
from .good import ALL, Case

ORDER = """
title = "Bands"
units = "cm"

[[piece]]
name = "waistband"
rectangle = ["60 cm", "4 cm"]

[[piece]]
name = "cuff"
rectangle = ["20 cm", "6 cm"]
cut = 2

[[cloth]]
name = "main"
width = "50 cm"
selvage = "1 cm"
gap = "3 mm"

[[garment]]
name = "shorts"
count = 1
"""


def written(folder: Path) -> tuple[Path, Lay]:
    """An order and a sound lay file beside it: the waistband, and two cuffs one behind the other."""
    (folder / "bands.toml").write_text(ORDER)
    order = load_order(folder / "bands.toml")
    band, cuff = (order.cut_piece(name, None).piece for name in ("waistband", "cuff"))
    lay = lay_of(order, "open", [put(band, 300, 40), put(cuff, 100, 100), put(cuff, 310, 100)])
    lay = replace(lay, order_file="bands.toml", order_sha256=order.sha256)
    path = folder / "lay-main.json"
    path.write_bytes(lay_as_bytes(lay))
    return path, lay


def edit(path: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """Change the document as a person with a text editor would."""
    document = json.loads(path.read_text())
    change(document)
    path.write_text(json.dumps(document))


def test_only_what_was_moved_need_be_drawn_anew(tmp_path: Path) -> None:
    """Of a lay drawn by the same order: the same lay as with all of it drawn anew, whichever piece was moved; and a
    moved piece that is left out keeps its old outline, which the proof refuses."""
    path, _ = written(tmp_path)
    lay, order = read_lay(path), load_order(tmp_path / "bands.toml")
    for number in range(3):
        placements = [replace(p, x=p.x + 120.0) if k == number else p for k, p in enumerate(lay.placements)]
        pushed = replace(lay, sections=(replace(lay.sections[0], placements=tuple(placements)),))
        assert redrawn(pushed, order, only={number}) == redrawn(pushed, order)
        assert not prove(redrawn(pushed, order, only=set()), order).ok


def test_a_ring_is_the_same_the_other_way_round() -> None:
    """Whatever corner it begins at; one corner displaced by more than the tolerance, and it is another."""
    ring = np.array([(0, 0), (40, 0), (55, 30), (20, 60), (-5, 25)], dtype=float)
    for way in (ring, ring[::-1]):
        for start in range(5):
            same = np.roll(way, start, axis=0)
            assert near(ring, same, 0.01)
            for corner in range(5):
                other = same.copy()
                other[corner] += (0.02, 0.0)
                assert not near(ring, other, 0.01)


def test_untouched(tmp_path: Path) -> None:
    """A lay file as it was written holds, and there is nothing to tell."""
    path, _ = written(tmp_path)
    lay, verdict, notes = judge_lay_file(path)
    assert verdict.failures == ()
    assert notes == ()
    assert lay == read_lay(path)
    assert judgement_of(path).moved == ()


def test_moved_by_hand_to_a_good_place(tmp_path: Path) -> None:
    """x edited: the outline disagrees, which is an error that names the piece; drawn anew the lay holds."""
    path, lay = written(tmp_path)
    edit(path, lambda d: d["placements"][2].update(x=320.0))
    judged = judgement_of(path)
    assert [(f.kind, f.piece) for f in judged.verdict.failures if f.kind == "shape"] == [("shape", "cuff")]
    assert [p.piece for p in judged.moved] == ["cuff"]
    assert judged.redrawn_verdict.failures == ()
    assert judged.redrawn.placements[2].outline == put(_piece(tmp_path, "cuff"), 320, 100).outline
    assert judged.redrawn.lay_length == lay.lay_length
    said = [f.message for f in judged.findings]
    assert said[0].startswith("cuff 1 (shorts): the outline in the file is not the piece at x 320, y 100, turn 0°")
    assert said[1].startswith("drawn anew where x, y and turn put the pieces, the lay holds: 600.0 mm long")


def _piece(folder: Path, name: str) -> Any:
    return load_order(folder / "bands.toml").cut_piece(name, None).piece


def test_moved_by_hand_beyond_the_end(tmp_path: Path) -> None:
    """A piece moved out makes the lay longer: length, region, length to buy and shares follow."""
    path, _ = written(tmp_path)
    edit(path, lambda d: d["placements"][2].update(x=700.0))
    judged = judgement_of(path)
    assert judged.redrawn_verdict.failures == ()
    assert judged.redrawn.lay_length == pytest.approx(800.0)
    # 800 and two ends of 20 mm, rounded up to 10 cm
    assert judged.redrawn.buy_length == pytest.approx(900.0)
    # 600 · 40 + 2 · 200 · 60 = 48 000 mm² of 500 · 800
    assert judged.redrawn.utilisation == pytest.approx(0.12)
    assert judged.redrawn.garments[0].length_each == pytest.approx(900.0)
    assert max(x for x, _ in judged.redrawn.sections[0].spread.plies[0].region) == pytest.approx(800.0)


def test_moved_by_hand_onto_another(tmp_path: Path) -> None:
    """Drawn anew it overlaps: both verdicts say no, the notes say why."""
    path, _ = written(tmp_path)
    edit(path, lambda d: d["placements"][2].update(x=250.0))
    judged = judgement_of(path)
    assert {f.kind for f in judged.redrawn_verdict.failures} == {"overlap"}
    assert "does not hold" in judged.findings[-1].message
    assert "share" in judged.findings[-1].message


def test_turned_by_hand(tmp_path: Path) -> None:
    """A turn that is not allowed is found in the lay drawn anew."""
    path, _ = written(tmp_path)
    edit(path, lambda d: d["placements"][2].update(turn=45.0))
    judged = judgement_of(path)
    assert "turn" in {f.kind for f in judged.redrawn_verdict.failures}


def test_half_turn_of_a_rectangle_draws_the_same_outline(tmp_path: Path) -> None:
    """Turned by 180° a band covers the same cloth: nothing was moved, but its grainline now points the other way."""
    path, _ = written(tmp_path)
    edit(path, lambda d: d["placements"][2].update(turn=180.0))
    judged = judgement_of(path)
    assert {f.kind for f in judged.verdict.failures} == {"mark"}
    assert judged.redrawn_verdict.failures == ()


def test_changed_order(tmp_path: Path) -> None:
    """The order was changed since: a warning, and the lay is judged by the order as it is now."""
    path, _ = written(tmp_path)
    order = tmp_path / "bands.toml"
    order.write_text(ORDER + "\n# nothing that matters\n")
    _, verdict, notes = judge_lay_file(path)
    assert verdict.ok
    assert len(notes) == 1 and "changed after this lay was made" in notes[0]
    order.write_text(ORDER.replace("cut = 2", "cut = 3"))
    _, verdict, _ = judge_lay_file(path)
    assert {f.kind for f in verdict.failures} == {"count", "copy"}


def test_order_given_or_one_folder_up(tmp_path: Path) -> None:
    """Lay files often lie in a folder of results beside the order."""
    path, _ = written(tmp_path)
    results = tmp_path / "results"
    results.mkdir()
    there = results / path.name
    there.write_bytes(path.read_bytes())
    assert judge_lay_file(there)[1].ok
    edit(there, lambda d: d["order"].update(file="../bands.toml"))
    assert judge_lay_file(there)[1].ok
    there.rename(tmp_path / "copied.json")
    there = tmp_path / "copied.json"
    assert judge_lay_file(there)[1].ok
    assert judge_lay_file(there, load_order(tmp_path / "bands.toml"))[1].ok


@pytest.mark.parametrize(
    "name,says", [(None, "does not name its order"), ("gone.toml", "'gone.toml', is neither there")]
)
def test_order_not_found(tmp_path: Path, name: str | None, says: str) -> None:
    """Without its order a lay cannot be judged."""
    path, _ = written(tmp_path)
    edit(path, lambda d: d["order"].update(file=name))
    with pytest.raises(OrderError, match=says) as caught:
        judge_lay_file(path)
    assert caught.value.key == "order.file"


@pytest.fixture(params=sorted(ALL))
def case(request: pytest.FixtureRequest) -> Case:
    """An order and a sound lay of it."""
    return ALL[request.param]()


def test_redrawing_a_sound_lay_changes_nothing(case: Case) -> None:
    """Drawn anew, a sound lay of any spread is the same lay."""
    order, lay = case
    again = redrawn(lay, order)
    assert prove(again, order).failures == ()
    assert again.lay_length == pytest.approx(lay.lay_length)
    assert again.buy_length == pytest.approx(lay.buy_length)
    assert again.utilisation == pytest.approx(lay.utilisation)
    assert [p.outline for p in again.placements] == [p.outline for p in lay.placements]


def test_redrawing_mends_every_drawing(case: Case) -> None:
    """Outlines and marks that were lost or moved are drawn where they belong; nothing else is touched."""
    order, lay = case
    sections = tuple(
        replace(
            s,
            placements=tuple(
                replace(
                    p, laid=replace(moved(p, 3.0, 4.0).laid, notches=(), drills=(), inside=(), seam=None, cutouts=())
                )
                for p in s.placements
            ),
        )
        for s in lay.sections
    )
    spoiled = replace(lay, sections=sections)
    assert {"shape", "mark"} & {f.kind for f in prove(spoiled, order).failures}
    assert prove(redrawn(spoiled, order), order).failures == ()


def test_redrawing_sections_moves_what_follows(case: Case) -> None:
    """Where a section becomes longer, the sections after it begin later; lay and figures are in keeping."""
    order, lay = case
    first = lay.sections[0]
    if first.spread.kind == "crosswise fold":
        pytest.skip("there the fold stays where it is")
    if lay.remnant is not None:
        pytest.skip("a leftover does not grow")
    last = max(range(len(first.placements)), key=lambda i: max(x for x, _ in first.placements[i].outline))
    edited = replace(first.placements[last], x=first.placements[last].x + 100.0)
    placements = (*first.placements[:last], edited, *first.placements[last + 1 :])
    again = redrawn(replace(lay, sections=(replace(first, placements=placements), *lay.sections[1:])), order)
    assert again.lay_length == pytest.approx(lay.lay_length + 100.0)
    assert prove(again, order).failures == ()
    by_planning = finished(order, again.sections)
    assert again.buy_length == pytest.approx(by_planning.buy_length)
    assert again.utilisation == pytest.approx(by_planning.utilisation)


def test_redrawing_leaves_unknown_pieces_alone(case: Case) -> None:
    """A piece that the order does not have stays as it is, for the proof to name."""
    order, lay = case
    first = lay.sections[0]
    placements = (replace(first.placements[0], piece="sleeve"), *first.placements[1:])
    odd = replace(lay, sections=(replace(first, placements=placements), *lay.sections[1:]))
    again = redrawn(odd, order)
    assert again.placements[0].outline == lay.placements[0].outline
    assert "order" in {f.kind for f in prove(again, order).failures}
