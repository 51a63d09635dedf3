"""What is wrong in an order is refused: the message names file and key, what was found and expected, and what to do."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nesting.files.orders.order import load_order
from nesting.files.orders.order_schema import BLOCKS
from nesting.model.errors import InputError, OrderError, PatternError, UnitsError
from tests.order_builder import CLOTH, GARMENT, PANEL, load, panel_svg, write

BAND = '[[piece]]\nname = "band"\nrectangle = ["62 cm", "4 cm"]\n'
BASE = CLOTH + GARMENT + BAND
FRONT = '[[piece]]\nname = "front"\n'


def refused(folder: Path, text: str, kind: type[InputError] = OrderError, **drawings: str) -> InputError:
    """The error that loading ``text`` raises."""
    with pytest.raises(InputError) as caught:
        load(folder, text, **drawings)
    assert type(caught.value) is kind, caught.value
    return caught.value


def cloth(lines: str) -> str:
    """BASE with more lines for its cloth."""
    return BASE.replace('"150 cm"', f'"150 cm"\n{lines}')


def garment(lines: str) -> str:
    """BASE with more lines for its garment."""
    return BASE.replace("count = 2", f"count = 2\n{lines}")


#: (order, key in the message, words in the message); BASE without the block that is spoiled.
CASES: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "unknown key": (BASE + "mirored = true\n", "piece[band].mirored", ("Did you mean 'mirrored'",)),
    "unknown block": (BASE + "[[cloths]]\n", "cloths", ("Did you mean [[cloth]]", "this block is not known")),
    "unknown top key": ('unit = "cm"\n' + BASE, "unit", ("Did you mean 'units'", "this key is not known")),
    "key far from any": (BASE + "zzzz = 1\n", "piece[band].zzzz", ("not known", "Known are name, size, cut")),
    "block in single brackets": (BASE + "[trim]\n", "trim", ("[[trim]]", "two brackets")),
    "missing name": (
        CLOTH + GARMENT + '[[piece]]\nrectangle = ["1 cm", "1 cm"]\n',
        "piece[1].name",
        ("missing", "as in the"),
    ),
    "missing width": (
        '[[cloth]]\nname = "main"\n' + GARMENT + BAND,
        "cloth[main].width",
        ("missing", "selvage to selvage"),
    ),
    "no pattern": (CLOTH + GARMENT, "pattern", ("at least one", "SVG, DXF or PDF")),
    "no cloth": (GARMENT + BAND, "cloth", ("at least one", "150 cm")),
    "no garment": (CLOTH + BAND, "garment", ("at least one", "count")),
    "unknown units": ('units = "inch"\n' + BASE, "units", ("'inch'", "'in'")),
    "negative count": (BASE.replace("count = 2", "count = -2"), "garment[thing].count", ("-2", "from 1 to 10000")),
    "count of none": (BASE.replace("count = 2", "count = 0"), "garment[thing].count", ("leave the block out",)),
    "count in halves": (BASE.replace("count = 2", "count = 2.5"), "garment[thing].count", ("2.5", "whole number")),
    "count in words": (BASE.replace("count = 2", 'count = "two"'), "garment[thing].count", ("'two'", "whole number")),
    "count is true": (
        BASE.replace("count = 2", "count = true"),
        "garment[thing].count",
        ("found true;", "whole number"),
    ),
    "no plies": (cloth("plies = 0"), "cloth[main].plies", ("0", "from 1 to 1000")),
    "plies over the limit": (cloth("plies = 9\nmax_plies = 6"), "cloth[main].plies", ("9", "max_plies = 6")),
    "selvage too wide": (cloth('selvage = "75 cm"'), "cloth[main].selvage", ("75 cm", "150 cm", "half the width")),
    "selvage too wide once washed": (
        BASE.replace('"150 cm"', '"20 cm"\nselvage = "9.8 cm"\nshrink_across = "3 %"'),
        "cloth[main].selvage",
        ("19.4 cm",),
    ),
    "all shrunk away": (cloth('shrink_along = "100 %"'), "cloth[main].shrink_along", ("'100 %'", "below 100 %")),
    "shrinkage of one": (cloth("shrink_across = 1.0"), "cloth[main].shrink_across", ("1.0", "below 100 %")),
    "no width": (BASE.replace('"150 cm"', '"0 cm"'), "cloth[main].width", ("'0 cm'", "more than 0 mm")),
    "no increment": (cloth('increment = "0"'), "cloth[main].increment", ("more than 0 mm",)),
    "all end allowance": (cloth('length = "4 cm"'), "cloth[main].length", ("2 cm", "leave nothing of 4 cm")),
    "price in words": (cloth('price = "9.90"'), "cloth[main].price", ("'9.90'", "per metre")),
    "price below zero": (cloth("price = -1"), "cloth[main].price", ("-1", "from 0")),
    "price is no number": (cloth("price = nan"), "cloth[main].price", ("nan", "from 0")),
    "nap is true": (
        cloth("nap = true"),
        "cloth[main].nap",
        ("found true; one of 'none', 'one way', 'by garment' was expected, in quotes",),
    ),
    "nap misspelt": (cloth('nap = "oneway"'), "cloth[main].nap", ("'oneway'", "did you mean 'one way'")),
    "spread misspelt": (
        cloth('spreads = ["open", "length fold"]'),
        "cloth[main].spreads[2]",
        ("'length fold'", "did you mean 'lengthwise fold'"),
    ),
    "spread twice": (cloth('spreads = ["open", "open"]'), "cloth[main].spreads", ("twice", "take one away")),
    "no spreads": (cloth("spreads = []"), "cloth[main].spreads", ("at least 1",)),
    "tubular spread of flat cloth": (
        cloth('spreads = ["tubular"]'),
        "cloth[main].spreads",
        ("no tube", "tubular = true"),
    ),
    "stretch without bounds": (cloth('stretch_along = "2000 %"'), "cloth[main].stretch_along", ("at most 1000 %",)),
    "flag in quotes": (cloth('tubular = "yes"'), "cloth[main].tubular", ("'yes'", "true or false")),
    "cloth twice": (BASE + CLOTH, "cloth[main]", ("two [[cloth]] blocks 'main'", "rename one")),
    "garment twice": (BASE + GARMENT, "garment[thing]", ("two [[garment]] blocks", "put them together")),
    "piece block twice": (BASE + BAND, "piece[band]", ("two [[piece]] blocks", "put them together")),
    "piece of unknown cloth": (
        BASE + 'cloth = "maim"\n',
        "piece[band].cloth",
        ("no [[cloth]] 'maim'", "did you mean 'main'"),
    ),
    "garment of unknown cloth": (
        garment('cloth = { main = "red" }'),
        "garment[thing].cloth.main",
        ("'red'", "add a block"),
    ),
    "garment renames a cloth it has not": (
        garment('cloth = { lining = "main" }'),
        "garment[thing].cloth.lining",
        ("none of its pieces is cut from 'lining'", "'main'"),
    ),
    "garment of unknown piece": (
        garment('pieces = ["bamd"]'),
        "garment[thing].pieces",
        ("'bamd'", "did you mean 'band'"),
    ),
    "piece twice in a garment": (garment('pieces = ["band", "band"]'), "garment[thing].pieces", ("twice",)),
    "unknown piece": (
        BASE + '[[piece]]\nname = "front"\n',
        "piece[front].name",
        ("no piece 'front'", "there are 'band'"),
    ),
    "odd number of a pair": (BASE + "mirrored = true\ncut = 3\n", "piece[band].cut", ("cut = 3", "write cut = 4")),
    "grain of a rectangle": (BASE + "grain = 90\n", "piece[band].grain", ("along × across",)),
    "rectangle of one measure": (
        BASE.replace('["62 cm", "4 cm"]', '["62 cm"]'),
        "piece[band].rectangle",
        ("two lengths",),
    ),
    "flat rectangle": (
        BASE.replace('["62 cm", "4 cm"]', '["62 cm", "0 cm"]'),
        "piece[band].rectangle",
        ("more than 0 mm",),
    ),
    "tilt without end": (BASE + "tilt = 90\n", "piece[band].tilt", ("90", "from 0 to 45")),
    "turn misspelt": (BASE + 'turn = "either"\n', "piece[band].turn", ("'either'", "'either way'")),
    "remnant of unknown cloth": (
        BASE + '[[remnant]]\nname = "a"\ncloth = "silk"\nwidth = "1 m"\nlength = "1 m"\n',
        "remnant[a].cloth",
        ("'silk'",),
    ),
    "remnant without measures": (
        BASE + '[[remnant]]\nname = "a"\ncloth = "main"\n',
        "remnant[a]",
        ("either file", "width and length"),
    ),
    "remnant drawn and measured": (
        BASE + '[[remnant]]\nname = "a"\ncloth = "main"\nfile = "a.svg"\nwidth = "1 m"\n',
        "remnant[a]",
        ("not both",),
    ),
    "remnant without length": (
        BASE + '[[remnant]]\nname = "a"\ncloth = "main"\nwidth = "1 m"\n',
        "remnant[a].length",
        ("missing", "has both"),
    ),
    "remnant without its file": (
        BASE + '[[remnant]]\nname = "a"\ncloth = "main"\nfile = "a.svg"\n',
        "remnant[a].file",
        ("no file 'a.svg'",),
    ),
    "pattern without its file": (
        BASE + '[[pattern]]\nfile = "pannel.svg"\n',
        "pattern[1].file",
        ("no file 'pannel.svg'", "SVG, DXF or PDF"),
    ),
    "pattern is a folder": (BASE + '[[pattern]]\nfile = "."\n', "pattern[1].file", ("is a folder",)),
    "motif without a point": (BASE + "motif = { offset = [0, 0] }\n", "piece[band].motif", ("point = ", "at = ")),
    "motif at no mark": (BASE + 'motif = { at = "crown" }\n', "piece[band].motif.at", ("'crown'", "there are none")),
}


@pytest.mark.parametrize("name", CASES)
def test_what_can_never_work_is_refused(name: str, tmp_path: Path) -> None:
    """Each with the file, the key and words that say what was found, expected and to do."""
    text, key, words = CASES[name]
    error = refused(tmp_path, text)
    assert error.file == str(tmp_path / "order.toml")
    assert error.key == key
    assert str(error).startswith(f"{error.file}, ")
    for word in words:
        assert word in error.message


#: (spoiled length or share, key, words)
UNREADABLE: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "unknown unit": ('width = "15 ells"', "cloth[main].width", ("unknown unit 'ells'", "mm, cm")),
    "no length": ('width = "wide"', "cloth[main].width", ("'wide'", "a length such as")),
    "not a number": ("width = nan", "cloth[main].width", ("nan",)),
    "infinite": ("width = inf", "cloth[main].width", ("inf",)),
    "kilometres of cloth": ("width = 1e9", "cloth[main].width", ("1000000000.0", "check the number and its unit")),
    "negative gap": ('width = "1 m"\ngap = "-3 mm"', "cloth[main].gap", ("'-3 mm'", "may not be negative")),
    "bare per cent": ('width = "1 m"\nshrink_along = 5', "cloth[main].shrink_along", ("5", 'write "5 %"')),
    "share in words": ('width = "1 m"\nstretch_along = "much"', "cloth[main].stretch_along", ("'much'", "a "
                                                                                                        "share "
                                                                                                        "such as")),
    "a list": ("width = [1]", "cloth[main].width", ("[1]",)),
}  # fmt: skip


@pytest.mark.parametrize("name", UNREADABLE)
def test_lengths_and_shares_that_cannot_be_read_are_refused(name: str, tmp_path: Path) -> None:
    """As errors of units, with file and key."""
    text, key, words = UNREADABLE[name]
    error = refused(tmp_path, 'units = "cm"\n' + CLOTH.replace('width = "150 cm"', text) + GARMENT + BAND, UnitsError)
    assert (error.file, error.key) == (str(tmp_path / "order.toml"), key)
    for word in words:
        assert word in error.message


def test_a_bare_number_without_units_is_refused(tmp_path: Path) -> None:
    """Units are never guessed."""
    error = refused(tmp_path, CLOTH.replace('"150 cm"', "150") + GARMENT + BAND, UnitsError)
    assert error.key == "cloth[main].width" and "without a unit" in error.message


def test_a_mistake_in_the_first_key_is_told_before_the_second(tmp_path: Path) -> None:
    """One clear error, not a list."""
    error = refused(tmp_path, BASE + "mirored = true\ncount = 3\n")
    assert "mirored" in str(error) and "count" not in str(error).split("Known are")[0]


# -- pattern files ---------------------------------------------------------------------------------------------------


def test_a_misspelt_pattern_file_is_told_with_its_neighbour(tmp_path: Path) -> None:
    """The nearest file in the same folder is named."""
    error = refused(tmp_path, CLOTH + GARMENT + PANEL.replace("panel", "pannel"), panel=panel_svg())
    assert error.key == "pattern[1].file" and "did you mean 'panel.svg'" in error.message


@pytest.mark.parametrize(
    ("named", "there", "meant"),
    [
        ("pat/panel.svg", "panel.svg", "panel.svg"),
        ("panel.svg", "patterns/panel.svg", "patterns/panel.svg"),
        ("old/panle.svg", "patterns/panel.svg", "patterns/panel.svg"),
    ],
)
def test_a_pattern_file_in_another_folder_is_told(tmp_path: Path, named: str, there: str, meant: str) -> None:
    """A file of that name beside the order, or in a folder there, is offered; another kind of file is not."""
    (tmp_path / there).parent.mkdir(exist_ok=True)
    (tmp_path / there).write_text(panel_svg(), encoding="utf-8")
    (tmp_path / "panel.txt").write_text("notes", encoding="utf-8")
    error = refused(tmp_path, CLOTH + GARMENT + f'[[pattern]]\nfile = "{named}"\n')
    assert error.message.endswith(f"did you mean '{meant}'?")


def test_a_broken_pattern_is_the_pattern_files_error(tmp_path: Path) -> None:
    """It names the pattern file as the order does."""
    error = refused(tmp_path, CLOTH + GARMENT + PANEL, PatternError, panel="<svg><g>")
    assert error.file == "panel.svg"


def test_an_empty_drawing_is_refused(tmp_path: Path) -> None:
    """Nothing in it is closed."""
    empty = '<svg xmlns="http://www.w3.org/2000/svg" width="10mm" height="10mm" viewBox="0 0 10 10"/>'
    assert refused(tmp_path, CLOTH + GARMENT + PANEL, PatternError, panel=empty).file == "panel.svg"


def test_a_piece_without_grain_is_refused_with_the_key_to_write(tmp_path: Path) -> None:
    """Draw it, give the angle, or say that there is none."""
    error = refused(tmp_path, CLOTH + GARMENT + PANEL, PatternError, panel=panel_svg(grain=False))
    assert (error.file, error.piece) == ("panel.svg", "front")
    for word in ("draw a grainline", "grain = 90", 'turn = "any"'):
        assert word in error.message


def test_a_file_without_units_is_refused_until_the_order_gives_them(tmp_path: Path) -> None:
    """A DXF of the oldest release with no text about units, 8 × 12 in inches."""
    import ezdxf.filemanagement

    document = ezdxf.filemanagement.new("R12")
    document.modelspace().add_polyline2d([(0, 0), (8, 0), (8, 12), (0, 12)], close=True, dxfattribs={"layer": "cut"})
    document.modelspace().add_line((4, 2), (4, 10), dxfattribs={"layer": "grain"})
    document.saveas(tmp_path / "panel.dxf")
    text = CLOTH + GARMENT + '[[pattern]]\nfile = "panel.dxf"\n'
    error = refused(tmp_path, text, PatternError)
    assert error.file == "panel.dxf" and "units" in error.message
    piece = load(tmp_path, text + 'units = "in"\n').pieces[0].piece
    xs, ys = [p[0] for p in piece.outline], [p[1] for p in piece.outline]
    assert (max(xs) - min(xs), max(ys) - min(ys)) == pytest.approx((12 * 25.4, 8 * 25.4))


def test_the_same_piece_in_two_files_is_refused(tmp_path: Path) -> None:
    """Both files are named; with sizes it is right."""
    text = PANEL + '[[pattern]]\nfile = "other.svg"\n' + CLOTH + GARMENT
    error = refused(tmp_path, text, panel=panel_svg(), other=panel_svg(width=180))
    assert error.piece == "front" and "in panel.svg and in other.svg" in error.message and "size" in error.message


def test_a_band_may_not_take_a_drawn_pieces_name(tmp_path: Path) -> None:
    """Which of the two is meant?"""
    error = refused(tmp_path, PANEL + CLOTH + GARMENT + FRONT + 'rectangle = ["1 cm", "2 cm"]\n', panel=panel_svg())
    assert error.key == "piece[front].rectangle" and "another name" in error.message


def test_a_size_that_no_file_has_is_refused(tmp_path: Path) -> None:
    """In a garment and in a piece block."""
    drawing = panel_svg(label="front — size M")
    error = refused(tmp_path, PANEL + CLOTH + GARMENT + 'size = "XL"\n', panel=drawing)
    assert error.key == "garment[thing].size" and "'XL'" in error.message and "'M'" in error.message
    error = refused(tmp_path, PANEL + CLOTH + GARMENT + FRONT + 'size = "XL"\n', panel=drawing)
    assert error.key == "piece[front].name" and "in size 'XL'" in error.message and "'M'" in error.message


def test_a_garment_must_say_its_size_where_there_are_several(tmp_path: Path) -> None:
    """The sizes are listed."""
    text = '[[pattern]]\nfile = "s.svg"\nsize = "S"\n[[pattern]]\nfile = "m.svg"\nsize = "M"\n' + CLOTH + GARMENT
    error = refused(tmp_path, text, s=panel_svg(), m=panel_svg())
    assert error.key == "garment[thing].size" and "'S' and 'M'" in error.message


def test_a_size_that_a_nested_file_lacks_is_refused(tmp_path: Path) -> None:
    """A file of sizes S and L cannot give an M."""
    both = panel_svg(label="front — size S").replace(
        "</svg>",
        '<g transform="translate(400 0)"' + panel_svg(label="front — size L").split("<g", 1)[1],
    )
    error = refused(tmp_path, PANEL + 'size = "M"\n' + CLOTH + GARMENT, panel=both)
    assert error.key == "pattern[1].size" and "'L' and 'S'" in error.message


# -- the file itself -------------------------------------------------------------------------------------------------


def test_a_missing_file_a_folder_and_a_pattern_are_no_orders(tmp_path: Path) -> None:
    """Each is told for what it is."""
    with pytest.raises(OrderError, match=r"no such file.*'nesting new'"):
        load_order(tmp_path / "order.toml")
    with pytest.raises(OrderError, match="this is a folder"):
        load_order(tmp_path)
    (tmp_path / "front.svg").write_text(panel_svg())
    with pytest.raises(OrderError, match="this is a pattern file"):
        load_order(tmp_path / "front.svg")


def test_what_is_no_toml_is_refused_with_the_line(tmp_path: Path) -> None:
    """The reader's own words say where."""
    error = refused(tmp_path, "title = \n")
    assert "not readable as TOML" in error.message and "line 1" in error.message
    assert "not readable as TOML" in refused(tmp_path, "a = 1\na = 2\n").message
    assert "not readable as TOML" in refused(tmp_path, "a = " + "9" * 5000).message
    assert "not readable as TOML" in refused(tmp_path, "a = " + "[" * 100_000).message


def test_what_is_no_text_is_refused(tmp_path: Path) -> None:
    """With the place of the first byte that cannot be read."""
    path = tmp_path / "order.toml"
    path.write_bytes(b'title = "caf\xe9"\n')
    with pytest.raises(OrderError, match=r"not UTF-8 text \(byte 13\)"):
        load_order(path)


def test_a_file_that_is_far_too_large_is_refused_unread(tmp_path: Path) -> None:
    """An order is a page or two."""
    path = tmp_path / "order.toml"
    path.write_bytes(b"#" * 2_000_001)
    with pytest.raises(OrderError, match="too large"):
        load_order(path)


def test_an_unreadable_file_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's reason is told."""
    path = write(tmp_path, BASE)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(OrderError, match=r"cannot be read \(Permission denied\)"):
        load_order(path)


# -- whatever is written ---------------------------------------------------------------------------------------------

SCALARS = st.one_of(
    st.none().map(lambda _: ""),
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.text(max_size=12),
    st.sampled_from(
        ["1 cm", "-1 cm", "5 %", "main", "band", "band.top", "raw", "lace 1 cm", "left", "open", "any", "M"]
    ),
    st.dates(),
)
VALUES = st.recursive(
    SCALARS,
    lambda v: st.lists(v, max_size=3) | st.dictionaries(st.text(min_size=1, max_size=8), v, max_size=3),
    max_leaves=6,
)


@st.composite
def documents(draw: st.DrawFn) -> dict[str, object]:
    """A sound order in which some blocks are added and some values replaced by anything."""
    document: dict[str, object] = {
        "units": "cm",
        "piece": [{"name": "band", "rectangle": ["62 cm", "4 cm"], "cut": 2}],
        "cloth": [{"name": "main", "width": 150, "selvage": 1}],
        "garment": [{"name": "thing", "count": 2}],
        "seam": [{"edges": ["band.top", "band.bottom"]}],
    }
    for _ in range(draw(st.integers(1, 4))):
        kind = draw(st.sampled_from([*BLOCKS, "title", "units", "fibre_stretch", "anything"]))
        if kind not in BLOCKS:
            document[kind] = draw(VALUES)
            continue
        blocks = document.setdefault(kind, [])
        if not isinstance(blocks, list) or draw(st.integers(0, 9)) == 0:
            document[kind] = draw(VALUES)
            continue
        if not blocks or draw(st.booleans()):
            blocks.append({"name": draw(st.text(min_size=1, max_size=3))})
        block = draw(st.sampled_from(blocks))
        key = draw(st.sampled_from([key.name for key in BLOCKS[kind]]))
        if isinstance(block, dict):
            block[key] = draw(VALUES)
    return document


@settings(
    max_examples=int(os.environ.get("NESTING_EXAMPLES", "120")),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(document=documents())
def test_whatever_is_written_is_read_or_refused(document: dict[str, object], tmp_path: Path) -> None:
    """Nothing but an order or an error of the input comes out, and the error names the file."""
    path = tmp_path / "order.toml"
    path.write_bytes(tomli_w.dumps(document).encode("utf-8", "replace"))
    try:
        order = load_order(path)
    except InputError as error:
        assert error.file is not None and error.message
        return
    assert order.pieces and order.cloths and order.garments
