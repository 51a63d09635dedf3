"""Words on pattern drawings: roles of lines, and the phrases of labels (common practice, no source)."""

import pytest

from nesting.files.drawn.texts import Label, keyword_of, read_label, square_side_mm
from nesting.files.drawn.vocabulary import is_made_up, read_role


@pytest.mark.parametrize(
    ("words", "want"),
    [
        ("Front — size M — cut 2 mirrored — main", Label("Front", "M", 2, True, None, "main")),
        ("cut 2 pairs", Label(cut=4, mirrored=True)),
        ("cut 4 (2 pairs)", Label(cut=4, mirrored=True)),
        ("Back, cut 1 pair, lining", Label("Back", cut=2, mirrored=True, material="lining")),
        ("cut 1 on fold", Label(cut=1, on_fold=True)),
        ("Cut 2 on the fold", Label(cut=2, on_fold=True)),
        ("place on fold", Label(on_fold=True)),
        ("Waistband: cut 1", Label("Waistband", cut=1)),
        ("2x", Label(cut=2)),
        ("Sleeve 2x mirrored", Label("Sleeve", cut=2, mirrored=True)),
        ("Pocket bag; cut 2 alike", Label("Pocket bag", cut=2, mirrored=False)),
        ("cut two in mesh", Label(cut=2, material="mesh")),
        ("cut 2 from lining", Label(cut=2, material="lining")),
        ("Front lining - cut 1", Label("Front lining", cut=1)),
        ("Gusset lining", Label("Gusset lining")),
        ("size 10/12", Label(size="10/12")),
        ("M", Label(size="M")),
        ("front size M", Label("front", "M")),
        ("Left leg", Label("Left leg")),
        ("Cutting board", Label("Cutting board")),
        ("Fold back facing", Label("Fold back facing")),
        ("1/2 back", Label("1/2 back")),
        ("cut 0", Label()),
        ("", Label()),
        ("PIECE NAME: FRONT\nSIZE: M\nQUANTITY: 1,1\nMATERIAL: MAIN", Label("FRONT", "M", 2, True, None, "MAIN")),
        ("QUANTITY: 2", Label(cut=2)),
        ("QUANTITY: 2,0", Label(cut=2, mirrored=False)),
        ("QUANTITY: 2,1", Label()),
        ("QUANTITY: many", Label()),
        ("Vorderteil, Größe M, 2x gegengleich zuschneiden", Label("Vorderteil", "M", 2, True)),
        ("1 x im Stoffbruch zuschneiden", Label(cut=1, on_fold=True)),
        ("Rückenteil - Gr. 38 - zuschneiden: 1x im Bruch", Label("Rückenteil", "38", 1, None, True)),
    ],
)
def test_phrases(words: str, want: Label) -> None:
    """Each phrase of the trade gives what it means and nothing else."""
    assert read_label(words) == want


@pytest.mark.parametrize(
    ("words", "role", "name", "kind"),
    [
        ("cut", "cut", None, None),
        ("Cutting-Line", "cut", None, None),
        ("cut-2", "cut", None, None),
        ("Sew line", "sew", None, None),
        ("STITCHING LINES", "sew", None, None),
        ("grain_line", "grain", None, None),
        ("fold", "fold", None, None),
        ("Place on Fold", "fold", None, None),
        ("Notches", "notch", None, None),
        ("v notches", "notch", None, "v"),
        ("castle-notch", "notch", None, "castle"),
        ("t-notch: centre front", "notch", "centre front", "t"),
        ("notch-centre-front", "notch", "centre front", None),
        ("notch 3", "notch", "3", None),
        ("drill holes", "drill", None, None),
        ("lengthen/shorten line", "inside", None, None),
        ("cut out", "cutout", None, None),
        ("holes", "cutout", None, None),
        ("edge: waist", "edge", "waist", None),
        ("edge side seam", "edge", "side seam", None),
        ("test square 5 cm", "test", None, None),
        ("Scale", "test", None, None),
        ("flaws", "flaw", None, None),
        ("page border", "aside", None, None),
        ("Schnittlinie", "cut", None, None),
        ("Nähte", "sew", None, None),
        ("NAEHTE", "sew", None, None),
        ("Na\u0308hte", "sew", None, None),
        ("Fadenlauf", "grain", None, None),
        ("Stoffbruch", "fold", None, None),
        ("Knips 3", "notch", "3", None),
        ("Knips: vordere Mitte", "notch", "vordere Mitte", None),
        ("Paßzeichen", "notch", None, None),
        ("Abnäher", "inside", None, None),
        ("Kante: Taille", "edge", "Taille", None),
        ("Klebemarken", "aside", None, None),
    ],
)
def test_roles(words: str, role: str, name: str | None, kind: str | None) -> None:
    """Roles in their spellings, singular and plural, with the name or kind they add."""
    assert read_role(words) == (role, name, kind)


@pytest.mark.parametrize(
    "words", ["front", "M", "Fold back facing", "Inside leg", "Cut up", "Seaming", "", "Edges", "12"]
)
def test_names_are_no_roles(words: str) -> None:
    """Names of pieces that begin like a role are none."""
    assert read_role(words) is None


def test_ids_may_name_any_role() -> None:
    """Ids are unique in a drawing, so that "grain-front" is the usual way of writing a role there."""
    assert read_role("grain-front", "id") == ("grain", "front", None)
    assert read_role("cut_back", "id") == ("cut", "back", None)
    assert read_role("grain-front") is None


@pytest.mark.parametrize(
    ("words", "side"),
    [
        ("test square 5 cm", 50.0),
        ("Test square: 2 in", 50.8),
        ('scale square 1 1/2"', 38.1),
        ("2 inch square", 50.8),
        ("50 mm test square", 50.0),
        ("Square neck front 12 cm", None),
        ("5 cm", None),
        ("test square 1/0 in", None),
    ],
)
def test_side_of_test_square(words: str, side: float | None) -> None:
    """The side that a text states, in mm (1 in = 25.4 mm)."""
    assert square_side_mm(words) == (pytest.approx(side) if side else None)


def test_side_where_the_square_is_known() -> None:
    """Beside a test square a bare length is enough."""
    assert square_side_mm("5 cm", known=True) == 50.0


def test_keywords() -> None:
    """System text: keyword, colon, value."""
    assert keyword_of("PIECE NAME: FRONT") == ("PIECE NAME", "FRONT")
    assert keyword_of("Sample Size : 38") == ("SAMPLE SIZE", "38")
    assert keyword_of("Front: cut 2") is None


def test_names_given_by_programs() -> None:
    """Names that programs make up say nothing."""
    assert all(map(is_made_up, ["path1234", "g12-3", "Layer 1", "rect", "svg8", "12", "layer_2"]))
    assert not any(map(is_made_up, ["front", "M", "back-38", "pathway", "g-string"]))
