"""The curve of length to buy against the number of garments, as a picture."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from nesting.model.units import UNIT_MM
from nesting.planning.buying.curve import Curve

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["curve_png", "curve_svg"]

_INK, _SOFT = "#161616", "#8a867e"


def _figure(curve: Curve, imperial: bool) -> Figure:
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    unit, size = ("yd", UNIT_MM["yd"]) if imperial else ("m", 1000.0)
    figure = Figure(figsize=(7.2, 3.6), layout="constrained")
    axes = figure.add_subplot()
    counts = [p.count for p in curve.points]
    bought = [p.buy_length / size for p in curve.points]
    laid = [p.lay_length / size for p in curve.points]
    # Drawn as steps that reach half a garment to either side: between two counts there is nothing.
    axes.step(counts, bought, where="mid", color=_INK, linewidth=2.0, label="to buy")
    axes.plot(counts, laid, color=_SOFT, linewidth=1.2, linestyle="--", label="lay")
    free = [(c, b) for c, b, p in zip(counts, bought, curve.points, strict=True) if p.free]
    paid = [(c, b) for c, b, p in zip(counts, bought, curve.points, strict=True) if not p.free]
    if paid:
        axes.plot(*zip(*paid, strict=True), "o", color=_INK, markersize=5.0)
    if free:
        axes.plot(
            *zip(*free, strict=True), "o", color=_INK, markerfacecolor="white", markersize=7.5, label="this one is free"
        )
    if counts[-1] > curve.garments:
        axes.axvspan(
            curve.garments + 0.5, counts[-1] + 0.6, color="#eae6de", zorder=0, linewidth=0, label="more than ordered"
        )
    axes.set_xlabel("garments")
    axes.set_ylabel(unit)
    axes.set_xlim(min(counts) - 0.6, max(counts) + 0.6)
    axes.set_ylim(0.0, max(bought) * 1.12 or 1.0)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, min_n_ticks=1))
    axes.grid(axis="y", color="#e4e0d8", linewidth=0.8)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.legend(loc="upper left", frameon=True, framealpha=1.0, edgecolor="white", fontsize=9)
    return figure


def curve_svg(curve: Curve, *, imperial: bool) -> str:
    """The picture as one ``<svg>`` element, the same every time."""
    from matplotlib import rc_context

    out = io.StringIO()
    with rc_context({"svg.hashsalt": f"curve {curve.cloth}"}):
        _figure(curve, imperial).savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    return text[text.index("<svg") :]


def curve_png(curve: Curve, *, imperial: bool, dpi: int = 160) -> bytes:
    """The picture as PNG."""
    out = io.BytesIO()
    _figure(curve, imperial).savefig(out, format="png", dpi=dpi, metadata={"Software": None})
    return out.getvalue()
