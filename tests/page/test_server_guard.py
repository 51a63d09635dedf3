"""Only our own page is let in: what other pages, names and machines may try is refused, and the server lives on.

Checks follow the OWASP cheat sheets on cross-site request forgery and HTML5 security (Origin header, WebSockets), and
the first lines of ``nesting.page.guard``.
"""

from __future__ import annotations

import json
import os
import stat
import time
from pathlib import Path

import pytest
from starlette.testclient import WebSocketDenialResponse

from nesting.page import guard
from nesting.page.address import last_address, remember_address
from tests.page.conftest import BASE, HEADERS, KEY, PORT, Server


def test_the_first_address_gives_the_cookie_and_goes_on(demo: Server) -> None:
    """By 200 and a refresh, as a redirect from elsewhere would lose a strict cookie."""
    answer = demo.client.get(f"/?key={KEY}", headers={"cookie": ""}, follow_redirects=False)
    assert answer.status_code == 200
    cookie = answer.headers["set-cookie"]
    assert f"nesting-page-{PORT}={KEY}" in cookie
    assert "SameSite=Strict" in cookie and "HttpOnly" in cookie
    assert 'http-equiv="refresh"' in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.example"},
        {"host": f"evil.example:{PORT}"},
        {"host": f"127.0.0.1:{PORT + 1}"},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"http://127.0.0.1:{PORT + 1}"},
        {"origin": f"https://127.0.0.1:{PORT}"},
        {"cookie": ""},
        {"cookie": f"nesting-page-{PORT}=wrong"},
        {"cookie": f"nesting-page-{PORT + 1}={KEY}"},
    ],
)
def test_foreign_requests_are_refused(demo: Server, headers: dict[str, str]) -> None:
    """Reading, writing and sockets alike; and our own page is served afterwards as before."""
    assert demo.client.get("/api/state", headers=headers).status_code == 403
    before = demo.page.work.text
    sent = demo.client.post(
        "/api/command", headers=headers, json={"cmd": "order.set", "key": "title", "value": "Stolen"}
    )
    assert sent.status_code == 403
    with (
        pytest.raises(WebSocketDenialResponse) as refused,
        demo.client.websocket_connect(f"ws://127.0.0.1:{PORT}/api/socket", headers=headers),
    ):
        pass
    assert refused.value.status_code == 403
    assert demo.page.work.text == before
    assert demo.get("state")["title"] == "Chorus shorts and briefs"


def test_a_wrong_key_is_no_key(demo: Server) -> None:
    """And the answer does not tell the right one."""
    answer = demo.client.get("/?key=guess", headers={"cookie": ""})
    assert answer.status_code == 403
    assert KEY not in answer.text and "set-cookie" not in answer.headers


def test_a_write_without_origin_is_refused(demo: Server) -> None:
    """Browsers always send it with a POST."""
    headers = {**HEADERS, "origin": ""}
    answer = demo.client.post("/api/command", headers=headers, json={"cmd": "undo"})
    assert answer.status_code == 403


def test_every_answer_carries_the_policy(demo: Server) -> None:
    """Nothing inline, nothing from elsewhere: also on refusals."""
    for answer in (
        demo.client.get("/api/state"),
        demo.client.get("/nothing"),
        demo.client.get("/api/state", headers={"cookie": ""}),
    ):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    "path",
    [
        "/files/../chorus.toml",
        "/files/..%2Fchorus.toml",
        "/files/%2e%2e/chorus.toml",
        "/files/..%5Cchorus.toml",
        "/files//etc/passwd",
        "/files/.chorus.page",
        "/static/../page.py",
        "/static/..%2fpage.py",
        "/api/../../etc/passwd",
    ],
)
def test_names_are_never_paths(demo: Server, path: str) -> None:
    """Whatever is asked for, nothing outside the results and static folders is given."""
    demo.page.work.results.mkdir()
    answer = demo.client.get(path)
    assert answer.status_code in (403, 404), answer.text[:100]


def test_a_link_in_the_results_does_not_lead_out(demo: Server) -> None:
    """Somebody may have put one there; it is not followed."""
    demo.page.work.results.mkdir()
    (demo.page.work.results / "secret.svg").symlink_to("/etc/hostname")
    (demo.page.work.results / "sheet.pdf").write_bytes(b"%PDF")
    assert demo.client.get("/files/secret.svg").status_code == 404
    assert demo.client.get("/files/sheet.pdf").content == b"%PDF"


def test_a_body_that_says_it_is_huge_is_not_read(demo: Server) -> None:
    """2 GB by its own word: refused before a byte of it is taken."""
    headers = {**HEADERS, "content-length": str(2 * 1024**3), "content-type": "multipart/form-data; boundary=x"}
    answer = demo.client.post("/api/upload", headers=headers, content=b"")
    assert answer.status_code == 413
    assert demo.get("state")["rev"]


def test_a_body_that_goes_on_and_on_is_cut_off(demo: Server) -> None:
    """Without a length of its own, it is counted while it arrives, and no more than the limit is taken."""

    def flood():  # type: ignore[no-untyped-def]
        yield b'--x\r\ncontent-disposition: form-data; name="files"; filename="a.svg"\r\n\r\n'
        for _ in range(80):
            yield b"0" * (1024 * 1024)

    headers = {**HEADERS, "content-type": "multipart/form-data; boundary=x"}
    answer = demo.client.post("/api/upload", headers=headers, content=flood())
    assert answer.status_code == 413
    assert demo.get("state")["rev"]


def test_limits_leave_room_for_patterns_and_not_for_more() -> None:
    """A command is a line or two."""
    assert 16 * 1024**2 <= guard.LARGEST_UPLOAD <= 128 * 1024**2
    assert guard.LARGEST_BODY <= 1024**2


@pytest.mark.parametrize(
    "name",
    ["../../evil.svg", "..\\..\\evil.svg", "/etc/evil.svg", "C:\\evil.svg", ".hidden.svg", "con.svg", "a\x00b.svg",
     "x" * 300 + ".svg"],
)  # fmt: skip
def test_dropped_names_stay_in_the_folder(empty: Server, name: str) -> None:
    """Only the last part of a name counts, and of it only plain signs."""
    from tests.page.conftest import FIXTURES

    content = (FIXTURES / "demo" / "shorts-m.svg").read_bytes()
    above = {p.name for p in empty.page.work.folder.parent.iterdir()}
    empty.drop((name, content))
    assert {p.name for p in empty.page.work.folder.parent.iterdir()} == above
    kept = list(empty.page.work.folder.rglob("*.svg"))
    assert len(kept) == 1
    assert kept[0].parent == empty.page.work.folder
    assert not kept[0].name.startswith(".")


def test_an_entity_bomb_through_the_form_is_refused(empty: Server) -> None:
    """Told in one sentence; nothing of it is kept."""
    from tests.page.conftest import FIXTURES

    answer = empty.drop(("bomb.svg", (FIXTURES / "odd" / "entity-bomb.svg").read_bytes()))
    assert not answer["ok"]
    assert "bomb.svg" in answer["problem"]["message"]
    assert not list(empty.page.work.folder.glob("*.svg"))
    assert empty.get("state")["files"] == []


def test_markup_in_names_is_only_text(empty: Server) -> None:
    """The page is given it as it is, in JSON; a title comes escaped into the page itself."""
    empty.do("order.set", key="title", value="<script>alert(1)</script>")
    assert empty.get("state")["title"] == "<script>alert(1)</script>"
    assert empty.client.get("/api/state").headers["content-type"].startswith("application/json")


def test_base_address_is_this_machine_only() -> None:
    """The tests speak to the page as a browser on it would."""
    assert BASE.startswith("http://127.0.0.1:")


def test_whether_the_page_is_here_is_told_to_our_own_frames_only(demo: Server) -> None:
    """A tab that lost its server asks; other pages may not frame the answer, and it tells nothing but yes or no."""
    known = demo.client.get("/here")
    assert (known.status_code, known.text) == (200, "yes")
    assert "frame-ancestors 'self'" in known.headers["content-security-policy"]
    assert known.headers["x-frame-options"] == "SAMEORIGIN"
    assert demo.client.get("/here", headers={"cookie": ""}).text == "no"
    for foreign in ({"host": "evil.example"}, {"origin": "http://evil.example"}):
        assert demo.client.get("/here", headers=foreign).status_code == 403
    assert "frame-ancestors 'none'" in demo.client.get("/").headers["content-security-policy"]


def test_the_last_address_is_for_its_user_alone_and_for_a_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Kept outside the order's folder; what others could read or have made, is damaged or old, is not used."""
    cache, order = tmp_path / "cache", tmp_path / "order.toml"
    monkeypatch.setenv("NESTING_CACHE", str(cache))
    key = guard.new_key()
    assert last_address(order) is None
    remember_address(order, 4321, key)
    assert last_address(order) == (4321, key)
    assert last_address(tmp_path / "other.toml") is None
    (kept,) = cache.iterdir()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert not order.exists() and [p.name for p in tmp_path.iterdir()] == ["cache"]
    kept.chmod(0o644)
    assert last_address(order) is None
    kept.chmod(0o600)
    for wrong in ("{", "[]", '{"port": 0, "key": "x"}', json.dumps({"port": 4321, "key": "short"})):
        kept.write_text(wrong, encoding="utf-8")
        assert last_address(order) is None
    remember_address(order, 4321, key)
    day = 24 * 3600
    os.utime(kept, (time.time() - day - 60,) * 2)
    assert last_address(order) is None
    monkeypatch.setenv("NESTING_CACHE", "off")
    remember_address(order, 4321, key)
    assert last_address(order) is None
