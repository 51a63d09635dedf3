"""Sizes that stand at the end of a piece's name, as people write them on drawings (common practice)."""

from __future__ import annotations

from pathlib import Path

import pytest

from nesting.files.orders.order import load_order
from nesting.files.patterns import read_pieces


def _drawn(folder: Path, labels: list[str], file: str = "p.svg") -> Path:
    boxes = "".join(
        f'<path d="M{k * 200 + 20} 20 h150 v200 h-150 z" fill="none" stroke="black"/>'
        f'<text x="{k * 200 + 30}" y="100" font-size="10">{label}</text>'
        for k, label in enumerate(labels)
    )
    path = folder / file
    path.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="2000mm" height="300mm" viewBox="0 0 2000 300">{boxes}</svg>'
    )
    return path


@pytest.mark.parametrize(
    ("labels", "want"),
    [
        (["Front S", "Front M", "Gusset S"], [("Front", "S"), ("Front", "M"), ("Gusset", "S")]),
        (["Front — size M", "Gusset M"], [("Front", "M"), ("Gusset", "M")]),
        (["Front S", "Back S"], [("Front S", None), ("Back S", None)]),
        (["Front S", "Front M", "Gusset L"], [("Front", "S"), ("Front", "M"), ("Gusset L", None)]),
        (["Front L", "Front R", "Back L"], [("Front L", None), ("Front R", None), ("Back L", None)]),
        (
            ["Sleeve L", "Sleeve R", "Front M", "Front L"],
            [("Sleeve L", None), ("Sleeve R", None), ("Front", "M"), ("Front", "L")],
        ),
        (["Front S", "Back M"], [("Front S", None), ("Back M", None)]),
        (["Gusset S"], [("Gusset S", None)]),
    ],
)
def test_a_size_is_read_where_the_other_pieces_bear_it_out(
    tmp_path: Path, labels: list[str], want: list[tuple[str, str | None]]
) -> None:
    """L beside R is a left side, and a letter alone may be anything."""
    pieces = read_pieces(_drawn(tmp_path, labels), units=None, join_gap=0.5).pieces
    assert [piece.key for piece in pieces] == want


@pytest.mark.parametrize(("sizes", "told"), [(("S", "M"), True), (("S",), False)])
def test_a_piece_called_by_one_size_and_cut_for_another_is_told(
    tmp_path: Path, sizes: tuple[str, ...], told: bool
) -> None:
    """Drawn in a file of its own it has no size, so that it serves every one."""
    _drawn(tmp_path, ["Front S", "Front M"], "fronts.svg")
    _drawn(tmp_path, ["Gusset S"], "gusset.svg")
    order = tmp_path / "o.toml"
    order.write_text(
        'units = "cm"\n[[pattern]]\nfile = "fronts.svg"\n[[pattern]]\nfile = "gusset.svg"\n'
        '[[piece]]\nname = "Front"\ngrain = 90\n[[piece]]\nname = "Gusset S"\ngrain = 90\n'
        '[[cloth]]\nname = "main"\nwidth = "150 cm"\n'
        + "".join(f'[[garment]]\nname = "brief"\nsize = "{size}"\n' for size in sizes)
    )
    found = [f for f in load_order(order).findings if f.code == "piece.of-other-size"]
    assert bool(found) == told
    assert all("'M' too" in f.message and f.piece == "Gusset S" for f in found)
