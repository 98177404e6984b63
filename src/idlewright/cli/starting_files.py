"""Starting files that depend on a family: a job, a sheet and a car, with its words as notes."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING

from idlewright.practice.slips import KINDS_OF_SLIP

if TYPE_CHECKING:
    from idlewright.family.kinds import Check, Family, SheetEntry

JOB = """\
# A job: one vehicle's visit, from complaint to close. Lines that begin with # are notes.
# Judge it with: idlewright judge FILE       Check it with: idlewright vet FILE
# Leave out what you do not know; nothing here has to be filled in before you start.
format = 1
id = "my-job"
family = {family}
vehicle = "a car"           # free text: how you tell this car from the others

# Values from this vehicle's manual: low, high, page. Type one when a check first needs it.
# All that can be given: idlewright new sheet --family {name}
sheet = {{}}
# sheet = {{ {sheet} }}

# What the customer says. Ids for `words`:
{words}
[complaint]
words = []
# says = "Dies when the compressor cuts in"

# What the car is in now. A line left as a note means: not known.
[state]
{state}

# What you have. `tools` left out means everything. Ids for `tools`:
{tools}
[limits]
helper = false              # true: somebody can hold the throttle or the brake

# Your meter: plus or minus (% of the reading + counts). Left out: a stated ordinary meter.
# [[meter]]
# id = "m1"
# volt = {{ percent = 0.5, counts = 3, resolution = "1 mV", input_ohm = 10e6 }}

# A stored code:  when = now, stored, or set_by_us. Ids:
{codes}
# [[code]]
# id = {code}
# when = "now"

# Readings, in the order they were taken. Either a check (idlewright list checks {name}) ...
# [[reading]]
# id = "r1"
# check = {check}
# value = {value}          # number and unit, OL, or one of the check's words
#
# ... or any two places a lead can go (idlewright list points {name}).
# [[reading]]
# id = "r2"
# red = {red}
# black = {black}
# function = "volt"         # volt, ohm or volt_ac
# value = "20 mV"
#
# A wrong reading stays and is struck: add  struck = "why"  to it.

# A repair or setting, and the reading it came after (idlewright list repairs {name}).
# [[done]]
# repair = {repair}
# after = "r2"
"""

SHEET = """\
# A sheet: this vehicle's values from its manual, each with its page. Lines that begin with #
# are notes. Take the # away from a line once you have the figure; what stands there now is only
# the usual range.
# Limits: low, high, page; a side that is not limited is "none". Words: word, page.
format = 1
id = "my-sheet"
family = {family}
[value]
{values}
"""


CAR = """\
# A practice car: what is hidden in it, for a learner to find. Lines that begin with # are notes.
# Try it:  idlewright practice --car FILE     Check it:  idlewright vet FILE
format = 1
id = "my-car"
family = {family}
vehicle = "a car"
number = 1                  # what is not said here is drawn by this number, always the same
# law = "wide"              # how parts scatter: matched, wide, skewed or batch

# What the customer says, and what the computer stored. Left out: drawn so that it fits.
# Ids: idlewright list words {name}
# [complaint]
# words = [{word}]
# codes = []
# says = "in the customer's own words"

# What the car is in at first. Left out: the first value of each.
# [state]
{state}

# The faults, one [[hidden]] each. Ids: idlewright list faults {name}
# severity: 0 to 1 over the fault's range; shows: chance that it is there in one stretch.
# A car with nothing wrong: take these lines out and write  hidden = []  below `number`.
[[hidden]]
fault = {fault}
severity = 0.6
# [[hidden]]
# fault = {other}
# shows = 0.4

# What may go wrong at the car, as chances: a slip of the hand at a reading, a poor contact made
# good by unplugging, a fault brought in by a repair. kind: slips of this kind only, one of
# {slips}.
# [luck]
# slip = 0.1
# wipe = 0.0
# induce = 0.0
# kind = "next pin"
"""


def job_text(family: Family) -> str:
    """A starting job for `family`: everything optional is a note that shows how it is written."""
    check = _example_check(family)
    places = [check.red, check.black] if check else list(family.points)[:2]
    entries = list(family.sheet.values())[:2]
    return JOB.format(
        family=_quoted(family.id),
        name=family.id,
        sheet=", ".join(f"{entry.key} = {_entry(entry)}" for entry in entries),
        words=_notes((word.id, word.say) for word in family.words.values()),
        state="\n".join(
            f"# {name} = {_quoted(variable.values[0])}   # {', '.join(variable.values)}"
            for name, variable in family.states.items()
        ),
        tools=_notes(family.tools.items()),
        codes=_notes((code.id, code.say) for code in family.codes.values()),
        code=_quoted(next(iter(family.codes), "code")),
        check=_quoted(check.id if check else next(iter(family.checks), "check")),
        value=_quoted(_example_value(family, check)),
        red=_quoted(places[0] or "red"),
        black=_quoted(places[1] or "black"),
        repair=_quoted(next(iter(family.repairs), "repair")),
    )


def sheet_text(family: Family) -> str:
    """A starting sheet for `family`: one note for each value its manual may give."""
    lines = (f"# {e.key} = {_entry(e)}   # {e.say}" for e in family.sheet.values())
    return SHEET.format(family=_quoted(family.id), values="\n".join(lines))


def car_text(family: Family) -> str:
    """A starting practice car for `family`: its likeliest lasting fault with a range."""
    faults = sorted(family.faults.values(), key=lambda fault: -fault.weight)
    ranged = [f for f in faults if not f.intermittent and f.spans[0].low != f.spans[0].high]
    first = next(iter(ranged), faults[0])
    others = [fault for fault in faults if fault.intermittent] or faults[1:] or faults
    kinds = ", ".join(KINDS_OF_SLIP[:5]) + ",\n# " + ", ".join(KINDS_OF_SLIP[5:])
    text = CAR.format(
        family=_quoted(family.id),
        name=family.id,
        word=_quoted(next(iter(family.words), "word")),
        state="\n".join(
            f"# {name} = {_quoted(variable.values[0])}"
            for name, variable in list(family.states.items())[:2]
        ),
        fault=_quoted(first.id),
        other=_quoted(others[0].id),
        slips=kinds,
    )
    return text if first in ranged else text.replace("severity = 0.6\n", "")


def _example_check(family: Family) -> Check | None:
    """A voltage with a limit from the manual, if there is one."""
    volts = [check for check in family.checks.values() if check.read == "volt"]
    booked = [check for check in volts if check.spec and check.spec.sheet in family.sheet]
    return next(iter([*booked, *volts]), None)


def _example_value(family: Family, check: Check | None) -> str:
    """What that check would read on an ordinary good car, as it is typed."""
    entry = family.sheet.get(check.spec.sheet or "") if check and check.spec else None
    if entry is None or entry.usual is None:
        return "0.52 V"
    return f"{sum(entry.usual) / 2:.3g} {entry.unit}"


def _entry(entry: SheetEntry) -> str:
    if entry.words:
        word = entry.usual_word or entry.words[0]
        return f'[{_quoted(word)}, "p. "]'
    unit = "" if entry.unit == "1" else f" {entry.unit}"
    low, high = entry.usual or (0.0, 0.0)
    return f'["{low:g}{unit}", "{high:g}{unit}", "p. "]'


def _notes(pairs: Iterable[tuple[str, str]]) -> str:
    lines = [f"#   {name}: {says}" for name, says in pairs]
    return "\n".join(lines) if lines else "#   (none)"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


TEXTS: Mapping[str, Callable[[Family], str]] = {
    "job": job_text,
    "sheet": sheet_text,
    "car": car_text,
}
"""What is made for a family, by the kind of file."""
