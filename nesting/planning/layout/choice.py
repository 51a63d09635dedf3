"""Which lay is taken: the easiest of those with the least length to buy."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import replace

from nesting.cloth.spreads import Refusal
from nesting.model.lay import Lay, SpreadTried
from nesting.model.order import SpreadName
from nesting.planning.layout.bounding import shared
from nesting.planning.layout.limits import beyond, on_table
from nesting.planning.layout.trials import Finished, Search, to_buy
from nesting.planning.layout.wording import lay_notes, traced_pieces
from nesting.planning.layout.yardage import garment_shares, utilisation

__all__ = ["_bound", "choose"]


def _handling(finished: Finished) -> tuple[int, int, int]:
    """(placements, folds, pieces to trace again): a half that is opened out, or a left cut after its right."""
    placements = [p for s in finished.sections for p in s.placements]
    folds = sum(len(s.spread.folds) for s in finished.sections)
    again = sum(p.opened for p in placements)
    seen: set[tuple[str, str, str | None, int]] = set()
    for p in placements:
        key = (p.piece, p.garment, p.size, p.copy)
        if key in seen and not p.opened:
            again += 1
        seen.add(key)
    return len(placements), folds, again


def choose(
    search: Search,
    finished: list[Finished],
    refused: tuple[Refusal, ...],
    counts: Mapping[tuple[str, str | None], int],
    *,
    ended: bool = True,
) -> Lay:
    """The easiest lay among those there is cloth for whose length to buy is least. ``ended`` False: the
    search goes on, and a bound that is not known yet is not waited for."""
    by_kind: dict[SpreadName, Finished] = {}
    for f in finished:
        old = by_kind.get(f.kind)
        if old is None or _ease_key(search, f) < _ease_key(search, old):
            by_kind[f.kind] = f
    best = min(by_kind.values(), key=lambda f: _ease_key(search, f))
    tried = [
        SpreadTried(
            f.kind,
            f.lay_length,
            to_buy(search, f),
            utilisation(f.sections, search.cloth.width_washed),
            _handling(f),
            chosen=f is best,
        )
        for f in by_kind.values()
    ]
    tried += [SpreadTried(r.kind, None, None, None, None, refused=r.reason) for r in refused if r.kind not in by_kind]
    buy = to_buy(search, best)
    bound, reason = _bound(search, best) if ended else _bound_so_far(search, best)
    placements = [p for s in best.sections for p in s.placements]
    cloth = search.cloth
    chosen = Lay(
        title=search.listed.title,
        do_not_cut=search.listed.do_not_cut,
        cloth=cloth.name,
        width=cloth.width,
        width_washed=cloth.width_washed,
        usable_width=cloth.usable_width,
        sections=best.sections,
        lay_length=best.lay_length,
        buy_length=buy,
        lower_bound=min(bound, best.lay_length),
        bound_reason=reason,
        utilisation=utilisation(best.sections, cloth.width_washed),
        garments=garment_shares(placements, dict(counts), buy),
        order_file=search.listed.path.name if search.listed.path is not None else None,
        order_sha256=search.listed.sha256,
        seed=search.options.seed,
        seconds=time.monotonic() - search.begun,
        gap=cloth.gap,
        end_allowance=cloth.end_allowance,
        selvage=cloth.selvage,
        repeat_along=cloth.repeat_along,
        repeat_across=cloth.repeat_across,
        shrink_along=cloth.shrink_along if search.remnant is None else None,
        knit=cloth.knit,
        remnant=search.remnant.name if search.remnant is not None else None,
        imperial=search.listed.imperial,
        tried=tuple(tried),
        notes=lay_notes(search, by_kind, best),
        extra={"traced": traced} if (traced := traced_pieces(search)) else {},
    )
    others = (f for f in by_kind.values() if f is not best)
    return replace(chosen, others=tuple(_instead(search, chosen, f, counts, ended=ended) for f in others))


def _instead(
    search: Search, chosen: Lay, other: Finished, counts: Mapping[tuple[str, str | None], int], *, ended: bool
) -> Lay:
    """The lay of another spread, as it would be told were it the chosen one."""
    buy = to_buy(search, other)
    bound, reason = _bound(search, other) if ended else _bound_so_far(search, other)
    return replace(
        chosen,
        sections=other.sections,
        lay_length=other.lay_length,
        buy_length=buy,
        lower_bound=min(bound, other.lay_length),
        bound_reason=reason,
        utilisation=utilisation(other.sections, search.cloth.width_washed),
        garments=garment_shares([p for s in other.sections for p in s.placements], dict(counts), buy),
        tried=tuple(replace(t, chosen=t.kind == other.kind) for t in chosen.tried),
        notes=lay_notes(search, {other.kind: other}, other),  # why another was chosen is not said of this one
    )


def _ease_key(search: Search, finished: Finished) -> tuple[float, float, bool, int, int, float]:
    """The least key is taken: what there is cloth for, then the least to buy, then what lies on the table undivided,
    then the easiest."""
    placements, folds, again = _handling(finished)
    # cutting one ply and leaving the ply under it is slow work: it counts as two outlines more
    effort = placements + again + 2 * _on_one_of_two(finished)
    over = 0.0 if search.remnant is not None else beyond(search.cloth, finished.kind, finished.lay_length)
    undivided = on_table(search.cloth, finished.sections)
    return (over, round(to_buy(search, finished), 3), not undivided, effort, folds, finished.lay_length)


def _on_one_of_two(finished: Finished) -> int:
    """Placements that are cut from one ply where another lies above or below."""
    count = 0
    for section in finished.sections:
        for p in section.placements:
            low, high = min(y for _, y in p.outline), max(y for _, y in p.outline)
            for ply in section.spread.plies:
                ys = [y for _, y in ply.region]
                if ply.ply not in p.plies and p.follows is None and min(high, max(ys)) - max(low, min(ys)) > 1.0:
                    count += 1
                    break
    return count


def _bound_so_far(search: Search, finished: Finished) -> tuple[float, str]:
    known = search.known_bound()
    if known is None:
        return 0.0, "not worked out: the search was stopped before"
    return shared(known, finished.kind, search.cloth).length, known.reason


def _bound(search: Search, finished: Finished) -> tuple[float, str]:
    """A bound on the lay length: any lay opens out into an open one of the same cloth, so the open bound holds, shared
    among the lengths of cloth that lie on one another."""
    bound = search.open_bound()
    return shared(bound, finished.kind, search.cloth).length, bound.reason
