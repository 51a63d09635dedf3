"""What is said in the page's words.

Messages of the program speak to people who write an order by hand: of blocks, keys and options. On the page the same
things are fields and views, so each message that names them is said in other words here: whole sentences for those that
tell what to write (by code), and single words for the rest. Only what is shown changes; nothing is decided by it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from nesting.files.orders.order_schema import BLOCKS, TOP

__all__ = ["plain"]

#: what to do about it, where the order's own words would be of no use
_INSTEAD: Mapping[str, str] = {
    "alter.key-missing": "this needs one thing more: where the line lies, or which edge is moved",
    "alter.no-edge": "choose the edge that is moved",
    "alter.pieces": "choose the piece to change",
    "cloth.plies": "there are more plies than the most that you allow: change one of the two",
    "cloth.not-tubular": "'tubular' is for a cloth that is a tube: say that it is one, or do not choose this spread",
    "garment.most-here": "as many as fit is asked for, but this needs a number: lay it, or fill the leftovers, to see "
    "how many there are, and write that",
    "garment.most-stacked": "as many as fit does not go with stacked plies: set the plies to one, or say how many",
    "garment.most-unlimited": "as many as fit is asked for, but not how much cloth there is: give the cloth a length, "
    "or add leftovers of it",
    "garment.name-twice": "two garments have the same name, and their cloths do not tell them apart: rename one",
    "garment.ratio": "a ratio is for garments of which as many are cut as fit: take it away, or say most in place of "
    "the number",
    "grain.missing": "it has no grain: choose the piece under Pieces and draw its grain there, or say that it may lie "
    "any way",
    "grain.no-length": "its grain arrow has no length: draw it again, or choose the piece and draw its grain there",
    "fold.not-used": "the drawing marks the fold itself, so the side chosen here is not used",
    "fold.side-missing": "left and right come in pairs, so it is cut 2, 4 … times: change how often, or say that it is "
    "not mirrored",
    "fold.side-not-said": "its label says that it is cut on the fold: click the edge that lies there, then "
    "'Lies on the fold'",
    "fold.unfold": "it lies on a fold and you do not allow it to be opened out, which this spread would need",
    "lay.pieces-stay": "the held pieces cannot stay as they lie: move them apart, or let one of them go",
    "order.no-cloth": "say what cloth there is: its width, at least",
    "order.no-garment": "say what to cut, and how many",
    "order.no-pattern": "drop your pattern files: nothing is drawn yet",
    "order.nothing-to-cut": "nothing is to be cut: every count is 0",
    "pdf.keys": "only a PDF has pages and layers to choose from: this file is read whole",
    "piece.band": "this belongs to a band: choose the edges that the band goes round",
    "piece.mirrored-on-fold": "on the fold it is its own mirror image, so it need not be mirrored",
    "piece.odd-count": "left and right come in pairs, so it is cut 2, 4 … times: change how often, or say that it is "
    "not mirrored",
    "piece.of-other-size": "it is called by one size, but its drawing gives it none, so it is cut for every size: say "
    "which size its file is, or choose which pieces each garment has",
    "remnant.measures": "give either a drawing of the leftover, or its width and length",
    "remnant.none": "there are no leftovers of these cloths: add one under Cloth & people, or keep one from a lay",
    "seam.no-row": "no side of this seam has several edges in a row, so there is no join to notch",
    "size.missing": "the drawings have several sizes: say which size this garment is",
    "pdf.scan": "pages of it are scanned pictures: drop the PDF by itself, and they are looked at under From "
    "photographs",
    "picture.heic": "HEIC pictures cannot be read here: send it as JPEG, or let the telephone make JPEG pictures",
    "mat.not-seen": "no sheet of the mat is seen: print it, lay four sheets around the piece, wholly in the picture, "
    "and see that it is sharp and evenly lit",
    "scan.not-measured": "a scan is measured both ways: click the two ends of a level and of an upright length, and "
    "say how long each is",
    "trace.no-piece": "no piece was found: lay it on a ground of another, even colour, one piece in a picture. Or "
    "click the middle of the piece in the picture below",
    "units.missing": "the drawing does not say its units: choose them beside the file, then compare a piece with a "
    "ruler",
    "stretch.cloth-unknown": "it must stretch, and the cloth does not say how far it does: take the ruler test under "
    "Cloth & people",
}
_BLOCKS = {
    "pattern": "pattern file",
    "alter": "alteration",
    "remnant": "leftover",
    "together": "pair cut together",
}
#: keys of several words, as they are written; a name that people gave stands in quotes and is left as it is
_KEYS = {key.name for keys in (TOP, *BLOCKS.values()) for key in keys if "_" in key.name}
_NAMES = {key.name for keys in (TOP, *BLOCKS.values()) for key in keys}
_SAID: tuple[tuple[str, str], ...] = (
    (r"(?:a result|the change|the results?) cannot be (?:written|kept)(?: here)? \(No space left on device\)[^;]*",
     "the disk is full, so this could not be written: make room and try again"),
    (r"(?:a result|the change|the results?) cannot be (?:written|kept)(?: here)? \((?:Permission denied|Read-only file "
     r"system|Operation not permitted)\)[^;]*",
     "nothing can be written in this folder: allow it, or work on a copy elsewhere"),
    (r"(?:a result|the change|the results?) cannot be (?:written|kept)(?: here)? \((?:No such file or directory|"
     r"Input/output error|No such device|Stale file handle)\)[^;]*",
     "the folder of the order is not there any more: put it, or the stick it is on, back where it was and try again"),
    (r"there are two \[\[\w+\]\] blocks (.*); one was expected: put them together or rename one(?:, or say which is "
     r"cut from another cloth: .*)?", r"\1 is there already: put the two together, or give one of them another name"),
    (r"or write openings = 2 where they are two openings", "or say under Cloth & people that they are two openings"),
    (r"(there is no file '[^']*') in [^;]*;", r"\1 beside the order;"),
    (r"96 px = 1 in is taken", "96 px to the inch are taken"),
    (r"\(the key cloth under its \[\[piece\]\] changes that\)", "(choose the piece to change that)"),
    (r"\s*\(name edges in the drawing, or with \[\[edge\]\] by corner numbers\)", ": click it under Pieces to name it"),
    (r"name the edge in the drawing, or with an \[\[edge\]\] block", "click the edge under Pieces and name it"),
    (r"in the pattern or with \[\[edge\]\]", "under Pieces"),
    (r"; say allowance = \{ \"\*\" = [^}]*\} if it is the cut edge", "; draw it, or give the edge another finish"),
    (r",? ?under its \[\[(?:piece|pattern)\]\]", " under Pieces"),
    (r"name it in the drawing, or with an \[\[edge\]\] block", "click it under Pieces to name it"),
    (r"; to have it added, write add_centre_notches = true in this \[\[seam\]\]", "; it can be added under Seams"),
    (
        r"; to have it added, write add_join_notches = true in this \[\[seam\]\]",
        "; tick 'notches where the others join' to have it added",
    ),
    (r"use one of these, or add a block for it", "use one of these, or add it"),
    (r"add a \[\[wearer\]\] block with name and measures", "add a person under Cloth & people"),
    (r"this key is missing: ", "this is missing: "),
    (r"this key is not known here", "this is not known here"),
    (r"'([\w ]+)' takes no such key: take it away", r"'\1' takes none: leave it empty"),
    (r"takes no such key", "takes none"),
    (r"(take|leave) (?:the|this|that) key (away|out)", r"\1 it \2"),
    (r"true or false was expected, without quotes", "yes or no was expected"),
    (r"a text in quotes was expected, as in \"\w+\"", "a word was expected"),
    (r" was expected, in quotes", " was expected"),
    (r"(?:: )?write `\w+ = \"?([\d.][^`\"]*)\"?`", r": write \1"),
    (r"leave the block out", "take it out"),
    (r"(?:: )?write `(\w+) = ([^`]*)`", r": \1 \2"),
    (r" \((?:unfold = true|pairs = \"free\"|nap = \"by garment\")\)", ""),
    (r"(?:: )?write (\w+) = (\"[^\"]*\"|\S+)", r": \1 \2"),
    (r"\bwrite (\w+) = ", r"choose \1 "),
    (r"; see the labelled picture of nesting check --picture(?: \(--corners[^)]*\))?", ""),
    (r" as 'nesting check --picture' draws it,?", ""),
    (r"; --anyway lays it for a look", ""),
    (r"--(?:keep|from|seconds|rounds|seed|spread|least|paper|widths)\b:? ?", ""),
    (r"\ba (\w+) = (\"[^\"]*\"|[\w.%-]+)", r"\1 \2"),
    (rf"\b({'|'.join(sorted(_NAMES))}) = ", r"\1 "),
)


def plain(message: str, code: str | None = None) -> str:
    """The message in the page's words; ``code`` is that of its finding or refusal."""
    if code is not None and code in _INSTEAD:
        return _INSTEAD[code]
    for pattern, words in _SAID:
        message = re.sub(pattern, words, message)
    message = re.sub(r"\[\[(\w+)\]\](?: (?:tables?|blocks?))?", lambda m: _BLOCKS.get(m[1], m[1]), message)
    for key in _KEYS:
        message = re.sub(rf"(?<!['\w])({key})(?![\w'])", key.replace("_", " "), message)
    return message
