"""A photograph dropped on the page becomes a pattern piece, once everything that only a person knows was answered."""

from __future__ import annotations

from typing import Any

import pytest

from tests.outlines.test_photos import shot
from tests.page.conftest import Server


def _trace(server: Server, **asked: Any) -> dict[str, Any]:
    return server.client.post("/api/trace", json=asked).json()


def test_from_a_photograph_to_a_piece_of_the_order(empty: Server) -> None:
    """Bars first; then its questions, each with what was seen to choose from; then it is a piece, one step of undo."""
    sent = empty.drop(("my photo.jpg", shot().jpeg), kind="photo")
    assert sent == {"ok": True, "photos": ["my photo.jpg"]}
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
