"""Who may speak to the page: only a browser on this machine that was given the address.

The page can read and write files in the order's folder, so other web pages that are open in the same browser must not
reach it, nor other machines. Against

* pages that send requests to 127.0.0.1: a key that they do not know, in a cookie that browsers do not send for them
  (SameSite=Strict), and the ``Origin`` header, which they cannot forge;
* names that resolve to 127.0.0.1 (DNS rebinding): the ``Host`` header must be our own address;
* markup or scripts in a pattern file or a name: a content security policy without inline code or foreign sources;
* too much of anything: bodies have a limit, which is enforced while they arrive.

Pure ASGI, so that web sockets pass here, too. Cookies are shared by all ports of a host, so the name of ours has the
port in it. Source: OWASP cheat sheets on cross-site request forgery and HTML5 security (Origin checks, WebSockets).
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping, Sequence
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

__all__ = ["POLICY", "Guard", "new_key"]

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "font-src 'self'; form-action 'self'; frame-src 'self'; base-uri 'none'; frame-ancestors 'none'"
)
#: bytes of an upload, all files together: a pattern of many sizes takes a few million
LARGEST_UPLOAD = 64 * 1024 * 1024
#: bytes of any other body
LARGEST_BODY = 256 * 1024

_HEADERS = [
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
]
#: those of an answer that our own page may frame
_FRAMED = [
    (b"content-security-policy", b"default-src 'none'; frame-ancestors 'self'"),
    *(one for one in _HEADERS if one[0] not in (b"content-security-policy", b"x-frame-options")),
    (b"x-frame-options", b"SAMEORIGIN"),
]


def new_key() -> str:
    """A key that nobody guesses."""
    return secrets.token_urlsafe(32)


class _TooLarge(Exception):
    pass


class Guard:
    """Lets through what comes from our own page. ``port`` is what the browser sees; ``key`` is in the first address."""

    def __init__(self, app: App, *, port: int, key: str) -> None:
        self.app = app
        self.key = key
        self.cookie = f"nesting-page-{port}"
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.origins = {f"http://{host}" for host in self.hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or socket."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        headers: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
        refused = self._refusal(scope, headers)
        if refused is not None:
            await _refuse(scope, send, *refused)
            return
        if scope["type"] == "http" and self._first(scope):
            await self._welcome(send)
            return
        if scope["type"] == "http" and scope["path"] == "/here" and scope["method"] == "GET":
            # a tab that has lost its server asks in a frame, as a browser writes nothing of that into its console
            await _answer(
                send, 200, b"yes" if self._known(headers) else b"no", "text/plain; charset=utf-8", [], _FRAMED
            )
            return
        if not self._known(headers):
            await _refuse(scope, send, 403, "This page needs the address that 'nesting page' printed, with its key.")
            return
        if scope["type"] == "websocket":
            await self.app(scope, receive, send)
            return
        await self._limited(scope, headers, receive, send)

    def _refusal(self, scope: Scope, headers: dict[str, list[str]]) -> tuple[int, str] | None:
        host = headers.get("host", [])
        if len(host) != 1 or host[0].lower() not in self.hosts:
            return 403, "This address is not the page's own."
        origin = headers.get("origin", [])
        if origin and (len(origin) != 1 or origin[0].lower() not in self.origins):
            return 403, "Another web page asked for this; it may not."
        must_have_origin = scope["type"] == "websocket" or scope.get("method") not in ("GET", "HEAD")
        if must_have_origin and not origin:
            return 403, "A browser says which page asks; this request does not."
        if scope["type"] == "http" and scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "Only GET and POST are known here."
        return None

    def _first(self, scope: Scope) -> bool:
        if scope["path"] != "/" or scope["method"] != "GET":
            return False
        given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("key", [""])
        return hmac.compare_digest(given[0].encode(), self.key.encode())

    def _known(self, headers: dict[str, list[str]]) -> bool:
        for text in headers.get("cookie", []):
            try:
                cookie = SimpleCookie(text)
            except CookieError:
                continue
            if self.cookie in cookie and hmac.compare_digest(cookie[self.cookie].value.encode(), self.key.encode()):
                return True
        return False

    async def _welcome(self, send: Send) -> None:
        # 200 and a refresh: after a redirect from elsewhere browsers would leave out a SameSite=Strict cookie
        body = (
            b'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>nesting</title>'
            b'<link rel="icon" href="/static/icon.svg"><meta http-equiv="refresh" content="0;url=/"></head>'
            b'<body><p><a href="/">To the page</a></p></body></html>'
        )
        cookie = f"{self.cookie}={self.key}; Path=/; HttpOnly; SameSite=Strict"
        await _answer(send, 200, body, "text/html; charset=utf-8", [(b"set-cookie", cookie.encode())])

    async def _limited(self, scope: Scope, headers: dict[str, list[str]], receive: Receive, send: Send) -> None:
        """The request with its body held to the limit while it arrives, and our headers on the answer."""
        limit = LARGEST_UPLOAD if scope["path"] == "/api/upload" else LARGEST_BODY
        declared = headers.get("content-length", ["0"])[0]
        if not declared.isdigit() or int(declared) > limit:
            await _refuse(scope, send, 413, _too_large(limit))
            return
        seen, began, over = 0, False, False

        async def counted() -> MutableMapping[str, Any]:
            nonlocal seen, over
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > limit:
                over = True
                raise _TooLarge
            return message

        async def headed(message: MutableMapping[str, Any]) -> None:
            nonlocal began
            if over and not began:
                return  # whatever the application makes of it, the answer is ours
            if message["type"] == "http.response.start":
                began = True
                message = {**message, "headers": [*message.get("headers", []), *_HEADERS]}
            await send(message)

        try:
            await self.app(scope, counted, headed)
        except _TooLarge:
            pass
        except Exception:
            if not over:
                raise
        if over and not began:
            await _refuse(scope, send, 413, _too_large(limit))


def _too_large(limit: int) -> str:
    return f"This is more than {limit // 1024 // 1024 or 1} MB, too large here: save only the pattern pieces."


async def _answer(
    send: Send,
    status: int,
    body: bytes,
    kind: str,
    more: list[tuple[bytes, bytes]],
    ours: Sequence[tuple[bytes, bytes]] = _HEADERS,
) -> None:
    headers = [(b"content-type", kind.encode()), (b"content-length", str(len(body)).encode()), *ours]
    headers += [(b"cache-control", b"no-store"), *more]
    if status == 413:
        headers.append((b"connection", b"close"))  # what is still on its way is not read
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


async def _refuse(scope: Scope, send: Send, status: int, words: str) -> None:
    if scope["type"] == "websocket":
        if "websocket.http.response" in scope.get("extensions", {}):
            await send({"type": "websocket.http.response.start", "status": status, "headers": list(_HEADERS)})
            await send({"type": "websocket.http.response.body", "body": words.encode()})
        else:
            await send({"type": "websocket.close", "code": 1008, "reason": words[:100]})
        return
    await _answer(send, status, words.encode(), "text/plain; charset=utf-8", [])
