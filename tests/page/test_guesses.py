"""Proposals that nothing in the drawing says are guesses: they say so, and accepting all leaves them out."""

from __future__ import annotations

import pytest

from nesting.model.piece import Ring
from nesting.page.plain import plain
from nesting.page.workspace import Workspace
from tests.page.conftest import Server

_LEG = """<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="200mm" viewBox="0 0 400 200">
<path d="M 10,10 L 390,30 L 390,{foot} L 10,190 Z"/>{line}<text x="30" y="40">{name}</text></svg>"""
_LINE = '<path d="M 50,100 L 350,100"/>'


def _leg(name: str, line: str = _LINE, foot: int = 150) -> tuple[str, bytes]:
    return f"{name}.svg", _LEG.format(name=name, line=line, foot=foot).encode()


def test_the_grain_is_guessed_along_the_line_and_not_accepted_with_all(empty: Server) -> None:
    """A leg drawn lying: along its line, 0 degrees; without one, up the drawing. Neither is taken unasked."""
    empty.drop(_leg("leg"), _leg("band", ""))
    offered = {p["pieces"][0].partition("|")[0]: p for p in empty.get("pieces")["proposals"] if p["kind"] == "grain"}
    assert {name: p["value"] for name, p in offered.items()} == {"leg": 0.0, "band": 90.0}
    assert all(p["guess"] and "a guess" in p["why"] for p in offered.values())
    empty.ask("proposals.accept", ids=[])  # at most what is no guess: no fold along a grain that nobody has told
    assert all(p["grain_deg"] is None and p["fold"] is None for p in empty.get("pieces")["pieces"])
    empty.do("proposals.accept", ids=[offered["leg"]["id"]])
    shown = {p["name"]: p["grain_deg"] for p in empty.get("pieces")["pieces"]}
    assert shown == {"leg": 0.0, "band": None}


def test_edges_of_one_name_but_unlike_lengths_are_a_guess(empty: Server) -> None:
    """Sides that are 20 mm apart may be two seams: they are offered, and accepting all leaves them."""
    empty.drop(_leg("front"), _leg("back"), _leg("long", foot=170))
    for name in ("front", "back", "long"):
        empty.do("piece.set", piece=name, key="grain", value=0)
    edges = {p["name"]: max(p["edges"], key=lambda e: e["line"][0][0] + e["line"][-1][0])
             for p in empty.get("pieces")["pieces"]}  # fmt: skip

    def name_side(piece: str) -> None:
        edge = edges[piece]
        empty.do("edge.name", piece=piece, start=edge["start"], end=edge["end"], name="side", old=None)

    name_side("front")
    name_side("long")
    unlike = empty.get("seams")["proposals"]
    assert [p["guess"] for p in unlike] == [True] and "20.0 mm longer" in unlike[0]["why"]
    empty.do("edge.unname", piece="long", name="side")
    name_side("back")
    assert [p["guess"] for p in empty.get("seams")["proposals"]] == [False]


def test_a_no_is_remembered_beside_the_order(empty: Server) -> None:
    """A proposal that somebody said no to is not made again, by the next page either; the order's text stays as it is,
    and one step back makes it again."""
    empty.drop(_leg("leg"))
    path = empty.page.work.path
    before = path.read_bytes()
    offered = empty.get("pieces")["proposals"]
    assert offered
    empty.do("proposals.decline", ids=[p["id"] for p in offered])
    assert empty.get("pieces")["proposals"] == []
    assert path.read_bytes() == before
    assert Workspace(path).declined == {p["id"] for p in offered}
    empty.do("undo")
    assert empty.get("pieces")["proposals"] == offered


def test_one_outline_is_asked_whether_the_allowance_lies_in_it(empty: Server) -> None:
    """A leg drawn 380 mm long: cut along with 1 cm in it, its sewn line is a mean 360 mm long; sewn along, it is cut
    2 cm longer than drawn. What is answered, or declined, is not asked again."""
    empty.drop(_leg("leg"), _leg("arm"), _leg("cuff"))
    assert empty.get("pieces")["unsaid"] == ["leg", "arm", "cuff"]
    for name in ("leg", "arm"):
        empty.do("piece.set", piece=name, key="grain", value=0)
    assert "1 cm" in empty.refused("pieces.allowance", pieces=["leg"], includes=True, length="")["message"]
    assert "wide" in empty.refused("pieces.allowance", pieces=["leg"], includes=True, length="wide")["message"]
    empty.do("pieces.allowance", pieces=["leg"], includes=True, length="1")
    assert 'allowance = {"*" = "1 cm"}' in empty.page.work.text
    empty.do("pieces.allowance", pieces=["arm"], includes=False, length="1,0 cm")
    assert empty.get("pieces")["unsaid"] == ["cuff"]
    empty.do("proposals.decline", ids=["allowance:cuff"])
    assert empty.get("pieces")["unsaid"] == []
    ready = {key[0]: cut.piece for key, cut in empty.page.work.survey.ready.items()}
    assert _spans(ready["leg"].outline) == pytest.approx(380.0) and _spans(ready["arm"].seam) == pytest.approx(380.0)
    assert _spans(ready["leg"].seam) == pytest.approx(360.0) and _spans(ready["arm"].outline) == pytest.approx(400.0)


def test_a_finish_without_a_unit_is_shown_with_one_or_asked_back(empty: Server) -> None:
    """2 are 2 cm; elastic of 10 would be 10 cm wide, so that millimetres are offered, and the choice is taken."""
    empty.drop(_leg("leg"))
    empty.do("piece.set", piece="leg", key="grain", value=0)
    empty.do("edge.name", piece="leg", start=1, end=2, name="hem", old=None)

    def finish(phrase: str) -> dict:
        return empty.ask("piece.finish", piece="leg", edge="hem", finish=phrase)

    assert finish("fold back 2")["ok"] and '"fold back 2 cm"' in empty.page.work.text
    asked = finish("elastic 10")
    assert not asked["ok"] and asked["problem"]["choices"] == ["elastic 10 mm", "elastic 10 cm"]
    assert finish(asked["problem"]["choices"][0])["ok"] and '"elastic 10 mm"' in empty.page.work.text


def test_four_straight_sides_do_not_tell_a_half_from_a_whole(empty: Server) -> None:
    """A gusset that narrows by 4 mm, cut whole, looks like half of something: offered as a guess, not taken with all.
    A half with a curved leg is told."""
    gusset = '<path d="M 10,10 L 120,10 L 120,84 L 10,80 Z"/>'
    half = '<path d="M 200,10 L 330,10 C 320,80 300,90 300,190 L 200,190 Z"/>'
    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="200mm" viewBox="0 0 400 200">'
    empty.drop(("own.svg", f"{svg}{gusset}{half}</svg>".encode()))
    for piece in ("piece 1", "piece 2"):
        empty.do("piece.set", piece=piece, key="grain", value=90)
    folds = {p["pieces"][0]: p["guess"] for p in empty.get("pieces")["proposals"] if p["kind"] == "fold"}
    assert folds == {"piece 1|": True, "piece 2|": False}


def test_what_was_read_of_one_size_is_not_told_of_another(empty: Server) -> None:
    """The labels of two sizes differ by how often they are cut: each piece tells its own."""
    for size, cut in (("S", 2), ("M", 4)):
        svg = _LEG.format(name=f"leg cut {cut}", line=_LINE, foot=150)
        assert empty.drop((f"swim-{size}.svg", svg.encode()))["ok"]
    for piece in empty.get("pieces")["pieces"]:
        (read,) = [f["message"] for f in piece["findings"] if f["code"] == "piece.label-read"]
        assert ("cut 2" in read) == (piece["size"] == "S")


def test_a_cloth_can_be_added_before_the_grain_is_told(empty: Server) -> None:
    """What is missing of two pieces was missing before: it is no reason to refuse the cloth, in whatever order people
    go about it."""
    empty.drop(_leg("leg", ""), _leg("other", ""))
    empty.do("cloth.add", name="main", width="150 cm")
    assert empty.get("state")["cloths"] == ["main"]
    assert sum("no grain" in b["message"] for b in empty.get("state")["blockers"]) >= 2
    empty.do("garment.add", name="second", count=1)
    empty.do("piece.rename", piece="leg", name="sleeve")


def _spans(ring: Ring) -> float:
    """How far an outline reaches along the grain, mm."""
    return max(x for x, _ in ring) - min(x for x, _ in ring)


def test_a_file_for_each_size_gives_a_garment_of_each(empty: Server) -> None:
    """Two files named by their sizes, each with a piece that says its size and one that does not: all pieces have one,
    so no garment takes the pieces of two sizes, and both garments are there."""
    for size in ("S", "M"):
        svg = _LEG.format(name=f"leg size {size}", line=_LINE, foot=150).replace("</svg>", "")
        other = '<path d="M 300,160 L 380,160 L 380,195 L 300,195 Z"/><text x="310" y="180">gusset</text></svg>'
        assert empty.drop((f"swim-{size}.svg", (svg + other).encode()))["ok"]
    assert {(p["name"], p["size"]) for p in empty.get("pieces")["pieces"]} == {
        ("leg", "S"), ("leg", "M"), ("gusset", "S"), ("gusset", "M"),
    }  # fmt: skip
    assert [(g["size"], g["count"]) for g in empty.get("state")["garments"]] == [("S", 1), ("M", 1)]


def test_a_file_for_each_piece_is_in_the_size_that_the_others_are_in(empty: Server) -> None:
    """The leg says its size; a gusset whose name ends with it is in that size, one of another size keeps its name."""
    leg = _LEG.format(name="leg size S", line=_LINE, foot=150)
    assert empty.drop(("leg.svg", leg.encode()))["ok"]
    for file, name in (("gusset.svg", "Gusset S"), ("pad.svg", "Pad M")):
        assert empty.drop((file, _LEG.format(name=name, line=_LINE, foot=150).encode()))["ok"]
    pieces = {(p["name"], p["size"]) for p in empty.get("pieces")["pieces"]}
    assert pieces == {("leg", "S"), ("Gusset", "S"), ("Pad M", None)}


def test_only_the_keys_of_an_order_are_put_in_other_words() -> None:
    """How large a pixel is taken to be is no key, and stays a sentence."""
    assert plain("96 px = 1 in is taken") == "96 px to the inch are taken"
    assert plain("2 px = 1 mm") == "2 px = 1 mm"
    told = "name the edges that are missing, or write openings = 2 where they are two openings"
    assert plain(told).endswith("missing, or say under Cloth & people that they are two openings")
    assert plain("or say finish = \"raw\"") == "or say finish \"raw\""


def test_a_missing_join_notch_names_the_tick_box() -> None:
    """No key of the order's file is told on the page."""
    told = plain("a + b has no notch for the join, 9 mm along it; to have it added, write add_join_notches = true in "
                 "this [[seam]]", "seam.join-unmarked")  # fmt: skip
    assert told.endswith("tick 'notches where the others join' to have it added")
