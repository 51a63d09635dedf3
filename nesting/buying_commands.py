"""What the commands about buying do, apart from the command line itself: buy, remnants, batch and stash."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nesting.errors import InputError

if TYPE_CHECKING:
    from nesting.order import Order
    from nesting.planning.options import SearchOptions

__all__ = ["batch_order_file", "buy_order_file", "remnants_of_order", "stash_file"]

#: runs a piece of work with search options, showing progress
WithOptions = Callable[[Callable[["SearchOptions"], Any]], Any]


def buy_order_file(
    order: Order, widths: str | None, folder: Path | None, searching: WithOptions
) -> tuple[dict[str, Any], list[object]]:
    """What to buy, for some widths, as tables and a curve."""
    from nesting.files.outputs import ready_folder
    from nesting.planning.buy import buy, parse_widths
    from nesting.planning.laying import laying
    from nesting.report.buy_page import buying_section, curve_pictures, trims_section
    from nesting.report.buy_terminal import buying_summary
    from nesting.report.page import care_part
    from nesting.writing import write_with_report

    if folder is not None:
        ready_folder(folder)
    asked = parse_widths(widths, order.units) if widths else ()
    bought = searching(lambda options: buy(order, laying(options), widths=asked))
    document = bought.as_dict()
    words: list[object] = [buying_summary(bought)]
    if folder is not None:
        parts = {"buy": buying_section(bought)}
        if bought.trims:
            parts["trims"] = trims_section(bought.trims, order)
        spare = {"care": care_part(order.findings)}
        pictures = curve_pictures(bought)
        words += write_with_report(folder, order, pictures, parts, document, trims=document["trims"], spare=spare)
    return document, words


def remnants_of_order(
    order: Order, folder: Path, stash: Path | None, searching: WithOptions
) -> tuple[dict[str, Any], list[object]]:
    """The most whole garments from the leftovers, each leftover's lay proved, drawn and written."""
    from nesting.files.layfile import lay_as_bytes
    from nesting.files.outputs import ready_folder
    from nesting.planning.laying import laying
    from nesting.planning.parts import FitsBySearch
    from nesting.planning.remnants import RemnantPlan, plan_remnants
    from nesting.planning.stash import read_stash, with_stash
    from nesting.proof import require
    from nesting.report.buy_page import remnants_section
    from nesting.report.buy_terminal import remnants_summary
    from nesting.report.outputs import lay_outputs, lay_stem
    from nesting.report.page import care_part, lay_part
    from nesting.writing import order_seen_from, write_with_report

    ready_folder(folder)
    asked = order
    if stash is not None:
        order = with_stash(order, read_stash(stash))

    def work(options: SearchOptions) -> RemnantPlan:
        each = replace(options, seconds=None if options.seconds is None else min(5.0, options.seconds), workers=1)
        whole = 60.0 if options.seconds is None else 3.0 * options.seconds
        return plan_remnants(order, FitsBySearch(each), lay=laying(options), seconds=whole)

    plan = searching(work)
    for one, part in plan.parts:
        require(one, part)
    document = plan.as_dict()
    files: dict[str, bytes] = {}
    for lay in plan.lays:
        one = replace(lay, order_file=order_seen_from(folder, order))
        files[f"lay-{lay_stem(one)}.json"] = lay_as_bytes(one)
        files.update(lay_outputs(one, order))
    parts = {"remnants": lay_part(plan.lays, order, extra=(remnants_section(plan),))}
    written = write_with_report(folder, asked, files, parts, document, spare={"care": care_part(order.findings)})
    return document, [remnants_summary(plan), *written]


def batch_order_file(order: Order, folder: Path | None, searching: WithOptions) -> tuple[dict[str, Any], list[object]]:
    """A plan of sections and plies for each cloth."""
    from nesting.files.outputs import ready_folder
    from nesting.planning.batch import batch
    from nesting.planning.laying import laying
    from nesting.report.buy_page import batch_section
    from nesting.report.buy_terminal import batch_summary
    from nesting.report.page import care_part
    from nesting.writing import write_with_report

    if folder is not None:
        ready_folder(folder)
    plans = searching(lambda options: batch(order, laying(options)))
    document: dict[str, Any] = {"title": order.title, "plans": [plan.as_dict() for plan in plans]}
    words: list[object] = [batch_summary(plans)]
    if folder is not None:
        parts = {"batch": batch_section(plans)}
        words += write_with_report(folder, order, {}, parts, document, spare={"care": care_part(order.findings)})
    return document, words


def stash_file(
    path: Path, add_lay: Path | None, least: str, remove_name: str | None
) -> tuple[dict[str, Any], list[object]]:
    """Show the stash after adding the offcuts of a lay or taking a leftover out."""
    from nesting.files.layfile import read_lay
    from nesting.planning.offcuts import Offcut, as_remnants, offcuts
    from nesting.planning.stash import Stashed, add, already_there, read_stash, remove, write_stash
    from nesting.report.buy_terminal import stash_summary
    from nesting.report.words import counted, long_length
    from nesting.units import parse_length

    stash = read_stash(path)
    changed = stash
    told: list[object] = []
    added: list[str] = []
    known: dict[str, str] = {}
    if remove_name is not None:
        changed = remove(changed, [remove_name])
        told.append(f"taken out: {remove_name}")
    if add_lay is not None:
        sides = [parse_length(part, "cm") for part in least.replace("×", "x").split("x")]
        if len(sides) != 2:
            raise InputError(f"--least: found '{least}', expected length x width, like '20 cm x 20 cm'")
        lay = read_lay(add_lay)

        def size(offcut: Offcut) -> str:
            along, across = (long_length(side, lay.imperial) for side in offcut.rectangle_size)
            return f"{along} along the grain and {across} across it"

        found = tuple(
            o
            for o in offcuts(lay, least_width=min(sides), least_area=sides[0] * sides[1])
            if o.rectangle_size[0] >= sides[0] - 1e-9 and o.rectangle_size[1] >= sides[1] - 1e-9
        )
        prefix = (lay.remnant or lay.cloth).replace(" ", "-")
        fresh = as_remnants(found, cloth=lay.cloth, prefix=prefix)
        known = already_there(changed, fresh, note=lay.title)
        before = len(changed.items)
        changed = add(changed, [r for r in fresh if r.name not in known], note=lay.title)
        added = [item.remnant.name for item in changed.items[before:]]
        if added:
            told.append(f"added {counted(len(added), 'leftover')}: {', '.join(added)}")
        if known:
            names = ", ".join(known.values())
            told.append(f"not added again, as the stash holds the same from '{lay.title}': {names}")
        if not found:
            rest = offcuts(lay, least_width=20.0, least_area=400.0)
            most = max(rest, key=lambda o: o.rectangle_size[0] * o.rectangle_size[1], default=None)
            largest = f"; the largest rectangle left is {size(most)}" if most is not None else ""
            told.append(f"nothing added: no leftover holds {least}{largest}. --least takes smaller ones")
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
        }

    document = {
        "stash": str(path),
        "added": added,
        "already_there": list(known.values()),
        "remnants": [row(item) for item in changed.items],
    }
    return document, [*told, stash_summary(changed)]
