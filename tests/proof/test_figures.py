"""Lay length, length to buy and utilisation, worked out by hand for every spread."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nesting.model.lay import Lay
from nesting.model.order import Order
from nesting.proof import prove
from nesting.proof.proving import measure

from .build import cut, finished, lay_of, order_of, put, rectangle
from .good import ALL


def with_cloth(name: str, **fields: float) -> tuple[Order, Lay]:
    """The sound lay of that spread on other cloth, its own figures left as they were."""
    order, lay = ALL[name]()
    return replace(order, cloths=(replace(order.cloths[0], **fields),)), lay  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "name,needed,buy",
    [
        # (L + 2 · 20) / (1 − 0.05), rounded up to 100
        ("open", 340 / 0.95, 400),
        ("lengthwise fold", 340 / 0.95, 400),
        ("partial fold", 390 / 0.95, 500),  # 410.5
        ("double fold", 650 / 0.95, 700),  # 684.2
        ("tubular", 340 / 0.95, 400),
        ("sections", 545 / 0.95, 600),
        # (2 · 420 + 2 · 20) / 0.95
        ("crosswise fold", 880 / 0.95, 1000),
        # n · (300 + 2 · 20) / 0.95 for n plies in all
        ("stacked face up", 3 * 340 / 0.95, 1100),
        ("stacked face to face", 4 * 340 / 0.95, 1500),
    ],
)
def test_length_to_buy(name: str, needed: float, buy: float) -> None:
    """Shrinkage and end allowances are added, then the shop's increment, or nothing where there is none."""
    order, lay = with_cloth(name, shrink_along=0.05)
    assert prove(lay, order).buy_length == pytest.approx(buy)
    order, lay = with_cloth(name, shrink_along=0.05, increment=0.0)
    assert prove(lay, order).buy_length == pytest.approx(needed)


@pytest.mark.parametrize(
    "length,increment,buy",
    [
        (260.0, 100.0, 300.0),  # 260 + 40: an exact multiple stays
        (260.1, 100.0, 400.0),
        (2.5 * 914.4 - 40, 114.3, 2.5 * 914.4),  # two and a half yards, in eighths
        (2.5 * 914.4 - 39.9, 114.3, 2.625 * 914.4),
        (660.0, 0.1, 700.0),  # 0.1 has no exact binary value
    ],
)
def test_increment(length: float, increment: float, buy: float) -> None:
    """Never down, and an exact multiple does not cost one more."""
    band = rectangle("band", length, 40)
    order = order_of(cut(band), increment=increment)
    lay = lay_of(order, "open", [put(band, length / 2, 100)])
    verdict = prove(lay, order)
    assert verdict.failures == ()
    assert verdict.buy_length == pytest.approx(buy)
    assert not prove(replace(lay, buy_length=lay.buy_length - increment), order).ok
    assert not prove(replace(lay, buy_length=lay.buy_length + increment), order).ok


@pytest.mark.parametrize(
    "name,area,cloth",
    [
        # leg: 300 · 70 below its grainline, 170 · 80 + 130 · 75 above it, less a cutout of 20 · 20: 43 950 mm²
        # brief: 40 · 55 + 140 · 100 + 20 · 45 = 17 100, twice that when opened out; gusset 2 · 100 · 72.5
        # tab: 100 · 60 less a corner of 100 · 20 / 2; band 240 · 40
        ("open", 2 * 43_950 + 34_200 + 5_000, 1000 * 300),
        ("lengthwise fold", 2 * 43_950 + 34_200 + 5_000 + 9_600, 1000 * 300),
        ("partial fold", 2 * 43_950 + 34_200 + 5_000, 1000 * 350),
        ("double fold", 4 * 43_950 + 2 * 34_200, 1000 * 610),
        ("crosswise fold", 2 * 43_950 + 14_500 + 5_000, 2 * 1000 * 420),
        ("stacked face up", 6 * 43_950 + 3 * 34_200, 3 * 1000 * 300),
        ("stacked face to face", 4 * 43_950 + 2 * 5_000, 4 * 1000 * 300),
        ("tubular", 2 * 43_950 + 2 * 34_200, 2 * 600 * 300),
        ("sections", 2 * 43_950 + 34_200, 1000 * 200 + 1000 * 300),
        ("leftover", 2 * 43_950 + 5_000, 500 * 510),
    ],
)
def test_utilisation(name: str, area: float, cloth: float) -> None:
    """Cut area, cutouts left out, by the area of washed cloth that the lay uses, opened out."""
    order, lay = ALL[name]()
    assert prove(lay, order).utilisation == pytest.approx(area / cloth, abs=1e-9)


def test_shares() -> None:
    """A garment's share of the length goes by its cut area: 3 to 1, and two of the one."""
    big, small = rectangle("big", 300, 100), rectangle("small", 100, 100)
    order = order_of(cut(big), cut(small))
    shorts = order.garments[0]
    order = replace(
        order,
        garments=(
            replace(shorts, name="coat", pieces=("big",)),
            replace(shorts, name="cap", count=2, pieces=("small",)),
        ),
    )
    lay = lay_of(
        order,
        "open",
        [
            put(big, 150, 100, garment="coat"),
            put(small, 50, 300, garment="cap", copy=1),
            put(small, 200, 300, garment="cap", copy=2),
        ],
    )
    assert prove(lay, order).failures == ()
    figures = measure(lay, order)
    assert figures is not None
    # 400 mm to buy for 30 000 + 2 · 10 000 mm²
    assert figures.buy_length == 400.0
    assert figures.share_of("coat", None, 1) == pytest.approx(240.0)
    assert figures.share_of("cap", None, 2) == pytest.approx(80.0)
    assert [(g.name, round(g.length_each, 6)) for g in lay.garments] == [("coat", 240.0), ("cap", 80.0)]
    assert measure(replace(lay, cloth="velvet"), order) is None


def test_leftover_is_not_bought() -> None:
    """On a leftover the lay may say that nothing is bought, or what it would take; no other length."""
    order, lay = ALL["leftover"]()
    for buy in (0.0, 510.0, 600.0):
        one = replace(lay, buy_length=buy, garments=(replace(lay.garments[0], length_each=buy),))
        assert prove(one, order).failures == (), buy
    wrong = replace(lay, buy_length=500.0, garments=(replace(lay.garments[0], length_each=500.0),))
    assert {f.kind for f in prove(wrong, order).failures} == {"buy"}


def test_figures_agree_with_planning() -> None:
    """Planning's own functions, written apart, state the same for every spread and some shrinkage."""
    for name in sorted(set(ALL) - {"leftover"}):
        order, lay = with_cloth(name, shrink_along=0.03, end_allowance=35.0, increment=50.0)
        again = finished(order, lay.sections)
        assert prove(again, order).failures == (), name
