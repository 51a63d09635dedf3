"""Commands of a page that begin a search or end one: lay, buy, remnants, batch.

Each command takes the desk and what was asked; it gives the reply, the documents that changed and a label. In a thread,
under the page's lock, but for a stop, which waits for nothing.
"""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Any

from nesting.files.outputs import ready_folder, write_outputs
from nesting.model.errors import NestingError
from nesting.page import protocol as ask
from nesting.page.cloth_doc import stash_file
from nesting.page.desk import Desk, Done
from nesting.page.editing import Refused
from nesting.page.lays import as_file
from nesting.page.runs import Job
from nesting.page.state_doc import blockers_of
from nesting.session.events import LayWork

if TYPE_CHECKING:
    from nesting.model.order import SpreadName
    from nesting.page.documents import RunKind

__all__ = ["batch_start", "buy_start", "lay_start", "remnants_start", "run_stop"]


def _start(desk: Desk, kind: RunKind, more: list[str], **asked: Any) -> Done:
    if desk.run is not None and desk.run.alive:
        raise Refused("busy", "a search is at work already: stop it first", view="lay")
    order = desk.work.survey.order
    assert order is not None
    job = Job(order, desk.work.sha256, desk.work.results, desk.workers, **asked)
    words = ["nesting", kind, desk.work.path.name, "-o", desk.work.relative(desk.work.results)]
    if job.rounds is not None:
        words += ["--rounds", str(job.rounds)]
    elif job.seconds is not None:
        words += ["--seconds", f"{job.seconds:g}"]
    if job.seed:
        words += ["--seed", str(job.seed)]
    if job.rounds is not None:
        words += ["--workers", str(desk.workers)]
    desk.latest = {}
    desk.run = desk.runs.start(kind, job, shlex.join([*words, *more]))
    return {"run": desk.run.id}, ["state"], ""


def _whole_order(desk: Desk, anyway: bool = False) -> None:
    here = desk.work.survey
    if here.missing or here.order is None:
        why = blockers_of(here)
        first = why[0] if why else {"message": "the order cannot be read", "where": {"view": "pieces"}}
        raise Refused("cannot-lay", f"Nothing can be laid yet: {first['message']}.", **first["where"])
    blockers = blockers_of(here)
    if blockers and not anyway:
        raise Refused("do-not-cut", f"Do not cut yet: {blockers[0]['message']}.", ["anyway"], **blockers[0]["where"])


def lay_start(desk: Desk, cmd: ask.LayStart) -> Done:
    """Begin a search for the lay."""
    _whole_order(desk, cmd.anyway)
    if cmd.seconds is None and cmd.rounds is None:
        raise Refused("no-time", "say how long to search", view="lay", field="seconds")
    if cmd.seconds is not None and not 0.1 <= cmd.seconds <= 36_000:
        raise Refused("no-time", "search between a tenth of a second and ten hours", view="lay", field="seconds")
    if cmd.rounds is not None and not 1 <= cmd.rounds <= 1_000_000:
        raise Refused("no-time", "at least one round, at most a million", view="lay", field="rounds")
    order = desk.work.survey.order
    assert order is not None
    more = ["--spread", cmd.spread] if cmd.spread else []
    work, cloth, note = LayWork(spread=_spread_named(cmd.spread)), cmd.cloth, ""
    if cmd.go_on:
        from nesting.proof.begun import lay_to_continue

        cloth = cmd.cloth or next(iter(desk.lays.cloths()), "")
        lay = desk.lays.now(cloth)
        if lay is None:
            raise Refused("gone", "there is no lay to go on from yet", view="lay", cloth=cloth)
        ready_folder(desk.work.results)
        name = f"from-{desk.lays.value(cloth)['lay']}-{desk.lays.value(cloth).get('move', 0)}.json"
        path = desk.work.results / name
        write_outputs({path: as_file(lay, f"../{desk.work.path.name}")})
        ids = tuple(desk.lays.kept_ids(cloth))
        start, findings = lay_to_continue(path, order, ids)
        note = " ".join(f.message for f in findings)
        work = LayWork(spread=work.spread, start=start, keep=ids)
        more += ["--from", desk.work.relative(path)]
        if ids:
            more += ["--keep", ",".join(ids)]
    if cmd.anyway and blockers_of(desk.work.survey):
        more += ["--anyway"]
    seconds = cmd.seconds if cmd.rounds is None else None
    begun, docs, label = _start(desk, "lay", more, seconds=seconds, rounds=cmd.rounds, seed=cmd.seed, cloth=cloth,
                                     work=work)  # fmt: skip
    return {**begun, "note": note}, docs, label


def run_stop(desk: Desk, cmd: ask.RunStop) -> Done:
    """Stop the search; its best is kept."""
    run = desk.run
    if run is None or not run.alive or (cmd.run is not None and cmd.run != run.id):
        raise Refused("nothing", "nothing is being searched", view="lay")
    desk.runs.stop(run)
    return {}, ["state"], ""


def buy_start(desk: Desk, cmd: ask.BuyStart) -> Done:
    """Begin what is to be bought."""
    _whole_order(desk, True)
    from nesting.planning.buying.buy import parse_widths

    if cmd.widths:
        try:
            parse_widths(",".join(cmd.widths), desk.work.survey.units)
        except NestingError as error:
            raise Refused("not-a-length", f"widths: {error.message}", view="buy", field="widths") from None
    more = ["--widths", ",".join(cmd.widths)] if cmd.widths else []
    more += ["--what-if"] if cmd.what_if else []
    return _start(desk, "buy", more, seconds=cmd.seconds, rounds=cmd.rounds, seed=cmd.seed,
                       widths=tuple(cmd.widths), what_if=cmd.what_if)  # fmt: skip


def remnants_start(desk: Desk, cmd: ask.RemnantsStart) -> Done:
    """Begin a plan from leftovers."""
    _whole_order(desk, True)
    stash = stash_file(desk.work.folder)
    used = stash if cmd.stash and stash.is_file() else None
    more = (["--stash", stash.name] if used else []) + _anyway(desk)
    return _start(desk, "remnants", more, seconds=cmd.seconds, rounds=cmd.rounds, seed=cmd.seed, stash=used)


def batch_start(desk: Desk, cmd: ask.BatchStart) -> Done:
    """Begin a plan of sections and plies."""
    _whole_order(desk, True)
    return _start(desk, "batch", _anyway(desk), seconds=cmd.seconds, rounds=cmd.rounds, seed=cmd.seed)


def _anyway(desk: Desk) -> list[str]:
    """What the command line wants where something forbids cutting: here it is only worked out."""
    return ["--anyway"] if blockers_of(desk.work.survey) else []


def _spread_named(name: str | None) -> SpreadName | None:
    """The spread of that name. Refused where there is none."""
    from nesting.cloth.spreads import ALL_SPREADS

    found = next((one for one in ALL_SPREADS if one == name), None)
    if name is not None and found is None:
        raise Refused("no-spread", f"'{name}' is no way to spread cloth", list(ALL_SPREADS), view="lay", field="spread")
    return found
