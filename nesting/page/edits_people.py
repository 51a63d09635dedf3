"""What commands do to the order's text: wearers, openings, trims."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import ClassVar

from nesting.files.orders.order_schema import BLOCKS, read_block
from nesting.model.units import parse_length
from nesting.page import protocol as ask
from nesting.page.editing import Edit, Edits, Refused
from nesting.page.renaming import raw_blocks

__all__ = ["PeopleEdits"]

#: mm; a child's wrist is longer, and nobody is taller
LEAST_MEASURE, MOST_MEASURE = 50.0, 3000.0


class PeopleEdits(Edits):
    """Wearers, openings, trims."""

    def _wearer_add(self, cmd: ask.WearerAdd) -> Edit:
        if "wearer" not in BLOCKS:
            raise Refused("not-yet", "this version of the program knows no wearers", view="cloth")
        self._new_name(cmd.name.strip())
        values = {"name": cmd.name.strip(), "measures": dict(cmd.measures) or None}
        read_block({k: v for k, v in values.items() if v is not None}, BLOCKS["wearer"], self.root.at("wearer[new]"))
        return Edit(f"wearer {cmd.name} added", self.text.add("wearer", values), {"index": self.text.count("wearer")})

    def _wearer_set(self, cmd: ask.WearerSet) -> Edit:
        one = self.block("wearer", cmd.index)
        name = str(one.get("name"))
        if cmd.key == "name":
            return self._wearer_named(cmd.index, name, str(cmd.value or "").strip())
        if not cmd.key.startswith("measures."):
            return self.set("wearer", cmd.index, cmd.key, cmd.value, name)
        measure = cmd.key.partition(".")[2]
        value = str(cmd.value).strip() if cmd.value is not None else None
        if not measure.strip():
            raise Refused("empty", "give the measure a name, such as hip", view="cloth", field="measures")
        if value:
            mm = parse_length(value, self.root.units or "cm")
            if not LEAST_MEASURE <= mm <= MOST_MEASURE:
                raise Refused(
                    "unlikely",
                    f"{measure.replace('_', ' ')}: {value} would be {mm / 10:g} cm, which nobody measures there: look "
                    "at the number and its unit",
                    view="cloth",
                    field=f"measures.{measure}",
                )
        text = self.text.set("wearer", cmd.index, ("measures", measure), value or None)
        return Edit(f"{measure} of {name}", text)

    def _wearer_named(self, index: int, old: str, new: str) -> Edit:
        """Garments and alterations of the wearer go along with the name."""
        self._new_name(new, besides=index)
        text = self.text.set("wearer", index, "name", new)
        for kind in ("garment", "alter"):
            for at, one in enumerate(raw_blocks(self.text, kind)):
                if one.get("wearer") == old:
                    text = text.set(kind, at, "wearer", new)
        return Edit(f"{old} is called {new}", text)

    def _new_name(self, name: str, besides: int | None = None) -> None:
        if not name:
            raise Refused("empty", "give the wearer a name", view="cloth", field="name")
        for at, one in enumerate(raw_blocks(self.text, "wearer")):
            if at != besides and one.get("name") == name:
                raise Refused(
                    "twice",
                    f"there is a {name} already: give the other one a name that tells them apart",
                    view="cloth",
                    field="name",
                )

    def _wearer_remove(self, cmd: ask.WearerRemove) -> Edit:
        name = self.block("wearer", cmd.index).get("name")
        cut = [str(one.get("name")) for one in raw_blocks(self.text, "garment") if one.get("wearer") == name]
        altered = sum(one.get("wearer") == name for one in raw_blocks(self.text, "alter"))
        if cut or altered:
            used = [f"{' and '.join(cut)} {'is' if len(cut) == 1 else 'are'} cut for {name}"] if cut else []
            used += (
                [f"{name} has {altered} alteration{'s' if altered > 1 else ''} under Alterations"] if altered else []
            )
            raise Refused("in-use", f"{'; '.join(used)}: change that first", view="cloth", field="wearer")
        return Edit(f"wearer {name} taken out", self.text.remove("wearer", cmd.index), lenient=True)

    def _opening_add(self, cmd: ask.OpeningAdd) -> Edit:
        if not cmd.name.strip():
            raise Refused("empty", "give the opening a name, such as leg or waist", view="cloth", field="name")
        if not cmd.edges:
            raise Refused("empty", "choose the edges that go round it", view="cloth", field="edges")
        wanted = {"name": cmd.name.strip(), "edges": list(cmd.edges), "sits": cmd.sits, "passes": cmd.passes}
        values = {key: self.read("opening", key, value, cmd.name) for key, value in wanted.items()}
        if values["sits"] is None and values["passes"] is None:
            raise Refused("empty", "say what it sits on or what it must pass", view="cloth", field="sits")
        index = self.text.count("opening")
        return Edit(f"opening {cmd.name} added", self.text.add("opening", values), {"index": index})

    def _opening_set(self, cmd: ask.OpeningSet) -> Edit:
        one = self.block("opening", cmd.index)
        return self.set("opening", cmd.index, cmd.key, cmd.value, str(one.get("name")))

    def _opening_remove(self, cmd: ask.OpeningRemove) -> Edit:
        name = self.block("opening", cmd.index).get("name")
        return Edit(f"opening {name} taken out", self.text.remove("opening", cmd.index), lenient=True)

    def _trim_add(self, cmd: ask.TrimAdd) -> Edit:
        name = cmd.name.strip()
        if not name:
            raise Refused("empty", "give it a name, such as leg elastic 8 mm", view="cloth", field="name")
        if not cmd.edges:
            raise Refused("empty", "choose the edges that it is sewn to", view="cloth", field="edges")
        values = {"name": name, "kind": cmd.kind, "edges": list(cmd.edges)}
        for key, value in values.items():
            self.read("trim", key, value, name)
        return Edit(f"{cmd.kind} {name} added", self.text.add("trim", values), {"index": self.text.count("trim")})

    def _trim_set(self, cmd: ask.TrimSet) -> Edit:
        one = self.block("trim", cmd.index)
        name = str(one.get("name"))
        table, dot, edge = cmd.key.partition(".")
        if not dot:
            return self.set("trim", cmd.index, cmd.key, cmd.value, name)
        given = None if cmd.value in (None, "") else self.read("trim", "ratio", cmd.value, name)
        return Edit(f"{edge} of {name}", self.text.set("trim", cmd.index, (table, edge), given))

    def _trim_remove(self, cmd: ask.TrimRemove) -> Edit:
        name = self.block("trim", cmd.index).get("name")
        return Edit(f"{name} taken out", self.text.remove("trim", cmd.index), lenient=True)

    does: ClassVar[Mapping[type[ask.Command], Callable[..., Edit]]] = {
        ask.WearerAdd: _wearer_add,
        ask.WearerSet: _wearer_set,
        ask.WearerRemove: _wearer_remove,
        ask.OpeningAdd: _opening_add,
        ask.OpeningSet: _opening_set,
        ask.OpeningRemove: _opening_remove,
        ask.TrimAdd: _trim_add,
        ask.TrimSet: _trim_set,
        ask.TrimRemove: _trim_remove,
    }
