"""A lay file judged with all that stands beside it: its order, the lay of its leaders, and the bound that it states."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import Order
from nesting.proof.edited import Judgement, judgement_of
from nesting.proof.verdict import Failure, Verdict

__all__ = ["judge_file"]

#: mm. A stated bound may exceed the one worked out anew by as much as rounding makes.
BOUND_MM = 0.01


def judge_file(path: str | Path, order: Order | None = None) -> Judgement:
    """The judgement of a lay file, a second cloth by its leaders' lay beside it, and no bound believed that cannot be
    proved. OrderError if the file or the order that it names cannot be read."""
    path = Path(path)
    judged = judgement_of(path, order)
    if not judged.verdict.ok:
        return judged
    bound = stated_bound(judged.lay, judged.order)
    found = (*stated_hands(judged.lay), *stated_ids(judged.lay, judged.order), *(() if bound is None else (bound,)))
    return replace(judged, verdict=_with(judged.verdict, found), redrawn_verdict=_with(judged.redrawn_verdict, found))


def _with(verdict: Verdict, failures: tuple[Failure, ...]) -> Verdict:
    return replace(verdict, failures=(*verdict.failures, *failures))


def stated_hands(lay: Lay) -> tuple[Failure, ...]:
    """Placements that are called left or right, for labels and lists, and are not."""
    from nesting.report.words import hands

    right = hands(lay)
    return tuple(
        Failure(
            "hand",
            f"{p.label} is called {p.hand}, but as it lies it is {right.get(i) or 'neither left nor right'}",
            p.piece,
            figures={"said": p.hand, "found": right.get(i)},
        )
        for i, p in enumerate(lay.placements)
        if p.hand is not None and p.hand != right.get(i)
    )


def stated_ids(lay: Lay, order: Order) -> tuple[Failure, ...]:
    """Placements whose ids are not those of the cloth pieces that they give, and ids and numbers that stand twice:
    labels, lists and hand edits go by them. A file without them says nothing false."""
    wearers = {(g.name, g.size): g.wearer or "" for g in order.garments}
    seen: set[str] = set()
    numbers: set[int] = set()
    found: list[Failure] = []
    for p in lay.placements:
        stem = (p.garment, p.size or "", wearers.get((p.garment, p.size), ""))
        stems = {"/".join((*stem, str(copy), p.piece)) for copy in p.copies or (p.copy,)}
        for one in p.ids:
            if one.rpartition("/")[0] not in stems:
                why = f"{p.label} has the id '{one}', which is that of no piece that it gives"
                found.append(Failure("value", why, p.piece, figures={"id": one}))
            elif one in seen:
                found.append(Failure("value", f"the id '{one}' stands twice", p.piece, figures={"id": one}))
            seen.add(one)
        if p.ids and len(p.ids) != p.gives:
            why = f"{p.label} has {len(p.ids)} ids for {p.gives} cloth pieces"
            found.append(Failure("value", why, p.piece, figures={"ids": len(p.ids), "gives": p.gives}))
        if p.number is not None and p.number in numbers:
            found.append(Failure("value", f"the number {p.number} stands twice", p.piece, figures={"number": p.number}))
        numbers |= {p.number} if p.number is not None else set()
    return tuple(found)


def stated_bound(lay: Lay, order: Order) -> Failure | None:
    """A bound stated that is more than what can be proved; None where it holds, or nothing is stated."""
    if lay.lower_bound <= 0.0:
        return None
    from nesting.planning.layout.stated import provable
    from nesting.resolving.resolve import resolve

    try:
        least = provable(resolve(order), lay)
    except CannotLayError:
        return None
    if least is None or lay.lower_bound <= least + BOUND_MM:
        return None
    return Failure(
        "bound",
        f"the lay says that none is shorter than {lay.lower_bound:.2f} mm; {least:.2f} mm is proved",
        figures={"said": lay.lower_bound, "proved": least},
    )
