"""Placements are known by ids that survive saving and moving, and by the numbers on drawing and sheet."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nesting.files.lays.layfile import lay_as_dict, lay_from_dict
from nesting.model.errors import InputError
from nesting.model.identity import chosen
from nesting.model.lay import Lay
from nesting.model.order import Cloth, Garment, Order
from nesting.planning.layout.options import SearchOptions
from nesting.report.sheet.sheet import rows
from nesting.resolving.resolve import resolve
from nesting.session.events import LayWork
from nesting.session.working import do
from tests.planning.area_lays import order_of, rectangle

ORDER: Order = order_of(
    [rectangle("panel", 330, 210, cut=2, mirrored=True), rectangle("band", 60, 400)],
    [Garment("g", None, 2, ("panel", "band"))],
    [Cloth("main", 1000.0)],
)
FEW = SearchOptions(seconds=None, rounds=2, workers=1)


def laid(**how: object) -> Lay:
    """The order, laid on open cloth."""
    return do(ORDER, resolve(ORDER), FEW, LayWork(spread="open", **how), lambda event: None).lays[0]  # type: ignore[arg-type]


def test_every_cloth_piece_has_an_id_and_every_placement_its_number() -> None:
    """As many ids as cloth pieces, each once; numbers as the sheet has them; both survive the file."""
    lay = laid()
    ids = [one for p in lay.placements for one in p.ids]
    assert sorted(ids) == sorted(
        f"g///{copy}/{name}/{n}"
        for copy in (1, 2)
        for name, most in (("panel", 2), ("band", 1))
        for n in range(1, most + 1)
    )
    assert {p.number for p in lay.placements} == {row.number for row in rows(lay)}
    again = lay_from_dict(lay_as_dict(lay))
    assert [(p.ids, p.number, p.hand) for p in again.placements] == [(p.ids, p.number, p.hand) for p in lay.placements]


def test_an_old_file_without_ids_is_read() -> None:
    """The keys may be absent."""
    document = lay_as_dict(laid())
    for placement in document["placements"]:
        for key in ("ids", "number", "hand"):
            del placement[key]
    assert all(p.ids == () and p.number is None for p in lay_from_dict(document).placements)


def test_what_is_named_by_number_or_id_stays() -> None:
    """The placement lies where it lay, under the same number's id; the search may move the others."""
    lay = laid()
    number = next(p.number for p in lay.placements if p.piece == "panel")
    (one,) = chosen(lay, [str(number)])
    assert chosen(lay, [one]) == (one,)
    before = next(p for p in lay.placements if one in p.ids)
    after = do(ORDER, resolve(ORDER), replace(FEW, seed=3), LayWork(start=lay, keep=(one,)), lambda event: None).lays[0]
    assert any(
        p.piece == "panel" and (p.x, p.y, p.turn) == pytest.approx((before.x, before.y, before.turn))
        for p in after.placements
    )


def test_an_ambiguous_name_is_refused_with_the_choices() -> None:
    """Left and right of copy 1 are both panel:1; the band of copy 1 is but one."""
    lay = laid()
    assert len(chosen(lay, ["band:1"])) == 1
    with pytest.raises(InputError, match=r"g///1/panel/1.*g///1/panel/2|g///1/panel/2.*g///1/panel/1"):
        chosen(lay, ["panel:1"])
    with pytest.raises(InputError, match="has no such piece"):
        chosen(lay, ["pannel:1"])
