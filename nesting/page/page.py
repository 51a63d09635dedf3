"""The page's own state of affairs: commands in, events out, runs, tabs. One order, one page.

Everything that touches the order or its history happens under one lock, in a thread, so that the server answers
meanwhile.
"""

from __future__ import annotations

import asyncio
import functools
import json
import operator
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import msgspec

from nesting.model.errors import NestingError
from nesting.page import doing_cutting, doing_order, doing_searches
from nesting.page import protocol as ask
from nesting.page.alter_doc import alterations_doc
from nesting.page.answers_doc import answer_doc, buy_doc
from nesting.page.cloth_doc import cloths_doc, stash_file
from nesting.page.cut_doc import cut_doc
from nesting.page.desk import ORDER_DOCS, Desk, Done, docs_of, problem_from
from nesting.page.documents import Problem, RunDoc
from nesting.page.editing import Refused
from nesting.page.history import Step
from nesting.page.judging import Judging
from nesting.page.lays import Lays
from nesting.page.order_commands import edit_of
from nesting.page.photos import keep_pictures, kept_picture, sizes_of_pictures, trace, trace_scrap
from nesting.page.pieces_doc import pieces_doc
from nesting.page.plain import plain
from nesting.page.runs import Run, Runs
from nesting.page.seams_doc import seams_doc
from nesting.page.state_doc import files_of, state_doc
from nesting.page.tabs import Tab
from nesting.page.uploads import take_file
from nesting.page.words import finding_doc, pointed
from nesting.page.workspace import Workspace
from nesting.session.events import Result
from nesting.session.numbering import numbered

if TYPE_CHECKING:
    from nesting.model.lay import Lay

__all__ = ["Page"]

#: seconds that a search goes on after the last tab has closed
LINGER = 30.0
#: seconds between two looks at the disk
LOOK = 1.0
#: seconds between two words about a run's progress
TICK = 0.25
#: seconds between two lays of a search that are kept on disk, should the server be killed
KEPT = 2.0
#: where they are named
SEARCHING = "searching.json"

#: what is done by commands that are no plain edits of the order
_COMMANDS: Mapping[type[ask.Command], Callable[[Desk, Any], Done]] = {
    ask.Undo: doing_order.undo,
    ask.Redo: doing_order.redo,
    ask.DiskReload: doing_order.disk_reload,
    ask.DiskKeep: doing_order.disk_keep_mine,
    ask.OrderNew: doing_order.order_new,
    ask.ProposalsDecline: doing_order.proposals_decline,
    ask.FileContents: doing_order.file_contents,
    ask.SeamTry: doing_order.seam_try,
    ask.AlterTry: doing_order.alter_try,
    ask.LayStart: doing_searches.lay_start,
    ask.RunStop: doing_searches.run_stop,
    ask.BuyStart: doing_searches.buy_start,
    ask.RemnantsStart: doing_searches.remnants_start,
    ask.BatchStart: doing_searches.batch_start,
    ask.LayTake: doing_cutting.lay_take,
    ask.LayMove: doing_cutting.lay_move,
    ask.LayKeep: doing_cutting.lay_keep,
    ask.StashAdd: doing_cutting.stash_add,
    ask.StashRemove: doing_cutting.stash_remove,
    ask.CutTick: doing_cutting.cut_tick,
    ask.CutPrint: doing_cutting.cut_print,
    ask.CalibrationSave: doing_cutting.projector_save,
    ask.CalibrationRemove: doing_cutting.projector_remove,
}
_DECODER: msgspec.json.Decoder[Any] = msgspec.json.Decoder(functools.reduce(operator.or_, ask.commands()))


class Page:
    """``order`` is the order's file; ``workers`` processes search. ``opener`` opens another page, of an order that is
    made from this one, and gives its address."""

    def __init__(
        self, order: Path, *, workers: int, demo: bool = False, opener: Callable[[Path], str] | None = None
    ) -> None:
        self.work = Workspace(order)
        self.lays = Lays(self.work)
        self.runs = Runs(self._heard)
        self.desk = Desk(self.work, self.lays, self.runs, workers, opener)
        self.demo = demo
        self.tabs: list[Tab] = []
        self.lock = asyncio.Lock()
        self._judging = Judging(self.lays, self._spawn, self.tell, lambda: bool(self.tabs))
        self.warm: dict[str, Any] = {"ready": False, "doing": "loading the search", "share": 0.0}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._tasks: set[asyncio.Task[Any]] = set()
        #: what a run found that the disk had no room for
        self._unkept: tuple[Run, tuple[Lay, ...], Result | None] | None = None
        self._showing = False
        self._kept_at = 0.0
        self._linger: asyncio.TimerHandle | None = None

    # --- life

    async def start(self) -> None:
        """Begin to watch the disk and to load the search."""
        self._loop = asyncio.get_running_loop()
        await asyncio.to_thread(self._recover)
        # the pattern is read while the browser starts
        self._spawn(self.doc("state"))
        self._spawn(self._watch())
        self._spawn(self._warm())

    async def close(self) -> None:
        """End everything that runs."""
        for tab in self.tabs:
            tab.put({"event": "bye", "message": "The page's server has been ended; start 'nesting page' again."})
        for task in list(self._tasks):
            task.cancel()
        # what a search has found so far is not lost with the server: it is taken over at the next start
        if self.desk.latest:
            with suppress(NestingError):
                await asyncio.to_thread(self._keep_for_later)
        await asyncio.to_thread(self.runs.close)

    def _spawn(self, work: Any) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _watch(self) -> None:
        told, looked = False, 0.0
        while True:
            await asyncio.sleep(TICK)
            run = self.desk.run
            if run is not None and run.alive:
                self.tell({"event": "progress", "run": self.run_doc(run)})
            looked += TICK
            if looked < LOOK:
                continue
            looked = 0.0
            async with self.lock:
                changed = await asyncio.to_thread(self.work.look_at_disk)
            await self._keep_at_last()
            if changed != told:
                told = changed
                if changed:
                    self.tell({"event": "disk", "files": [self.work.path.name]})
                self._changed(["state"], "")

    async def _warm(self) -> None:
        loop = asyncio.get_running_loop()

        def note(doing: str) -> None:
            loop.call_soon_threadsafe(self._told_warm, {"ready": False, "doing": doing, "share": 0.0})

        try:
            await asyncio.to_thread(self.runs.warm, note)
            self._told_warm({"ready": True, "doing": "", "share": 1.0})
        except Exception as error:
            self._told_warm({"ready": False, "doing": problem_from(error)["message"], "share": 0.0})

    def _told_warm(self, warm: dict[str, Any]) -> None:
        self.warm = warm
        self.tell({"event": "warm", **warm})

    # --- tabs

    def tell(self, event: dict[str, Any]) -> None:
        """An event for all tabs."""
        for tab in self.tabs:
            tab.put(event)

    def _changed(self, docs: list[str], label: str, tab: str = "") -> None:
        self.tell({"event": "changed", "rev": self.work.rev, "docs": docs, "label": label, "tab": tab})

    async def enter(self, name: str) -> Tab:
        """A tab has opened its socket."""
        tab = Tab(name)
        self.tabs.append(tab)
        if self._linger is not None:
            self._linger.cancel()
            self._linger = None
        tab.put({"event": "hello", "rev": self.work.rev, "state": await self.doc("state"), "tab": name})
        if len(self.tabs) > 1:
            self.tell({"event": "tabs", "tabs": len(self.tabs)})
        return tab

    def leave(self, tab: Tab) -> None:
        """A tab has closed, or its socket was lost."""
        if tab in self.tabs:
            self.tabs.remove(tab)
        self.tell({"event": "tabs", "tabs": len(self.tabs)})
        if not self.tabs:
            self._linger = asyncio.get_running_loop().call_later(LINGER, self._nobody_looks)

    def _nobody_looks(self) -> None:
        if not self.tabs and self.desk.run is not None:
            self.runs.stop(self.desk.run)

    # --- documents

    def live(self) -> dict[str, Any]:
        """What only the running server knows."""
        return {
            "run": self.run_doc(self.desk.run) if self.desk.run is not None else None,
            "warm": dict(self.warm),
            "tabs": len(self.tabs),
            "command": self.desk.command,
            "demo": self.demo,
        }

    async def doc(self, name: str, cloth: str | None = None) -> dict[str, Any]:
        """A document by name. KeyError for one that there is not."""
        work, lays = self.work, self.lays
        so_far = self.desk.latest.get(cloth or next(iter(lays.cloths()), "")) if name == "lay" else None
        builders: dict[str, Callable[[], Any]] = {
            "state": lambda: state_doc(work, self.live()),
            "pieces": lambda: pieces_doc(work.survey, work.rev, work.declined),
            "seams": lambda: seams_doc(work.survey, work.rev, work.declined),
            "alterations": lambda: alterations_doc(work.survey, work.rev),
            "cloth": lambda: cloths_doc(work.survey, work.rev),
            "lay": lambda: (
                lays.doc(cloth, work.rev)
                if so_far is None
                else lays.so_far(so_far, work.rev, self.desk.run.command if self.desk.run is not None else "")
            ),
            "buy": lambda: buy_doc(work, lays, work.rev),
            "remnants": lambda: answer_doc(work, "remnants", work.rev),
            "batch": lambda: answer_doc(work, "batch", work.rev),
            "cut": lambda: cut_doc(work, lays, cloth, work.rev, self.desk.printed),
        }
        build = builders[name]
        async with self.lock:
            made = await asyncio.to_thread(build)
        if name in ("lay", "cut") and made.get("lay"):
            self._judging.judge(made["cloth"])
        return cast("dict[str, Any]", made)

    def run_doc(self, run: Run) -> RunDoc:
        """A run as the page sees it."""
        return {
            "id": run.id,
            "kind": run.kind,
            "state": cast(Any, run.state),
            "cloth": run.job.cloth,
            "doing": run.doing,
            "share": round(run.share, 3),
            "length": run.length,
            "found": run.found,
            "elapsed": round(run.elapsed, 2),
            "seconds": run.job.seconds,
            "rounds": run.job.rounds,
            "seed": run.job.seed,
            "command": run.command,
            "problem": problem_from(run.problem) if run.problem is not None else None,
        }

    # --- commands

    async def handle(self, raw: bytes | str, tab: str = "") -> dict[str, Any]:
        """Do a command and reply."""
        n = 0
        try:
            with suppress(ValueError, AttributeError, TypeError):
                n = int(json.loads(raw).get("n", 0))
            cmd: ask.Command = _DECODER.decode(raw)
            if isinstance(cmd, ask.RunStop):
                # a stop waits for nothing that is being drawn or written
                result, docs, label = await asyncio.to_thread(self._do, cmd)
                if self.desk.run is not None:
                    self.tell({"event": "progress", "run": self.run_doc(self.desk.run)})
            else:
                async with self.lock:
                    result, docs, label = await asyncio.to_thread(self._do, cmd)
            if docs:
                self._told_of(docs, label, tab, cmd)
            return {"event": "reply", "n": n, "ok": True, "rev": self.work.rev, "result": result}
        except Exception as error:
            problem = problem_from(error)
            problem["where"] = pointed(problem["where"], self.work.survey.by_label)
            return {"event": "reply", "n": n, "ok": False, "rev": self.work.rev, "problem": problem}

    def _told_of(self, docs: list[str], label: str, tab: str, cmd: ask.Command) -> None:
        if isinstance(cmd, ask.LayMove | ask.LayKeep):
            value = self.lays.value(cmd.cloth)
            moves, held = value.get("moves") or {}, set(value.get("kept") or [])
            ids = [cmd.id] if isinstance(cmd, ask.LayMove) else cmd.ids
            pieces = []
            for one in ids:
                at = moves.get(one)
                place = {"x": at[0], "y": at[1], "turn": at[2], "flipped": at[3]} if at else {}
                pieces.append({"id": one, **place, "kept": one in held})
            self.tell({"event": "moved", "rev": self.work.rev, "move": value.get("move", 0), "cloth": cmd.cloth,
                       "tab": tab, "pieces": pieces})  # fmt: skip
            self._changed(["state", "cut"], label, tab)
            self._judging.judge(cmd.cloth)
            return
        self._changed(docs, label, tab)
        if "lay" in docs:
            for cloth in self.lays.cloths():
                if self.lays.value(cloth):
                    self._judging.judge(cloth)

    def _do(self, cmd: ask.Command) -> Done:
        """In a thread, under the lock."""
        do = _COMMANDS.get(type(cmd))
        if do is not None:
            return do(self.desk, cmd)
        made = edit_of(cmd, self.work.order_text, self.work.survey)
        if made is None:
            raise Refused("not-understood", "this cannot be done here")
        return doing_order.edited(self.desk, made)

    # --- files

    async def upload(self, files: list[tuple[str, bytes]], kind: str) -> dict[str, Any]:
        """Take dropped files; each by itself, so that one bad one does not keep the others out."""
        problem: Problem | None = None
        findings: list[Any] = []
        taken: list[str] = []
        scans: list[str] = []
        async with self.lock:
            text = self.work.order_text
            for name, content in files:
                try:
                    kept, text, found = await asyncio.to_thread(take_file, self.work, name, content, kind, text)
                    taken.append(kept)
                    findings += [finding_doc(f) for f in found]
                except Exception as error:
                    problem = problem or problem_from(error)
                    if getattr(error, "code", "") == "pdf.scan":
                        scans.append(name)
            try:
                step = await asyncio.to_thread(self.work.edit, f"{', '.join(taken)} added", text) if taken else None
            except NestingError as error:
                problem, step = problem_from(error), None
        if step is not None or taken:
            self._changed(list(ORDER_DOCS), f"{', '.join(taken)} added")
        docs = [f for f in files_of(self.work.survey) if f["file"] in taken]
        if problem is not None:
            return {"ok": False, "problem": problem, "files": docs, "findings": findings, "scans": scans}
        return {"ok": True, "files": docs, "findings": findings, "scans": scans}

    async def keep_photos(self, files: list[tuple[str, bytes]]) -> dict[str, Any]:
        """Photographs for ``trace``."""
        try:
            names = await asyncio.to_thread(keep_pictures, self.work, files)
            return {"ok": True, "photos": names, "sizes": await asyncio.to_thread(sizes_of_pictures, self.work, names)}
        except NestingError as error:
            return {"ok": False, "problem": {**problem_from(error), "where": {"view": "pieces"}}}

    async def photo(self, name: str) -> bytes:
        """A photograph of ``keep_photos``, small. PatternError where there is none."""
        content, _ = await asyncio.to_thread(kept_picture, self.work, name)
        return content

    async def trace(self, raw: bytes) -> dict[str, Any]:
        """Pieces from photographs; the drawing becomes a pattern file of the order once nothing is open. A leftover
        goes into the stash."""
        view = "pieces"
        try:
            asked = msgspec.json.decode(raw, type=ask.TraceAsked)
            if asked.cloth is not None:
                view = "cloth"
                result = await trace_scrap(self.work, asked, stash_file(self.work.folder))
                self.desk.command = result["command"]
                self._changed(["state", "cloth"], "leftover added to the stash")
                return {"ok": True, "result": result}
            result, drawing = await trace(self.work, asked)
            self.desk.command = result["command"]
            result["file"] = None
            if drawing is not None:
                content = await asyncio.to_thread(drawing.read_bytes)
                answer = await self.upload([(drawing.name, content)], "pattern")
                if not answer["ok"]:
                    return answer
                result["file"] = answer["files"][0]["file"] if answer["files"] else drawing.name
            return {"ok": True, "result": result}
        except Exception as error:
            problem = problem_from(error)
            return {"ok": False, "problem": {**problem, "where": {**problem["where"], "view": view}}}

    # --- what runs say

    def _heard(self, run: Run, message: dict[str, Any]) -> None:
        if self._loop is not None and not self._loop.is_closed():
            with suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._on_run, run, message)

    def _on_run(self, run: Run, message: dict[str, Any]) -> None:
        event = message["event"]
        if event == "better":
            if run is self.desk.run:
                self.desk.latest = {lay.cloth: lay for lay in message["lays"]}
                if not self._showing:
                    self._showing = True
                    self._spawn(self._better(run))
        elif event == "answer":
            kept = {"sha": run.job.sha, "document": message["document"], "words": message["words"],
                    "command": run.command,
                    "files": [Path(str(f)).name for f in message["document"].get("files", [])]}  # fmt: skip
            self._spawn(self._answered(run, kept))
        elif event == "ended":
            self._spawn(self._ended(run, message["result"]))

    async def _better(self, run: Run) -> None:
        """Show the newest lays; those that come meanwhile are shown after them, the last ones only."""
        shown: dict[str, Lay] = {}
        try:
            while run.alive and (fresh := self.desk.latest) and fresh is not shown:
                shown = fresh
                for cloth, lay in fresh.items():
                    async with self.lock:
                        doc = await asyncio.to_thread(self.lays.so_far, lay, self.work.rev, run.command)
                    if run.alive:
                        self.tell({"event": "better", "run": run.id, "cloth": cloth, "spread": doc["spread"],
                                   "length": lay.lay_length, "lay": doc})  # fmt: skip
                if asyncio.get_running_loop().time() - self._kept_at > KEPT:
                    self._kept_at = asyncio.get_running_loop().time()
                    async with self.lock:
                        with suppress(NestingError):
                            await asyncio.to_thread(self._keep_for_later)
        finally:
            self._showing = False

    def _keep_for_later(self) -> None:
        """The best lays so far on disk, so that a killed server loses little of a search."""
        kept = {cloth: self.lays.keep(lay) for cloth, lay in self.desk.latest.items()}
        content = {"sha": self.work.sha256, "lays": kept}
        self.work.store(SEARCHING, json.dumps(content).encode("utf-8"))

    def _recover(self) -> None:
        """What a search had found when the server was killed is taken over."""
        kept = self.work.stored(SEARCHING)
        if not isinstance(kept, dict):
            return
        values: dict[str, Any] = {}
        if kept.get("sha") == self.work.sha256:
            for cloth, lay_id in kept.get("lays", {}).items():
                values |= self.lays.found(str(cloth), str(lay_id), {}, kept=[])
        with suppress(NestingError):
            if values:
                self.work.change("lay found", values)
            self.work.forget(SEARCHING)

    async def _answered(self, run: Run, kept: dict[str, Any]) -> None:
        async with self.lock:
            await asyncio.to_thread(self.work.store, f"{run.kind}.json", json.dumps(kept).encode("utf-8"))
            self.work.rev += 1
        self._changed(["state", run.kind, "cut"], "")

    async def _ended(self, run: Run, result: Result | None) -> None:
        lays = result.lays if run.kind == "lay" and result is not None else ()
        step, refused = await self._kept(run, lays, result)
        if refused is not None:
            run.problem, run.state = refused, "failed"
            if lays:
                # the disk is full, say: what was found stays drawn, and is kept as soon as it can be
                run.problem = _not_kept(refused)
                self._unkept = (run, lays, result)
                self.desk.latest = {lay.cloth: lay for lay in lays}
        elif lays:
            self._unkept = None  # there is a newer one
        if run is self.desk.run and self._unkept is None:
            self.desk.latest = {}
        self._told_of_end(run, lays, step)

    async def _keep_at_last(self) -> None:
        """Keep what a search found that could not be kept when it ended, if it can be now."""
        if self._unkept is None or (self.desk.run is not None and self.desk.run.alive):
            return
        run, lays, result = self._unkept
        step, refused = await self._kept(run, lays, result)
        if refused is None:
            self._unkept, self.desk.latest = None, {}
            run.problem, run.state = None, "done"
            self._told_of_end(run, lays, step)

    async def _kept(
        self, run: Run, lays: tuple[Lay, ...], result: Result | None
    ) -> tuple[Step | None, NestingError | None]:
        """The step that takes over what a run found, and why it could not be taken."""
        async with self.lock:
            try:
                values = await asyncio.to_thread(self._taken_over, run, lays, result)
                step = await asyncio.to_thread(self.work.change, "lay found", values) if values else None
                await asyncio.to_thread(self.work.forget, SEARCHING)
            except NestingError as error:
                return None, error
        return step, None

    def _told_of_end(self, run: Run, lays: tuple[Lay, ...], step: Step | None) -> None:
        self.tell({"event": "ended", "run": self.run_doc(run)})
        self._changed(docs_of(step) or ["state"], "lay found" if step is not None else "")
        for lay in lays:
            self._judging.judge(lay.cloth)

    def _taken_over(self, run: Run, lays: tuple[Lay, ...], result: Result | None) -> dict[str, Any]:
        """The values of the history for the lays of a run; each lay, and that of every other spread, is kept."""
        values: dict[str, Any] = {}
        for lay in lays:
            assert result is not None
            spreads: dict[str, str] = {}
            if lay.remnant is None:
                for kind, other in result.by_spread(lay.cloth).items():
                    spreads[kind] = self.lays.keep(numbered(other, run.job.order, run.job.work.start))
            held = list(self.lays.value(lay.cloth).get("kept") or [])
            values |= self.lays.found(lay.cloth, self.lays.keep(lay), spreads, kept=held, command=run.command)
        return values


def _not_kept(error: NestingError) -> Refused:
    """What is said of a lay that could not be kept."""
    return Refused(
        "not-kept",
        f"{plain(error.message, error.code).split(';')[0]}. What was found stays drawn here, and is kept as soon as it "
        "can be",
        view="lay",
    )
