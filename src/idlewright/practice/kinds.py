"""Kinds of practice cars: what a teacher, or a study, asks for instead of a certain fault."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Family, Fault
from idlewright.family.names import did_you_mean
from idlewright.practice.chance import Chance

MISUSE = 0.15
"""Chance that a reading is a slip on a car on which the meter is misused."""


@dataclass(frozen=True, slots=True)
class Hiding:
    """What to hide.

    Attributes:
        faults: fault ids; () = drawn by the family's weights. nothing: chance of nothing wrong.
        intermittent: share of faults that come and go; None = by their weights.
        slip: chance that a reading is a slip of the hand.
    """

    faults: tuple[str, ...] = ()
    nothing: float = 0.0
    intermittent: float | None = None
    slip: float = 0.0


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind: its name, what is said of it, and what it hides on a car of a family."""

    name: str
    says: str
    hide: Callable[[Family, Chance], Hiding]


def kind_named(name: str) -> Kind:
    """The kind of a name.

    Raises:
        BadInput: there is none.
    """
    if name in KINDS:
        return KINDS[name]
    remedy = did_you_mean(name, KINDS, "kind")
    raise BadInput(
        Problem(f'there is no kind "{name}"', "one of " + ", ".join(KINDS), remedy, key="kind")
    )


def clash(faults: Iterable[Fault]) -> tuple[str, str] | None:
    """Two faults that cannot be there together, for both set the same value; None if all can."""
    owner: dict[str, str] = {}
    for fault in faults:
        for scalar in {span.scalar for span in fault.spans}:
            if owner.setdefault(scalar, fault.id) != fault.id:
                return owner[scalar], fault.id
    return None


def _came_by(how: str) -> Callable[[Family, Chance], Hiding]:
    def hide(family: Family, chance: Chance) -> Hiding:
        faults = [fault for fault in family.faults.values() if fault.came_by == how]
        if not faults:
            raise BadInput(
                Problem(f"no fault of {family.id} has come by a {how}", "another kind or family",
                        f'say came_by = "{how}" in a line of its [fault]', key="kind")
            )  # fmt: skip
        return Hiding((_drawn(faults, chance, "kind").id,))

    return hide


def _two(family: Family, chance: Chance) -> Hiding:
    first = _drawn(list(family.faults.values()), chance, "first")
    others = [f for f in family.faults.values() if f is not first and not clash((first, f))]
    if not others:
        says = f"{family.id} has no two faults that can be there together"
        raise BadInput(Problem(says, "another kind or family", key="kind"))
    return Hiding((first.id, _drawn(others, chance, "second").id))


def _no_part(family: Family, chance: Chance) -> Hiding:
    learned = [fault for fault in family.faults.values() if fault.came_by == "learned values"]
    if learned and chance.happens(0.5, "learned"):
        return Hiding((_drawn(learned, chance, "kind").id,))
    return Hiding(nothing=1.0)


def _intermittent(family: Family, chance: Chance) -> Hiding:
    faults = [fault for fault in family.faults.values() if fault.intermittent]
    if not faults:
        says = f"no fault of {family.id} comes and goes"
        raise BadInput(Problem(says, "another kind or family", key="kind"))
    return Hiding((_drawn(faults, chance, "kind").id,))


def _misused(family: Family, chance: Chance) -> Hiding:
    return Hiding(slip=MISUSE)


def _drawn(faults: list[Fault], chance: Chance, what: str) -> Fault:
    """One of them by their weights."""
    pick = float(chance.of("kind", what).random()) * sum(fault.weight for fault in faults)
    for fault in faults:
        pick -= fault.weight
        if pick < 0.0:
            return fault
    return faults[-1]


KINDS: Final[Mapping[str, Kind]] = {
    kind.name: kind
    for kind in (
        Kind("intermittent", "a fault that comes and goes", _intermittent),
        Kind("two-faults", "two faults at once", _two),
        Kind("stop-screw", "somebody turned the stop screw", _came_by("stop screw")),
        Kind("wrong-part", "somebody fitted the wrong new part", _came_by("wrong part")),
        Kind("slips", "the meter is misused now and then", _misused),
        Kind("no-part", "nothing is wrong, or only what the computer learned", _no_part),
    )
}  # fmt: skip
"""Every kind by name."""
