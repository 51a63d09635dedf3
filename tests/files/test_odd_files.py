"""The odd drawings of fixtures/odd: each is read rightly or refused clearly, as its entry in expected.toml says."""

import math
import os
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest
from shapely import Polygon

from nesting.files import read_pieces
from nesting.model.errors import PatternError

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "fixtures" / "odd"
EXPECTED: dict[str, dict[str, Any]] = tomllib.loads((FOLDER / "expected.toml").read_text("utf-8"))


def test_there_are_enough_of_them() -> None:
    """At least sixty, and no file without an entry."""
    names = {p.name for p in FOLDER.iterdir()} - {"expected.toml"}
    assert names == set(EXPECTED)
    assert len(names) >= 60


@pytest.mark.parametrize("name", [n for n, e in EXPECTED.items() if "refused" in e])
def test_refused(name: str) -> None:
    """Refused with an error that names the file and the fault."""
    with pytest.raises(PatternError) as caught:
        read_pieces(FOLDER / name)
    assert EXPECTED[name]["refused"] in str(caught.value)
    assert str(caught.value).startswith(name)


@pytest.mark.parametrize("name", [n for n, e in EXPECTED.items() if "pieces" in e])
def test_read(name: str) -> None:
    """Pieces, areas (0.02 %: what chords of 0.01 mm cut off), marks and labels as expected; findings where due."""
    entry = EXPECTED[name]
    reading = read_pieces(FOLDER / name)
    assert reading.units_known is entry.get("units_known", True)
    assert len(reading.pieces) == len(entry["pieces"])
    for piece, want in zip(reading.pieces, entry["pieces"], strict=True):
        outline = Polygon(piece.outline)
        assert outline.is_valid and outline.exterior.is_ccw
        assert outline.area == pytest.approx(want["area"], rel=2e-4)
        assert piece.name == want["name"]
        assert len(piece.notches) == want["notches"]
        grain = math.dist(*piece.grainline) if piece.grainline else 0.0
        assert grain == pytest.approx(want["grain"], rel=1e-6)
        assert (math.dist(*piece.fold) if piece.fold else 0.0) == pytest.approx(want.get("fold", 0.0), rel=1e-6)
        for key in ("size", "cut", "mirrored", "material"):
            assert getattr(piece, key) == want.get(key)
    for words in entry["findings"]:
        assert any(words in f.message for f in reading.findings), words
    if not entry["findings"]:
        # nothing was put right, left out or asked where nothing is wrong
        kinds = {f.kind for f in reading.findings}
        assert not kinds & {"repaired", "ignored", "question", "warning"}, reading.findings


def test_the_script_writes_the_same_files_again(tmp_path: Path) -> None:
    """What is in fixtures/odd is what the script makes."""
    code = "import sys, pathlib; sys.argv = ['x']; sys.path.insert(0, 'scripts'); import make_odd_files as m; "
    code += f"m.FOLDER = pathlib.Path({str(tmp_path)!r}) / 'odd'; m.main()"
    settled = {**os.environ, "PYTHONHASHSEED": "0"}
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True, env=settled)
    for path in FOLDER.iterdir():
        assert path.read_bytes() == (tmp_path / "odd" / path.name).read_bytes(), path.name
