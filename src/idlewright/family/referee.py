"""Asks of every name in a draft: is there such a thing? Gathers the answers that are no."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from idlewright.errors import Problem
from idlewright.family.draft import Draft, Origin, Wanted
from idlewright.family.kinds import StateVariable
from idlewright.family.names import closest, did_you_mean, matching
from idlewright.family.positions import Path
from idlewright.family.schema import Port

PLUGGED = ("plugged", "unplugged")


class Referee:
    """Looks names up in a finished draft.

    Args:
        draft: the finished draft. port: the port of a part that is looked at alone, or None for a
            family. A part may name what its port lists, cautions, tools and sheet entries of its
            future family, and the engine's scalars.
    """

    def __init__(self, draft: Draft, port: Port | None) -> None:
        self.draft = draft
        self.port = port
        self.problems: list[Problem] = []
        self.elements = {*draft.resistor, *draft.source, *draft.motor}
        self.elements |= {m.element for m in draft.movers}
        self.foreign = set(port.id) if port else set()
        self.port_states = set(port.state) if port else set()
        self.connectors = {
            name for name, v in draft.state.items() if set(PLUGGED) <= set(v.values)
        } | self.port_states

    def report(
        self, section: str, record_id: str, at: Path, says: str, expected: str, remedy: str
    ) -> None:
        """Note a problem of a record, at a key of its line (generated records: at the line)."""
        origin = self.draft.origin(section, record_id)
        made = (section, record_id) in self.draft.made
        self.problems.append(origin.problem(says, expected, remedy, () if made else at))

    def excused(self, name: str) -> bool:
        """True for a name that was refused already, or that a part's user will supply."""
        if self.draft.is_broken(name) or name in self.foreign:
            return True
        return self.port is not None and name.startswith("engine.")

    def need(
        self,
        where: tuple[str, str, Path],
        names: Iterable[str],
        known: Iterable[str],
        what: str,
        *,
        beginnings: bool = False,
    ) -> None:
        """Report every one of `names` that is not known.

        Args:
            where: section, record id, key. what: "scalar", "fault", … for the sentence.
            beginnings: the beginning of a known id will do (`gnd` for `gnd.ohm`).
        """
        section, record_id, at = where
        shared = self.draft.partial and what in SHARED_NAMES
        names, ids = list(names), list(known)
        whole = set(ids)
        for name in names:
            if name in whole or self.excused(name):
                continue
            if beginnings and any(item.startswith(f"{name}.") for item in ids):
                continue
            if "*" in name and matching(name, ids):
                continue
            if shared and closest(name, ids) is None:
                continue  # it may well come from the part that could not be read
            prefix = self.draft.origin(section, record_id).prefix
            if owner := self._left_out(name):
                local = owner.removeprefix(prefix)
                line = f'{section} "{record_id.removeprefix(prefix)}"'
                self.report(section, record_id, at, f'"{local}" is left out, and {line} needs it',
                            "no line that needs what is left out",
                            f"name this line under without as well, or keep {local}")
                continue
            local = name.removeprefix(prefix)
            candidates = {item.removeprefix(prefix) for item in ids}
            self.report(
                section,
                record_id,
                (*at, local) if at and at[-1] in TABLES else at,
                f'there is no {what} "{local}"',
                f"the id of a {what}",
                did_you_mean(local, candidates, what),
            )

    def _left_out(self, name: str) -> str:
        """The id under some `without` that `name` is or belongs to; "" if there is none."""
        parts = name.split(".")
        owners = (".".join(parts[:count]) for count in range(len(parts), 0, -1))
        return next((owner for owner in owners if owner in self.draft.dropped), "")

    def states(
        self, where: tuple[str, str, Path], table: Mapping[str, str | tuple[str, ...]]
    ) -> None:
        """Report unknown state variables, and values they never have."""
        section, record_id, at = where
        prefix = self.draft.origin(section, record_id).prefix
        for name, given in table.items():
            variable: StateVariable | None = self.draft.state.get(name)
            local = name.removeprefix(prefix)
            if variable is None:
                if name in self.port_states or self.excused(name):
                    continue
                known = {v.removeprefix(prefix) for v in (*self.draft.state, *self.port_states)}
                self.report(section, record_id, (*at, local),
                            f'there is no state variable "{local}"', "a line of [state]",
                            did_you_mean(local, known, "variable"))
                continue
            for value in (given,) if isinstance(given, str) else given:
                if value not in variable.values:
                    self.report(section, record_id, (*at, local),
                                f'{local} is never "{value}"',
                                "one of " + ", ".join(variable.values),
                                did_you_mean(value, variable.values, "value"))

    def cautions_and_tools(
        self, section: str, record_id: str, cautions: Iterable[str], tools: Iterable[str] = ()
    ) -> None:
        """Report unknown cautions and tools (a part may name its family's)."""
        if self.port is not None:
            return
        self.need((section, record_id, ("caution",)), cautions, self.draft.caution, "caution")
        self.need((section, record_id, ("tools",)), tools, self.draft.tool, "tool")

    def sheet_key(self, section: str, record_id: str, at: Path, key: str) -> bool:
        """True if the sheet entry exists; reports it when it does not (a part: no report)."""
        if key in self.draft.sheet:
            return True
        hopeless = self.draft.partial and closest(key, self.draft.sheet) is None
        if self.port is None and not hopeless and not self.excused(key):
            self.report(section, record_id, at, f'there is no sheet entry "{key}"',
                        "a line of [sheet]", did_you_mean(key, self.draft.sheet, "entry"))
        return False

    def wanted(self) -> None:
        """Report what used parts ask of this file and it does not have."""
        draft = self.draft
        for state in draft.wanted_states:
            if state.name not in draft.state and state.name not in self.port_states:
                self._lacking(state, "state variable", draft.state, ("state",))
        ids = draft.ids(
            ("scalar", "resistor", "source", "motor", "fault", "check", "repair", "step")
        ) | {*self.elements, *self.foreign}
        for wanted in draft.wanted_ids:
            if wanted.name not in ids and not self.excused(wanted.name):
                self._lacking(wanted, "id", ids, ("join", wanted.key))
        ends = self._ends_by_prefix()
        for wanted in draft.wanted_nodes:
            self._wanted_node(wanted, ends)
        for node in self.port.node if self.port else ():
            self._port_node(node)

    def _port_node(self, node: str) -> None:
        """A port node that the part does not know, but that looks like one that it hides."""
        hidden = [name for name in self.draft.nodes if self.port and name not in self.port.node]
        near = closest(node, hidden)
        leads = {lead for check in self.draft.check.values() for lead in (check.red, check.black)}
        known = node in self.draft.nodes or node in leads or self.draft.lost
        if near is not None and not known:
            self.problems.append(
                Origin(self.draft.document, ("port", "node")).problem(
                    f'nothing in this part touches "{node}"', "a node of the part",
                    f'did you mean "{near}"?')
            )

    def _wanted_node(self, wanted: Wanted, ends: Mapping[str, set[str]]) -> None:
        """A node that a part is joined with must be touched by something else than that part."""
        node = self.draft.point.get(wanted.name) or self.draft.part_point.get(wanted.name)
        users = ends.get(node or wanted.name, set())
        if any(not user.startswith(wanted.user) for user in users) or self.draft.lost:
            return
        if self.port is not None and wanted.name in self.port.node:
            return
        near = closest(wanted.name, [name for name in ends if name != wanted.name])
        hint = f'did you mean "{near}"?' if near else "name a node that something else ends on"
        says = f'nothing else touches "{wanted.name}"'
        at: Path = ("join", wanted.key)
        if not wanted.key:
            says, at = f'the part\'s node "{wanted.name}" is not joined', ("join",)
            hint = f'add "{wanted.name}" = "…" to join; {hint}'
        self.problems.append(
            wanted.origin.problem(says, "a node of this file, or a place a lead can go", hint, at)
        )

    def _ends_by_prefix(self) -> dict[str, set[str]]:
        """Node -> prefixes of the parts whose elements end on it ("" = this file)."""
        found: dict[str, set[str]] = {"chassis": {""}, self.draft.zero: {""}}
        for section in ("resistor", "source", "motor"):
            for name, element in self.draft.table(section).items():
                prefix = self.draft.origin(section, name).prefix
                ends = (
                    (element.plus, element.minus) if section == "source" else (element.a, element.b)
                )
                for node in ends:
                    found.setdefault(node, set()).add(prefix)
        return found

    def _lacking(self, wanted: Wanted, what: str, known: Iterable[str], at: Path) -> None:
        if self.draft.is_broken(wanted.name):
            return
        remedy = did_you_mean(wanted.name, known, what)
        if what == "state variable":
            remedy += " (map it with state = { … })"
        self.problems.append(
            wanted.origin.problem(f'the part needs {what} "{wanted.name}", which is not here',
                                  f"a {what} of this file", remedy, at)
        )


SHARED_NAMES = ("caution", "tool", "sheet entry or scalar")
"""Names that any part may bring in without a prefix."""

TABLES = frozenset({"set", "shift", "times", "cures", "raises", "lowers", "shows"})
"""Keys whose value is a table by id: the id belongs to the place of a problem."""
