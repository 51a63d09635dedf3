"""Two gigabytes sent to the real server: refused, little memory used, and it goes on serving."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
from pathlib import Path

import pytest

from tests.page.test_page_runs import ORDER, _ask, _begun

GIGABYTES = 2
#: MB that the server may have held at most, all libraries included
MOST_MEMORY = 500


def _sent(port: int, cookie: str, *, length: bool) -> tuple[int, bytes]:
    """Bytes sent before the server shut the line, and the beginning of its answer."""
    head = (
        f"POST /api/upload HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\norigin: http://127.0.0.1:{port}\r\n"
        f"cookie: {cookie}\r\n"
        "content-type: multipart/form-data; boundary=x\r\n"
    )
    head += f"content-length: {GIGABYTES << 30}\r\n\r\n" if length else "transfer-encoding: chunked\r\n\r\n"
    part = b'--x\r\ncontent-disposition: form-data; name="files"; filename="a.svg"\r\n\r\n'
    block = b"0" * (1 << 20)
    sent, answer = 0, b""
    with socket.create_connection(("127.0.0.1", port), timeout=60) as line:
        line.sendall(head.encode())
        try:
            for n in range(GIGABYTES << 10):
                data = part + block if n == 0 else block
                line.sendall(data if length else b"%x\r\n%s\r\n" % (len(data), data))
                sent += len(data)
                line.settimeout(0.0)
                try:
                    answer += line.recv(4096)
                except (BlockingIOError, TimeoutError):
                    pass
                finally:
                    line.settimeout(60)
                if answer:
                    break
        except (BrokenPipeError, ConnectionResetError):
            pass
        with contextlib.suppress(OSError):
            answer += line.recv(4096) if not answer else b""
    return sent, answer


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs /proc to see memory")
def test_two_gigabytes_are_refused_while_they_arrive(tmp_path: Path) -> None:
    """With a length that says so, and without one: 413, a small part of it taken, the server as before."""
    order = tmp_path / "order.toml"
    order.write_text(ORDER, encoding="utf-8")
    process, address, cookie = _begun(order, f"upload-{os.getpid()}")
    try:
        port = int(address.partition("127.0.0.1:")[2].partition("/")[0])
        for length in (True, False):
            sent, answer = _sent(port, cookie, length=length)
            assert sent < 300 << 20, "it went on reading"
            assert not answer or answer.startswith(b"HTTP/1.1 413"), answer
            assert _ask(address, cookie, "state")["readable"]
        status = Path(f"/proc/{process.pid}/status").read_text()
        peak = int(status.partition("VmHWM:")[2].split()[0]) // 1024
        assert peak < MOST_MEMORY, f"{peak} MB"
        assert not list(tmp_path.glob("*.svg"))
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait()
