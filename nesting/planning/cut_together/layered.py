"""A second cloth spread over the first: its pieces are cut through at the places of their leaders.

The second cloth lies as the first does, ply for ply, the same side up where the right sides face the same way, turned
over where they face each other. What its own rules forbid there is cut apart, with the reason.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from nesting.cloth.orientation import orientation
from nesting.cloth.spreads import make_spread, sides_words, sound_spreads
from nesting.model.errors import NestingError
from nesting.model.lay import Lay, Placement, Section, Spread, mirrored_over_fold, placed
from nesting.model.order import Cloth, SpreadName
from nesting.model.piece import mapped
from nesting.model.units import format_alike, format_apart, format_length
from nesting.planning.cut_together.fits_over import why_not_here, why_not_together
from nesting.planning.cut_together.followers import follower_motion
from nesting.planning.layout.bounding import opened_bound, shared
from nesting.planning.layout.repeats import matching_for
from nesting.planning.layout.wording import turn_notes
from nesting.planning.layout.yardage import buy_length, garment_shares, utilisation
from nesting.resolving.cutting_list import CuttingList, Pair

__all__ = ["Apart", "Pairs", "at_leader", "check_pairs", "follower_notes", "lay_over", "pairs_of"]

#: (leader, garment, size) -> what is cut together with it
Pairs = Mapping[tuple[str, str, str | None], Pair]


class Apart(NestingError):
    """The second cloth cannot be cut at the places of its leaders; the message says why."""

    exit_code = 3
    default_code = "together.apart"


@dataclass(frozen=True)
class _Over:
    """The second cloth as it lies over the leaders; ``starts`` are its first edges on the first cloth, mm."""

    cloth: Cloth
    sections: tuple[Section, ...]
    starts: tuple[float, ...]

    @property
    def kind(self) -> SpreadName:
        """The spread by which its length to buy is reckoned."""
        return self.sections[0].spread.kind

    @property
    def lay_length(self) -> float:
        """To the end of its last section, mm."""
        return self.sections[-1].start + self.sections[-1].lay_length


def lay_over(listed: CuttingList, lays: tuple[Lay, ...]) -> tuple[Lay, ...]:
    """The lays with every second cloth laid over its leaders, where the order cuts them together.

    What that costs against cutting apart is noted on both lays. Where the second cloth does not reach over the
    leaders, or also gives pieces of its own, or may not lie like that, it keeps its own lay and says so.
    """
    result = {lay.cloth: lay for lay in lays}
    done: set[str] = set()
    for pair in listed.pairs:
        first, second = pair.cloths
        if first == second or first not in result or second not in result or second in done:
            continue
        done.add(second)
        result[first], result[second] = _tried_over(listed, result[first], result[second])
    return tuple(result[lay.cloth] for lay in lays)


def pairs_of(listed: CuttingList, lay: Lay, second: str) -> Pairs:
    """All that are cut through ``lay`` and the cloth ``second``."""
    return {
        (pair.leader.name, pair.garment, pair.size): pair for pair in listed.pairs if pair.cloths == (lay.cloth, second)
    }


def _tried_over(listed: CuttingList, lay: Lay, apart: Lay) -> tuple[Lay, Lay]:
    """Both lays with the second cloth over the first, or as they were with the reason noted."""

    def finely(mm: float) -> str:
        return format_length(mm, imperial=listed.imperial, step="1/16 in" if listed.imperial else "mm")

    try:
        over = _over(listed, lay, apart, finely)
    except Apart as why:
        note = f"cut together with cloth '{lay.cloth}' is not possible as it lies: {why}; laid by itself"
        return lay, replace(apart, apart=why.reason, notes=(*apart.notes, note))
    buy = buy_length(over.kind, over.cloth, over.lay_length)
    bought, by_itself = format_alike(buy, apart.buy_length, imperial=listed.imperial)
    begins = " and ".join(finely(at + lay.end_allowance - apart.end_allowance) for at in over.starts)
    note = (
        f"cut together with '{lay.cloth}': {bought} of '{apart.cloth}', {sides_words(over.sections[0].spread)}, laid "
        f"over it with its first edge {begins} from the cut end of '{lay.cloth}'; "
        f"cut apart, {by_itself} would do"
    )
    bound = shared(opened_bound(apart, listed.cloth_named(apart.cloth)), over.kind, over.cloth).length
    return replace(lay, notes=(*lay.notes, note)), replace(
        apart,
        over=lay.cloth,
        over_at=tuple(
            at + lay.end_allowance - (apart.end_allowance if n == 0 else 0.0) for n, at in enumerate(over.starts)
        ),
        sections=over.sections,
        lay_length=over.lay_length,
        buy_length=buy,
        lower_bound=min(bound, over.lay_length),
        utilisation=utilisation(over.sections, over.cloth.width_washed),
        garments=garment_shares([p for s in over.sections for p in s.placements], listed.counts, buy),
        tried=(),
        notes=(note, *follower_notes(listed, over.cloth)),
    )


def _over(listed: CuttingList, lay: Lay, apart: Lay, say: Callable[[float], str]) -> _Over:
    """Raises Apart where the second cloth cannot lie over the leaders."""
    cloth = listed.cloth_named(apart.cloth)
    pairs = pairs_of(listed, lay, apart.cloth)
    check_pairs(listed, cloth, pairs, apart)
    turned = next(iter(pairs.values())).faces == "to the leader"
    sections: list[Section] = []
    starts: list[float] = []
    used, doubt = cloth, 0.0
    for section in lay.sections:
        leaders = [p for p in section.placements if (p.piece, p.garment, p.size) in pairs and p.follows is None]
        if not leaders:
            continue
        used = _spread_alike(cloth, section.spread, apart)
        laid = [at_leader(p, pairs[p.piece, p.garment, p.size]) for p in leaders]
        begin = min(x for p in laid for x, _ in p.outline)
        laid = [_moved(p, -begin) for p in laid]
        end = max(x for p in laid for x, _ in p.outline)
        errors = [listed.cut(p.piece, p.size).piece.error for p in laid]
        if section.spread.kind == "crosswise fold" and not any(p.on_fold for p in laid):
            end += cloth.gap / 2 + max(errors)
        try:
            depths = _depths(section.spread, used)
            spread = make_spread(section.spread.kind, used, end, depths, turned=turned)
        except ValueError as error:
            raise Apart(str(error), code="together.folds") from None
        why = why_not_here(listed, used, spread, laid, say)
        if why is not None:
            raise Apart(why.message, code=why.code, figures=why.figures)
        # what was traced from pictures keeps its error free on either side of a seam between sections, too
        doubt = max(doubt, *errors)
        start = sections[-1].start + sections[-1].lay_length + cloth.gap + 2.0 * doubt if sections else 0.0
        starts.append(section.start + begin)
        sections.append(Section(spread, end, tuple(laid), start))
    if not sections:
        raise Apart(f"no leader lies on '{lay.cloth}'", code="together.no-leader", figures={"cloth": lay.cloth})
    over = _Over(used, tuple(sections), tuple(starts))
    why = why_not_together(listed, used, sections)
    if why is not None:
        raise Apart(why.message, code=why.code, figures=why.figures)
    _check_numbers(listed, over)
    needed = buy_length(over.kind, used, over.lay_length, rounded=False)
    if cloth.length is not None and needed > cloth.length:
        wanted, there = format_apart(needed, cloth.length, imperial=listed.imperial)
        raise Apart(
            f"it would take {wanted} of '{cloth.name}', of which there are {there}",
            code="together.too-little-cloth",
            figures={"needed": needed, "there": cloth.length},
        )
    return over


def check_pairs(listed: CuttingList, cloth: Cloth, pairs: Pairs, apart: Lay, *, same_faces: bool = True) -> None:
    """Raises Apart where followers and leaders cannot be cut at the same time. ``same_faces``: all in one spread, so
    that they all face their leaders alike."""
    covered = {(pair.follower.name, pair.garment, pair.size) for pair in pairs.values()}
    own = sorted({p.piece for p in apart.placements if (p.piece, p.garment, p.size) not in covered})
    if own:
        words = f"'{cloth.name}' also gives {', '.join(own)}"
        raise Apart(words, code="together.pieces-of-its-own", figures={"pieces": ", ".join(own)})
    for pair in pairs.values():
        leader, follower, name = pair.leader, pair.follower, pair.leader.name
        if not pair.fits.agrees:
            raise Apart(
                "; ".join(pair.fits.messages),
                code="together.does-not-fit",
                figures={"leader": name, "follower": follower.name, "largest": pair.fits.largest},
            )
        if leader.cut != follower.cut:
            words = f"'{name}' is cut {leader.cut} times and '{follower.name}' {follower.cut} times"
            raise Apart(words, code="together.counts", figures={"leader": leader.cut, "follower": follower.cut})
        if leader.mirrored != follower.mirrored and not pair.handless:
            one, other = ("left and right", "alike") if leader.mirrored else ("alike", "left and right")
            words = f"'{name}' is cut {one} and '{follower.name}' {other}"
            raise Apart(words, code="together.hands", figures={"leader": name, "follower": follower.name})
        if matching_for(listed, cloth, follower).any:
            words = f"the repeat of '{cloth.name}' has to match, which the places of the leaders do not heed"
            raise Apart(words, code="together.repeat", figures={"cloth": cloth.name})
    by_faces = {pair.faces: pair.follower.name for pair in pairs.values()}
    if same_faces and len(by_faces) > 1:
        raise Apart(
            f"'{by_faces['to the leader']}' faces its leader and '{by_faces['same']}' the same way as its own, which "
            f"one spread of '{cloth.name}' does not give",
            code="together.faces",
        )


def _spread_alike(cloth: Cloth, spread: Spread, apart: Lay) -> Cloth:
    """The second cloth with as many plies as the first, if it may be spread like that."""
    kind = spread.kind
    stacked = kind in ("stacked face up", "stacked face to face")
    used = replace(cloth, plies=len(spread.plies)) if stacked else cloth
    _, refused = sound_spreads(used, None, kind)
    if refused:
        why = refused[0].reason
        words = f"'{cloth.name}' cannot be spread as its leaders are ({kind}): {why}"
        raise Apart(words, code=why.code, figures={**why.figures, "spread": kind})
    if cloth.spreads is not None and kind not in {*cloth.spreads, *(s.spread.kind for s in apart.sections)}:
        words = f"its leaders lie on a spread ({kind}) that the order does not list for '{cloth.name}'"
        raise Apart(words, code="together.spread", figures={"spread": kind})
    return used


def _depths(spread: Spread, cloth: Cloth) -> tuple[float, ...]:
    """Flap depths that bring the folds of a second cloth, of its own width, over those of the first."""
    if spread.kind != "double fold":
        return spread.depths
    return (spread.depths[0], cloth.width_washed - spread.table_width - spread.depths[0])


def _check_numbers(listed: CuttingList, over: _Over) -> None:
    """As many pieces as the garments want come off, no more."""
    given: dict[tuple[str, str, str | None], int] = {}
    for p in (p for s in over.sections for p in s.placements):
        key = (p.piece, p.garment, p.size)
        given[key] = given.get(key, 0) + p.gives
    counts = listed.counts
    for (name, garment, size), number in given.items():
        wanted = listed.cut(name, size).cut * counts.get((garment, size), 0)
        if number < wanted or (number > wanted and not over.cloth.surplus):
            words = f"its leaders would give {number} of '{name}', {wanted} are asked for"
            raise Apart(words, code="together.numbers", figures={"piece": name, "given": number, "asked": wanted})


def follower_notes(listed: CuttingList, cloth: Cloth) -> tuple[str, ...]:
    """The turns that ``cloth`` does not allow the pieces that are cut from it together with others."""
    cuts = dict.fromkeys(pair.follower for pair in listed.pairs if pair.cloths[1] == cloth.name)
    return turn_notes((cut.piece.label, turn, why) for cut in cuts for turn, why in orientation(cut, cloth).refused)


def at_leader(leader: Placement, pair: Pair) -> Placement:
    """The follower at this leader's place, through the same plies, on the first cloth's table."""
    follower = pair.follower
    x, y, turn, flipped = follower_motion(pair.fits, leader.x, leader.y, leader.turn, leader.flipped)
    whole = mirrored_over_fold(follower.piece) if leader.opened else follower.piece
    shape = placed(whole, x, y, turn, flipped)
    return replace(
        leader,
        piece=follower.name,
        x=x,
        y=y,
        turn=turn,
        flipped=flipped,
        laid=shape,
    )


def _moved(p: Placement, dx: float) -> Placement:
    def at(point: tuple[float, float]) -> tuple[float, float]:
        return (point[0] + dx, point[1])

    return replace(p, x=p.x + dx, laid=mapped(p.laid, at))
