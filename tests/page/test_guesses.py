"""Proposals that nothing in the drawing says are guesses: they say so, and accepting all leaves them out."""

from __future__ import annotations

from nesting.page.plain import plain
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


def test_a_missing_join_notch_names_the_tick_box() -> None:
    """No key of the order's file is told on the page."""
    told = plain("a + b has no notch for the join, 9 mm along it; to have it added, write add_join_notches = true in "
                 "this [[seam]]", "seam.join-unmarked")  # fmt: skip
    assert told.endswith("tick 'notches where the others join' to have it added")
