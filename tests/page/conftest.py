from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from nesting.page.page import Page
from nesting.page.server import application

FIXTURES = Path(__file__).parents[2] / "fixtures"
PORT = 5000
BASE = f"http://127.0.0.1:{PORT}"
KEY = "the-key-of-the-tests"
HEADERS = {"origin": BASE, "cookie": f"nesting-page-{PORT}={KEY}"}


class Server:
    """A page in this process, with a client that has its key."""

    def __init__(self, page: Page, client: TestClient) -> None:
        self.page = page
        self.client = client

    def get(self, name: str) -> dict:
        """A document."""
        answer = self.client.get(f"/api/{name}")
        assert answer.status_code == 200, answer.text
        return answer.json()

    def do(self, cmd: str, **fields: object) -> dict:
        """A command that must succeed: its reply's result."""
        reply = self.ask(cmd, **fields)
        assert reply["ok"], reply
        return reply["result"]

    def ask(self, cmd: str, **fields: object) -> dict:
        """A command's reply."""
        return self.client.post("/api/command", json={"cmd": cmd, **fields}).json()

    def refused(self, cmd: str, **fields: object) -> dict:
        """A command that must be refused: its problem."""
        reply = self.ask(cmd, **fields)
        assert not reply["ok"], reply
        problem = reply["problem"]
        assert problem["code"] != "our-fault", problem
        assert problem["message"].strip()
        assert "Traceback" not in problem["message"]
        return problem

    def drop(self, *files: tuple[str, bytes], kind: str = "pattern") -> dict:
        """Drop files on the page."""
        sent = [("files", (name, content)) for name, content in files]
        return self.client.post("/api/upload", files=sent, data={"kind": kind}).json()


def served(order: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    """A page of that order, its search not loaded."""
    # no test of the order's editing needs the search to be loaded
    monkeypatch.setattr("nesting.page.runs.Runs.warm", lambda self, note: None)
    page = Page(order, workers=1)
    with TestClient(application(page, port=PORT, key=KEY), base_url=BASE, headers=HEADERS) as client:
        yield Server(page, client)


@pytest.fixture
def demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    """The demo's order in a folder of its own."""
    for path in (FIXTURES / "demo").iterdir():
        if (path.is_file() and path.suffix in (".svg", ".dxf")) or path.name == "chorus.toml":
            shutil.copyfile(path, tmp_path / path.name)
    yield from served(tmp_path / "chorus.toml", monkeypatch)


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    """An empty folder."""
    yield from served(tmp_path / "order.toml", monkeypatch)
