"""Searches of the page: drawn as they come, stopped, looked at again after a reload, left alone, and killed with it."""

from __future__ import annotations

import json
import os
import shlex
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from nesting.page import page as page_module
from tests.page.conftest import PORT, Server

ORDER = """title = "Two panels"
units = "mm"

[[piece]]
name = "panel"
rectangle = ["330 mm", "210 mm"]
cut = 4

[[cloth]]
name = "main"
width = "1000"

[[garment]]
name = "bag"
count = 2
"""

#: seconds that a test waits for what must come; nothing is judged by it
LONG = 120.0


@pytest.fixture
def small(empty: Server) -> Server:
    """A few rectangles on plain cloth."""
    empty.page.work.path.write_text(ORDER, encoding="utf-8")
    empty.do("disk.reload")
    return empty


def _socket(server: Server, tab: str = "a") -> Any:
    return server.client.websocket_connect(f"ws://127.0.0.1:{PORT}/api/socket?tab={tab}")


def _until(socket: Any, what: str) -> list[dict[str, Any]]:
    """Events up to the first called so."""
    heard = []
    while not heard or heard[-1]["event"] != what:
        heard.append(json.loads(socket.receive_text()))
    return heard


def _proved(server: Server, cloth: str = "main") -> dict[str, Any]:
    end = time.monotonic() + LONG
    while time.monotonic() < end:
        lay = server.get(f"lay?cloth={cloth}")
        if lay["judged"] is not None:
            return lay
        time.sleep(0.02)
    raise AssertionError("nobody judged the lay")


def test_better_lays_are_drawn_as_they_come_and_every_spread_is_kept(small: Server) -> None:
    """Each with all its places; at the end the table offers the lay of every spread, which stands its proof, too."""
    with _socket(small) as socket:
        small.do("lay.start", rounds=2)
        heard = _until(socket, "ended")
    betters = [e for e in heard if e["event"] == "better"]
    assert betters
    for one in betters:
        assert len(one["lay"]["sections"][0]["pieces"]) > 0 and one["lay"]["lay"] == "so-far"
        assert any(row["lay_length"] for row in one["lay"]["spreads"])
    assert heard[-1]["run"]["state"] == "done"
    lay = _proved(small)
    assert lay["judged"]["ok"]
    laid = [row for row in lay["spreads"] if row["lay_length"]]
    assert len(laid) > 2 and all(row["lay"] for row in laid), laid
    for row in laid:
        small.do("lay.take", cloth="main", lay=row["lay"])
        other = _proved(small)
        assert other["judged"]["ok"], other["judged"]
        assert other["spread"] == row["spread"]
        assert other["lay_length"] == pytest.approx(row["lay_length"], abs=0.01)


def test_stopping_keeps_the_best(small: Server) -> None:
    """At the first lay: it is kept, proved, and one undo away from nothing."""
    with _socket(small) as socket:
        small.do("lay.start", seconds=600)
        _until(socket, "better")
        small.do("run.stop")
        told = _until(socket, "ended")
        # the stop itself is told before what was found is proved
        assert any(e["event"] == "progress" and e["run"]["state"] == "stopping" and e["run"]["found"] for e in told)
        assert told[-1]["run"]["state"] == "stopped"
        assert told[-1]["run"]["found"]
    assert _proved(small)["judged"]["ok"]
    assert small.get("state")["undo"]["label"] == "lay found"
    small.do("undo")
    assert small.get("lay")["lay"] is None


def test_a_lay_that_the_full_disk_refuses_stays_drawn_and_is_kept_later(
    small: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing that a search found is lost: it is told, drawn, and kept by itself as soon as there is room."""
    failure = OSError(28, "No space left on device")

    def full(*what: object) -> None:
        raise failure

    with _socket(small) as socket:
        with monkeypatch.context() as patch:
            patch.setattr(os, "replace", full)
            small.do("lay.start", rounds=2)
            run = _until(socket, "ended")[-1]["run"]
            assert run["state"] == "failed" and run["problem"]["code"] == "not-kept", run
            assert "disk is full" in run["problem"]["message"] and "stays drawn" in run["problem"]["message"]
            assert small.get("lay")["lay"] == "so-far" and small.get("lay")["lay_length"] > 0
            assert small.get("state")["undo"]["label"] != "lay found"
        again = _until(socket, "ended")[-1]["run"]
    assert again["id"] == run["id"] and again["state"] == "done" and again["problem"] is None
    assert _proved(small)["judged"]["ok"]
    assert small.get("state")["undo"]["label"] == "lay found"


def test_what_is_left_over_goes_into_the_stash_once(small: Server) -> None:
    """The page says under which name; asked again, nothing is added; gone from the stash, it can be kept anew."""
    small.do("cloth.set", index=0, key="width", value="1400")
    with _socket(small) as socket:
        small.do("lay.start", rounds=2, spread="open")
        _until(socket, "ended")
    _proved(small)
    # four of 330 x 210 mm in 1400 mm of cloth leave more than 20 x 20 cm
    left = small.get("cut")["leftovers"]
    assert left and left[0]["kept"] is None and left[0]["words"].startswith("holds ")
    assert small.do("stash.add", cloth="main", leftovers=[0])["added"] == ["main-1"]
    assert small.get("cut")["leftovers"][0]["kept"] == "main-1"
    again = small.do("stash.add", cloth="main", leftovers=[0])
    assert again["added"] == [] and again["already_there"] == ["main-1"]
    small.do("stash.remove", name="main-1")
    assert small.get("cut")["leftovers"][0]["kept"] is None


def test_a_batch_that_the_leftovers_hold_says_so(small: Server) -> None:
    """Nothing is to be bought: the answer tells what lies on which leftover, by its name, and calls no piece right
    that has no left one."""
    small.do("remnant.add", name="end of roll", cloth="main", width="1000", length="900")
    with _socket(small) as socket:
        small.do("batch.start", seconds=5)
        assert _until(socket, "ended")[-1]["run"]["state"] == "done"
    answer = small.get("batch")
    assert answer["answer"]["plans"] == []
    pieces = answer["answer"]["leftovers"]["pieces"]
    assert len(pieces) == 8 and {p["remnant"] for p in pieces} == {"end of roll"}
    assert {p["hand"] for p in pieces} == {None}
    assert [p["title"] for p in answer["pictures"]] == ["the leftover end of roll"]


def test_a_search_stopped_at_once_leaves_all_as_it_was(small: Server) -> None:
    """Before there is a lay, there is none to keep; that is no fault."""
    with _socket(small) as socket:
        small.do("lay.start", seconds=600)
        small.do("run.stop")
        ended = _until(socket, "ended")[-1]["run"]
        assert ended["problem"] is None and not ended["found"]
    small.do("lay.start", rounds=1)
    assert small.refused("lay.start", rounds=1)["code"] == "busy"
    small.do("run.stop")


def test_a_search_survives_a_reload(small: Server) -> None:
    """The tab goes and comes again: the same search is at work, its best lay is there to look at."""
    with _socket(small, "first") as socket:
        run = small.do("lay.start", seconds=600)["run"]
        _until(socket, "better")
    with _socket(small, "again") as socket:
        hello = _until(socket, "hello")[-1]
        assert hello["state"]["run"]["id"] == run
        assert hello["state"]["run"]["state"] in ("starting", "running")
        assert small.get("lay")["sections"][0]["pieces"]
        small.do("run.stop")
        _until(socket, "ended")


def test_a_search_that_nobody_looks_at_stops_and_keeps_its_best(small: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some time after the last tab has closed, half a minute in earnest."""
    assert page_module.LINGER == 30.0
    monkeypatch.setattr(page_module, "LINGER", 0.3)
    with _socket(small) as socket:
        small.do("lay.start", seconds=600)
        _until(socket, "better")
    end = time.monotonic() + LONG
    while small.get("state")["run"]["state"] != "stopped":
        assert time.monotonic() < end
        time.sleep(0.05)
    assert _proved(small)["judged"]["ok"]


def test_going_on_holds_what_is_held(small: Server) -> None:
    """From the lay as it lies, a piece held; the command shown names the same."""
    with _socket(small) as socket:
        small.do("lay.start", rounds=1, spread="open")
        _until(socket, "ended")
        lay = _proved(small)
        piece = lay["sections"][0]["pieces"][0]
        small.do("lay.keep", cloth="main", ids=[piece["id"]], keep=True)
        small.do("lay.start", rounds=1, spread="open", go_on=True, cloth="main")
        _until(socket, "ended")
    lay = _proved(small)
    same = next(p for p in lay["sections"][0]["pieces"] if p["id"] == piece["id"])
    assert (same["x"], same["y"], same["kept"]) == (piece["x"], piece["y"], True)
    assert "--keep" in lay["command"] and "--from" in lay["command"]


def _numbers(lay: dict[str, Any]) -> dict[str, int]:
    return {p["id"]: p["number"] for part in lay["sections"] for p in part["pieces"]}


def _spots(lay: dict[str, Any]) -> dict[tuple[float, ...], int]:
    return {(p["x"], p["y"], p["turn"]): p["number"] for part in lay["sections"] for p in part["pieces"]}


def test_numbers_stay_while_somebody_compares(small: Server) -> None:
    """The first piece to be cut is put behind all others and held, and the search goes on from there: each piece keeps
    the number that it had, on the drawing, in the list and in the file. A lay that is laid anew is numbered anew."""
    with _socket(small) as socket:
        small.do("lay.start", rounds=1, spread="open")
        _until(socket, "ended")
        lay = _proved(small)
        numbers = _numbers(lay)
        assert sorted(numbers.values()) == list(range(1, 9))
        first = next(p for p in lay["sections"][0]["pieces"] if p["number"] == 1)
        away = {"x": first["x"] + 2000.0, "y": first["y"], "turn": first["turn"], "flipped": first["flipped"]}
        small.do("lay.move", cloth="main", base=lay["move"], id=first["id"], **away)
        assert _numbers(small.get("lay")) == numbers
        small.do("lay.keep", cloth="main", ids=[first["id"]], keep=True)
        moved = _spots(small.get("lay"))
        small.do("lay.start", rounds=3, spread="open", go_on=True, cloth="main")
        better = [e["lay"] for e in _until(socket, "ended") if e["event"] == "better"]
        after = _proved(small)
        assert all(_numbers(one) == numbers for one in [after, *better])
        stayed = _spots(after).keys() & moved.keys()
        assert (away["x"], away["y"], away["turn"]) in stayed
        assert all(_spots(after)[spot] == moved[spot] for spot in stayed), (_spots(after), moved)
        # the list is in cutting order still, and tells the numbers of the drawing
        rows = small.get("cut")["rows"]
        assert {row["laid"]: row["number"] for row in rows} == numbers and rows[-1]["number"] == 1
        small.do("lay.start", rounds=1, spread="open")
        _until(socket, "ended")
    assert [row["number"] for row in small.get("cut")["rows"]] == list(range(1, 9))


def test_the_command_shown_gives_the_lay_shown(small: Server) -> None:
    """By rounds, with a seed: run as it stands it gives the same lay. None is shown of a lay that it would not give."""
    with _socket(small) as socket:
        small.do("lay.start", rounds=2, seed=3)
        _until(socket, "ended")
        lay = _proved(small)
        words = shlex.split(lay["command"])
        where = words.index("-o") + 1
        words[where] = "again"
        done = subprocess.run(
            [sys.executable, "-m", "nesting.cli", *words[1:]],
            cwd=small.page.work.folder, capture_output=True, text=True,
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}, timeout=LONG,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        there = json.loads((small.page.work.folder / "again" / "lay-main.json").read_text())
        ours = {p["number"]: (p["x"], p["y"], p["turn"]) for part in lay["sections"] for p in part["pieces"]}
        assert ours == {
            p["number"]: (round(p["x"], 4), round(p["y"], 4), p["turn"])
            for part in there.get("sections", [there]) for p in part["placements"]
        }  # fmt: skip
        other = next(row for row in lay["spreads"] if row["lay"] and not row["shown"])
        small.do("lay.take", cloth="main", lay=other["lay"])
        assert small.get("lay")["command"] == ""
        small.do("lay.take", cloth="main", lay=lay["lay"])
        assert small.get("lay")["command"] == lay["command"]
        piece = lay["sections"][0]["pieces"][0]
        move = {k: piece[k] for k in ("x", "y", "turn", "flipped")} | {"x": piece["x"] + 3000.0}
        small.do("lay.move", cloth="main", base=small.get("lay")["move"], id=piece["id"], **move)
        assert small.get("lay")["command"] == ""
        small.do("undo")
        assert small.get("lay")["command"] == lay["command"]
        small.do("garment.set", index=0, key="count", value=3)
        assert small.get("lay")["command"] == ""


def test_what_to_buy_is_a_session_as_well(small: Server) -> None:
    """Rows and a list to take along; stopping before the first row is no fault."""
    with _socket(small) as socket:
        small.do("buy.start", rounds=1, widths=["900 mm"], what_if=True)
        assert "--what-if" in small.get("state")["run"]["command"]
        ended = _until(socket, "ended")[-1]["run"]
        assert ended["state"] == "done", ended
        small.do("buy.start", seconds=600)
        small.do("run.stop")
        assert _until(socket, "ended")[-1]["run"]["problem"] is None
    buy = small.get("buy")
    assert {row["width"] for row in buy["rows"]} == {900.0}
    assert not buy["stale"]
    tried = {one["what"]: one for one in buy["savings"]}
    assert {"one bag less", "one bag more"} <= set(tried), tried
    # a panel is no band, so no join in it is offered
    assert not any("join" in what for what in tried), tried
    assert tried["one bag less"]["lengths"]["main"] > 0 and not tried["one bag less"]["refused"]
    assert all(one["handling"] and "=" not in one["what"] for one in buy["savings"])
    for row in [*buy["rows"], *(more for one in buy["rows"] for more in one["more"])]:
        assert row["buy"] >= row["length"] > 0 and row["per_garment"] > 0, row
    best = [row for row in buy["rows"] if row["best"]]
    assert len(best) == len(buy["shopping"]) == 1
    assert buy["shopping"][0] == f"{best[0]['cloth']}: {best[0]['buy'] / 10:g} cm, 90 cm wide ({best[0]['spread']})"
    for refused in buy["refused"]:
        assert refused["why"] and refused["cloth"]
    (drawn,) = buy["curves"]
    assert [p["count"] for p in drawn["points"]] == list(range(1, len(drawn["points"]) + 1))
    assert all(p["length"] > 0 for p in drawn["points"])


def _ask(address: str, cookie: str, name: str, command: dict[str, Any] | None = None) -> dict[str, Any]:
    base = address.partition("/?")[0]
    data = json.dumps(command).encode() if command is not None else None
    asked = urllib.request.Request(f"{base}/api/{name}", data, {"cookie": cookie, "origin": base})
    with urllib.request.urlopen(asked, timeout=LONG) as answer:
        return json.loads(answer.read())


def _begun(order: Path, mark: str) -> tuple[subprocess.Popen[str], str, str]:
    from tests.page.browsing import ROOT

    command = [sys.executable, "-m", "nesting.cli", "page", str(order), "--no-open", "--json"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "NESTING_TEST_MARK": mark}
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment, start_new_session=True)
    assert process.stdout is not None
    with process.stdout:
        address = json.loads(process.stdout.readline())["address"]
    port = address.partition("127.0.0.1:")[2].partition("/")[0]
    return process, address, f"nesting-page-{port}={address.partition('key=')[2]}"


def _marked(mark: str) -> set[int]:
    """Processes with the mark in their environment."""
    found = set()
    for path in Path("/proc").glob("[0-9]*/environ"):
        try:
            if mark.encode() in path.read_bytes():
                found.add(int(path.parent.name))
        except OSError:
            continue
    return found


@pytest.mark.skipif(not Path("/proc/self/environ").exists(), reason="needs /proc to see processes")
def test_a_killed_server_leaves_no_orphan_and_loses_nothing(tmp_path: Path) -> None:
    """In the middle of a search: no process stays; started again, every step and the best lay so far are there."""
    order, mark = tmp_path / "order.toml", f"mark-{os.getpid()}-{time.time_ns()}"
    order.write_text(ORDER, encoding="utf-8")
    process, address, cookie = _begun(order, mark)
    try:
        _ask(address, cookie, "command", {"cmd": "garment.set", "index": 0, "key": "count", "value": 3})
        _ask(address, cookie, "command", {"cmd": "lay.start", "seconds": 600})
        end = time.monotonic() + LONG
        while not (tmp_path / ".order.page" / "searching.json").exists():
            assert time.monotonic() < end
            time.sleep(0.05)
        assert len(_marked(mark)) > 1
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
    end = time.monotonic() + LONG
    while _marked(mark):
        assert time.monotonic() < end, _marked(mark)
        time.sleep(0.05)
    process, address, cookie = _begun(order, mark)
    try:
        state = _ask(address, cookie, "state")
        assert state["garments"][0]["count"] == 3
        assert state["undo"]["label"] == "lay found"
        lay = _ask(address, cookie, "lay")
        assert sum(p["gives"] for p in lay["sections"][0]["pieces"]) == 12
    finally:
        process.terminate()
        process.wait()


@pytest.mark.skipif(not Path("/proc/self/environ").exists(), reason="needs /proc to see processes")
def test_a_new_order_from_this_one_has_a_page_that_ends_with_this_one(tmp_path: Path) -> None:
    """Same pattern, other cloth and counts; its address answers; when the first server is killed, so is its own."""
    order, mark = tmp_path / "order.toml", f"new-{os.getpid()}-{time.time_ns()}"
    order.write_text(ORDER, encoding="utf-8")
    process, address, cookie = _begun(order, mark)
    try:
        asked = {"cmd": "order.new", "name": "second", "counts": {"0": 5}, "cloth": {"width": "1400 mm"}}
        made = _ask(address, cookie, "command", asked)["result"]
        assert made["order"] == "second.toml" and made["address"] != address
        port = made["address"].partition("127.0.0.1:")[2].partition("/")[0]
        other = _ask(made["address"], f"nesting-page-{port}={made['address'].partition('key=')[2]}", "cloth")
        assert other["garments"][0]["count"] == 5 and other["cloths"][0]["in_mm"]["width"] == 1400.0
        assert order.read_text(encoding="utf-8") == ORDER
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
    end = time.monotonic() + LONG
    while _marked(mark):
        assert time.monotonic() < end, _marked(mark)
        time.sleep(0.05)
