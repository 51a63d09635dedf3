"""Bands, strips and trims on the page, and what may be chosen of a PDF: without a line of TOML."""

from __future__ import annotations

import pytest

from tests.outlines.pdf_makers import by_hand, front, moved
from tests.page.conftest import FIXTURES, Server


@pytest.fixture
def shorts(empty: Server) -> Server:
    """One size of the demo's shorts, sewn at their sides and inner legs, its cloth, one garment."""
    empty.drop(("shorts-m.svg", (FIXTURES / "demo" / "shorts-m.svg").read_bytes()))
    empty.do("cloth.add", name="main", width="150 cm")
    for edge in ("side", "inseam"):
        empty.do("seam.add", sides=[f"shorts front.{edge}", f"shorts back.{edge}"])
    return empty


def _round_the_waist(shorts: Server) -> float:
    """Front and back are cut twice each, mm."""
    edges = [(p["name"], e) for p in shorts.get("pieces")["pieces"] for e in p["edges"] if e["name"] == "waist"]
    assert {name for name, _ in edges} == {"shorts front", "shorts back"}
    return sum(2.0 * e["length"] for _, e in edges)


def test_a_band_is_as_long_as_its_opening_asks(shorts: Server) -> None:
    """Worked by hand: ratio times both edges (front and back are cut twice each), and a join at both ends; it follows
    when the ratio is changed, its pieces are drawn and laid like any other."""
    around = _round_the_waist(shorts)
    shorts.do("band.add", name="rib", round=["shorts front.waist", "shorts back.waist"], height="8 cm", join="1 cm")
    for ratio in (0.85, 0.8):
        rib = next(p for p in shorts.get("pieces")["pieces"] if p["name"] == "rib")
        x0, y0, x1, y1 = rib["bounds"]
        assert x1 - x0 == pytest.approx(80.0, abs=0.01)
        assert y1 - y0 == pytest.approx(ratio * around + 20.0, abs=0.6)
        assert rib["usable"] and rib["settings"]["cut"]["value"] == 1
        shorts.do("band.set", index=0, key="ratio", value="80 %")
    state = shorts.get("state")
    assert state["readable"] and not state["blockers"]
    (band,) = shorts.get("cloth")["bands"]
    assert band["round"] and band["values"] == {"height": "8 cm", "join": "1 cm", "ratio": "80 %"}
    assert "0.8" in band["words"][0]
    shorts.do("band.remove", index=0)
    assert not shorts.get("cloth")["bands"]


def test_a_band_that_cannot_be_is_told_and_not_kept(shorts: Server) -> None:
    """A name that is taken, edges that are not there, no height."""
    before = shorts.page.work.text
    for fields, told in (
        ({"name": "waistband", "rectangle": ["4 cm", "60 cm"]}, "another name"),
        ({"name": "rib", "round": ["shorts front.sleeve"], "height": "8 cm"}, "sleeve"),
        ({"name": "rib", "round": ["shorts front.waist"]}, "how high"),
        ({"name": "rib"}, "edges"),
    ):
        assert told in shorts.refused("band.add", **fields)["message"]
    assert shorts.page.work.text == before


def test_a_trim_is_said_and_reckoned(shorts: Server) -> None:
    """Elastic round the waist, its ratio, its join; what to buy of it follows the edges."""
    from nesting.planning.buying.trims import trim_needs
    from nesting.resolving.resolve import resolve

    around = _round_the_waist(shorts)
    waist = ["shorts front.waist", "shorts back.waist"]
    shorts.do("trim.add", name="waist elastic", kind="elastic", edges=waist)
    shorts.do("trim.set", index=0, key="ratio", value="0,9")
    shorts.do("trim.set", index=0, key="join", value="2 cm")
    order = shorts.page.work.survey.order
    assert order is not None
    (bought,) = trim_needs(resolve(order))
    assert bought.total == pytest.approx(0.9 * around + 20.0, abs=0.6)
    (trim,) = shorts.get("cloth")["trims"]
    assert trim["values"] == {"ratio": "0.9", "join": "2 cm"} and trim["edges"] == waist
    assert "fold-over elastic" in shorts.get("cloth")["kinds"]
    shorts.do("trim.remove", index=0)
    assert not shorts.get("cloth")["trims"]


def test_pages_and_layers_of_a_pdf_are_chosen(empty: Server) -> None:
    """Shown in small with what is read now; chosen, only those are read, and "all" writes nothing down."""
    pages = [
        [{"shape": front(), "layer": "S"}, {"shape": moved(front(1.2), 30, 0), "layer": "L"}],
        [{"shape": front(0.6)}],
    ]
    answer = empty.drop(("two.pdf", by_hand(pages, (260.0, 260.0))))
    assert answer["ok"], answer
    held = empty.do("file.contents", index=0)
    assert [(p["number"], p["read"]) for p in held["pages"]] == [(1, True), (2, True)]
    assert {(one["name"], one["shown"], one["read"], one["count"]) for one in held["layers"]} == {
        ("S", True, True, 1), ("L", True, True, 1)
    }  # fmt: skip
    assert all(p["drawing"].startswith("M") and p["width"] == 260 for p in held["pages"])
    empty.do("file.choose", index=0, pages=[1], layers=["L"])
    held = empty.do("file.contents", index=0)
    assert [p["read"] for p in held["pages"]] == [True, False]
    assert [one["name"] for one in held["layers"] if one["read"]] == ["L"]
    (piece,) = empty.get("pieces")["pieces"]
    assert piece["bounds"][2] - piece["bounds"][0] == pytest.approx(front_width(1.2), abs=0.1)
    assert empty.get("state")["files"][0]["pages"] == [1]
    assert "page" in empty.refused("file.choose", index=0, pages=[], layers=None)["message"]
    assert "7" in empty.refused("file.choose", index=0, pages=[7], layers=None)["message"]
    empty.do("file.choose", index=0, pages=None, layers=None)
    assert "pages =" not in empty.page.work.text and "layer =" not in empty.page.work.text


def front_width(k: float) -> float:
    """How wide the drawing of the front is, mm: its side bends out to where the curve's x is greatest."""
    from tests.outlines.pdf_makers import dense

    xs = [x for x, _ in dense(front(k))]
    return max(xs) - min(xs)


def test_a_drawing_that_is_no_pdf_has_nothing_to_choose(shorts: Server) -> None:
    """Said so, in one sentence."""
    assert "no PDF" in shorts.refused("file.contents", index=0)["message"]
    assert "not in the order" in shorts.refused("file.contents", index=5)["message"]
