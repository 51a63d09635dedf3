"""What the commands do, apart from the command line itself: files in, files out, documents and words to show."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nesting.errors import InputError

if TYPE_CHECKING:
    from nesting.order import Order, SpreadName
    from nesting.planning.options import SearchOptions

__all__ = [
    "batch_order_file",
    "buy_order_file",
    "check_lay_file",
    "check_order_file",
    "lay_order_file",
    "order_keys",
    "print_lay_file",
    "remnants_of_order",
    "stash_file",
]

#: runs a piece of work with search options, showing progress
WithOptions = Callable[[Callable[["SearchOptions"], Any]], Any]


def lay_order_file(
    order: Order,
    folder: Path,
    searching: WithOptions,
    *,
    spread: SpreadName | None = None,
    begin: Path | None = None,
    keep: tuple[tuple[str, int], ...] = (),
) -> tuple[dict[str, Any], list[object]]:
    """Lay, prove and write everything: lay file, drawings, sheet and report for each cloth."""
    from rich.text import Text

    from nesting.api import lay_proved
    from nesting.checking import check_order
    from nesting.files.layfile import lay_as_bytes, read_lay
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.outputs import lay_outputs, lay_stem
    from nesting.report.page import report_page
    from nesting.report.summary import summary_dict
    from nesting.report.terminal import summary

    ready_folder(folder)
    start = read_lay(begin) if begin is not None else None
    if keep and start is None:
        raise InputError("--keep needs --from LAY.json: the lay that has the pieces where they shall stay")
    if start is not None and all(start.cloth != cloth.name for cloth in order.cloths):
        raise InputError(f"this lay is of cloth '{start.cloth}', which the order does not have", file=begin)
    if start is not None:
        known = {(g.name, name) for g in order.garments for name in g.pieces}
        strange = sorted({p.piece for p in start.placements if (p.garment, p.piece) not in known})
        if strange:
            raise InputError(
                f"this lay is of another order: it has {', '.join(strange)}, which this order does not cut; "
                "give --from a lay of the same order",
                file=begin,
            )
    proved = searching(lambda options: lay_proved(order, options, spread=spread, start=start, keep=keep))
    lays = tuple(replace(one, order_file=_from(folder, order)) for one, _ in proved)
    verdicts = {number: verdict for number, (_, verdict) in enumerate(proved)}
    files: dict[Path, bytes] = {}
    for one in lays:
        files[folder / f"lay-{lay_stem(one)}.json"] = lay_as_bytes(one)
        for name, content in lay_outputs(one, order).items():
            files[folder / name] = content
    judged = check_order(order)
    more = tuple(f for f in judged.findings if f not in order.findings)
    page = report_page(lays, order, extra=_trims_section(order), findings=more, verdicts=verdicts)
    files[folder / "report.html"] = page
    document = summary_dict(lays, order, findings=more, verdicts=verdicts)
    document["files"] = [str(path) for path in files] + [str(folder / "report.json")]
    files[folder / "report.json"] = json.dumps(document, indent=1, ensure_ascii=False).encode("utf-8")
    write_outputs(files)
    warned = [Text(str(f)) for f in more if f.kind in ("warning", "question")]
    names = ", ".join(sorted(path.name for path in files))
    return document, [summary(lays, order), *warned, f"written to {folder}: {names}"]


def _from(folder: Path, order: Order) -> str | None:
    """The order's file as seen from the folder of the results, by which a lay file finds it again."""
    if order.path is None:
        return None
    return Path(os.path.relpath(order.path.resolve(), folder.resolve())).as_posix()


def _trims_section(order: Order) -> tuple[str, ...]:
    if not order.trims:
        return ()
    from nesting.planning.trims import trim_needs
    from nesting.report.buy_page import trims_section

    return (trims_section(trim_needs(order), order),)


def print_lay_file(path: Path, folder: Path, kinds: str, paper: str) -> tuple[dict[str, Any], list[object]]:
    """Paper, projector and cutter files of a lay."""
    from nesting.files.layfile import read_lay
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.report.outputs import KINDS, print_outputs

    wanted = tuple(part.strip() for part in kinds.split(",") if part.strip())
    unknown = [kind for kind in wanted if kind not in KINDS]
    if unknown or not wanted:
        raise InputError(f"--as: found '{kinds}', expected any of {', '.join(KINDS)} with commas between")
    if paper.lower() not in ("a4", "a3", "letter"):
        raise InputError(f"--paper: found '{paper}', expected a4, letter or a3")
    one = read_lay(path)
    ready_folder(folder)
    files = {folder / name: content for name, content in print_outputs(one, wanted, paper.lower()).items()}
    write_outputs(files)
    names = sorted(str(p) for p in files)
    return {"files": names}, [f"written to {folder}: " + ", ".join(Path(n).name for n in names)]


def check_order_file(path: Path, folder: Path, *, picture: bool) -> tuple[bool, dict[str, Any], list[object]]:
    """Read and judge an order; ``check.html`` goes to ``folder``."""
    from nesting.checking import check_order
    from nesting.files.order import load_order
    from nesting.files.outputs import ready_folder, write_outputs
    from nesting.planning.feasible import laying_findings
    from nesting.report.check_page import check_summary, write_check

    order = load_order(path)
    laying = laying_findings(order)
    judged = check_order(order)
    result = replace(judged, findings=(*judged.findings, *laying))
    ready_folder(folder)
    files = {folder / name: content for name, content in write_check(result, order, picture=picture).items()}
    write_outputs(files)
    document = result.as_dict()
    document["files"] = sorted(str(p) for p in files)
    names = ", ".join(sorted(p.name for p in files))
    words: list[object] = [check_summary(result, order), f"written to {folder}: {names}"]
    lies = not any("cannot be laid" in f.message for f in laying)
    document["can_be_laid"] = lies
    return result.ok and lies, document, words


def check_lay_file(path: Path) -> tuple[bool, dict[str, Any], list[object]]:
    """Judge a lay file, edited by hand or not, against the order that it names."""
    from nesting.proof.edited import judge_lay_file

    lay, verdict, notes = judge_lay_file(path)
    document = {"lay": str(path), "cloth": lay.cloth, "notes": list(notes), **verdict.as_dict()}
    words: list[object] = list(notes)
    if verdict.ok:
        words.append(
            f"{path}: holds. {verdict.placements} placements give {verdict.cloth_pieces} cloth pieces; "
            "nothing overlaps, every piece is there and lies right"
        )
    else:
        words.append(f"{path}: does not hold:")
        words += [f"  {failure}" for failure in verdict.failures[:20]]
        if len(verdict.failures) > 20:
            words.append(f"  … and {len(verdict.failures) - 20} more")
    return verdict.ok, document, words


def _json(document: dict[str, Any]) -> bytes:
    return json.dumps(document, indent=1, ensure_ascii=False).encode("utf-8")


def _written(folder: Path | None, files: dict[str, bytes], document: dict[str, Any]) -> list[object]:
    """Write ``files`` to ``folder``, if one was given, and say so in the document and in words."""
    if folder is None:
        return []
    from nesting.files.outputs import ready_folder, write_outputs

    ready_folder(folder)
    document["files"] = sorted(str(folder / name) for name in files)
    write_outputs({folder / name: content for name, content in files.items()})
    return [f"written to {folder}: " + ", ".join(sorted(files))]


def buy_order_file(
    order: Order, widths: str | None, folder: Path | None, searching: WithOptions
) -> tuple[dict[str, Any], list[object]]:
    """What to buy, for some widths, as tables and a curve."""
    from nesting.planning.buy import buy, parse_widths
    from nesting.planning.laying import laying
    from nesting.report.buy_page import buying_outputs
    from nesting.report.buy_terminal import buying_summary

    asked = parse_widths(widths, order.units) if widths else ()
    bought = searching(lambda options: buy(order, laying(options), widths=asked))
    document = bought.as_dict()
    files = {} if folder is None else {**buying_outputs(bought, order), "buy.json": _json(document)}
    return document, [buying_summary(bought), *_written(folder, files, document)]


def remnants_of_order(
    order: Order, folder: Path, stash: Path | None, searching: WithOptions
) -> tuple[dict[str, Any], list[object]]:
    """The most whole garments from the leftovers, each leftover's lay proved, drawn and written."""
    from nesting.files.layfile import lay_as_bytes
    from nesting.planning.laying import laying
    from nesting.planning.parts import FitsBySearch
    from nesting.planning.remnants import RemnantPlan, plan_remnants
    from nesting.planning.stash import read_stash, with_stash
    from nesting.proof import require
    from nesting.report.buy_page import remnants_section
    from nesting.report.buy_terminal import remnants_summary
    from nesting.report.outputs import lay_outputs, lay_stem
    from nesting.report.page import report_page

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
    files: dict[str, bytes] = {"remnants.json": _json(document)}
    for lay in plan.lays:
        one = replace(lay, order_file=_from(folder, order))
        files[f"lay-{lay_stem(one)}.json"] = lay_as_bytes(one)
        files.update(lay_outputs(one, order))
    files["remnants.html"] = report_page(plan.lays, order, extra=(remnants_section(plan),))
    return document, [remnants_summary(plan), *_written(folder, files, document)]


def batch_order_file(
    order: Order, folder: Path | None, searching: WithOptions
) -> tuple[dict[str, Any], list[object]]:
    """A plan of sections and plies for each cloth."""
    from nesting.planning.batch import batch
    from nesting.planning.laying import laying
    from nesting.report.buy_page import batch_section, section_page
    from nesting.report.buy_terminal import batch_summary

    plans = searching(lambda options: batch(order, laying(options)))
    document: dict[str, Any] = {"title": order.title, "plans": [plan.as_dict() for plan in plans]}
    files: dict[str, bytes] = {}
    if folder is not None:
        files["batch.html"] = section_page(f"{order.title}: batch", [batch_section(plans)])
        files["batch.json"] = _json(document)
    return document, [batch_summary(plans), *_written(folder, files, document)]


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


def order_keys() -> tuple[dict[str, Any], list[object]]:
    """Every key of the cutting order, its meaning and its default."""
    from rich.table import Table

    from nesting.files.order_schema import BLOCKS, REQUIRED, TOP

    document: dict[str, Any] = {}
    tables: list[object] = []
    for title, rows in (("", TOP), *((name, keys) for name, keys in BLOCKS.items())):
        heading = f"[[{title}]]" if title else "the order itself"
        # a title in brackets would be taken for markup
        table = Table(title=heading.replace("[", "\\["), title_justify="left", box=None, pad_edge=False)
        for column in ("key", "meaning", "default"):
            table.add_column(column, no_wrap=column == "key")
        for key in rows:
            shown = "" if key.default in (None, ()) else str(key.default)
            if key.default is REQUIRED:
                shown = "must be given"
            table.add_row(key.name, key.meaning, shown)
        tables += [table, ""]
        document[title or "order"] = [
            {"key": key.name, "meaning": key.meaning, "required": key.default is REQUIRED} for key in rows
        ]
    return document, tables
