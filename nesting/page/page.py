"""The page's own state of affairs: commands in, events out, runs, tabs. One order, one page.

Everything that touches the order or its history happens under one lock, in a thread, so that the server answers
meanwhile.
"""

from __future__ import annotations

import asyncio
import functools
import json
import operator
import shlex
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import msgspec

from nesting.files.orders.order_values import Place, length, number
from nesting.files.outputs import ready_folder, write_outputs
from nesting.model.errors import NestingError
from nesting.page import protocol as ask
from nesting.page.alter_doc import alterations_doc, shapes_of
from nesting.page.answers_doc import answer_doc, buy_doc
from nesting.page.cloth_doc import cloths_doc, stash_file
from nesting.page.cut_doc import calibration, cut_doc, files_in, leftovers_of
from nesting.page.documents import Problem, RunDoc
from nesting.page.history import Step
from nesting.page.lays import Lays, as_file
from nesting.page.order_commands import Edit, Refused, edit_of, new_alteration, not_held
from nesting.page.pdf_doc import contents_of
from nesting.page.photos import keep_pictures, kept_picture, sizes_of_pictures, trace
from nesting.page.pieces_doc import pieces_doc
from nesting.page.runs import Job, Run, Runs
from nesting.page.seams_doc import seams_doc, seams_of, walk_sides
from nesting.page.state_doc import blockers_of, files_of, state_doc
from nesting.page.survey import Survey, survey
from nesting.page.uploads import take_file
from nesting.page.words import finding_doc, pointed, problem_of, refusal
from nesting.page.workspace import Workspace
from nesting.session.events import LayWork, Result
from nesting.session.numbering import numbered

if TYPE_CHECKING:
    from nesting.model.lay import Lay
    from nesting.model.order import SpreadName
    from nesting.page.documents import RunKind

__all__ = ["Page", "Tab", "problem_from"]

#: seconds that a search goes on after the last tab has closed
LINGER = 30.0
#: events that a slow tab may have waiting; progress is dropped first
QUEUE = 200
#: seconds between two looks at the disk
LOOK = 1.0
#: seconds between two words about a run's progress
TICK = 0.25
#: seconds between two lays of a search that are kept on disk, should the server be killed
KEPT = 2.0
#: where they are named
SEARCHING = "searching.json"

_ORDER_DOCS = ["state", "pieces", "seams", "alterations", "cloth", "lay", "buy", "remnants", "batch", "cut"]
_DECODER: msgspec.json.Decoder[Any] = msgspec.json.Decoder(functools.reduce(operator.or_, ask.commands()))


@dataclass(eq=False)
class Tab:
    """One open socket. ``name`` is the tab's own."""

    name: str
    queue: asyncio.Queue[dict[str, Any]] = field(default_factory=lambda: asyncio.Queue(QUEUE))
    lost: bool = False

    def put(self, event: dict[str, Any]) -> None:
        """Queue an event; a tab that is too slow loses progress, then its socket (it comes back and asks anew)."""
        if self.queue.qsize() > QUEUE // 2 and event["event"] == "progress":
            return
        try:
            self.queue.put_nowait(event)
        except asyncio.QueueFull:
            self.lost = True


def problem_from(error: BaseException) -> Problem:
    """The problem that an exception is, for a reply."""
    if isinstance(error, Refused):
        return refusal(error.code, str(error), error.choices, **error.where)
    if isinstance(error, msgspec.ValidationError | msgspec.DecodeError):
        return refusal("not-understood", f"The page sent what the server does not understand: {error}.")
    return problem_of(error)


class Page:
    """``order`` is the order's file; ``workers`` processes search. ``opener`` opens another page, of an order that is
    made from this one, and gives its address."""

    def __init__(
        self, order: Path, *, workers: int, demo: bool = False, opener: Callable[[Path], str] | None = None
    ) -> None:
        self.work = Workspace(order)
        self.lays = Lays(self.work)
        self.workers = workers
        self.demo = demo
        self.opener = opener
        self.tabs: list[Tab] = []
        self.lock = asyncio.Lock()
        self.runs = Runs(self._heard)
        self.run: Run | None = None
        self.command = f"nesting check {shlex.quote(self.work.path.name)}"
        #: repeats what was printed last
        self.printed = ""
        self.warm: dict[str, Any] = {"ready": False, "doing": "loading the search", "share": 0.0}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._tasks: set[asyncio.Task[Any]] = set()
        #: the best lays of the run that is at work, by cloth
        self._latest: dict[str, Lay] = {}
        self._showing = False
        self._kept_at = 0.0
        self._linger: asyncio.TimerHandle | None = None
        self._judging: dict[str, bool] = {}

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
        if self._latest:
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
            run = self.run
            if run is not None and run.alive:
                self.tell({"event": "progress", "run": self.run_doc(run)})
            looked += TICK
            if looked < LOOK:
                continue
            looked = 0.0
            async with self.lock:
                changed = await asyncio.to_thread(self.work.look_at_disk)
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
        if not self.tabs and self.run is not None:
            self.runs.stop(self.run)

    # --- documents

    def live(self) -> dict[str, Any]:
        """What only the running server knows."""
        return {
            "run": self.run_doc(self.run) if self.run is not None else None,
            "warm": dict(self.warm),
            "tabs": len(self.tabs),
            "command": self.command,
            "demo": self.demo,
        }

    async def doc(self, name: str, cloth: str | None = None) -> dict[str, Any]:
        """A document by name. KeyError for one that there is not."""
        work, lays = self.work, self.lays
        so_far = self._latest.get(cloth or next(iter(lays.cloths()), "")) if name == "lay" else None
        builders: dict[str, Callable[[], Any]] = {
            "state": lambda: state_doc(work, self.live()),
            "pieces": lambda: pieces_doc(work.survey, work.rev, work.declined),
            "seams": lambda: seams_doc(work.survey, work.rev, work.declined),
            "alterations": lambda: alterations_doc(work.survey, work.rev),
            "cloth": lambda: cloths_doc(work.survey, work.rev),
            "lay": lambda: (
                lays.doc(cloth, work.rev)
                if so_far is None
                else lays.so_far(so_far, work.rev, self.run.command if self.run is not None else "")
            ),
            "buy": lambda: buy_doc(work, lays, work.rev),
            "remnants": lambda: answer_doc(work, "remnants", work.rev),
            "batch": lambda: answer_doc(work, "batch", work.rev),
            "cut": lambda: cut_doc(work, lays, cloth, work.rev, self.printed),
        }
        build = builders[name]
        async with self.lock:
            made = await asyncio.to_thread(build)
        if name in ("lay", "cut") and made.get("lay"):
            self._judge(made["cloth"])
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
                if self.run is not None:
                    self.tell({"event": "progress", "run": self.run_doc(self.run)})
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
            self._judge(cmd.cloth)
            return
        self._changed(docs, label, tab)
        if "lay" in docs:
            for cloth in self.lays.cloths():
                if self.lays.value(cloth):
                    self._judge(cloth)

    def _do(self, cmd: ask.Command) -> tuple[dict[str, Any], list[str], str]:
        """(result, documents that changed, label). In a thread, under the lock."""
        tag = str(type(cmd).__struct_config__.tag)
        handler = getattr(self, "_" + tag.replace(".", "_"), None)
        if handler is not None:
            return cast("tuple[dict[str, Any], list[str], str]", handler(cmd))
        made = edit_of(cmd, self.work.order_text, self.work.survey)
        if made is None:
            raise Refused("not-understood", "this cannot be done here")
        return self._edited(made)

    def _edited(self, made: Edit) -> tuple[dict[str, Any], list[str], str]:
        before = self.work.survey
        if not made.lenient or made.readable:
            after = survey(made.text.text, self.work.path, self.work.reader)
            wrong: BaseException | None
            if made.lenient:
                wrong = next(iter(after.pattern_problems.values()), None)
            else:
                wrong = _new_problem(before, after, made.renamed) or not_held(made, after)
            if wrong is not None:
                raise wrong
        step = self.work.edit(made.label, made.text)
        self.command = f"nesting check {shlex.quote(self.work.path.name)}"
        return made.result, self._docs(step), made.label

    def _docs(self, step: Step | None) -> list[str]:
        if step is None:
            return []
        docs = {"state"}
        for name in step.changes:
            if name == "order":
                docs |= set(_ORDER_DOCS)
            elif name.startswith(("lay:", "spreads:")):
                docs |= {"lay", "cut"}
            elif name.startswith(("ticks:", "projector")):
                docs |= {"cut"}
            elif name == "declined":
                docs |= {"pieces", "seams"}
        return [one for one in _ORDER_DOCS if one in docs]

    def _undo(self, cmd: ask.Undo) -> tuple[dict[str, Any], list[str], str]:
        step = self.work.undo()
        if step is None:
            raise Refused("nothing", "there is nothing to take back")
        return {}, self._docs(step), f"taken back: {step.label}"

    def _redo(self, cmd: ask.Redo) -> tuple[dict[str, Any], list[str], str]:
        step = self.work.redo()
        if step is None:
            raise Refused("nothing", "there is nothing to do again")
        return {}, self._docs(step), f"done again: {step.label}"

    def _disk_reload(self, cmd: ask.DiskReload) -> tuple[dict[str, Any], list[str], str]:
        step = self.work.take_foreign()
        return {}, self._docs(step) or ["state"], "changes made outside the page"

    def _disk_keep_mine(self, cmd: ask.DiskKeep) -> tuple[dict[str, Any], list[str], str]:
        kept = self.work.keep_mine()
        return {"kept": kept}, ["state"], "the page's state was kept"

    def _order_new(self, cmd: ask.OrderNew) -> tuple[dict[str, Any], list[str], str]:
        import re

        stem = re.sub(r"[^\w .()+-]", "_", cmd.name).strip(" .")[:80].removesuffix(".toml")
        path = self.work.folder / f"{stem}.toml"
        if not stem or path.exists():
            raise Refused("taken", f"there is an order '{stem}' already: give it another name" if stem else
                          "give the new order a name", view="cloth", field="name")  # fmt: skip
        text = self.work.order_text.set_top("title", cmd.name.strip())
        for index, count in cmd.counts.items():
            if index.isdigit():
                text = text.set("garment", int(index), "count", count)
        for key, value in cmd.cloth.items():
            made = edit_of(ask.ClothSet(index=0, key=key, value=value), text, self.work.survey)
            text = made.text if made is not None else text
        write_outputs({path: text.text.encode("utf-8")})
        address = self.opener(path) if cmd.open and self.opener is not None else ""
        command = f"nesting page {shlex.quote(path.name)}"
        return {"order": path.name, "command": command, "address": address}, [], "a new order"

    def _proposals_decline(self, cmd: ask.ProposalsDecline) -> tuple[dict[str, Any], list[str], str]:
        step = self.work.change("not so", {"declined": sorted({*self.work.declined, *cmd.ids})})
        return {}, self._docs(step), "not so"

    # --- files to choose from

    def _file_contents(self, cmd: ask.FileContents) -> tuple[dict[str, Any], list[str], str]:
        return contents_of(self.work.survey, cmd.index), [], ""

    # --- trying

    def _seam_try(self, cmd: ask.SeamTry) -> tuple[dict[str, Any], list[str], str]:
        order = self.work.survey.order or self.work.survey.assumed
        if order is None:
            raise self.work.survey.problem or Refused("no-pieces", "there are no pieces yet", view="pieces")
        place = Place(self.work.path.name, "seam", self.work.survey.document.get("units"))
        ease = length(negative=True)(cmd.ease, place.at("ease")) if cmd.ease else 0.0
        ratio = 1.0 if cmd.ratio in (None, "") else _ratio(cmd.ratio, place)
        return {"seams": walk_sides(order, cmd.sides, ease=ease, ratio=ratio)}, [], ""

    def _alter_try(self, cmd: ask.AlterTry) -> tuple[dict[str, Any], list[str], str]:
        before = self.work.survey
        values = new_alteration(cmd, self.work.order_text, before)
        text = self.work.order_text
        if cmd.index is not None:
            text = text.remove("alter", cmd.index)
        text = text.add("alter", values)
        after = survey(text.text, self.work.path, self.work.reader)
        wrong = _new_problem(before, after)
        if wrong is not None:
            raise wrong
        names = set(cmd.pieces)
        return {"shapes": shapes_of(after, names, {}), "seams": seams_of(after, names)}, [], ""

    # --- laying

    def _start(self, kind: RunKind, more: list[str], **asked: Any) -> tuple[dict[str, Any], list[str], str]:
        if self.run is not None and self.run.alive:
            raise Refused("busy", "a search is at work already: stop it first", view="lay")
        order = self.work.survey.order
        assert order is not None
        job = Job(order, self.work.sha256, self.work.results, self.workers, **asked)
        words = ["nesting", kind, self.work.path.name, "-o", self.work.relative(self.work.results)]
        if job.rounds is not None:
            words += ["--rounds", str(job.rounds)]
        elif job.seconds is not None:
            words += ["--seconds", f"{job.seconds:g}"]
        if job.seed:
            words += ["--seed", str(job.seed)]
        if job.rounds is not None:
            words += ["--workers", str(self.workers)]
        self._latest = {}
        self.run = self.runs.start(kind, job, shlex.join([*words, *more]))
        return {"run": self.run.id}, ["state"], ""

    def _whole_order(self, anyway: bool = False) -> None:
        here = self.work.survey
        if here.missing or here.order is None:
            why = blockers_of(here)
            first = why[0] if why else {"message": "the order cannot be read", "where": {"view": "pieces"}}
            raise Refused("cannot-lay", f"Nothing can be laid yet: {first['message']}.", **first["where"])
        blockers = blockers_of(here)
        if blockers and not anyway:
            raise Refused(
                "do-not-cut", f"Do not cut yet: {blockers[0]['message']}.", ["anyway"], **blockers[0]["where"]
            )

    def _lay_start(self, cmd: ask.LayStart) -> tuple[dict[str, Any], list[str], str]:
        self._whole_order(cmd.anyway)
        if cmd.seconds is None and cmd.rounds is None:
            raise Refused("no-time", "say how long to search", view="lay", field="seconds")
        if cmd.seconds is not None and not 0.1 <= cmd.seconds <= 36_000:
            raise Refused("no-time", "search between a tenth of a second and ten hours", view="lay", field="seconds")
        if cmd.rounds is not None and not 1 <= cmd.rounds <= 1_000_000:
            raise Refused("no-time", "at least one round, at most a million", view="lay", field="rounds")
        order = self.work.survey.order
        assert order is not None
        more = ["--spread", cmd.spread] if cmd.spread else []
        work, cloth, note = LayWork(spread=_spread_named(cmd.spread)), cmd.cloth, ""
        if cmd.go_on:
            from nesting.proof.begun import lay_to_continue

            cloth = cmd.cloth or next(iter(self.lays.cloths()), "")
            lay = self.lays.now(cloth)
            if lay is None:
                raise Refused("gone", "there is no lay to go on from yet", view="lay", cloth=cloth)
            ready_folder(self.work.results)
            name = f"from-{self.lays.value(cloth)['lay']}-{self.lays.value(cloth).get('move', 0)}.json"
            path = self.work.results / name
            write_outputs({path: as_file(lay, f"../{self.work.path.name}")})
            ids = tuple(self.lays.kept_ids(cloth))
            start, findings = lay_to_continue(path, order, ids)
            note = " ".join(f.message for f in findings)
            work = LayWork(spread=work.spread, start=start, keep=ids)
            more += ["--from", self.work.relative(path)]
            if ids:
                more += ["--keep", ",".join(ids)]
        if cmd.anyway and blockers_of(self.work.survey):
            more += ["--anyway"]
        seconds = cmd.seconds if cmd.rounds is None else None
        begun, docs, label = self._start("lay", more, seconds=seconds, rounds=cmd.rounds, seed=cmd.seed, cloth=cloth,
                                         work=work)  # fmt: skip
        return {**begun, "note": note}, docs, label

    def _run_stop(self, cmd: ask.RunStop) -> tuple[dict[str, Any], list[str], str]:
        run = self.run
        if run is None or not run.alive or (cmd.run is not None and cmd.run != run.id):
            raise Refused("nothing", "nothing is being searched", view="lay")
        self.runs.stop(run)
        return {}, ["state"], ""

    def _lay_take(self, cmd: ask.LayTake) -> tuple[dict[str, Any], list[str], str]:
        step = self.work.change("another lay taken", self.lays.taken(cmd.cloth, cmd.lay))
        return {}, self._docs(step), "another lay taken"

    def _lay_move(self, cmd: ask.LayMove) -> tuple[dict[str, Any], list[str], str]:
        values = self.lays.moved(cmd.cloth, cmd.base, cmd.id, cmd.x, cmd.y, cmd.turn, cmd.flipped)
        step = self.work.change("piece moved", values)
        return {"move": self.lays.value(cmd.cloth).get("move", 0)}, self._docs(step), "piece moved"

    def _lay_keep(self, cmd: ask.LayKeep) -> tuple[dict[str, Any], list[str], str]:
        label = "pieces held" if cmd.keep else "pieces let go"
        step = self.work.change(label, self.lays.kept(cmd.cloth, cmd.ids, cmd.keep))
        return {}, self._docs(step), label

    # --- buying

    def _buy_start(self, cmd: ask.BuyStart) -> tuple[dict[str, Any], list[str], str]:
        self._whole_order(True)
        from nesting.planning.buying.buy import parse_widths

        if cmd.widths:
            try:
                parse_widths(",".join(cmd.widths), self.work.survey.units)
            except NestingError as error:
                raise Refused("not-a-length", f"widths: {error.message}", view="buy", field="widths") from None
        more = ["--widths", ",".join(cmd.widths)] if cmd.widths else []
        more += ["--what-if"] if cmd.what_if else []
        return self._start("buy", more, seconds=cmd.seconds, rounds=cmd.rounds, seed=cmd.seed,
                           widths=tuple(cmd.widths), what_if=cmd.what_if)  # fmt: skip

    def _remnants_start(self, cmd: ask.RemnantsStart) -> tuple[dict[str, Any], list[str], str]:
        self._whole_order(True)
        stash = stash_file(self.work.folder)
        used = stash if cmd.stash and stash.is_file() else None
        more = (["--stash", stash.name] if used else []) + self._anyway()
        return self._start("remnants", more, seconds=cmd.seconds, rounds=cmd.rounds, seed=cmd.seed, stash=used)

    def _batch_start(self, cmd: ask.BatchStart) -> tuple[dict[str, Any], list[str], str]:
        self._whole_order(True)
        return self._start("batch", self._anyway(), seconds=cmd.seconds, rounds=cmd.rounds, seed=cmd.seed)

    def _anyway(self) -> list[str]:
        """What the command line wants where something forbids cutting: here it is only worked out."""
        return ["--anyway"] if blockers_of(self.work.survey) else []

    # --- stash

    def _stash_add(self, cmd: ask.StashAdd) -> tuple[dict[str, Any], list[str], str]:
        from nesting.planning.leftovers.offcuts import as_remnants
        from nesting.planning.leftovers.stash import add, already_there, read_stash, write_stash

        lay = self.lays.now(cmd.cloth)
        if lay is None:
            raise Refused("gone", "there is no lay of this cloth yet", view="cut", cloth=cmd.cloth)
        found = leftovers_of(lay)
        wanted = tuple(o for i, o in enumerate(found) if not cmd.leftovers or i in cmd.leftovers)
        if not wanted:
            raise Refused("gone", "this lay leaves nothing of 20 × 20 cm or more", view="cut", cloth=cmd.cloth)
        file = stash_file(self.work.folder)
        stash = read_stash(file)
        fresh = as_remnants(wanted, cloth=lay.cloth, prefix=(lay.remnant or lay.cloth).replace(" ", "-"))
        known = already_there(stash, fresh, note=lay.title)
        before = len(stash.items)
        stash = add(stash, [r for r in fresh if r.name not in known], note=lay.title)
        write_stash(file, stash)
        names = [item.remnant.name for item in stash.items[before:]]
        self.command = f"nesting stash {file.name}"
        return (
            {"stash": file.name, "added": names, "already_there": list(known.values())},
            ["state", "cloth", "cut"],
            "",
        )

    def _stash_remove(self, cmd: ask.StashRemove) -> tuple[dict[str, Any], list[str], str]:
        from nesting.planning.leftovers.stash import read_stash, remove, write_stash

        file = stash_file(self.work.folder)
        write_stash(file, remove(read_stash(file), [cmd.name]))
        self.command = shlex.join(["nesting", "stash", file.name, "--remove", cmd.name])
        return {}, ["state", "cloth"], f"{cmd.name} taken out of the stash"

    # --- cutting

    def _cut_tick(self, cmd: ask.CutTick) -> tuple[dict[str, Any], list[str], str]:
        lay_id = str(self.lays.value(cmd.cloth).get("lay", ""))
        if not lay_id:
            raise Refused("gone", "there is no lay of this cloth yet", view="cut", cloth=cmd.cloth)
        name = f"ticks:{lay_id}"
        ticks = [k for k in self.work.history.state.get(name) or [] if k != cmd.laid]
        ticks += [cmd.laid] if cmd.done else []
        label = "ticked" if cmd.done else "tick taken away"
        step = self.work.change(label, {name: ticks})
        return {}, self._docs(step), label

    def _cut_print(self, cmd: ask.CutPrint) -> tuple[dict[str, Any], list[str], str]:
        from nesting.files.lays.layfile import lay_as_bytes
        from nesting.report.print.drawn_files import lay_stem, print_outputs
        from nesting.resolving.resolve import resolve

        lay = self.lays.now(cmd.cloth)
        if lay is None:
            raise Refused("gone", "there is no lay of this cloth yet", view="cut", cloth=cmd.cloth)
        judged = self.lays.judge(cmd.cloth)
        if judged is None or not judged["ok"]:
            first = judged["failures"][0]["message"] if judged and judged["failures"] else "it was not proved"
            raise Refused("not-proved", f"This lay is not printed, as it does not hold: {first}.", view="lay")
        blockers = blockers_of(self.work.survey)
        if blockers:
            raise Refused("do-not-cut", f"Do not cut yet: {blockers[0]['message']}.", **blockers[0]["where"])
        others = (self.lays.now(cloth) for cloth in self.lays.cloths() if cloth != lay.cloth)
        beside = [one for one in others if one is not None and one.order_sha256 == lay.order_sha256]
        order = self.work.survey.order
        listed = None if order is None else resolve(order)
        files = print_outputs(lay, cmd.kinds, cmd.paper, beside=beside, listed=listed)
        ready_folder(self.work.results)
        name = f"lay-{lay_stem(lay)}.json"
        content = as_file(lay, f"../{self.work.path.name}") if lay.order_file else lay_as_bytes(lay)
        write_outputs({self.work.results / n: c for n, c in {name: content, **files}.items()})
        folder = self.work.relative(self.work.results)
        self.printed = shlex.join(["nesting", "print", f"{folder}/{name}", "-o", folder, "--as", ",".join(cmd.kinds),
                                   "--paper", cmd.paper])  # fmt: skip
        mine = [f for f in files_in(self.work) if f["name"] in files]
        return {"files": mine}, ["state", "cut"], ""

    def _projector_save(self, cmd: ask.CalibrationSave) -> tuple[dict[str, Any], list[str], str]:
        made = calibration(cmd.name, cmd.corners, cmd.size, cmd.shift, cmd.dark)
        kept = [c for c in self.work.history.state.get("projector") or [] if c["name"] != made["name"]]
        step = self.work.change(f"projector {made['name']}", {"projector": [*kept, dict(made)]})
        return dict(made), self._docs(step), f"projector {made['name']}"

    def _projector_remove(self, cmd: ask.CalibrationRemove) -> tuple[dict[str, Any], list[str], str]:
        kept = [c for c in self.work.history.state.get("projector") or [] if c["name"] != cmd.name]
        step = self.work.change(f"projector {cmd.name} forgotten", {"projector": kept})
        return {}, self._docs(step), f"projector {cmd.name} forgotten"

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
            self._changed(_ORDER_DOCS, f"{', '.join(taken)} added")
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
        """Pieces from photographs; the drawing becomes a pattern file of the order once nothing is open."""
        try:
            asked = msgspec.json.decode(raw, type=ask.TraceAsked)
            result, drawing = await trace(self.work, asked)
            self.command = result["command"]
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
            return {"ok": False, "problem": {**problem, "where": {**problem["where"], "view": "pieces"}}}

    # --- what runs say

    def _heard(self, run: Run, message: dict[str, Any]) -> None:
        if self._loop is not None and not self._loop.is_closed():
            with suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._on_run, run, message)

    def _on_run(self, run: Run, message: dict[str, Any]) -> None:
        event = message["event"]
        if event == "better":
            if run is self.run:
                self._latest = {lay.cloth: lay for lay in message["lays"]}
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
            while run.alive and (fresh := self._latest) and fresh is not shown:
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
        kept = {cloth: self.lays.keep(lay) for cloth, lay in self._latest.items()}
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
        step = None
        lays = result.lays if run.kind == "lay" and result is not None else ()
        async with self.lock:
            try:
                values = await asyncio.to_thread(self._taken_over, run, lays, result)
                step = await asyncio.to_thread(self.work.change, "lay found", values) if values else None
                await asyncio.to_thread(self.work.forget, SEARCHING)
            except NestingError as error:
                # the disk is full, say: what was found is still drawn, and why it was not kept is told
                run.problem, run.state = error, "failed"
            if run is self.run:
                self._latest = {}
        self.tell({"event": "ended", "run": self.run_doc(run)})
        self._changed(self._docs(step) or ["state"], "lay found" if step is not None else "")
        for lay in lays:
            self._judge(lay.cloth)

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

    # --- the proof

    def _judge(self, cloth: str) -> None:
        if cloth in self._judging:
            self._judging[cloth] = True  # once more when the one at work is done
            return
        self._judging[cloth] = False
        self._spawn(self._judged(cloth))

    async def _judged(self, cloth: str) -> None:
        try:
            while True:
                self._judging[cloth] = False
                known = self.lays.known_verdict(cloth)
                try:
                    verdict = known or await asyncio.to_thread(self.lays.judge, cloth)
                except Exception as error:
                    verdict = None
                    self.tell({"event": "judged", "cloth": cloth, "judged": {
                        "of": 0, "ok": False, "lay_length": 0.0, "buy_length": 0.0,
                        "failures": [{"code": "our-fault", "message": problem_from(error)["message"], "laid": [],
                                      "at": None}]}})  # fmt: skip
                if self._judging[cloth]:
                    continue
                if verdict is not None and (known is None or self.tabs):
                    self.tell({"event": "judged", "cloth": cloth, "judged": verdict})
                return
        finally:
            self._judging.pop(cloth, None)


def _spread_named(name: str | None) -> SpreadName | None:
    """The spread of that name. Refused where there is none."""
    from nesting.cloth.spreads import ALL_SPREADS

    found = next((one for one in ALL_SPREADS if one == name), None)
    if name is not None and found is None:
        raise Refused("no-spread", f"'{name}' is no way to spread cloth", list(ALL_SPREADS), view="lay", field="spread")
    return found


def _ratio(value: Any, place: Place) -> float:
    text = str(value).strip().replace(",", ".")
    try:
        plain = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
    except ValueError:
        plain = -1.0
    return float(number(0.05, 20.0, "a ratio such as 0.9")(plain, place.at("ratio")))


def _new_problem(before: Survey, after: Survey, renamed: tuple[str, str] | None = None) -> BaseException | None:
    """What is wrong after a change that was not wrong before it. ``renamed``: a piece's name before and after it."""
    old = {str(e) for e in before.piece_problems.values()} | {str(e) for e in before.pattern_problems.values()}
    if before.problem is not None:
        old.add(str(before.problem))
    known = set(before.piece_problems)
    if renamed is not None:
        # what was wrong with the piece is told under its new name now
        old |= {one.replace(*renamed) for one in old}
        known |= {(renamed[1], size) for name, size in known if name == renamed[0]}
    new = [*after.piece_problems.items()]
    for key, error in new:
        # a piece that could not be used before may still be wrong in another way
        if str(error) not in old and key not in known:
            return error
    for error in after.pattern_problems.values():
        if str(error) not in old:
            return error
    if after.problem is not None and before.problem is None and str(after.problem) not in old:
        return after.problem
    return None
