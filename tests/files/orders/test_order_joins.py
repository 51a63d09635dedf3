"""Orders of pieces together: edges, finishes, alterations, seams, and what is cut through at one place."""

from __future__ import annotations

from pathlib import Path

import pytest
from shapely.geometry import Polygon

from nesting.files.orders.order_finish import finish_from_phrase
from nesting.files.orders.order_joins import alterations, edge_specs
from nesting.files.orders.order_schema import read_blocks
from nesting.files.orders.order_values import Place
from nesting.model.errors import InputError, OrderError, UnitsError
from nesting.model.order import Seam, Together
from nesting.pieces.wishes import Alteration, EdgeSpec, Finish
from tests.order_builder import CLOTH, GARMENT, PANEL, load, panel_svg

TWO = PANEL + '[[pattern]]\nfile = "back.svg"\n' + CLOTH + GARMENT
#: The right sides of both panels; the panels' corners are 1 to 4 from the lower left.
EDGES = "".join(f'[[edge]]\npiece = "{p}"\nname = "side"\nfrom = 2\nto = 3\n' for p in ("front", "back"))
DRAWINGS = {"panel": panel_svg("front"), "back": panel_svg("back", width=220)}
PLACE = Place("order.toml", "piece[front].finish.waist", "cm")


def refused(folder: Path, text: str, kind: type[InputError] = OrderError) -> InputError:
    """The error that loading ``text`` with both panels raises."""
    with pytest.raises(InputError) as caught:
        load(folder, text, **DRAWINGS)
    assert type(caught.value) is kind, caught.value
    return caught.value


# -- finishes --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("phrase", "finish"),
    [
        ("raw", Finish("raw", 0.0)),
        ("bound", Finish("bound", 0.0)),
        ("fold back 2 cm", Finish("fold back", 20.0)),
        ("Fold-back  2 cm", Finish("fold back", 20.0)),
        ("foldback 3/4 in, mirror", Finish("fold back", 19.05, "mirror")),
        ("fold back 2 cm, square corners", Finish("fold back", 20.0, "square")),
        ("lace 1.9 cm", Finish("lace", -19.0)),
        ("lace elastic 1.5 cm", Finish("lace", -15.0)),
        ("lace 3/4 in", Finish("lace", -19.05)),
        ("elastic 6 mm", Finish("elastic", 6.0)),
        ("seam 1 cm", Finish("seam", 10.0)),
        ("seam 1", Finish("seam", 10.0)),
        ("seam 0", Finish("seam", 0.0)),
        ("picot", Finish("custom", -4.0, "square", 2.0, "picot")),
    ],
)
def test_a_finish_is_a_phrase_or_a_name(phrase: str, finish: Finish) -> None:
    """What is turned in lies outside the finished edge, a lace that builds out has its cloth cut inside it."""
    named = {"picot": Finish("custom", -4.0, "square", 2.0, "picot")}
    assert finish_from_phrase(phrase, PLACE, named) == finish


def test_lace_and_fold_back_of_one_width_lie_two_widths_apart() -> None:
    """Common practice, no source: 3/4 in of lace and a fold-back of 3/4 in from one seam line are 1 1/2 in apart."""
    apart = (
        finish_from_phrase("fold back 3/4 in", PLACE, {}).offset - finish_from_phrase("lace 3/4 in", PLACE, {}).offset
    )
    assert apart == pytest.approx(1.5 * 25.4)


@pytest.mark.parametrize(
    ("phrase", "kind", "says"),
    [
        ("hemmed", OrderError, 'found \'hemmed\'; "raw", "bound"'),
        ("fold back", OrderError, 'without a length; .*"fold back 1 cm"'),
        ("raw 1 cm", OrderError, "'raw' takes no length"),
        ("lace wide", UnitsError, "'wide'; a length such as"),
        ("lace -1 cm", UnitsError, "may not be negative"),
        (2, OrderError, "found 2; "),
    ],
)
def test_a_finish_that_is_none_is_refused(phrase: object, kind: type[InputError], says: str) -> None:
    """With the place of the edge."""
    with pytest.raises(kind, match=says) as caught:
        finish_from_phrase(phrase, PLACE, {})
    assert caught.value.key == PLACE.key


def test_a_named_finish_of_the_order_is_used_by_its_pieces(tmp_path: Path) -> None:
    """Its offset moves the cut edge: 20 mm more of a side 300 mm long."""
    text = TWO + EDGES + '[[finish]]\nname = "wide hem"\nkind = "fold back"\noffset = "2 cm"\ncorner = "square"\n'
    plain, hemmed = (
        load(tmp_path, text + f'[[piece]]\nname = "front"\nfinish = {{ side = "{words}" }}\n', **DRAWINGS)
        for words in ("raw", "wide hem")
    )
    areas = [Polygon(order.cut_piece("front", None).piece.outline).area for order in (plain, hemmed)]
    assert areas[1] - areas[0] == pytest.approx(20.0 * 300.0, rel=1e-9)


@pytest.mark.parametrize(
    ("block", "key", "says"),
    [
        ('name = "raw"\nkind = "raw"', "finish[raw].name", "already means something"),
        ('name = "a"\nkind = "fold back"', "finish[a].offset", "missing"),
        ('name = "a"\nkind = "custom"', "finish[a].offset", "missing"),
        ('name = "a"\nkind = "lace"\noffset = "1 cm"', "finish[a].offset", "zero or less (the trim builds out)"),
        ('name = "a"\nkind = "fold back"\noffset = "-1 cm"', "finish[a].offset", "zero or more"),
        ('name = "a"\nkind = "bound"\noffset = "1 mm"', "finish[a].offset", "for 'bound' 0 was expected"),
        ('name = "a"\nkind = "bow"\noffset = "1 mm"', "finish[a].kind", "'bow'"),
        ('name = "a"\nkind = "seam"\noffset = "1 mm"\nmitre_limit = 0.5', "finish[a].mitre_limit", "from 1 to 100"),
    ],
)
def test_a_named_finish_must_make_sense(tmp_path: Path, block: str, key: str, says: str) -> None:
    """The sign of its offset follows from its kind."""
    error = refused(tmp_path, TWO + f"[[finish]]\n{block}\n")
    assert error.key == key and says in error.message


def test_a_finish_of_an_edge_that_is_not_there_is_the_orders_error(tmp_path: Path) -> None:
    """It names the order's file, the piece and its edges."""
    error = refused(tmp_path, TWO + EDGES + '[[piece]]\nname = "front"\nfinish = { hem = "raw" }\n')
    assert error.file == str(tmp_path / "order.toml") and error.piece == "front"
    assert "'hem'" in error.message and "side" in error.message


def test_allowance_and_trim_short_reach_the_piece(tmp_path: Path) -> None:
    """The drawn outline includes 1 cm all round: its seam outline is 180 × 280 mm."""
    order = load(tmp_path, TWO + '[[piece]]\nname = "front"\nallowance = { "*" = "1 cm" }\n', **DRAWINGS)
    seam = order.cut_piece("front", None).piece.seam
    assert seam is not None and Polygon(seam).area == pytest.approx(180.0 * 280.0, rel=1e-9)


# -- edges and seams -------------------------------------------------------------------------------------------------


def test_edges_are_named_by_corners_and_notches(tmp_path: Path) -> None:
    """From corner 2 to the notch half way up, and on to corner 3."""
    text = (
        TWO + '[[edge]]\npiece = "front"\nname = "low"\nfrom = 2\nto = "hip"\n[[edge]]\npiece = "front"\nname = '
        '"high"\nfrom = "hip"\nto = 3\n'
    )
    edges = {e.name: e for e in load(tmp_path, text, **DRAWINGS).cut_piece("front", None).piece.edges}
    assert edges["low"].end == pytest.approx(edges["high"].start)
    assert abs(edges["low"].end[0] - edges["low"].start[0]) == pytest.approx(150.0)


def test_an_edge_for_one_size_replaces_the_general_one() -> None:
    """Other sizes keep theirs."""
    blocks = read_blocks(
        {
            "edge": [
                {"piece": "front", "size": "M", "name": "side", "from": 5, "to": 6},
                {"piece": "front", "name": "side", "from": 2, "to": 3},
                {"piece": "front", "name": "waist", "from": 3, "to": "n1"},
            ]
        },
        Place("order.toml"),
    )
    specs = edge_specs(blocks["edge"], [("front", "S"), ("front", "M")])
    assert specs["front", "S"] == [EdgeSpec("side", 2, 3), EdgeSpec("waist", 3, "n1")]
    assert specs["front", "M"] == [EdgeSpec("waist", 3, "n1"), EdgeSpec("side", 5, 6)]


def test_seams_are_read_with_all_their_keys(tmp_path: Path) -> None:
    """Ease may be negative (the second edge is the shorter)."""
    text = TWO + EDGES + '[[seam]]\nedges = ["front.side", "back. side"]\n'
    more = (
        '[[seam]]\nedges = ["front.side", "back.side"]\nease = "-3 mm"\nratio = 0.9\ntolerance = "1 mm"\nmatch = true\n'
    )
    order = load(tmp_path, text + more, **DRAWINGS)
    both = ("front.side", "back.side")
    assert order.seams == (Seam(both), Seam(both, ease=-3.0, ratio=0.9, tolerance=1.0, match=True))


def test_a_seam_may_ask_for_its_centre_notches(tmp_path: Path) -> None:
    """Each of its edges that has none at the middle gets one; the panels' sides have one already, the tops do not."""
    tops = "".join(f'[[edge]]\npiece = "{p}"\nname = "top"\nfrom = 3\nto = 4\n' for p in ("front", "back"))
    seam = '[[seam]]\nedges = ["front.top", "back.top"]\n'
    before = load(tmp_path, TWO + tops + seam, **DRAWINGS)
    after = load(tmp_path, TWO + tops + seam + "add_centre_notches = true\n", **DRAWINGS)
    for name in ("front", "back"):
        old, new = (order.cut_piece(name, None).piece.notches for order in (before, after))
        assert len(new) == len(old) + 1
    by_piece = load(
        tmp_path, TWO + tops + '[[piece]]\nname = "front"\nadd_centre_notches = ["top"]\n', **DRAWINGS
    ).cut_piece("front", None)
    assert len(by_piece.piece.notches) == 2


@pytest.mark.parametrize(
    ("block", "key", "says"),
    [
        ('[[seam]]\nedges = ["front.side"]\n', "seam[1].edges", "at least 2"),
        ('[[seam]]\nedges = ["front", "back.side"]\n', "seam[1].edges", "with a dot between"),
        ('[[seam]]\nedges = ["fornt.side", "back.side"]\n', "seam[1].edges", "did you mean 'front.side'"),
        ('[[seam]]\nedges = ["front.sied", "back.side"]\n', "seam[1].edges", "did you mean 'front.side'"),
        ('[[seam]]\nedges = ["front.side", "front.side"]\n', "seam[1].edges", "twice"),
        ('[[seam]]\nedges = ["front.side", "back.side"]\nratio = 0\n', "seam[1].ratio", "from 0.05 to 20"),
        ('[[trim]]\nname = "t"\nkind = "lace"\nedges = ["front.hem"]\n', "trim[t].edges", "no edge 'hem'"),
        ('[[trim]]\nname = "t"\nkind = "ribbon"\nedges = ["front.side"]\n', "trim[t].kind", "'fold-over elastic'"),
        ('[[edge]]\npiece = "sleeve"\nname = "x"\nfrom = 1\nto = 2\n', "edge[x].piece", "no piece 'sleeve'"),
        ('[[edge]]\npiece = "front"\nname = "x"\nfrom = 1\nto = 1\n', "edge[x].to", "two different anchors"),
        ('[[edge]]\npiece = "front"\nname = "x"\nfrom = 1.5\nto = 2\n', "edge[x].from", "the number of a corner"),
        ('[[edge]]\npiece = "front"\nname = "x"\nfrom = 0\nto = 2\n', "edge[x].from", "the number of a corner"),
        (EDGES.split('[[edge]]\npiece = "back"')[0], "edge[side].name", "given twice"),
    ],
)
def test_edges_and_seams_that_cannot_be_are_refused(tmp_path: Path, block: str, key: str, says: str) -> None:
    """Naming what is there."""
    error = refused(tmp_path, TWO + EDGES + block)
    assert error.key == key and says in error.message


def test_an_edge_from_a_corner_that_is_not_there_is_the_orders_error(tmp_path: Path) -> None:
    """The panel has four corners."""
    error = refused(tmp_path, TWO + '[[edge]]\npiece = "front"\nname = "x"\nfrom = 1\nto = 9\n')
    assert error.file == str(tmp_path / "order.toml") and "corner 9" in error.message and "1 to 4" in error.message


# -- alterations -----------------------------------------------------------------------------------------------------


def test_alterations_are_read_in_their_order() -> None:
    """Places are a distance with its unit, a corner's number or a notch's name."""
    raw = [
        {"piece": "front", "kind": "lengthen", "by": "1 cm", "at": "12 cm"},
        {"pieces": ["front", "back"], "kind": "take strip", "by": 5, "at": 3, "true_edges": ["side"]},
        {"piece": "front", "kind": "shorten", "by": "1/4 in", "at": "hip"},
        {"piece": "front", "kind": "add", "by": "5 mm", "edge": "side", "hold": "hip"},
        {"piece": "front", "size": "M", "kind": "take", "by": "5 mm", "edge": "side", "hold": [2, "hip"]},
    ]
    blocks = read_blocks({"alter": raw}, Place("order.toml", units="mm"))
    asked = alterations(blocks["alter"], [("front", "S"), ("front", "M"), ("back", "M")])
    everywhere = [
        Alteration("lengthen", 10.0, at=120.0, at_is_distance=True),
        Alteration("take strip", 5.0, at=3, true_edges=("side",)),
        Alteration("shorten", 6.35, at="hip"),
        Alteration("add", 5.0, edge="side", hold=("hip",)),
    ]
    assert asked["front", "S"] == everywhere
    assert asked["front", "M"] == [*everywhere, Alteration("take", 5.0, edge="side", hold=(2, "hip"))]
    assert asked["back", "M"] == [everywhere[1]]


def test_an_alteration_changes_the_piece_that_is_laid(tmp_path: Path) -> None:
    """A panel 20 cm wide opened by 3 cm across the grain gains 60 cm²."""
    order = load(
        tmp_path, TWO + '[[alter]]\npiece = "front"\nkind = "lengthen"\nby = "3 cm"\nat = "10 cm"\n', **DRAWINGS
    )
    assert Polygon(order.cut_piece("front", None).piece.outline).area == pytest.approx(200.0 * 330.0, rel=1e-9)
    drawn = order.cut_piece("front", None).drawn
    assert drawn is not None and Polygon(drawn.outline).area == pytest.approx(200.0 * 300.0, rel=1e-9)


@pytest.mark.parametrize(
    ("block", "key", "says"),
    [
        ('piece = "front"\nkind = "lengthen"\nby = "1 cm"', "at", "'lengthen' needs it"),
        ('piece = "front"\nkind = "add"\nby = "1 cm"', "edge", "'add' needs it"),
        ('piece = "front"\nkind = "add"\nby = "1 cm"\nedge = "side"\nat = 3', "at", "takes no such key"),
        ('piece = "front"\nkind = "shorten"\nby = "1 cm"\nat = 3\nhold = 2', "hold", "takes no such key"),
        ('piece = "front"\nkind = "shorten"\nby = "0 cm"\nat = 3', "by", "more than 0 mm"),
        ('piece = "front"\nkind = "shorten"\nby = "1 cm"\nat = 12.5', "at", "a distance with its unit"),
        ('piece = "front"\nkind = "shorten"\nby = "1 cm"\nat = "12"', "at", "a distance with its unit"),
        ('piece = "front"\nkind = "widen"\nby = "1 cm"', "kind", "'widen'"),
        ('piece = "front"\nkind = "add"\nby = "1 cm"\nedge = "side"\nhold = [1, 2, 3]', "hold", "one or two"),
        ('kind = "add"\nby = "1 cm"\nedge = "side"', "", "either piece"),
        ('piece = "front"\npieces = ["back"]\nkind = "add"\nby = "1 cm"\nedge = "side"', "", "not both"),
        ('pieces = ["front", "sleeve"]\nkind = "add"\nby = "1 cm"\nedge = "side"', "pieces", "no piece 'sleeve'"),
    ],
)
def test_alterations_that_cannot_be_are_refused(tmp_path: Path, block: str, key: str, says: str) -> None:
    """Before anything is changed."""
    error = refused(tmp_path, 'units = "cm"\n' + TWO + EDGES + f"[[alter]]\n{block}\n")
    assert error.key == ("alter[1]" + (f".{key}" if key else "")) and says in error.message


# -- cut together ----------------------------------------------------------------------------------------------------


def test_pieces_cut_together_are_read(tmp_path: Path) -> None:
    """The follower's right side faces the same way unless it is said."""
    text = TWO + '[[together]]\nleader = "back"\nfollower = "front"\n'
    assert load(tmp_path, text, **DRAWINGS).together == (Together("back", "front"),)
    more = 'faces = "to the leader"\ntolerance = "2 mm"\n'
    assert load(tmp_path, text + more, **DRAWINGS).together == (Together("back", "front", "to the leader", 2.0),)


@pytest.mark.parametrize(
    ("blocks", "key", "says"),
    [
        ([("front", "lining")], "together[1].follower", "no piece 'lining'"),
        ([("front", "front")], "together[1].follower", "two different pieces"),
        ([("front", "band"), ("back", "band")], "together[2].follower", "already follows 'front'"),
        ([("front", "back"), ("back", "band")], "together[2].leader", "itself a follower of 'front'"),
        ([("front", "pair")], "together[1].follower", "cut 2 times and its leader 'front' only 1 times"),
    ],
)
def test_pieces_that_cannot_be_cut_together_are_refused(
    tmp_path: Path, blocks: list[tuple[str, str]], key: str, says: str
) -> None:
    """Chains, two leaders, and more followers than leaders."""
    bands = "".join(
        f'[[piece]]\nname = "{n}"\ncut = {c}\nrectangle = ["10 cm", "2 cm"]\n' for n, c in (("band", 1), ("pair", 2))
    )
    text = "".join(f'[[together]]\nleader = "{a}"\nfollower = "{b}"\n' for a, b in blocks)
    error = refused(tmp_path, TWO + bands + text)
    assert error.key == key and says in error.message
