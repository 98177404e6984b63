"""Whether what the engine's lines name is there: its idle control, and what its fit reads."""

from __future__ import annotations

from idlewright.family.referee import Referee

READ_SPEED = "engine.speed"
READ_VACUUM = "engine.vacuum"


def check_engine(referee: Referee) -> None:
    """Report what the idle control names and is not there, and what the fit lacks."""
    _control(referee)
    if referee.port is None:
        _fits(referee)


def _control(referee: Referee) -> None:
    draft, control = referee.draft, referee.draft.control
    if control is None:
        return
    where = ("engine", "control")
    referee.need((*where, ("target",)), [control.target], draft.scalar, "scalar")
    for key, table in (("low", control.low), ("high", control.high), ("parked", control.parked)):
        referee.states((*where, (key,)), table)
    referee.need((*where, ("actuator",)), control.actuator, draft.motor, "motor or coil")
    if (control.closed_between is None) != (control.closed_below_v is None):
        referee.report(*where, ("closed_between",), "closed_between and closed_below_v go together",
                       "two places, and the volts between them", "add the other")
    places = [*draft.point, *draft.part_point, *draft.nodes]
    referee.need((*where, ("closed_between",)), control.closed_between or (), places,
                 "place a lead can go")


def _fits(referee: Referee) -> None:
    """The state of each fitted area, and the vacuum, are those of checks against the sheet."""
    draft = referee.draft
    fitted = [scalar for scalar in draft.scalar.values() if scalar.value.fit]
    read = {
        (check.of, check.spec.sheet)
        for check in draft.check.values()
        if check.spec is not None and check.spec.sheet is not None
    }
    for scalar in fitted:
        key = scalar.value.sheet
        if key in draft.sheet and (READ_SPEED, key) not in read:
            referee.report("scalar", scalar.id, ("is",), f"no check reads {READ_SPEED} against "
                           f"sheet.{key}", "one, so that the state of that speed is known",
                           f'add a check with of = "{READ_SPEED}" and spec = "sheet.{key}"')
    if fitted and all(of != READ_VACUUM for of, _ in read):
        referee.report("scalar", fitted[0].id, ("is",),
                       f"no check reads {READ_VACUUM} against the sheet",
                       "one, so that the engine can be fitted to this car",
                       f'add a check with of = "{READ_VACUUM}" and spec = "sheet.vacuum_kpa", '
                       'in the state of this speed; or write a plain number for "fit …"')
