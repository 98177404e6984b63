"""What was read and done on a practice car, line by line as in a job file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from idlewright.family.kinds import Family, Fault, Repair
from idlewright.physics.meter import Meter

Line = dict[str, object]


@dataclass(slots=True)
class Notebook:
    """Readings and repairs in the order in which they were made."""

    family: Family
    _readings: list[Line] = field(default_factory=list)
    _done: list[Line] = field(default_factory=list)

    def checked(self, check_id: str, text: str, meter: Meter) -> None:
        """Note a check and what was typed."""
        self._note({"check": check_id, "value": text}, meter)

    def read_between(
        self,
        red: str,
        black: str,
        function: str,
        state: Mapping[str, str],
        text: str,
        meter: Meter,
    ) -> None:
        """Note a reading between two places and what was typed."""
        places: Line = {"red": red, "black": black, "function": function, "state": dict(state)}
        self._note({**places, "value": text}, meter)

    def repaired(self, repair_id: str) -> None:
        """Note a repair."""
        after = self._readings[-1]["id"] if self._readings else "start"
        self._done.append({"repair": repair_id, "after": after})

    def lines(self, now: Mapping[str, str]) -> dict[str, list[Line]]:
        """The lines of a job file; a plug that stands otherwise `now` is said beside a reading."""
        return {
            "reading": [{**line, **self._plugs(line, now)} for line in self._readings],
            "done": [dict(line) for line in self._done],
        }

    def _note(self, line: Line, meter: Meter) -> None:
        named: Line = {"meter": meter.id} if meter.stated else {}
        self._readings.append({"id": f"r{len(self._readings) + 1}", **line, **named})

    def _plugs(self, line: Line, now: Mapping[str, str]) -> Line:
        check = self.family.checks.get(str(line.get("check", "")))
        if check is None:
            return {}
        sits_at = {
            contact_of(self.family, f"{place.removesuffix('.part')}.ohm")
            for place in (check.red, check.black)
            if place is not None
        }
        state = {
            name: self.family.full_state(check.state)[name]
            for name, variable in self.family.states.items()
            if "unplugged" in variable.values and (name in check.state or name in sits_at)
        }
        other = {name: value for name, value in state.items() if now[name] != value}
        return {"state": other} if other else {}


def contact_of(family: Family, scalar: str) -> str | None:
    """The connector whose contact a scalar is the resistance of, or None."""
    resistor = family.resistors.get(scalar.removesuffix(".ohm"))
    if resistor is None or resistor.ohm != scalar:
        return None
    return next((name for name, values in resistor.when.items() if values == ("plugged",)), None)


def induced_by(family: Family, repair: Repair) -> list[Fault]:
    """Faults that work brings in, where this repair's work is done."""
    starts = tuple(f"{prefix}." for prefix in repair.renews)
    areas = {fault.rpartition(".")[0] for fault in repair.cures}
    return [
        fault
        for fault in family.faults.values()
        if fault.induced
        and (
            fault.id.rpartition(".")[0] in areas
            or any(span.scalar.startswith(starts) for span in fault.spans)
            or any(contact_of(family, span.scalar) in repair.reseats for span in fault.spans)
        )
    ]
