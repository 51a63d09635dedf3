"""A photograph dropped on the page becomes a pattern piece, once everything that only a person knows was answered."""

from __future__ import annotations

import io
import shlex
from typing import Any

import pytest
from PIL import Image
from shapely.geometry import Polygon

from nesting.page.photos import SHOWN_PIXELS
from tests.outlines.pdf_makers import by_reportlab, front
from tests.outlines.test_photos import PER, scanned, shot
from tests.page.conftest import Server


def _trace(server: Server, **asked: Any) -> dict[str, Any]:
    return server.client.post("/api/trace", json=asked).json()


def test_from_a_photograph_to_a_piece_of_the_order(empty: Server) -> None:
    """Bars first; then its questions, each with what was seen to choose from; then it is a piece, one step of undo."""
    sent = empty.drop(("my photo.jpg", shot().jpeg), kind="photo")
    assert (sent["ok"], sent["photos"]) == (True, ["my photo.jpg"])
    for bars in ([], ["180"], ["180.0", "long"]):
        refused = _trace(empty, photos=sent["photos"], bars=bars)
        assert not refused["ok"] and "bars" in refused["problem"]["message"]
        assert refused["problem"]["where"] == {"view": "pieces", "field": "bars"}
    seen = _trace(empty, photos=sent["photos"], bars=["180,0", "240"])
    assert seen["ok"], seen
    result = seen["result"]
    assert {q["field"] for q in result["questions"]} >= {"line", "fold", "grain"} and result["file"] is None
    assert empty.client.get(result["preview"]).content.startswith(b"\x89PNG")
    straight = [k for k, edge in enumerate(result["pieces"][0]["edges"], 1) if edge["straight"]]
    answers = {"name": ["front"], "size": ["M"], "line": ["sewn"], "fold": ["none"], "notches": ["none"],
               "grain": [f"edge {straight[0]}"]}  # fmt: skip
    made = _trace(empty, photos=sent["photos"], name="front", bars=["180.0", "240.0"], answers=answers)
    assert made["ok"] and made["result"]["file"] == "front.svg", made
    assert "--bars=180.0x240.0" in made["result"]["command"]
    (piece,) = empty.get("pieces")["pieces"]
    assert (piece["name"], piece["size"]) == ("front", "M") and piece["grain"]
    empty.do("undo")
    assert empty.get("pieces")["pieces"] == []


def test_a_piece_is_pointed_at_in_the_picture(empty: Server) -> None:
    """The photograph is shown small and upright; where it is tapped, in pixels of the original, the piece is found."""
    with Image.open(io.BytesIO(shot().jpeg)) as whole:
        width, height = whole.size
        turned = Image.Exif()
        turned[0x0112] = 6  # turned by a quarter, as telephones held upright write it (Exif 2.32, tag Orientation)
        sideways = io.BytesIO()
        whole.rotate(90, expand=True).save(sideways, "JPEG", exif=turned)
    sent = empty.drop(("a.jpg", shot().jpeg), ("turned.jpg", sideways.getvalue()), kind="photo")
    assert sent["sizes"] == {"a.jpg": [width, height], "turned.jpg": [width, height]}
    for name in sent["photos"]:
        answer = empty.client.get(f"/photos/{name}")
        assert answer.headers["content-type"] == "image/jpeg"
        with Image.open(io.BytesIO(answer.content)) as small:
            assert max(small.size) == SHOWN_PIXELS
            assert small.size[0] / small.size[1] == pytest.approx(width / height, rel=0.002)
    assert empty.client.get("/photos/b.jpg").status_code == 404
    x, y = shot().tap
    found = _trace(empty, photos=["a.jpg"], bars=["180", "240"], taps=[f"1:{x:.0f},{y:.0f}"])
    assert found["ok"] and len(found["result"]["pieces"]) == 1, found
    assert f"--tap=1:{x:.0f},{y:.0f}" in found["result"]["command"]
    beside = _trace(empty, photos=["a.jpg"], bars=["180", "240"], taps=["1:2,2"])
    assert not beside["ok"] and "--" not in beside["problem"]["message"]


def test_a_scan_is_as_large_as_the_two_lengths_measured_in_it(empty: Server) -> None:
    """A scanned page dropped as a picture: without a length each way it is told what is missing; with both, the piece
    has the area that was drawn."""
    ring, pdf = scanned()
    (name,) = empty.drop(("sheet.pdf", pdf), kind="photo")["photos"]
    level, upright = (f"50,50 {x:.1f},{y:.1f} = 20 cm" for x, y in ((50 + 200 / PER, 50), (50, 50 + 200 / PER)))
    for measured in ([level], [level, level]):
        refused = _trace(empty, photos=[name], measured=measured)
        assert "upright" in refused["problem"]["message"] and "--" not in refused["problem"]["message"]
    said = {"name": ["front"], "line": ["cut"], "fold": ["none"], "notches": ["none"], "grain": ["none"]}
    made = _trace(empty, photos=[name], measured=[level, upright], answers=said, name="front")
    assert made["ok"] and made["result"]["file"], made
    assert shlex.quote(f"--measured={level}") in made["result"]["command"]
    (piece,) = empty.get("pieces")["pieces"]
    assert Polygon(piece["outline"]).area == pytest.approx(Polygon(ring).area, rel=0.002)


@pytest.mark.parametrize("name", ["letter.txt", "../../x.jpg.exe", "drawing.svg"])
def test_what_is_no_photograph_is_told(empty: Server, name: str) -> None:
    """By its name, before anything is looked at."""
    answer = empty.drop((name, b"Dear aunt"), kind="photo")
    assert not answer["ok"] and "photograph" in answer["problem"]["message"]


def test_a_picture_that_shows_no_mat_is_told(empty: Server) -> None:
    """In the page's words, nothing is kept in the order."""
    answer = empty.drop(("dark.png", b"\x89PNG not a picture"), kind="photo")
    refused = _trace(empty, photos=answer["photos"], bars=["180", "240"])
    assert not refused["ok"] and "--" not in refused["problem"]["message"]
    assert refused["problem"]["where"]["view"] == "pieces"
    assert not _trace(empty, photos=["../../etc/passwd.png"], bars=["180", "240"])["ok"]
    assert empty.get("state")["files"] == []


def test_a_scanned_pdf_that_is_dropped_is_a_picture_for_each_page(empty: Server) -> None:
    """Dropped as a drawing, it is told to be a scan, and its name; sent again as a picture, its page is one, with the
    mat on it as in a photograph. A PDF of lines among pictures is refused."""
    out = io.BytesIO()
    Image.open(io.BytesIO(shot().jpeg)).save(out, "PDF", resolution=200, quality=95)
    told = empty.drop(("from scanner.pdf", out.getvalue()))
    assert not told["ok"] and "scanned picture" in told["problem"]["message"]
    assert told["scans"] == ["from scanner.pdf"] and not told["files"]
    sent = empty.drop(("from scanner.pdf", out.getvalue()), kind="photo")
    assert sent["ok"] and sent["photos"] == ["from scanner-page-1.png"]
    assert sent["sizes"] == {"from scanner-page-1.png": list(Image.open(io.BytesIO(shot().jpeg)).size)}
    seen = _trace(empty, photos=sent["photos"], bars=["180", "240"])
    assert seen["ok"] and len(seen["result"]["pieces"]) == 1, seen
    refused = empty.drop(("lines.pdf", by_reportlab([[{"shape": front()}]])), kind="photo")
    assert not refused["ok"] and "scanned picture" in refused["problem"]["message"]
