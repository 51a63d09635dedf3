"""Small drawings written for a test."""

from collections.abc import Callable
from pathlib import Path

import pytest

from nesting.files import read_pieces
from nesting.files.reading import Reading
from nesting.model.piece import Piece

#: Reads the body of an SVG drawing whose user unit is 1 mm.
ReadSvg = Callable[..., Reading]


@pytest.fixture
def write(tmp_path: Path) -> Callable[[str | bytes], Path]:
    """Write a drawing and return its path."""

    def write_drawing(content: str | bytes, name: str = "drawing.svg") -> Path:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return write_drawing


@pytest.fixture
def read_svg(write: Callable[..., Path]) -> ReadSvg:
    """Read a drawing given by the inside of its ``svg`` element; 400 × 300 mm, one unit a millimetre."""

    def read(body: str, head: str = 'width="400mm" height="300mm" viewBox="0 0 400 300"', **how: object) -> Reading:
        return read_pieces(write(f'<svg xmlns="http://www.w3.org/2000/svg" {head}>{body}</svg>'), **how)  # type: ignore[arg-type]

    return read


def only(reading: Reading) -> Piece:
    """The one piece of a reading."""
    (piece,) = reading.pieces
    return piece


def kinds(reading: Reading, *words: str) -> list[str]:
    """Kinds of the findings whose message holds all the words."""
    return [f.kind for f in reading.findings if all(w in f.message for w in words)]
