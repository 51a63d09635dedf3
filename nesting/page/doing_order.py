"""Commands of a page around its order: edits taken over, undo, files on disk, trying before doing.

Each command takes the desk and what was asked; it gives the reply, the documents that changed and a label. In a thread,
under the page's lock.
"""

from __future__ import annotations

import re
import shlex
from typing import Any

from nesting.files.orders.order_values import Place, length, number
from nesting.files.outputs import write_outputs
from nesting.page import protocol as ask
from nesting.page.alter_doc import shapes_of
from nesting.page.desk import Desk, Done, docs_of
from nesting.page.editing import Edit, Refused
from nesting.page.order_commands import edit_of, new_alteration, not_held
from nesting.page.pdf_doc import contents_of
from nesting.page.seams_doc import seams_of, walk_sides
from nesting.page.survey import Survey, survey

__all__ = [
    "alter_try",
    "disk_keep_mine",
    "disk_reload",
    "edited",
    "file_contents",
    "order_new",
    "proposals_decline",
    "redo",
    "seam_try",
    "undo",
]


def edited(desk: Desk, made: Edit) -> Done:
    """Take over an edit of the order, unless something would be wrong with it that was right before."""
    before = desk.work.survey
    if not made.lenient or made.readable:
        after = survey(made.text.text, desk.work.path, desk.work.reader)
        wrong: BaseException | None
        if made.lenient:
            wrong = next(iter(after.pattern_problems.values()), None)
        else:
            wrong = _new_problem(before, after, made.renamed) or not_held(made, after)
        if wrong is not None:
            raise wrong
    step = desk.work.edit(made.label, made.text)
    desk.command = desk.check_command()
    return made.result, docs_of(step), made.label


def undo(desk: Desk, cmd: ask.Undo) -> Done:
    """Take the last step back."""
    step = desk.work.undo()
    if step is None:
        raise Refused("nothing", "there is nothing to take back")
    return {}, docs_of(step), f"taken back: {step.label}"


def redo(desk: Desk, cmd: ask.Redo) -> Done:
    """Do again what was taken back."""
    step = desk.work.redo()
    if step is None:
        raise Refused("nothing", "there is nothing to do again")
    return {}, docs_of(step), f"done again: {step.label}"


def disk_reload(desk: Desk, cmd: ask.DiskReload) -> Done:
    """Take what the file on disk has become."""
    step = desk.work.take_foreign()
    return {}, docs_of(step) or ["state"], "changes made outside the page"


def disk_keep_mine(desk: Desk, cmd: ask.DiskKeep) -> Done:
    """Keep the state of the page; what stood on disk is kept beside it."""
    kept = desk.work.keep_mine()
    return {"kept": kept}, ["state"], "the page's state was kept"


def order_new(desk: Desk, cmd: ask.OrderNew) -> Done:
    """Another order from this one, in a file of its own."""
    stem = re.sub(r"[^\w .()+-]", "_", cmd.name).strip(" .")[:80].removesuffix(".toml")
    path = desk.work.folder / f"{stem}.toml"
    if not stem or path.exists():
        raise Refused("taken", f"there is an order '{stem}' already: give it another name" if stem else
                      "give the new order a name", view="cloth", field="name")  # fmt: skip
    text = desk.work.order_text.set_top("title", cmd.name.strip())
    for index, count in cmd.counts.items():
        if index.isdigit():
            text = text.set("garment", int(index), "count", count)
    for key, value in cmd.cloth.items():
        made = edit_of(ask.ClothSet(index=0, key=key, value=value), text, desk.work.survey)
        text = made.text if made is not None else text
    write_outputs({path: text.text.encode("utf-8")})
    address = desk.opener(path) if cmd.open and desk.opener is not None else ""
    command = f"nesting page {shlex.quote(path.name)}"
    return {"order": path.name, "command": command, "address": address}, [], "a new order"


def proposals_decline(desk: Desk, cmd: ask.ProposalsDecline) -> Done:
    """Proposals that are not so: they do not come again."""
    step = desk.work.change("not so", {"declined": sorted({*desk.work.declined, *cmd.ids})})
    return {}, docs_of(step), "not so"


def file_contents(desk: Desk, cmd: ask.FileContents) -> Done:
    """What a pattern file holds, to choose from."""
    return contents_of(desk.work.survey, cmd.index), [], ""


def seam_try(desk: Desk, cmd: ask.SeamTry) -> Done:
    """Walk a seam that is not in the order yet."""
    order = desk.work.survey.order or desk.work.survey.assumed
    if order is None:
        raise desk.work.survey.problem or Refused("no-pieces", "there are no pieces yet", view="pieces")
    place = Place(desk.work.path.name, "seam", desk.work.survey.document.get("units"))
    ease = length(negative=True)(cmd.ease, place.at("ease")) if cmd.ease else 0.0
    ratio = 1.0 if cmd.ratio in (None, "") else _ratio(cmd.ratio, place)
    return {"seams": walk_sides(order, cmd.sides, ease=ease, ratio=ratio)}, [], ""


def alter_try(desk: Desk, cmd: ask.AlterTry) -> Done:
    """The pieces as an alteration would make them."""
    before = desk.work.survey
    values = new_alteration(cmd, desk.work.order_text, before)
    text = desk.work.order_text
    if cmd.index is not None:
        text = text.remove("alter", cmd.index)
    text = text.add("alter", values)
    after = survey(text.text, desk.work.path, desk.work.reader)
    wrong = _new_problem(before, after)
    if wrong is not None:
        raise wrong
    names = set(cmd.pieces)
    if cmd.wearer is not None:
        for key in after.drawn:
            if key[0] in names and cmd.size in (None, key[1]):
                after.made_for(key, cmd.wearer)  # raises what their garment would be refused for
    return {"shapes": shapes_of(after, names, {}, cmd.wearer), "seams": seams_of(after, names)}, [], ""


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
    wrong = after.problem
    # of several pieces the order asks the same in one sentence, which is no new one
    asked = {(error.piece, error.code) for error in before.piece_problems.values()}
    if wrong is None or before.problem is not None or str(wrong) in old or (wrong.piece, wrong.code) in asked:
        return None
    return wrong
