"""The words of the trade that the page uses, each explained in a sentence or two."""

from __future__ import annotations

from nesting.page.documents import HelpDoc

__all__ = ["TERMS", "help_doc"]

TERMS: dict[str, tuple[str, str]] = {
    "grain": (
        "grain",
        "The direction of the cloth's length. A piece's arrow lies along it, so that it hangs and stretches "
        "as it was drafted.",
    ),
    "selvage": ("selvage", "The firm edge at each side of the cloth. It is not cut into."),
    "fold": (
        "on the fold",
        "Half a piece, its straight edge laid on the folded cloth: opened out it is whole, both sides alike.",
    ),
    "notch": ("notch", "A small mark at an edge. Two notches that meet show how two pieces are sewn together."),
    "finish": (
        "finish",
        "What is done to an edge: left raw, folded back, bound, or with elastic or lace. It decides how far "
        "outside the finished edge the cloth is cut.",
    ),
    "seam": ("seam", "Two edges sewn together. They must be as long as each other, unless one is to be eased in."),
    "ease": ("ease", "How much longer the second edge is meant to be; it is held in while sewing."),
    "walk": (
        "walking a seam",
        "Laying one edge along the other, as on paper, to see whether lengths agree and notches meet.",
    ),
    "nap": ("nap", "Pile, or a print with an up and a down: all pieces must then point the same way."),
    "stretch": (
        "stretch",
        "How much longer the cloth gets when pulled. Hold 10 cm against a ruler, pull, and read: 10 to 16 cm is 60 %.",
    ),
    "shrink": ("shrinkage", "What the first wash takes. Measure a square before and after; or wash the cloth first."),
    "lay": ("lay", "Where every piece lies on the cloth, before anything is cut."),
    "spread": ("spread", "How the cloth lies on the table: open, or folded lengthwise, partly, doubly or across."),
    "ply": ("ply", "One layer of cloth. Folded cloth has two, face to face."),
    "gap": ("gap", "Cloth left free between two pieces, for the scissors."),
    "bound": (
        "no shorter than",
        "A length that no lay of these pieces on this cloth can go below; proved, not guessed.",
    ),
    "utilisation": ("cloth used", "The share of the cloth's area that ends up in the garments."),
    "remnant": ("remnant", "A leftover piece of cloth, kept to be used."),
    "stash": ("stash", "The list of leftovers kept at home."),
    "cut": ("cut", "How many cloth pieces of this pattern piece one garment takes."),
    "mirrored": ("left and right", "Half of the pieces are cut turned over, so that they make pairs."),
    "tilt": ("tilt", "By how many degrees the arrow may leave the grain."),
    "lengthen": ("lengthen", "The pattern is cut across the grain and spread apart; its edges are drawn anew."),
    "take-strip": ("take out of the middle", "A strip across the piece is taken out, and both parts are joined."),
    "hold": ("held end", "The end of an edge that stays where it is while the rest of it moves."),
    "increment": ("increment", "The shop cuts by whole steps, such as 10 cm: what to buy is rounded up to one."),
    "end-allowance": ("end allowance", "Cloth left free at both ends of the lay, as cut ends are seldom straight."),
    "repeat": ("repeat", "How often a stripe or print comes again, along and across."),
    "projector": (
        "on the cloth",
        "The lay thrown on the cloth by a projector, after dragging its corners to a rectangle measured on the table.",
    ),
    "proof": ("proof", "A second program that knows nothing of the search checks every lay anew against the order."),
    "leader": ("cut together", "Pieces of two layers cut in one go: the follower lies where its leader lies."),
    "batch": ("batch", "Many garments, divided into lays with several plies so that exactly the counts come out."),
}


def help_doc() -> HelpDoc:
    """All terms."""
    return {
        "terms": {key: {"term": term, "words": words, "picture": f"{key}.svg"} for key, (term, words) in TERMS.items()}
    }
