"""The page's web server: routes to documents, the socket, uploads; on this machine only."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import socket
import subprocess
import sys
import threading
import webbrowser
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import uvicorn
from jinja2 import Environment, FileSystemLoader, select_autoescape
from starlette.applications import Starlette
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.websockets import WebSocket, WebSocketDisconnect

from nesting.model.errors import InputError, NestingError
from nesting.page.address import last_address, remember_address
from nesting.page.guard import Guard, new_key
from nesting.page.page import Page
from nesting.page.words import refusal

__all__ = ["application", "serve"]

_HERE = Path(__file__).parent
#: set for a page that another one has opened
_WITHIN = "NESTING_PAGE_WITHIN"
_DOCS = ("state", "pieces", "seams", "alterations", "cloth", "lay", "buy", "remnants", "batch", "cut")
#: files of one drop
MOST_FILES = 100
#: bytes of one command on the socket
LARGEST_COMMAND = 256 * 1024


# long: one handler for each address
def application(page: Page, *, port: int, key: str) -> Guard:
    """The guarded application for one page."""
    templates = Environment(loader=FileSystemLoader(_HERE / "templates"), autoescape=select_autoescape(default=True))

    @contextlib.asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        await page.start()
        try:
            yield
        finally:
            await page.close()

    async def first(request: Request) -> Response:
        # the frame of the page waits for nothing: what it shows is fetched by it
        shown = templates.get_template("page.html").render(title=page.work.title)
        return HTMLResponse(shown, headers={"cache-control": "no-store"})

    async def doc(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in _DOCS:
            raise HTTPException(404)
        return _json(await page.doc(name, request.query_params.get("cloth")))

    async def command(request: Request) -> Response:
        reply = await page.handle(await request.body())
        return _json(reply, 200 if reply["ok"] else 400)

    async def upload(request: Request) -> Response:
        try:
            form = await request.form(max_files=MOST_FILES, max_fields=10, max_part_size=64 * 1024)
        except (HTTPException, MultiPartException) as error:
            said = getattr(error, "detail", None) or getattr(error, "message", "")
            problem = refusal(
                "not-files", f"These files did not arrive whole ({said}): drop them again.", view="pieces"
            )
            return _json({"ok": False, "problem": problem, "files": [], "findings": []}, 400)
        try:
            sent = [one for one in form.getlist("files") if isinstance(one, UploadFile)]
            if not sent:
                problem = refusal("not-files", "No file arrived: drop SVG, DXF or PDF files.", view="pieces")
                return _json({"ok": False, "problem": problem, "files": [], "findings": []}, 400)
            files = [(one.filename or "pattern.svg", await one.read()) for one in sent]
        finally:
            await form.close()
        if form.get("kind") == "photo":
            return _json(await page.keep_photos(files))
        answer = await page.upload(files, str(form.get("kind", "pattern")))
        # a refused drawing is an answer like any other: a 4xx would write an error into the browser's console
        return _json(answer)

    async def trace(request: Request) -> Response:
        return _json(await page.trace(await request.body()))

    async def photo(request: Request) -> Response:
        try:
            content = await page.photo(request.path_params["name"])
        except NestingError:
            raise HTTPException(404) from None
        return Response(content, media_type="image/jpeg", headers={"cache-control": "no-store"})

    async def output(request: Request) -> Response:
        name = request.path_params["name"]
        path = page.work.results / name
        # a name, never a path; and nothing that a link would lead out of the folder
        if not re.fullmatch(r"[\w .()+-]+", name) or name.startswith(".") or not path.is_file() or path.is_symlink():
            raise HTTPException(404)
        return FileResponse(path, headers={"cache-control": "no-store"})

    async def talk(ws: WebSocket) -> None:
        await ws.accept()
        name = re.sub(r"[^\w-]", "", ws.query_params.get("tab", ""))[:40] or "tab"
        tab = await page.enter(name)

        async def speak() -> None:
            while not tab.lost:
                await ws.send_text(json.dumps(await tab.queue.get(), ensure_ascii=False))
            await ws.close(1013)

        speaking = asyncio.create_task(speak())
        try:
            while True:
                text = await ws.receive_text()
                if len(text) > LARGEST_COMMAND:
                    problem = refusal("too-large", "That is too much for one command.")
                    tab.put({"event": "reply", "n": 0, "ok": False, "rev": page.work.rev, "problem": problem})
                    continue
                tab.put(await page.handle(text, name))
        except (WebSocketDisconnect, RuntimeError, KeyError):
            pass
        finally:
            page.leave(tab)
            speaking.cancel()
            with contextlib.suppress(asyncio.CancelledError, Exception):
                await speaking

    async def not_found(request: Request, error: Exception) -> Response:
        return Response("There is nothing here.", 404, media_type="text/plain")

    async def failed(request: Request, error: Exception) -> Response:
        problem = refusal("our-fault", f"This is a fault of the program, not yours ({type(error).__name__}).")
        return _json({"ok": False, "problem": problem}, 500)

    static = _HERE / "static"
    routes: list[Any] = [
        Route("/", first),
        Route("/api/upload", upload, methods=["POST"]),
        Route("/api/command", command, methods=["POST"]),
        Route("/api/trace", trace, methods=["POST"]),
        WebSocketRoute("/api/socket", talk),
        Route("/api/{name}", doc),
        Route("/files/{name}", output),
        Route("/photos/{name}", photo),
    ]
    if static.is_dir():
        routes.append(Mount("/static", StaticFiles(directory=static)))
    app = Starlette(routes=routes, lifespan=life, exception_handlers={404: not_found, Exception: failed})
    return Guard(app, port=port, key=key)


def _json(document: Any, status: int = 200) -> Response:
    return JSONResponse(document, status, headers={"cache-control": "no-store"})


def serve(
    order: Path, *, port: int | None, open_browser: bool, as_json: bool, demo: bool = False, workers: int | None = None
) -> None:
    """Serve one order until Ctrl-C. Prints the address, with its key, as soon as it answers.

    Raises InputError where the port is taken.
    """
    last = last_address(order)
    sock, known = _bound(port, last)
    bound = sock.getsockname()[1]
    key = last[1] if last is not None and last[0] == bound else new_key()
    if known:
        remember_address(order, bound, key)
    others = _Others()
    page = Page(order, workers=workers or os.cpu_count() or 1, demo=demo, opener=others.open)
    address = f"http://127.0.0.1:{bound}/?key={key}"
    config = uvicorn.Config(
        application(page, port=bound, key=key),
        log_level="error",
        access_log=False,
        server_header=False,
        ws_max_size=LARGEST_COMMAND * 2,
        timeout_graceful_shutdown=2,
        lifespan="on",
    )
    server = uvicorn.Server(config)
    if os.environ.pop(_WITHIN, None):
        threading.Thread(target=_end_with_parent, args=(server,), daemon=True).start()
    threading.Thread(target=_announce, args=(server, address, order, open_browser, as_json), daemon=True).start()
    try:
        server.run(sockets=[sock])
    finally:
        page.runs.close()
        others.close()
        sock.close()


def _bound(port: int | None, last: tuple[int, str] | None) -> tuple[socket.socket, bool]:
    """A socket on the port asked for, else where this order's page was last, else on any. False: the page is there
    already, so that its place is not to be forgotten."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind(("127.0.0.1", port or (last[0] if last is not None else 0)))
        return sock, True
    except OSError as error:
        if not port:
            sock.bind(("127.0.0.1", 0))
            return sock, False
        sock.close()
        raise InputError(
            f"port {port} cannot be used ({error.strerror}): give another with --port, or none", code="option.port"
        ) from None


class _Others:
    """Pages of other orders, opened from this one. They end with it, however it ends: their standard input closes."""

    def __init__(self) -> None:
        self._children: list[subprocess.Popen[str]] = []

    def open(self, order: Path) -> str:
        """The address of a new page of ``order``; empty where none could be started."""
        command = [sys.executable, "-m", "nesting.cli", "page", str(order), "--no-open", "--json"]
        home = str(_HERE.parents[1])
        path = os.pathsep.join(one for one in (home, os.environ.get("PYTHONPATH")) if one)
        pipe = subprocess.PIPE
        child = subprocess.Popen(
            command, stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL, text=True,
            env={**os.environ, "PYTHONPATH": path, _WITHIN: "1"},
        )  # fmt: skip
        self._children.append(child)
        assert child.stdout is not None
        with contextlib.suppress(ValueError, KeyError):
            return str(json.loads(child.stdout.readline())["address"])
        return ""

    def close(self) -> None:
        """End them."""
        for child in self._children:
            for stream in (child.stdin, child.stdout):
                if stream is not None:
                    stream.close()
            try:
                child.wait(5.0)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()


def _end_with_parent(server: uvicorn.Server) -> None:
    sys.stdin.buffer.read()
    server.should_exit = True


def _announce(server: uvicorn.Server, address: str, order: Path, open_browser: bool, as_json: bool) -> None:
    import time

    while not server.started:
        if server.should_exit:
            return
        time.sleep(0.02)
    if as_json:
        sys.stdout.write(json.dumps({"address": address, "order": str(order)}) + "\n")
    else:
        sys.stdout.write(f"the page of {order} is at\n{address}\nCtrl-C ends it\n")
    sys.stdout.flush()
    if open_browser:
        webbrowser.open(address)
