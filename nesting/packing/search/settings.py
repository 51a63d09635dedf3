"""The search's settings: one set for all problems. Lengths are shares of the layout's length unless said otherwise."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["SETTINGS", "Settings"]


@dataclass(frozen=True)
class Settings:
    """See ``explore`` for what they mean.

    Measured (24 to 99 pieces, processor time, means over seeds): exchanges 0.25 against none free a tight random
    layout in half the time; perturbations at nearly the present length against those at 1 % less gain 0.5 to 1 % in
    30 s; fewer or more samples per move than 6 + 6 + 3 take twice the time; scanning all of the cloth at once for every
    move gains nothing.
    """

    #: samples per variant and move: over all the cloth, around the present place, at no-fit vertices
    samples: tuple[float, float, float] = (6.0, 6.0, 3.0)
    #: share of moves that try to exchange two items
    exchange: float = 0.25
    #: a first random layout has this share of its area covered
    density: float = 0.65
    #: shrink: the first step; halved at each failure; below the last one the perturbations take over
    step: float = 0.04
    least_step: float = 0.002
    #: passes without a 2 % gain after which an attempt is given up: at the beginning, shrink, compress, perturbation
    patience_first: int = 100
    patience_shrink: int = 300
    patience_compress: int = 100
    patience_perturb: int = 150
    #: share of rounds that compress; its steps: first, least, largest
    compress: float = 0.5
    fine: float = 0.0015
    least_fine: float = 0.0003
    most_fine: float = 0.004
    #: a perturbation aims at the present length made shorter by between these shares
    perturb: tuple[float, float] = (-0.002, 0.002)
    #: share of perturbations that begin from a nearly free layout of an earlier failure; how many of those are kept
    from_pool: float = 0.3
    pool: int = 8
    #: a layout this much longer than the present one may take its place
    accept: float = 0.001
    #: perturbations without a new best after which the best becomes the present layout again
    stagnation: int = 30
    #: perturbations per item until a worker goes its own way; those without a new best until it gives its own up
    together: float = 2.0
    restart: float = 13.0
    #: a best found elsewhere replaces a present layout that is this much longer
    near_by: float = 0.004
    #: overlap per item (internal units, scaled by size) up to which the exact finish is tried: when an attempt is given
    #: up, and on the way (again each time the overlap has halved)
    near: float = 0.2
    near_within: float = 0.05
    #: the same as near where the length is fixed: all that an exact finish may still put right
    near_fixed: float = 100.0


SETTINGS = Settings()
