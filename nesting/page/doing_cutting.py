"""Commands of a page on lays that there are: moving pieces, ticks, prints, the projector, leftovers kept.

Each command takes the desk and what was asked; it gives the reply, the documents that changed and a label. In a thread,
under the page's lock.
"""

from __future__ import annotations

import shlex

from nesting.files.outputs import ready_folder, write_outputs
from nesting.page import protocol as ask
from nesting.page.cloth_doc import stash_file
from nesting.page.cut_doc import calibration, files_in, leftovers_of
from nesting.page.desk import Desk, Done, docs_of
from nesting.page.editing import Refused
from nesting.page.lays import as_file
from nesting.page.state_doc import blockers_of

__all__ = [
    "cut_print",
    "cut_tick",
    "lay_keep",
    "lay_move",
    "lay_take",
    "projector_remove",
    "projector_save",
    "stash_add",
    "stash_remove",
]


def lay_take(desk: Desk, cmd: ask.LayTake) -> Done:
    """Take another of the lays that are kept."""
    step = desk.work.change("another lay taken", desk.lays.taken(cmd.cloth, cmd.lay))
    return {}, docs_of(step), "another lay taken"


def lay_move(desk: Desk, cmd: ask.LayMove) -> Done:
    """Move a piece."""
    values = desk.lays.moved(cmd.cloth, cmd.base, cmd.id, cmd.x, cmd.y, cmd.turn, cmd.flipped)
    step = desk.work.change("piece moved", values)
    return {"move": desk.lays.value(cmd.cloth).get("move", 0)}, docs_of(step), "piece moved"


def lay_keep(desk: Desk, cmd: ask.LayKeep) -> Done:
    """Hold pieces where they lie, or let them go."""
    label = "pieces held" if cmd.keep else "pieces let go"
    step = desk.work.change(label, desk.lays.kept(cmd.cloth, cmd.ids, cmd.keep))
    return {}, docs_of(step), label


def stash_add(desk: Desk, cmd: ask.StashAdd) -> Done:
    """Put leftovers of a lay into the stash."""
    from nesting.planning.leftovers.offcuts import as_remnants
    from nesting.planning.leftovers.stash import add, already_there, read_stash, write_stash

    lay = desk.lays.now(cmd.cloth)
    if lay is None:
        raise Refused("gone", "there is no lay of this cloth yet", view="cut", cloth=cmd.cloth)
    found = leftovers_of(lay)
    wanted = tuple(o for i, o in enumerate(found) if not cmd.leftovers or i in cmd.leftovers)
    if not wanted:
        raise Refused("gone", "this lay leaves nothing of 20 × 20 cm or more", view="cut", cloth=cmd.cloth)
    file = stash_file(desk.work.folder)
    stash = read_stash(file)
    fresh = as_remnants(wanted, cloth=lay.cloth, prefix=(lay.remnant or lay.cloth).replace(" ", "-"))
    known = already_there(stash, fresh, note=lay.title)
    before = len(stash.items)
    stash = add(stash, [r for r in fresh if r.name not in known], note=lay.title)
    write_stash(file, stash)
    names = [item.remnant.name for item in stash.items[before:]]
    desk.command = f"nesting stash {file.name}"
    return (
        {"stash": file.name, "added": names, "already_there": list(known.values())},
        ["state", "cloth", "cut"],
        "",
    )


def stash_remove(desk: Desk, cmd: ask.StashRemove) -> Done:
    """Take a leftover out of the stash."""
    from nesting.planning.leftovers.stash import read_stash, remove, write_stash

    file = stash_file(desk.work.folder)
    write_stash(file, remove(read_stash(file), [cmd.name]))
    desk.command = shlex.join(["nesting", "stash", file.name, "--remove", cmd.name])
    return {}, ["state", "cloth", "cut"], f"{cmd.name} taken out of the stash"


def cut_tick(desk: Desk, cmd: ask.CutTick) -> Done:
    """Tick a piece as cut, or take the tick away."""
    lay_id = str(desk.lays.value(cmd.cloth).get("lay", ""))
    if not lay_id:
        raise Refused("gone", "there is no lay of this cloth yet", view="cut", cloth=cmd.cloth)
    name = f"ticks:{lay_id}"
    ticks = [k for k in desk.work.history.state.get(name) or [] if k != cmd.laid]
    ticks += [cmd.laid] if cmd.done else []
    label = "ticked" if cmd.done else "tick taken away"
    step = desk.work.change(label, {name: ticks})
    return {}, docs_of(step), label


def cut_print(desk: Desk, cmd: ask.CutPrint) -> Done:
    """Write what is printed or cut from. Refused for a lay that does not hold, and while something forbids cutting."""
    from nesting.files.lays.layfile import lay_as_bytes
    from nesting.report.print.drawn_files import lay_stem, print_outputs
    from nesting.resolving.resolve import resolve

    lay = desk.lays.now(cmd.cloth)
    if lay is None:
        raise Refused("gone", "there is no lay of this cloth yet", view="cut", cloth=cmd.cloth)
    judged = desk.lays.judge(cmd.cloth)
    if judged is None or not judged["ok"]:
        first = judged["failures"][0]["message"] if judged and judged["failures"] else "it was not proved"
        raise Refused("not-proved", f"This lay is not printed, as it does not hold: {first}.", view="lay")
    blockers = blockers_of(desk.work.survey)
    if blockers:
        raise Refused("do-not-cut", f"Do not cut yet: {blockers[0]['message']}.", **blockers[0]["where"])
    others = (desk.lays.now(cloth) for cloth in desk.lays.cloths() if cloth != lay.cloth)
    beside = [one for one in others if one is not None and one.order_sha256 == lay.order_sha256]
    order = desk.work.survey.order
    listed = None if order is None else resolve(order)
    files = print_outputs(lay, cmd.kinds, cmd.paper, beside=beside, listed=listed)
    ready_folder(desk.work.results)
    name = f"lay-{lay_stem(lay)}.json"
    content = as_file(lay, f"../{desk.work.path.name}") if lay.order_file else lay_as_bytes(lay)
    write_outputs({desk.work.results / n: c for n, c in {name: content, **files}.items()})
    folder = desk.work.relative(desk.work.results)
    desk.printed = shlex.join(["nesting", "print", f"{folder}/{name}", "-o", folder, "--as", ",".join(cmd.kinds),
                               "--paper", cmd.paper])  # fmt: skip
    mine = [f for f in files_in(desk.work) if f["name"] in files]
    return {"files": mine}, ["state", "cut"], ""


def projector_save(desk: Desk, cmd: ask.CalibrationSave) -> Done:
    """Remember a projector set-up."""
    made = calibration(cmd.name, cmd.corners, cmd.size, cmd.shift, cmd.dark)
    kept = [c for c in desk.work.history.state.get("projector") or [] if c["name"] != made["name"]]
    step = desk.work.change(f"projector {made['name']}", {"projector": [*kept, dict(made)]})
    return dict(made), docs_of(step), f"projector {made['name']}"


def projector_remove(desk: Desk, cmd: ask.CalibrationRemove) -> Done:
    """Forget a projector set-up."""
    kept = [c for c in desk.work.history.state.get("projector") or [] if c["name"] != cmd.name]
    step = desk.work.change(f"projector {cmd.name} forgotten", {"projector": kept})
    return {}, docs_of(step), f"projector {cmd.name} forgotten"
