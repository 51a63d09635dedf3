"""What commands do to the order's text: cloth, leftovers, garments, bands."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from nesting.model.units import format_share, parse_length
from nesting.page import protocol as ask
from nesting.page.editing import Edit, Edits, Refused

__all__ = ["ClothEdits"]


class ClothEdits(Edits):
    """Cloth, leftovers, garments, bands."""

    def _order_set(self, cmd: ask.OrderSet) -> Edit:
        value = self.read("top", cmd.key, cmd.value, "")
        return Edit(f"{cmd.key} of the order", self.text.set_top(cmd.key, value))

    def _garment_set(self, cmd: ask.GarmentSet) -> Edit:
        one = self.block("garment", cmd.index)
        return self.set("garment", cmd.index, cmd.key, cmd.value, str(one.get("name", "the garment")))

    def _garment_add(self, cmd: ask.GarmentAdd) -> Edit:
        values = {
            "name": cmd.name.strip(),
            "size": cmd.size,
            "count": cmd.count,
            "pieces": cmd.pieces,
            "wearer": cmd.wearer,
        }
        for key, value in values.items():
            if value is not None:
                self.read("garment", key, value, cmd.name)
        if not values["name"]:
            raise Refused("empty", "give the garment a name", view="cloth", field="name")
        return Edit(
            f"garment {cmd.name} added", self.text.add("garment", values), {"index": self.text.count("garment")}
        )

    def _garment_remove(self, cmd: ask.GarmentRemove) -> Edit:
        one = self.block("garment", cmd.index)
        return Edit(f"garment {one.get('name')} taken out", self.text.remove("garment", cmd.index), lenient=True)

    def _garment_counts(self, cmd: ask.GarmentCounts) -> Edit:
        text = self.text
        # from the last on: what is taken out moves those behind it
        for index, count in sorted(((int(k) if k.isdigit() else -1, n) for k, n in cmd.counts.items()), reverse=True):
            name = self.block("garment", index).get("name", index + 1)
            if count == 0:
                text = text.remove("garment", index)
            else:
                text = text.set("garment", index, "count", self.read("garment", "count", count, name))
        return Edit("how many of each size", text, lenient=True)

    def _bands(self) -> list[int]:
        """The numbers of the [[piece]] blocks that are bands or strips."""
        return [i for i, one in enumerate(self.raw("piece")) if "round" in one or "rectangle" in one]

    def _band(self, index: int) -> tuple[int, dict[str, Any]]:
        found = self._bands()
        if not 0 <= index < len(found):
            raise Refused("gone", "this band is not in the order any more", view="cloth")
        return found[index], self.raw("piece")[found[index]]

    def _band_add(self, cmd: ask.BandAdd) -> Edit:
        name = cmd.name.strip()
        if not name:
            raise Refused("empty", "give the band a name, such as waistband or cuff", view="cloth", field="name")
        if name in {key[0] for key in self.survey.drawn} | {one.get("name") for one in self.raw("piece")}:
            message = f"there is a piece '{name}' already: give this one another name"
            raise Refused("twice", message, view="cloth", field="name")
        if not cmd.round and not any(one.strip() for one in cmd.rectangle):
            raise Refused("empty", "choose the edges that it goes round, or give its measures", view="cloth")
        if cmd.round and not (cmd.height or "").strip():
            raise Refused("empty", "say how high the band is cut, such as 8 cm", view="cloth", field="height")
        values: dict[str, Any] = {"name": name, "size": cmd.size}
        if cmd.round:
            values |= {"round": list(cmd.round), "height": cmd.height, "ratio": cmd.ratio, "join": cmd.join}
        else:
            values |= {"rectangle": [one.strip() for one in cmd.rectangle]}
        values = {key: self.read("piece", key, value, name) for key, value in values.items()}
        return Edit(f"band {name} added", self.text.add("piece", values), {"index": len(self._bands())})

    def _band_set(self, cmd: ask.BandSet) -> Edit:
        index, one = self._band(cmd.index)
        if cmd.key not in ("height", "ratio", "join", "rectangle", "round"):
            raise Refused("not-here", "choose the band under Pieces to change that", view="pieces")
        return self.set("piece", index, cmd.key, cmd.value, str(one.get("name")))

    def _band_remove(self, cmd: ask.BandRemove) -> Edit:
        index, one = self._band(cmd.index)
        return Edit(f"band {one.get('name')} taken out", self.text.remove("piece", index), lenient=True)

    def _cloth_set(self, cmd: ask.ClothSet) -> Edit:
        one = self.block("cloth", cmd.index)
        old = str(one.get("name", ""))
        made = self.set("cloth", cmd.index, cmd.key, cmd.value, old)
        if cmd.key == "width" and cmd.value is not None:
            _plausible_width(cmd.value, self.root.units or "cm", old)
        if cmd.key == "gap" and cmd.value is not None:
            _plausible_gap(cmd.value, self.root.units or "cm", old)
        if cmd.key != "name" or not isinstance(cmd.value, str):
            return made
        new, text = cmd.value.strip(), made.text
        for kind in ("piece", "remnant"):
            for index, raw in enumerate(self.raw(kind)):
                if raw.get("cloth") == old:
                    text = text.set(kind, index, "cloth", new)
        for index, raw in enumerate(self.raw("garment")):
            for source, target in dict(raw.get("cloth", {})).items():
                if target == old:
                    text = text.set("garment", index, ("cloth", source), new)
        return Edit(f"name of cloth {old}", text)

    def _cloth_add(self, cmd: ask.ClothAdd) -> Edit:
        name = cmd.name.strip()
        if any(one.get("name") == name for one in self.raw("cloth")):
            raise Refused(
                "twice", f"there is a cloth '{name}' already: give this one another name", view="cloth", field="name"
            )
        self.read("cloth", "name", name, name)
        if not name:
            raise Refused("empty", "give the cloth a name", view="cloth", field="name")
        width = self.read("cloth", "width", cmd.width, name)
        if width is None:
            raise Refused("empty", "say how wide it is, selvage to selvage", view="cloth", field="width")
        _plausible_width(width, self.root.units or "cm", name)
        return Edit(
            f"cloth {name} added",
            self.text.add("cloth", {"name": name, "width": width}),
            {"index": self.text.count("cloth")},
        )

    def _cloth_remove(self, cmd: ask.ClothRemove) -> Edit:
        name = str(self.block("cloth", cmd.index).get("name"))
        using = sorted({cut.name for cut in self.survey.ready.values() if cut.cloth == name})
        if using and len(self.raw("cloth")) > 1:
            message = f"'{name}' is needed for {', '.join(using)}: give another cloth there first"
            raise Refused("in-use", message, view="cloth", cloth=name)
        return Edit(f"cloth {name} taken out", self.text.remove("cloth", cmd.index), lenient=True)

    def _cloth_wash(self, cmd: ask.WashTest) -> Edit:
        return self._tested(cmd.index, {"shrink_along": cmd.along, "shrink_across": cmd.across}, "wash test", -1.0)

    def _cloth_ruler(self, cmd: ask.RulerTest) -> Edit:
        return self._tested(cmd.index, {"stretch_along": cmd.along, "stretch_across": cmd.across}, "ruler test", 1.0)

    def _tested(self, index: int, tests: Mapping[str, list[str] | None], what: str, sign: float) -> Edit:
        name = str(self.block("cloth", index).get("name"))
        text, result = self.text, {}
        for key, pair in tests.items():
            if pair is None:
                continue
            if len(pair) != 2 or not all(one.strip() for one in pair):
                raise Refused("two-lengths", "give both lengths, before and after", view="cloth", cloth=name, field=key)
            before, after = (parse_length(one.strip(), self.root.units or "cm") for one in pair)
            if before <= 0:
                raise Refused("not-a-length", "the first length must be more than nothing", view="cloth", field=key)
            share = sign * (after - before) / before
            if share < 0 or (sign < 0 and share >= 0.5):
                wanted = (
                    "stretched, it is longer than at rest" if sign > 0
                    else "a cloth that grows in the wash is not reckoned with" if share < 0
                    else "so much is not believed"
                )  # fmt: skip
                raise Refused(
                    "unlikely",
                    f"{pair[0]} to {pair[1]}: {wanted}; measure again, the first length first",
                    view="cloth",
                    cloth=name,
                    field=key,
                )
            written = format_share(share, 1)
            text = text.set("cloth", index, key, written)
            result[key.rpartition("_")[2]] = written
        if not result:
            raise Refused("two-lengths", "give both lengths, before and after", view="cloth", cloth=name)
        return Edit(f"{what} of {name}", text, dict(result))

    def _remnant_add(self, cmd: ask.RemnantAdd) -> Edit:
        if not any(one.get("name") == cmd.cloth for one in self.raw("cloth")):
            raise Refused("no-cloth", f"there is no cloth '{cmd.cloth}' in this order", view="cloth", field="cloth")
        taken = {str(one.get("name")) for one in self.raw("remnant")}
        name = cmd.name.strip()
        if not name:
            name = next(n for n in ("leftover", *(f"leftover {k}" for k in range(2, len(taken) + 3))) if n not in taken)
        elif name in taken:
            raise Refused(
                "twice",
                f"there is a leftover '{name}' already: give this one another name",
                view="cloth",
                field="name",
            )
        values = {"name": name, "cloth": cmd.cloth}
        if cmd.from_stash:
            from nesting.page.cloth_doc import stash_file
            from nesting.planning.leftovers.stash import read_stash

            found = next(
                (r for r in read_stash(stash_file(self.survey.path.parent)).remnants if r.name == cmd.name), None
            )
            if found is None or not found.rectangular:
                raise Refused(
                    "not-a-rectangle",
                    f"'{cmd.name}' is no rectangle: it counts under Buy & use up as it is drawn, without being added",
                    view="cloth",
                )
            xs, ys = [p[0] for p in found.outline], [p[1] for p in found.outline]
            values |= {"width": f"{max(ys) - min(ys):g} mm", "length": f"{max(xs) - min(xs):g} mm"}
        else:
            values |= {
                "width": self.read("remnant", "width", cmd.width, cmd.name),
                "length": self.read("remnant", "length", cmd.length, cmd.name),
            }
            if not (values["width"] and values["length"]):
                raise Refused("empty", "give both its width and its length", view="cloth", field="width")
        return Edit(f"leftover {name} added", self.text.add("remnant", values))

    def _remnant_remove(self, cmd: ask.RemnantRemove) -> Edit:
        one = self.block("remnant", cmd.index)
        return Edit(f"leftover {one.get('name')} taken out", self.text.remove("remnant", cmd.index), lenient=True)

    does: ClassVar[Mapping[type[ask.Command], Callable[..., Edit]]] = {
        ask.OrderSet: _order_set,
        ask.GarmentSet: _garment_set,
        ask.GarmentAdd: _garment_add,
        ask.GarmentRemove: _garment_remove,
        ask.GarmentCounts: _garment_counts,
        ask.BandAdd: _band_add,
        ask.BandSet: _band_set,
        ask.BandRemove: _band_remove,
        ask.ClothSet: _cloth_set,
        ask.ClothAdd: _cloth_add,
        ask.ClothRemove: _cloth_remove,
        ask.WashTest: _cloth_wash,
        ask.RulerTest: _cloth_ruler,
        ask.RemnantAdd: _remnant_add,
        ask.RemnantRemove: _remnant_remove,
    }


def _plausible_width(value: Any, units: str, cloth: str) -> None:
    """A cloth of 150 mm was meant to be one of 150 cm."""
    mm = parse_length(value, units)
    if mm < 200.0:
        number = re.sub(r"\s*[a-zA-Z″\"]+\.?$", "", str(value)).strip()
        raise Refused(
            "too-narrow",
            f"{value} is only {mm / 10:g} cm wide, which no cloth is: was {number} cm meant?",
            [f"{number} cm"],
            view="cloth",
            cloth=cloth,
            field="width",
        )
    if mm > 5000.0:
        raise Refused(
            "too-wide",
            f"{value} is {mm / 1000:g} m wide, wider than cloth is woven: was {mm / 10000:g} m meant?",
            view="cloth",
            cloth=cloth,
            field="width",
        )


def _plausible_gap(value: Any, units: str, cloth: str) -> None:
    """A gap of 3 was meant to be one of 3 mm, where numbers without a unit are centimetres or inches."""
    number = str(value).strip()
    if units in ("cm", "in") and re.fullmatch(r"\d+", number) and int(number) > 0:
        other = f"{number} mm" if units == "cm" else f"{number}/16 in"
        raise Refused(
            "too-wide",
            f"{number} without a unit is {number} {units} between any two pieces: was {other} meant?",
            [other, f"{number} {units}"],
            view="cloth",
            cloth=cloth,
            field="gap",
        )
