"""Reading a cutting order: every key reaches the place it belongs to, with its default where it is left out."""

from __future__ import annotations

import dataclasses
import hashlib
from pathlib import Path

import pytest

from nesting.files.orders.order import load_order
from nesting.files.orders.order_cloth import TRIM_RATIO
from nesting.files.orders.order_schema import BLOCKS, TOP
from nesting.model.errors import OrderError
from nesting.model.order import Cloth, Order
from tests.order_builder import CLOTH, GARMENT, PANEL, load, panel_svg, write

BAND = '[[piece]]\nname = "band"\nrectangle = ["62 cm", "4 cm"]\n'


def test_the_smallest_order_has_every_default(tmp_path: Path) -> None:
    """The defaults of the cloth are those of its type; the garment takes every piece."""
    order = load(tmp_path, CLOTH + GARMENT + BAND)
    assert order.title == "order"
    assert order.units == "cm" and not order.imperial
    assert order.cloths == (Cloth("main", 1500.0),)
    cloth = order.cloths[0]
    assert (cloth.increment, cloth.end_allowance, cloth.gap, cloth.plies) == (100.0, 20.0, 0.0, 1)
    assert (cloth.nap, cloth.stretch_tolerance, cloth.right_side, cloth.spreads) == ("none", 0.05, True, None)
    (garment,) = order.garments
    assert (garment.name, garment.size, garment.count, garment.pieces) == ("thing", None, 2, ("band",))
    assert (garment.value, garment.same_cloth) == (1.0, False)
    (piece,) = order.pieces
    assert (piece.cut, piece.mirrored, piece.cloth, piece.turn, piece.tilt) == (1, False, "main", None, 0.0)
    assert (piece.unfold, piece.alike_ok, piece.needs_stretch, piece.band) == (True, False, None, True)
    assert order.findings == ()
    assert order.least_fibre_stretch == 0.05


def test_path_and_fingerprint_are_those_of_the_file(tmp_path: Path) -> None:
    """The fingerprint is of the bytes on disk, so that a lay knows its order again."""
    path = write(tmp_path, CLOTH + GARMENT + BAND)
    order = load_order(path)
    assert order.path == path
    assert order.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert load_order(str(path)) == order


def test_every_cloth_key_is_read(tmp_path: Path) -> None:
    """All in one block; shares as fractions, lengths in mm."""
    order = load(
        tmp_path,
        GARMENT
        + BAND
        + """
        [[cloth]]
        name = "main"
        width = "150 cm"
        selvage = "1 cm"
        length = "2.2 m"
        nap = "by garment"
        stretch_across = "60 %"
        stretch_along = "50 %"
        stretch_tolerance = "4 %"
        fibre_stretch = "8 %"
        shrink_along = "5 %"
        shrink_across = "3 %"
        spreads = ["open", "stacked face to face", "sections"]
        plies = 3
        max_plies = 12
        table_length = "6 m"
        increment = "5 cm"
        price = 14.90
        gap = "3 mm"
        end_allowance = "1.5 cm"
        repeat_along = "4 cm"
        repeat_across = "6 cm"
        tubular = true
        right_side = false
        may_turn_plies = true
        surplus = true
        """,
    )
    assert order.cloths == (
        Cloth(
            name="main", width=1500.0, selvage=10.0, length=2200.0, nap="by garment", stretch_across=0.6,
            stretch_along=0.5, stretch_tolerance=0.04, fibre_stretch=0.08, shrink_along=0.05, shrink_across=0.03,
            spreads=("open", "stacked face to face", "sections"), plies=3, max_plies=12, table_length=6000.0,
            increment=50.0, price=14.90, price_unit=1000.0, gap=3.0, end_allowance=15.0, repeat_along=40.0,
            repeat_across=60.0, tubular=True, right_side=False, may_turn_plies=True, surplus=True,
        ),
    )  # fmt: skip
    assert {f.name for f in dataclasses.fields(Cloth)} - {"price_unit"} == {k.name for k in BLOCKS["cloth"]}


@pytest.mark.parametrize(
    ("units", "width", "increment", "price_unit"),
    [("mm", 60.0, 100.0, 1000.0), ("cm", 600.0, 100.0, 1000.0), ("m", 60_000.0, 100.0, 1000.0),
     ("in", 1524.0, 114.3, 914.4), ("yd", 54_864.0, 114.3, 914.4)],
)  # fmt: skip
def test_bare_numbers_are_in_the_orders_units(
    tmp_path: Path, units: str, width: float, increment: float, price_unit: float
) -> None:
    """With inches and yards the shop cuts eighths of a yard (a fabric-width chart's step) and prices are per yard."""
    order = load(tmp_path, f'units = "{units}"\n[[cloth]]\nname = "main"\nwidth = 60\nprice = 9\n' + GARMENT + BAND)
    cloth = order.cloths[0]
    assert (cloth.width, cloth.increment, cloth.price_unit) == (width, increment, price_unit)
    assert order.imperial == (units in ("in", "yd"))


def test_a_length_may_carry_its_own_unit_and_a_fraction(tmp_path: Path) -> None:
    """Whatever the order's units are."""
    order = load(
        tmp_path, 'units = "in"\n[[cloth]]\nname = "main"\nwidth = "150 cm"\ngap = "1/8 in"\n' + GARMENT + BAND
    )
    assert (order.cloths[0].width, order.cloths[0].gap) == (1500.0, 3.175)


def test_what_the_file_says_holds_until_the_order_says_otherwise(tmp_path: Path) -> None:
    """Count, pairing and cloth come from the label; the order's keys override them one by one."""
    drawing = panel_svg(label="front — size M — cut 2 mirrored — material: lining")
    lining = '[[cloth]]\nname = "Lining"\nwidth = "140 cm"\n'
    plain = load(tmp_path, PANEL + CLOTH + lining + GARMENT, panel=drawing)
    assert [(p.name, p.size, p.cut, p.mirrored, p.cloth) for p in plain.pieces] == [("front", "M", 2, True, "Lining")]
    said = load(
        tmp_path,
        PANEL + CLOTH + lining + GARMENT + '[[piece]]\nname = "front"\nmirrored = false\ncloth = "main"\n',
        panel=drawing,
    )
    assert [(p.cut, p.mirrored, p.cloth) for p in said.pieces] == [(2, False, "main")]


def test_a_material_that_is_no_cloth_is_told(tmp_path: Path) -> None:
    """It is laid on the only cloth, and a note says so."""
    order = load(tmp_path, PANEL + CLOTH + GARMENT, panel=panel_svg(label="front — material: tulle"))
    assert order.pieces[0].cloth == "main"
    assert any(f.kind == "note" and "'tulle'" in f.message and "'main' is taken" in f.message for f in order.findings)


def test_every_piece_key_is_read(tmp_path: Path) -> None:
    """Those that shape the piece are seen in its outline, the others in the cut piece."""
    order = load(
        tmp_path,
        PANEL + CLOTH + GARMENT + """
        [[piece]]
        name = "front"
        cut = 4
        mirrored = true
        cloth = "main"
        turn = "either way"
        tilt = 2
        needs_stretch = "40 %"
        unfold = false
        alike_ok = true
        motif = { at = "hip", offset = ["1 cm", "-2 cm"] }
        """,
        panel=panel_svg(),
    )  # fmt: skip
    (piece,) = order.pieces
    assert (piece.cut, piece.mirrored, piece.turn, piece.tilt, piece.needs_stretch) == (4, True, "either way", 2.0, 0.4)
    assert (piece.unfold, piece.alike_ok, piece.band) == (False, True, False)
    assert piece.motif is not None and piece.motif.offset == (10.0, -20.0)
    # The notch lies half way up the right side: 100 mm to the right of the grainline, which is -y when the grain is +x.
    assert piece.motif.point[1] == pytest.approx(-100.0)
    assert piece.drawn is not None and piece.drawn.file == "panel.svg"
    assert piece.piece.grainline is not None and piece.piece.grainline[0][1] == piece.piece.grainline[1][1] == 0.0


def test_a_motif_may_be_a_point_of_the_grain_frame(tmp_path: Path) -> None:
    """Along and across, from the middle of the grainline."""
    order = load(tmp_path, CLOTH + GARMENT + BAND + 'motif = { point = ["12 cm", "-5 mm"] }\n')
    motif = order.pieces[0].motif
    assert motif is not None and (motif.point, motif.offset) == ((120.0, -5.0), (0.0, 0.0))


def test_a_motif_may_be_at_a_drill_mark(tmp_path: Path) -> None:
    """The mark lies 60 mm to the right of the grainline, which is -y when the grain is +x."""
    drawing = panel_svg().replace(
        "</g>", '<circle class="drill" aria-label="drill: crown" cx="170" cy="100" r="1"/></g>'
    )
    text = PANEL + CLOTH + GARMENT + '[[piece]]\nname = "front"\nmotif = { at = "crown" }\n'
    motif = load(tmp_path, text, panel=drawing).pieces[0].motif
    assert motif is not None and motif.point[1] == pytest.approx(-60.0)


def test_a_rectangle_lies_along_and_across_the_grain(tmp_path: Path) -> None:
    """Its reference point is its middle; its sides have the names of the drawing, grain to the right."""
    order = load(tmp_path, CLOTH + GARMENT + BAND)
    piece = order.pieces[0]
    assert set(piece.piece.outline) == {(-310.0, -20.0), (310.0, -20.0), (310.0, 20.0), (-310.0, 20.0)}
    assert {e.name for e in piece.piece.edges} >= {"left", "right", "top", "bottom"}
    assert piece.drawn is None


def test_a_rectangle_may_be_half_a_band_on_the_fold(tmp_path: Path) -> None:
    """The fold edge is then one of its sides."""
    order = load(tmp_path, CLOTH + GARMENT + BAND + 'fold = "bottom"\n')
    assert order.pieces[0].on_fold
    assert {p[1] for p in order.pieces[0].piece.fold or ()} == {-20.0}


def test_grain_and_fold_come_from_the_order_where_the_drawing_is_silent(tmp_path: Path) -> None:
    """30 cm up the page with grain = 90 lie along the cloth; with grain = 0 across it."""
    for grain, along in ((90, 300.0), (0, 200.0)):
        order = load(
            tmp_path,
            PANEL + CLOTH + GARMENT + f'[[piece]]\nname = "front"\ngrain = {grain}\nfold = "left"\n',
            panel=panel_svg(grain=False),
        )
        xs = [p[0] for p in order.pieces[0].piece.outline]
        assert max(xs) - min(xs) == pytest.approx(along)
        assert order.pieces[0].on_fold


def test_a_piece_without_grain_may_be_said_to_have_none(tmp_path: Path) -> None:
    """turn = "any" is enough; a note says what was assumed."""
    order = load(
        tmp_path, PANEL + CLOTH + GARMENT + '[[piece]]\nname = "front"\nturn = "any"\n', panel=panel_svg(grain=False)
    )
    assert order.pieces[0].turn == "any"
    assert any(f.kind == "note" and "no grainline" in f.message for f in order.findings)


def test_a_mirrored_piece_is_cut_in_pairs(tmp_path: Path) -> None:
    """Without a count that is two."""
    order = load(tmp_path, PANEL + CLOTH + GARMENT + '[[piece]]\nname = "front"\nmirrored = true\n', panel=panel_svg())
    assert (order.pieces[0].cut, order.pieces[0].mirrored) == (2, True)


def test_a_piece_on_the_fold_is_its_own_mirror_image(tmp_path: Path) -> None:
    """So "mirrored" adds nothing and is told."""
    order = load(tmp_path, CLOTH + GARMENT + BAND + 'fold = "bottom"\nmirrored = true\n')
    assert (order.pieces[0].cut, order.pieces[0].mirrored) == (1, False)
    assert any("its own mirror image" in f.message for f in order.findings)


def test_sizes_come_from_the_pattern_block_and_garments_choose_them(tmp_path: Path) -> None:
    """A piece without a size (the band) serves every size."""
    order = load(
        tmp_path,
        '[[pattern]]\nfile = "s.svg"\nsize = "S"\n[[pattern]]\nfile = "m.svg"\nsize = "M"\n' + CLOTH + BAND
        + '[[garment]]\nname = "a"\nsize = "S"\ncount = 3\n[[garment]]\nname = "a"\nsize = "M"\n',
        s=panel_svg(width=180), m=panel_svg(width=200),
    )  # fmt: skip
    assert [(g.name, g.size, g.count, g.pieces) for g in order.garments] == [
        ("a", "S", 3, ("front", "band")), ("a", "M", 1, ("front", "band")),
    ]  # fmt: skip
    assert order.cut_piece("front", "S").piece.key == ("front", "S")
    assert order.cut_piece("band", "S").size is None
    assert not any("in no garment" in f.message for f in order.findings)


def test_as_many_as_fit_is_read(tmp_path: Path) -> None:
    """``count = "most"``, with a ratio or without; the number then stands for the least that makes sense."""
    two = '[[garment]]\nname = "a"\ncount = "most"\nratio = 2\nvalue = 3\n[[garment]]\nname = "b"\ncount = "most"\n'
    order = load(tmp_path, CLOTH + BAND + two)
    assert [(g.most, g.ratio, g.count, g.value) for g in order.garments] == [(True, 2, 2, 3.0), (True, None, 1, 1.0)]
    assert order.open_ended and not load(tmp_path, CLOTH + BAND + GARMENT).open_ended


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ('count = "all"', "order.value", 'or "most" was expected'),
        ("count = 2\nratio = 1", "garment.ratio", "take one away"),
        ('count = "most"\nratio = 0', "order.value", "from 1 to 1000"),
    ],
)
def test_what_is_no_number_of_garments_is_refused(tmp_path: Path, text: str, code: str, words: str) -> None:
    """By code, with what was expected."""
    with pytest.raises(OrderError) as why:
        load(tmp_path, CLOTH + BAND + f'[[garment]]\nname = "a"\n{text}\n')
    assert why.value.code == code and words in str(why.value)


def test_a_block_for_one_size_counts_before_the_block_for_all(tmp_path: Path) -> None:
    """Key by key: what the sized block leaves out is the general one's."""
    order = load(
        tmp_path,
        '[[pattern]]\nfile = "s.svg"\nsize = "S"\n[[pattern]]\nfile = "m.svg"\nsize = "M"\n' + CLOTH
        + '[[piece]]\nname = "front"\nsize = "M"\ntilt = 3\n'
        + '[[piece]]\nname = "front"\ncut = 2\ntilt = 1\n'
        + '[[garment]]\nname = "a"\nsize = "S"\n[[garment]]\nname = "a"\nsize = "M"\n',
        s=panel_svg(width=180), m=panel_svg(width=200),
    )  # fmt: skip
    assert {p.size: (p.cut, p.tilt) for p in order.pieces} == {"S": (2, 1.0), "M": (2, 3.0)}


def test_of_a_file_with_several_sizes_one_may_be_taken(tmp_path: Path) -> None:
    """The others are left out with a note; findings about them too."""
    group = panel_svg(label="front — size S").split("<g")[1].split("</svg>")[0]
    other = panel_svg(label="front — size L", width=220).split("<g")[1].split("</svg>")[0]
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="1000mm" height="1000mm" viewBox="0 0 1000 1000">'
    both = f'{head}<g{group}<g transform="translate(400 0)"{other}</svg>'
    every = load(tmp_path, PANEL + CLOTH + '[[garment]]\nname = "a"\nsize = "L"\n', panel=both)
    assert {p.size for p in every.pieces} == {"S", "L"}
    one = load(tmp_path, PANEL + 'size = "L"\n' + CLOTH + '[[garment]]\nname = "a"\n', panel=both)
    assert {p.size for p in one.pieces} == {"L"}
    assert one.garments[0].size == "L"
    assert any("'S' are left out" in f.message for f in one.findings)


def test_a_piece_in_no_garment_is_a_note_and_does_no_harm(tmp_path: Path) -> None:
    """Not even if it could not be laid, for want of a grainline."""
    order = load(
        tmp_path,
        PANEL + '[[pattern]]\nfile = "other.svg"\n' + CLOTH + GARMENT + 'pieces = ["front"]\n',
        panel=panel_svg(), other=panel_svg("facing", grain=False),
    )  # fmt: skip
    assert [p.name for p in order.pieces] == ["front"]
    assert any(f.piece == "facing" and "in no garment" in f.message and f.kind == "note" for f in order.findings)
    assert any(f.piece == "facing" and f.kind == "ignored" and "grain" in f.message for f in order.findings)


def test_a_garment_may_change_the_cloth(tmp_path: Path) -> None:
    """The same pattern once in navy, once in red; there need be no cloth called "main"."""
    order = load(
        tmp_path,
        BAND + '[[cloth]]\nname = "navy jersey"\nwidth = "150 cm"\n[[cloth]]\nname = "red jersey"\nwidth = "150 cm"\n'
        '[[garment]]\nname = "a"\ncloth = { main = "navy jersey" }\nvalue = 2.5\nsame_cloth = true\n'
        '[[garment]]\nname = "b"\ncloth = { main = "red jersey" }\n',
    )  # fmt: skip
    band = order.pieces[0]
    assert [order.cloth_of(g, band) for g in order.garments] == ["navy jersey", "red jersey"]
    assert (order.garments[0].value, order.garments[0].same_cloth) == (2.5, True)


COLOURS = "".join(f'[[cloth]]\nname = "{c} jersey"\nwidth = "150 cm"\n' for c in ("navy", "red"))


def coloured(name: str, colour: str, count: int, more: str = "") -> str:
    """A garment of one colour."""
    return f'[[garment]]\nname = "{name}"\ncount = {count}\ncloth = {{ main = "{colour} jersey" }}\n{more}'


def test_one_name_in_several_colours(tmp_path: Path) -> None:
    """Garments that differ in nothing but their cloth are told apart by it, each with its own count, and that is said;
    a garment of another name keeps its own."""
    text = BAND + COLOURS + coloured("belt", "navy", 3) + coloured("belt", "red", 2) + coloured("sash", "red", 1)
    order = load(tmp_path, text)
    assert {g.name: g.count for g in order.garments} == {"belt in navy jersey": 3, "belt in red jersey": 2, "sash": 1}
    band = order.pieces[0]
    assert [order.cloth_of(g, band) for g in order.garments] == ["navy jersey", "red jersey", "red jersey"]
    told = [f.message for f in order.findings if f.code == "garment.by-cloth"]
    assert [("'belt in navy jersey'" in m, "'belt in red jersey'" in m) for m in told] == [(True, False), (False, True)]


def test_names_that_cloths_do_not_tell_apart_are_refused(tmp_path: Path) -> None:
    """The same cloth twice; a name that another garment was given already; a size left out and the same one said."""
    twice = BAND + COLOURS + coloured("belt", "navy", 3) + coloured("belt", "navy", 2)
    with pytest.raises(OrderError, match=r"put them together or rename one, or say which is cut from another cloth"):
        load(tmp_path, twice)
    both = coloured("belt in red jersey", "red", 1) + coloured("belt", "navy", 3) + coloured("belt", "red", 2)
    with pytest.raises(OrderError, match=r"two garments 'belt in red jersey', which their cloths do not tell apart"):
        load(tmp_path, BAND + COLOURS + both)
    sized = '[[pattern]]\nfile = "panel.svg"\nsize = "M"\n' + CLOTH + GARMENT + 'size = "M"\n' + GARMENT
    with pytest.raises(OrderError, match=r"two garments 'thing', which their cloths do not tell apart"):
        load(tmp_path, sized, panel=panel_svg())


def test_remnants_are_drawn_or_measured(tmp_path: Path) -> None:
    """A measured one is a rectangle along the grain, its lower left at the origin; a drawn one brings its flaws."""
    drawn = """<svg xmlns="http://www.w3.org/2000/svg" width="600mm" height="600mm" viewBox="0 0 600 600">
      <path class="cut" d="M 50 50 H 550 V 350 H 50 Z"/><path class="flaw" d="M 100 100 h 40 v 40 h -40 Z"/></svg>"""
    order = load(
        tmp_path,
        CLOTH + GARMENT + BAND + '[[remnant]]\nname = "a"\ncloth = "main"\nwidth = "60 cm"\nlength = "45 cm"\n'
        '[[remnant]]\nname = "b"\ncloth = "main"\nfile = "scrap.svg"\n',
        scrap=drawn,
    )  # fmt: skip
    a, b = order.remnants
    assert a.outline == ((0.0, 0.0), (450.0, 0.0), (450.0, 600.0), (0.0, 600.0)) and a.rectangular
    assert (min(p[0] for p in b.outline), min(p[1] for p in b.outline)) == (0.0, 0.0)
    assert max(p[0] for p in b.outline) == pytest.approx(500.0) and max(p[1] for p in b.outline) == pytest.approx(300.0)
    assert len(b.flaws) == 1 and b.file == "scrap.svg" and not b.rectangular


def test_the_title_and_the_byte_order_mark(tmp_path: Path) -> None:
    """A title is taken as it is; a byte order mark that some editors write does no harm."""
    path = write(tmp_path, "")
    path.write_bytes(b"\xef\xbb\xbf" + ('title = "Chorus — ½ dozen"\n' + CLOTH + GARMENT + BAND).encode())
    assert load_order(path).title == "Chorus — ½ dozen"


def test_the_least_stretch_fibre_is_the_orders(tmp_path: Path) -> None:
    """Five per cent unless it says otherwise."""
    assert load(tmp_path, 'fibre_stretch = "12 %"\n' + CLOTH + GARMENT + BAND).least_fibre_stretch == 0.12


def test_every_trim_has_a_ratio_of_practice_that_is_marked_so(tmp_path: Path) -> None:
    """Hobby-page practice: elastic 80-85 % of the edge, fold-over elastic 95-100 %: the upper ends; else the edge."""
    assert TRIM_RATIO == {"elastic": 0.85, "fold-over elastic": 1.0, "binding": 1.0, "lace": 1.0}
    trims = "".join(
        f'[[trim]]\nname = "{kind}"\nkind = "{kind}"\nedges = ["band.top", "band.bottom"]\n' for kind in TRIM_RATIO
    )
    own = """
    [[trim]]
    name = "own"
    kind = "lace"
    edges = ["band.top"]
    ratio = 0.9
    join = "2 cm"
    increment = "25 cm"
    price = 2.5
    """
    order = load(tmp_path, CLOTH + GARMENT + BAND + trims + own)
    assert {t.kind: t.ratio for t in order.trims[:4]} == TRIM_RATIO
    assert not any(t.ratio_stated for t in order.trims[:4]) and {t.increment for t in order.trims[:4]} == {100.0}
    assert order.trims[0].edges == ("band.top", "band.bottom")
    last = order.trims[4]
    assert (last.ratio, last.ratio_stated, last.join, last.increment, last.price) == (0.9, True, 20.0, 250.0, 2.5)


def test_every_key_of_the_contract_is_known() -> None:
    """The blocks and keys of a cutting order as they are agreed on; none may go missing."""
    agreed = {
        "pattern": "file size units",
        "piece": "name cut mirrored fold grain cloth turn tilt needs_stretch finish unfold rectangle alike_ok motif",
        "together": "leader follower faces",
        "seam": "edges ease match",
        "cloth": "name width selvage length nap stretch_across stretch_along shrink_along shrink_across spreads plies "
        "increment price gap end_allowance repeat_along repeat_across tubular fibre_stretch right_side "
        "stretch_tolerance may_turn_plies max_plies table_length",
        "remnant": "name cloth file width length",
        "garment": "name size count ratio pieces cloth value same_cloth wearer",
        "alter": "piece pieces kind by at edge hold",
        "edge": "piece name from to",
        "trim": "name kind edges ratio",
        "finish": "name kind offset",
    }
    assert {key.name for key in TOP} >= {"title", "units"}
    for block, names in agreed.items():
        assert {key.name for key in BLOCKS[block]} >= set(names.split()), block
    assert all(key.meaning for keys in BLOCKS.values() for key in keys)


WHOLE = """
title = "Chorus shorts"
units = "cm"

[[pattern]]
file = "shorts-m.svg"
size = "M"

[[piece]]
name = "front"
cut = 1
fold = "left"
grain = 90
cloth = "main"
turn = "either way"
tilt = 2
needs_stretch = "40 %"
finish = { waist = "fold back 2 cm", leg = "raw" }
unfold = true

[[piece]]
name = "lining"
cut = 1
fold = "left"
grain = 90

[[piece]]
name = "back"
cut = 2
mirrored = true
grain = 90

[[together]]
leader = "front"
follower = "lining"

[[seam]]
edges = ["front.side", "back.side"]
ease = "0 mm"

[[cloth]]
name = "main"
width = "150 cm"
selvage = "1 cm"
length = "2.2 m"
nap = "none"
stretch_across = "60 %"
stretch_along = "60 %"
shrink_along = "5 %"
shrink_across = "3 %"
spreads = ["open", "lengthwise fold", "partial fold", "double fold", "crosswise fold"]
plies = 1
increment = "10 cm"
price = 14.90
gap = "3 mm"
end_allowance = "2 cm"
repeat_along = "0"
repeat_across = "0"

[[remnant]]
name = "scrap-1"
cloth = "main"
file = "scrap-1.svg"

[[garment]]
name = "shorts"
size = "M"
count = 6
pieces = ["front", "back", "lining"]
"""


def test_an_order_with_every_block_is_read(tmp_path: Path) -> None:
    """As a person would write it; the front, 300 mm long as drawn, has its waist folded back by 20 mm."""

    def panel(name: str, x: int) -> str:
        return f"""<g id="{name}"><path class="cut" d="M {x} 10 h 200 v 300 h -200 Z"/>
          <path class="edge" aria-label="edge: waist" d="M {x} 10 h 200"/>
          <path class="edge" aria-label="edge: side" d="M {x + 200} 10 v 300"/>
          <path class="edge" aria-label="edge: leg" d="M {x + 200} 310 h -200"/></g>"""

    head = '<svg xmlns="http://www.w3.org/2000/svg" width="900mm" height="900mm" viewBox="0 0 900 900">'
    shorts = head + panel("front", 10) + panel("lining", 260) + panel("back", 510) + "</svg>"
    scrap = head + '<path class="cut" d="M 0 0 h 500 v 400 h -500 Z"/></svg>'
    order = load(tmp_path, WHOLE, **{"shorts-m": shorts, "scrap-1": scrap})
    front = order.cut_piece("front", "M")
    assert front.on_fold and front.tilt == 2.0 and front.needs_stretch == 0.4
    xs = [p[0] for p in front.piece.outline]
    assert max(xs) - min(xs) == pytest.approx(320.0)
    assert (order.cut_piece("back", "M").cut, order.cut_piece("back", "M").mirrored) == (2, True)
    assert order.seams[0].edges == ("front.side", "back.side")
    assert order.cloths[0].spreads == ("open", "lengthwise fold", "partial fold", "double fold", "crosswise fold")
    assert order.cloths[0].length == 2200.0
    assert order.together[0].faces == "same"
    assert order.remnants[0].file == "scrap-1.svg"
    assert order.garments[0].count == 6
    assert not any(f.kind == "question" for f in order.findings)


def test_an_order_survives_pickling(tmp_path: Path) -> None:
    """Worker processes are handed orders."""
    import pickle

    order = load(tmp_path, PANEL + CLOTH + GARMENT, panel=panel_svg())
    again = pickle.loads(pickle.dumps(order))
    assert isinstance(again, Order) and again == order
