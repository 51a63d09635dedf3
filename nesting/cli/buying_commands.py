"""What the commands about buying do, apart from the command line itself: buy, remnants, batch and stash."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nesting.model.errors import InputError

if TYPE_CHECKING:
    from nesting.model.lay import Lay
    from nesting.model.order import Order
    from nesting.planning.batch.leftovers_first import Batch
    from nesting.planning.leftovers.stash import Stash
    from nesting.resolving.cutting_list import CuttingList
    from nesting.session.events import Result, Work

__all__ = ["BUDGET", "batch_order_file", "buy_order_file", "remnants_of_order", "stash_file"]

#: runs the work of a session, showing progress
Searching = Callable[["Order", "CuttingList", "Work"], "Result"]


#: Seconds that all searches of a table, or of a batch, take together where no time is given.
BUDGET = 34.0


def buy_order_file(
    order: Order,
    listed: CuttingList,
    widths: str | None,
    folder: Path,
    searching: Searching,
    *,
    budget: float | None = None,
    what_if: bool = False,
    every: bool = False,
) -> tuple[dict[str, Any], list[object]]:
    """What to buy, for some widths, as tables and a curve; ``every``: the words have all rows. ``budget``: seconds for
    all of it, instead of the options' seconds for each row."""
    from nesting.cli.writing import STOPPED_TABLE, drawn_unless_stopped, write_with_report
    from nesting.files.outputs import ready_folder
    from nesting.planning.buying.buy import parse_widths
    from nesting.report.html.buy_page import buying_section, curve_pictures, trims_section
    from nesting.report.html.lay_part import care_part
    from nesting.report.terminal.buy_terminal import buying_summary
    from nesting.session.events import BuyWork

    ready_folder(folder)
    asked = parse_widths(widths, order.units) if widths else ()

    bought = searching(order, listed, BuyWork(asked, budget, what_if)).answer
    document = bought.as_dict()
    words: list[object] = [buying_summary(bought, every=every)]

    def draw() -> tuple[dict[str, bytes], dict[str, Any]]:
        parts = {"buy": buying_section(bought)}
        if bought.trims:
            parts["trims"] = trims_section(bought.trims, imperial=order.imperial)
        return curve_pictures(bought), parts

    drawn = drawn_unless_stopped(draw)
    if drawn is None:
        return document, [*words, STOPPED_TABLE]
    spare = {"care": care_part(order.findings)}
    words += write_with_report(folder, order, *drawn, document, trims=document["trims"], spare=spare)
    return document, words


def remnants_of_order(
    order: Order, listed: CuttingList, folder: Path, stash: Path | None, searching: Searching
) -> tuple[dict[str, Any], list[object]]:
    """The most whole garments from the leftovers, each leftover's lay proved, drawn and written.

    Of the options' seconds three quarters are for the leftovers, the rest for what must still be bought.
    """
    from nesting.cli.writing import (
        STOPPED,
        Drawing,
        drawn_unless_stopped,
        write_first,
        write_with_report,
    )
    from nesting.files.outputs import ready_folder
    from nesting.files.remnant import small_picture
    from nesting.planning.leftovers.stash import read_stash, with_stash
    from nesting.proof import require
    from nesting.report.html.buy_page import remnants_section
    from nesting.report.html.lay_part import care_part, lay_part
    from nesting.report.terminal.buy_terminal import remnants_summary
    from nesting.session.events import RemnantsWork

    ready_folder(folder)
    asked = order
    own = {remnant.name for remnant in order.remnants}
    if stash is not None:
        order = with_stash(order, read_stash(stash))
        listed = replace(listed, remnants=order.remnants)

    result = searching(order, listed, RemnantsWork())
    plan = result.answer
    document = plan.as_dict()
    lays, used = _of_leftovers(plan.lays, order, own, folder)
    verdicts = {number: require(one, order) for number, one in enumerate(lays)}
    with Drawing(lays, listed) as drawing:
        files = write_first(folder, lays)
        photographs = {r.name: r.picture for r in order.remnants if r.picture is not None}
        seen = {name: small for name, file in photographs.items() if (small := small_picture(file))}
        sections = (("plan of leftovers", remnants_section(plan, seen)),)

        def draw() -> tuple[dict[str, bytes], dict[str, Any]]:
            pictures, scenes = drawing.pictures()
            shown = lay_part(lays, listed, extra=sections, verdicts=verdicts, scenes=scenes)
            return {**files, **pictures}, {"remnants": shown}

        drawn = drawn_unless_stopped(draw)
    written: list[object] = [STOPPED]
    if drawn is not None:
        written = write_with_report(folder, asked, *drawn, document, spare={"care": care_part(order.findings)})
    written += _out_of_stash(used, folder, stash)
    named = {name: str(file) for name, file in photographs.items()}
    return document, [remnants_summary(plan, named), *written]


def _of_leftovers(lays: Sequence[Lay], order: Order, own: set[str], folder: Path) -> tuple[list[Lay], list[str]]:
    """The lays on leftovers as they are written, and the names of their files where the leftover is from the stash:
    where it is not the order's ``own``, the file must tell what it is."""
    from nesting.cli.writing import order_seen_from
    from nesting.report.print.drawn_files import lay_stem
    from nesting.session.numbering import numbered

    used: list[str] = []
    told: list[Lay] = []
    for lay in lays:
        one = numbered(replace(lay, order_file=order_seen_from(folder, order)), order)
        if one.remnant not in own:
            one = replace(one, leftover=next(r for r in order.remnants if r.name == one.remnant))
            used.append(f"lay-{lay_stem(one)}.json")
        told.append(one)
    return told, used


def _out_of_stash(used: Sequence[str], folder: Path, stash: Path | None) -> list[str]:
    """How the leftovers whose lays these files hold are taken out of the stash."""
    if not used:
        return []
    adds = " ".join(f"--add {folder / name}" for name in used)
    return [f"once they are cut, this takes them out of the stash: nesting stash {stash} {adds}"]


def batch_order_file(
    order: Order,
    listed: CuttingList,
    folder: Path,
    searching: Searching,
    *,
    budget: float | None = None,
    stash: Path | None = None,
) -> tuple[dict[str, Any], list[object]]:
    """Whole garments from leftovers first, then a plan of sections and plies for the rest of each cloth. ``budget``:
    seconds for all lays, not the options' for each."""
    from nesting.cli.writing import (
        STOPPED,
        Drawing,
        drawn_unless_stopped,
        order_seen_from,
        write_first,
        write_with_report,
    )
    from nesting.files.outputs import ready_folder
    from nesting.planning.leftovers.stash import read_stash, with_stash
    from nesting.report.html.buy_page import batch_section, remnants_section
    from nesting.report.html.lay_part import care_part, lay_part
    from nesting.report.terminal.buy_terminal import batch_summary, remnants_summary
    from nesting.session.events import BatchWork
    from nesting.session.numbering import numbered

    ready_folder(folder)

    asked, own = order, {remnant.name for remnant in order.remnants}
    if stash is not None:
        order = with_stash(order, read_stash(stash))
        listed = replace(listed, remnants=order.remnants)
    result = searching(order, listed, BatchWork(budget))
    found: Batch = result.answer
    seen = order_seen_from(folder, order)
    first, used = _of_leftovers(found.leftovers.lays if found.leftovers else (), order, own, folder)
    parts = (numbered(replace(one, order_file=seen), order) for plan in found.plans for one in plan.lays)
    lays = (*first, *parts)
    verdicts = dict(enumerate(result.verdicts))
    document: dict[str, Any] = {"title": order.title, **found.as_dict()}
    words: list[object] = []
    if found.leftovers is not None:
        words.append(remnants_summary(found.leftovers))
    words.append(batch_summary(found.plans))
    with Drawing(lays, listed) as drawing:
        files = write_first(folder, lays)
        sections = [("plan of the batch", batch_section(found.plans))]
        if found.leftovers is not None:
            rest = remnants_section(found.leftovers, batch_follows=bool(found.plans))
            sections.insert(0, ("plan of leftovers", rest))

        def draw() -> tuple[dict[str, bytes], dict[str, Any]]:
            pictures, scenes = drawing.pictures()
            shown = lay_part(lays, listed, extra=tuple(sections), verdicts=verdicts, scenes=scenes)
            return {**files, **pictures}, {"batch": shown}

        drawn = drawn_unless_stopped(draw)
    cares = {"care": care_part(order.findings)}
    words += [STOPPED] if drawn is None else write_with_report(folder, asked, *drawn, document, spare=cares)
    words += _out_of_stash(used, folder, stash)
    return document, words


def stash_file(
    path: Path, add_lays: Sequence[Path], least: str, remove_name: str | None
) -> tuple[dict[str, Any], list[object]]:
    """Show the stash after adding the offcuts of lays or taking a leftover out. A leftover that such a lay was cut from
    is taken out, too."""
    from nesting.files.lays.layfile import read_lay
    from nesting.model.units import parse_length
    from nesting.planning.leftovers.stash import Stashed, read_stash, remove, write_stash
    from nesting.report.terminal.buy_terminal import stash_summary

    stash = read_stash(path)
    changed = stash
    told: list[object] = []
    added: list[str] = []
    known: list[str] = []
    gone: list[str] = []
    if remove_name is not None:
        changed = remove(changed, [remove_name])
        gone.append(remove_name)
        told.append(f"taken out: {remove_name}")
    sides = [parse_length(part, "cm") for part in least.replace("×", "x").split("x")]
    if len(sides) != 2:
        raise InputError(
            f"--least: found '{least}', expected length x width, like '20 cm x 20 cm'", code="option.least"
        )
    for lay in [read_lay(one) for one in add_lays]:
        changed, cut, fresh, twins, words = _with_offcuts(changed, lay, sides, least)
        gone += cut
        added += fresh
        known += twins
        told += words
    if changed != stash or not path.exists():
        write_stash(path, changed)

    def row(item: Stashed) -> dict[str, Any]:
        xs = [p[0] for p in item.remnant.outline]
        ys = [p[1] for p in item.remnant.outline]
        return {
            "name": item.remnant.name,
            "cloth": item.remnant.cloth,
            "length": max(xs) - min(xs),
            "width": max(ys) - min(ys),
            "flaws": len(item.remnant.flaws),
            "note": item.note,
            "error": item.error,
            "picture": item.picture or None,
        }

    document = {
        "stash": str(path),
        "added": added,
        "already_there": known,
        "taken_out": gone,
        "remnants": [row(item) for item in changed.items],
    }
    return document, [*told, stash_summary(changed)]


def _with_offcuts(
    stash: Stash, lay: Lay, sides: Sequence[float], least: str
) -> tuple[Stash, list[str], list[str], list[str], list[str]]:
    """The stash without the leftover that the lay was cut from and with the lay's offcuts; the names of what went, what
    came and what was there before; and words."""
    from nesting.planning.leftovers.offcuts import Offcut, as_remnants, offcuts
    from nesting.planning.leftovers.stash import add, already_there, remove, used_by
    from nesting.report.words import counted, long_length

    told: list[str] = []
    gone: list[str] = []
    used, doubt = used_by(stash, lay)
    if used is not None:
        stash, gone = remove(stash, [used]), [used]
        told.append(f"taken out, as this lay was cut from it: {used}")
    elif doubt:
        told.append(doubt)

    def size(offcut: Offcut) -> str:
        along, across = (long_length(side, lay.imperial) for side in offcut.rectangle_size)
        return f"{along} along the grain and {across} across it"

    found = tuple(
        o
        for o in offcuts(lay, least_width=min(sides), least_area=sides[0] * sides[1])
        if o.rectangle_size[0] >= sides[0] - 1e-9 and o.rectangle_size[1] >= sides[1] - 1e-9
    )
    fresh = as_remnants(found, cloth=lay.cloth, prefix=(lay.remnant or lay.cloth).replace(" ", "-"))
    known = already_there(stash, fresh, note=lay.title)
    before = len(stash.items)
    stash = add(stash, [r for r in fresh if r.name not in known], note=lay.title)
    added = [item.remnant.name for item in stash.items[before:]]
    if added:
        told.append(f"added {counted(len(added), 'leftover')}: {', '.join(added)}")
    if known:
        told.append(f"not added again, as the stash holds the same from '{lay.title}': {', '.join(known.values())}")
    if not found:
        rest = offcuts(lay, least_width=20.0, least_area=400.0)
        most = max(rest, key=lambda o: o.rectangle_size[0] * o.rectangle_size[1], default=None)
        largest = f"; the largest rectangle left is {size(most)}" if most is not None else ""
        told.append(f"nothing added: no leftover holds {least}{largest}. --least takes smaller ones")
    return stash, gone, added, list(known.values()), told
