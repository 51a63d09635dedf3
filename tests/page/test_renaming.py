"""A piece that nobody named in its drawing is named on the page; everything that the order says of it goes along."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from nesting.files.orders.order import load_order
from nesting.model.errors import OrderError
from tests.page.conftest import Server

#: a front of 280 x 300 mm and a back of 300 x 300 mm, neither with a word or an id of its own
BARE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="700mm" height="320mm" viewBox="0 0 700 320">'
    '<path fill="none" stroke="black" d="M10 10H290V310H10Z"/>'
    '<path fill="none" stroke="black" d="M350 10H650V310H350Z"/></svg>'
)
TURNED = BARE.replace("M10 10H290V310H10Z", "M1 1").replace(
    "M350 10H650V310H350Z", "M10 10H310V310H10ZM350 10H630V310H350Z"
)


def _order(server: Server) -> dict:
    return tomllib.loads(server.page.work.path.read_text(encoding="utf-8"))


@pytest.fixture
def bare(empty: Server) -> Server:
    """A folder with the one file."""
    assert empty.drop(("bare.svg", BARE.encode()))["ok"]
    return empty


def test_a_piece_without_a_name_is_named_and_stays_named(bare: Server) -> None:
    """The order says what the file's piece is called; read by the command line it is called so too."""
    assert [(p["name"], p["unnamed"]) for p in bare.get("pieces")["pieces"]] == [("piece 1", True), ("piece 2", True)]
    bare.do("piece.rename", piece="piece 1", name=" front ")
    assert _order(bare)["pattern"] == [{"file": "bare.svg", "names": {"piece 1": "front"}}]
    assert [(p["name"], p["unnamed"]) for p in bare.get("pieces")["pieces"]] == [("front", False), ("piece 2", True)]
    bare.do("piece.set", piece="front", key="grain", value=90)
    bare.do("piece.set", piece="piece 2", key="grain", value=90)
    bare.do("cloth.add", name="main", width="150 cm")
    assert [cut.piece.name for cut in load_order(bare.page.work.path).pieces] == ["front", "piece 2"]


def test_what_the_order_says_of_a_piece_goes_along_with_its_name(bare: Server) -> None:
    """Settings, edges, seams, alterations, pairs cut together, garments; one step back is the order as it was."""
    for piece in ("piece 1", "piece 2"):
        bare.do("piece.set", piece=piece, key="grain", value=90)
        bare.do("edge.name", piece=piece, start=1, end=2, name="side")
    bare.do("cloth.add", name="main", width="150 cm")
    bare.do("seam.add", sides=["piece 1.side", ["piece 2.side"]])
    bare.do("garment.set", index=0, key="pieces", value=["piece 1", "piece 2"])
    bare.do("alter.add", kind="lengthen", pieces=["piece 1", "piece 2"], by="1 cm", at="10 cm")
    before = bare.page.work.text
    bare.do("piece.rename", piece="piece 1", name="front")
    order = _order(bare)
    assert "piece 1" not in str({k: v for k, v in order.items() if k != "pattern"})
    assert order["seam"][0]["edges"] == ["front.side", "piece 2.side"]
    assert order["garment"][0]["pieces"] == ["front", "piece 2"]
    assert order["alter"][0]["pieces"] == ["front", "piece 2"]
    assert bare.get("state")["problem"] is None
    bare.do("undo")
    assert bare.page.work.text == before


def test_a_name_taken_away_is_the_drawing_s_again(bare: Server) -> None:
    """The order is, byte for byte, what it was before."""
    before = bare.page.work.text
    bare.do("piece.rename", piece="piece 1", name="front")
    bare.do("piece.rename", piece="front", name="fronts")
    assert _order(bare)["pattern"][0]["names"] == {"piece 1": "fronts"}
    bare.do("piece.rename", piece="fronts", name="")
    assert bare.page.work.text == before


def test_the_number_of_a_piece_says_nothing_about_another_file(bare: Server) -> None:
    """Piece 1 of the larger size is its back: named one by one, each keeps what was said of its number."""
    bare.do("file.set", index=0, key="size", value="M")
    assert bare.drop(("bare-l.svg", TURNED.encode()))["ok"]
    bare.do("file.set", index=1, key="size", value="L")
    bare.do("piece.set", piece="piece 1", key="grain", value=90)
    bare.do("piece.rename", piece="piece 1", size="M", name="front")
    bare.do("piece.rename", piece="piece 1", size="L", name="back")
    bare.do("piece.rename", piece="piece 2", size="M", name="back")
    bare.do("piece.rename", piece="piece 2", size="L", name="front")
    pieces = {(p["name"], p["size"]): p for p in bare.get("pieces")["pieces"]}
    # drawn 280 and 300 mm wide: the fronts are the narrow ones
    wide = {key: round(p["bounds"][2] - p["bounds"][0]) for key, p in pieces.items()}
    assert wide == {("front", "M"): 280, ("back", "M"): 300, ("back", "L"): 300, ("front", "L"): 280}
    assert pieces["front", "M"]["grain_deg"] == pieces["back", "L"]["grain_deg"] == 90


def test_a_name_from_the_drawing_is_put_right_in_every_size(demo: Server) -> None:
    """A misspelt word is the same word in each file; the demo's seams still agree."""
    blockers = demo.get("state")["blockers"]
    result = demo.do("piece.rename", piece="shorts front", size="M", name="shorts vorn")
    assert sorted(result["sizes"]) == ["L", "M", "S"]
    assert "shorts front" not in {p["name"] for p in demo.get("pieces")["pieces"]}
    assert sum("names" in one for one in _order(demo)["pattern"]) == 3
    assert demo.get("state")["blockers"] == blockers == []


def test_a_size_at_the_end_of_a_name_is_not_part_of_it(empty: Server) -> None:
    """Front S in the file of size S and front M in that of size M are one piece in two sizes."""
    for size in ("s", "m"):
        words = BARE.replace("</svg>", f'<text x="50" y="100">Forn pce {size.upper()}</text>'
                             f'<text x="400" y="100">bak ({size.upper()})</text></svg>')  # fmt: skip
        assert empty.drop((f"briefs-{size}.svg", words.encode()))["ok"]
    pieces = {(p["name"], p["size"]) for p in empty.get("pieces")["pieces"]}
    assert pieces == {("Forn pce", "S"), ("Forn pce", "M"), ("bak", "S"), ("bak", "M")}


@pytest.mark.parametrize(
    ("name", "told"),
    [("shorts back", r"shorts back.*already"), ("a.b", r"a\.b"), ("\u200b\n", "name"), ("x" * 61, "name")],
)
def test_a_name_that_will_not_do_is_told(demo: Server, name: str, told: str) -> None:
    """At the piece; nothing changes."""
    import re

    before = demo.page.work.text
    problem = demo.refused("piece.rename", piece="shorts front", size="M", name=name)
    assert re.search(told, problem["message"]) and problem["where"]["view"] == "pieces"
    assert demo.page.work.text == before


def test_an_order_that_names_a_piece_the_file_does_not_have_is_refused(bare: Server, tmp_path: Path) -> None:
    """With the file, the key, what was found and what is there."""
    bare.do("piece.rename", piece="piece 1", name="front")
    path = tmp_path / "wrong.toml"
    path.write_text(bare.page.work.text.replace("piece 1", "peice 1"), encoding="utf-8")
    (tmp_path / "wrong.toml").write_text(
        path.read_text(encoding="utf-8") + '\n[[cloth]]\nname = "main"\nwidth = "1 m"\n', encoding="utf-8"
    )
    with pytest.raises(OrderError, match=r"names.*'peice 1' in bare.svg.*did you mean 'piece [12]'"):
        load_order(path)
