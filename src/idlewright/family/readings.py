"""Whether each check asks for something that can be read, with limits and words that fit."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from idlewright.family.finish import UNIT_OF_READ
from idlewright.family.kinds import Check, Limit
from idlewright.family.names import did_you_mean
from idlewright.family.referee import Referee

CIRCUIT_READS = ("volt", "volt_ac", "ohm")
ENGINE_OBSERVABLES = {
    "engine.speed": "rpm", "engine.vacuum": "kPa", "engine.controlled_speed": "rpm",
}  # fmt: skip
MOTOR_OBSERVABLES = {"turns": "word", "volts": "volt", "seconds": "s", "amp": "amp"}
COIL_OBSERVABLES = {"pulls": "word", "amp": "amp"}


def check_checks(referee: Referee) -> None:
    """Look at every check of the draft."""
    for check in referee.draft.check.values():
        _states(referee, check)
        if check.read in CIRCUIT_READS and check.of is None:
            _leads(referee, check)
        else:
            _observable(referee, check)
        _words(referee, check)
        if check.spec is not None:
            _spec(referee, check, check.spec)
        _ratio(referee, check)
        _names(referee, check)


def _states(referee: Referee, check: Check) -> None:
    where = ("check", check.id)
    referee.states((*where, ("in",)), check.state)
    referee.states((*where, ("leaves",)), check.leaves)
    if check.compare_with is not None:
        referee.states((*where, ("compare_with",)), check.compare_with)


def _leads(referee: Referee, check: Check) -> None:
    draft = referee.draft
    places = [*draft.point, *draft.part_point, *draft.nodes]
    if referee.port is not None:
        places += referee.port.node
    for key, place in (("red", check.red), ("black", check.black)):
        if place is None:
            referee.report("check", check.id, (key,), f"{key} is missing",
                           f"a place for the {key} lead", f'add {key} = "…"')
        else:
            referee.need(("check", check.id, (key,)), [place], places, "place a lead can go")
    if check.red is not None and check.red == check.black:
        referee.report("check", check.id, ("black",), "both leads are on one place",
                       "two different places", "move one lead")


def observables(referee: Referee) -> dict[str, str]:
    """What `of` may name besides scalars -> how it is read."""
    found = dict(ENGINE_OBSERVABLES)
    for name, motor in referee.draft.motor.items():
        own = COIL_OBSERVABLES if motor.coil else MOTOR_OBSERVABLES
        found.update({f"{name}.{what}": read for what, read in own.items()})
    return found


def _observable(referee: Referee, check: Check) -> None:
    where = ("check", check.id)
    for key in ("red", "black"):
        if getattr(check, key) is not None and check.read not in CIRCUIT_READS:
            referee.report(*where, (key,), f"a reading of {check.read} has no {key} lead",
                           'read = "volt" or "ohm", or `of` instead of leads', f"remove {key}")
    if check.of is None:
        told = any(word.odds for word in check.words) and check.read == "word"
        if not told and check.words and referee.port is None:
            referee.report(*where, ("of",), "nothing ties the words to what is wrong",
                           "of, or shows = { word = { fault = chance } }", "add one of the two")
        elif check.read != "word":
            referee.report(*where, ("of",), "of is missing", "the scalar or observable it reads",
                           "add of = \"…\"")
        if check.compare_with is not None:
            referee.report(*where, ("compare_with",), "compare_with without of",
                           'of = "engine.speed" or another observable', "add it")
        return
    known = observables(referee)
    scalars = referee.draft.scalar
    if check.of not in known and check.of not in scalars and not referee.excused(check.of):
        prefix = referee.draft.origin("check", check.id).prefix
        names = {name.removeprefix(prefix) for name in (*known, *scalars)}
        local = check.of.removeprefix(prefix)
        referee.report(*where, ("of",), f'nothing called "{local}" can be read',
                       "a scalar, engine.speed, engine.vacuum, engine.controlled_speed, or "
                       "<motor>.turns, .volts, .seconds, .amp, or <coil>.pulls, .amp",
                       did_you_mean(local, names))
        return
    _same_unit(referee, check, known)


def _same_unit(referee: Referee, check: Check, known: dict[str, str]) -> None:
    if check.read == "word" or check.of is None:
        return
    if check.of in known:
        unit = UNIT_OF_READ[known[check.of]]
        if known[check.of] == "word":
            unit = "words"
    elif check.of in referee.draft.scalar:
        unit = referee.draft.scalar[check.of].unit
    else:
        return
    wanted = UNIT_OF_READ[check.read]
    if unit and unit != wanted and not _alike(unit, wanted):
        referee.report("check", check.id, ("read",), f"{check.of} is in {unit}, not {wanted}",
                       f"a reading in {unit}", "correct read, or name another observable")


def _alike(first: str, second: str) -> bool:
    from idlewright.quantities import find_unit

    one, two = find_unit(first), find_unit(second)
    return one is not None and one == two


def _words(referee: Referee, check: Check) -> None:
    where = ("check", check.id, ("words",))
    if check.read == "word" and len(check.words) < 2:
        referee.report(*where, "a check read by word needs words", "two words or more",
                       'words = ["…", "…"] or { word = [low, high], … }')
    for word in check.words:
        referee.need(("check", check.id, ("shows",)), word.odds, referee.draft.fault, "fault")
    _chances(referee, check)
    limited = sorted(
        ((word.low, word.high, word) for word in check.words
         if word.low is not None and word.high is not None),
        key=lambda item: (item[0], item[1]),
    )  # fmt: skip
    for (_, high, first), (low, _, second) in pairwise(limited):
        if low < high:
            referee.report("check", check.id, ("words", second.id),
                           f'"{first.id}" and "{second.id}" overlap',
                           "limits that touch but do not overlap", f"begin it at {high:g}")


def _chances(referee: Referee, check: Check) -> None:
    total: dict[str, float] = {}
    for word in check.words:
        for fault, odds in word.odds.items():
            total[fault] = total.get(fault, 0.0) + odds
    for fault, odds in total.items():
        if odds > 1 + 1e-9:
            referee.report("check", check.id, ("shows",),
                           f"under {fault} the chances of the words add up to {odds:.3g}",
                           "at most 1 in all", "make them smaller")


def _spec(referee: Referee, check: Check, spec: Limit) -> None:
    where = ("check", check.id, ("spec",))
    if spec.sheet is not None:
        if referee.sheet_key(*where, spec.sheet):
            _sheet_spec(referee, check, spec.sheet)
    elif spec.words:
        _word_spec(referee, check, spec.words)
    elif check.read == "word":
        referee.report(*where, "limits for a check that is read by word", "a list of words",
                       'write spec = ["word"]')


def _sheet_spec(referee: Referee, check: Check, key: str) -> None:
    entry = referee.draft.sheet[key]
    where = ("check", check.id, ("spec",))
    if check.read == "word":
        if not entry.words:
            referee.report(*where, f'sheet entry "{key}" is in {entry.unit}, not a word',
                           "an entry with words", "name another entry")
        else:
            _word_spec(referee, check, entry.words)
        return
    wanted = UNIT_OF_READ[check.read]
    if not entry.words and not entry.unit:
        return  # reported where the entry stands
    if entry.words or (entry.unit != wanted and not _alike(entry.unit, wanted)):
        has = "words" if entry.words else f"in {entry.unit}"
        referee.report(*where, f'sheet entry "{key}" is {has}', f"an entry in {wanted}",
                       f'give the entry unit = "{wanted}", or name another entry')


def _word_spec(referee: Referee, check: Check, words: Iterable[str]) -> None:
    known = [word.id for word in check.words]
    for word in words:
        if word not in known:
            referee.report("check", check.id, ("spec",), f'"{word}" is not a word of this check',
                           "one of " + ", ".join(known) if known else "words for this check",
                           did_you_mean(word, known, "word"))


def _ratio(referee: Referee, check: Check) -> None:
    if check.ratio_to is None:
        return
    where = ("check", check.id, ("ratio_to",))
    referee.need(where, [check.ratio_to], referee.draft.check, "check")
    other: Check | None = referee.draft.check.get(check.ratio_to)
    if other is None:
        return
    if other is check:
        referee.report(*where, "a check cannot scale with itself", "another check", "name it")
    elif other.ratio_to is not None:
        referee.report(*where, f'"{other.id}" scales with yet another check',
                       "a check with limits of its own", f'write ratio_to = "{other.ratio_to}"')
    elif other.read != check.read:
        referee.report(*where, f'"{other.id}" reads {other.read}, this check {check.read}',
                       "two checks read alike", "name another check")


def _names(referee: Referee, check: Check) -> None:
    draft = referee.draft
    things = [*draft.scalar, *referee.elements, *referee.connectors, *draft.state]
    where = ("check", check.id)
    referee.need((*where, ("disturbs",)), check.disturbs, things, "connector or scalar",
                 beginnings=True)
    referee.need((*where, ("provokes",)), check.provokes, draft.fault, "fault", beginnings=True)
    referee.cautions_and_tools("check", check.id, check.cautions, check.tools)


