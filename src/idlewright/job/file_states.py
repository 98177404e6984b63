"""Whether a job's states go together: plugs both on and off, ohms on a live circuit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Family, Sheet
from idlewright.family.textfile import Document
from idlewright.job.entries import ReadingEntry

UNPLUGGED = "unplugged"
METER_OHM = 10e3
"""An ohmmeter's own resistance on a middle range (from memory): what a foreign source drives."""


def check_states(
    document: Document,
    family: Family,
    sheet: Sheet,
    now: Mapping[str, str],
    entries: Sequence[ReadingEntry],
    problems: list[Problem],
) -> None:
    """Add what contradicts: [state] with the last reading at a plug; ohms where volts stand."""
    places = {item["id"]: index for index, item in _readings(document)}
    counting = [entry for entry in entries if entry.counts]
    _plugs(document, family, now, counting, places, problems)
    for entry in counting:
        said = entry.check is None or entry.says_state
        places_of = (entry.red, entry.black)
        if entry.function == "ohm" and said and live_between(family, sheet, places_of, entry.state):
            problems.append(
                document.problem(
                    ("reading", places[entry.id], "function" if entry.check is None else "check"),
                    "an ohmmeter was used while the circuit is live: " + _live(family, entry),
                    "ohms on a dead circuit only",
                    "switch off or unplug, read again and say the state; strike this reading",
                )
            )


def _readings(document: Document) -> list[tuple[int, dict[str, str]]]:
    raw = document.data.get("reading")
    items = enumerate(raw) if isinstance(raw, list) else ()
    return [
        (index, item)
        for index, item in items
        if isinstance(item, dict) and isinstance(item.get("id"), str)
    ]


def _plugs(
    document: Document,
    family: Family,
    now: Mapping[str, str],
    entries: Sequence[ReadingEntry],
    places: Mapping[str, int],
    problems: list[Problem],
) -> None:
    """[state] says what a plug is now: the last check made at that plug must agree."""
    for name, value in now.items():
        if UNPLUGGED not in family.states[name].values:
            continue
        last = next((entry for entry in reversed(entries) if _depends(family, entry, name)), None)
        if last is None or last.check is None or name in last.says_state:
            continue
        needed = last.state[name]
        if needed == value:
            continue
        here, there = ("reading", places[last.id], "check"), ("state", name)
        says = f'check {last.check} of reading {last.id} is made with {name} = "{needed}"'
        also = f'[state] says {name} = "{value}"'
        remedy = f'correct [state], or add state = {{ "{name}" = … }} to the reading'
        for path, first, second, other in ((here, says, also, there), (there, also, says, here)):
            line = document.line(other)
            at = f" (line {line})" if line else ""
            problems.append(
                document.problem(path, f"{first}, but {second}{at}", "one of the two", remedy)
            )


def _depends(family: Family, entry: ReadingEntry, connector: str) -> bool:
    """True if a reading's check needs the plug on or off: it says so, or a lead sits at it."""
    check = family.checks.get(entry.check or "")
    if check is None:
        return False
    if connector in check.state:
        return True
    return any(
        place is not None and _at(family, place, connector) for place in (check.red, check.black)
    )


def _at(family: Family, place: str, connector: str) -> bool:
    resistor = family.resistors.get(place.removesuffix(".part"))
    return resistor is not None and connector in resistor.when


def live_between(
    family: Family,
    sheet: Sheet,
    places: tuple[str | None, str | None],
    state: Mapping[str, str],
) -> bool:
    """True if the good car drives current through an ohmmeter between two places.

    Args:
        family, sheet: of the car. places: of the red and the black lead; None = nowhere.
        state: a full car state.
    """
    import numpy as np

    from idlewright.model.circuit import CircuitState
    from idlewright.model.scalars import resolve_scalars
    from idlewright.model.worlds import Worlds
    from idlewright.physics.meter import LIVE_VOLT

    red, black = places
    if red is None or black is None:
        return False
    try:
        table = resolve_scalars(family, sheet)
    except BadInput:
        return False  # values are missing: the model says so when it is asked
    worlds = Worlds(table, np.ascontiguousarray(table.nominal[:1].T))
    circuit = CircuitState(family, table, state)
    if not circuit.live:
        return False
    ends = [family.points.get(p) or family.part_points.get(p) or p for p in (red, black)]
    port = circuit.port(worlds, ends[0], ends[1])
    through = port.volts / (1.0 + port.ohms / METER_OHM)
    return bool(abs(through[0]) > LIVE_VOLT)


def _live(family: Family, entry: ReadingEntry) -> str:
    """The state that makes it live, in the words of the file."""
    named: dict[str, str] = {}
    for source in family.sources.values():
        for name in source.when:
            if entry.state.get(name) in source.when[name]:
                named[name] = entry.state[name]
    words = [f"{name} = {value}" for name, value in named.items()]
    return ", ".join(words) or "a source is connected"
