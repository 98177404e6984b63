"""A job's readings as evidence: alternatives, noise, slips and times."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from idlewright.diagnosis.belief import Case
from idlewright.diagnosis.factors import (
    RANGE_OF_SCALE,
    Alternative,
    Noise,
    Seen,
    number_alternatives,
    overload_alternatives,
    word_alternatives,
    word_and_number,
)
from idlewright.diagnosis.slips import THOUSANDTH, number_slips, word_slips
from idlewright.diagnosis.world import Renewal, Time, Timeline
from idlewright.family.kinds import Family, Repair
from idlewright.job.entries import JobFile, ReadingEntry
from idlewright.model.compiled import CompiledModel
from idlewright.model.forms import Form, form_between, form_of_check
from idlewright.physics.meter import ORDINARY_METER, Meter, in_base_unit
from idlewright.quantities import Overload

LEADS_VARY = 0.25
"""Standard uncertainty of the leads' resistance, as a share of it (common practice, no source)."""

LINEAR_RANGE: Mapping[str, float] = {"rpm": 2000.0, "kPa": 80.0, "deg": 30.0, "mm": 10.0}
"""Width of the broad rest for readings on a linear scale, by unit."""


def meter_of(job: JobFile, entry: ReadingEntry) -> Meter:
    """The meter a reading was taken with; an ordinary one where none is named."""
    return job.meters.get(entry.meter or "", ORDINARY_METER)


def form_of_entry(family: Family, entry: ReadingEntry, meter: Meter) -> Form:
    """The form of a reading's check or of its two points."""
    input_ohm = meter.function("volt").input_ohm if "volt" in meter.functions else 10e6
    if entry.check is not None:
        return form_of_check(family, family.checks[entry.check], input_ohm)
    return form_between(
        family, str(entry.red), str(entry.black), entry.function, entry.state, input_ohm
    )


def noise_of(meter: Meter, read: str, value: float, step: float | None) -> Noise:
    """A meter's noise at a value, both in the unit of what is read.

    What no meter of the job reads (a thermometer, an eye) has the step of what was typed only.
    """
    measured = "volt" if read == "mV" else read
    if measured not in meter.functions:
        return Noise(0.0, 0.0, step or 0.0, math.inf, f"{meter.id}:{read}")
    function = meter.functions[measured]
    unit = in_base_unit(read, 1.0)
    own_step = float(function.step_at(value * unit)) / unit
    counts = function.counts * own_step / math.sqrt(3.0)
    return Noise(
        gain=function.gain_sd,
        own=math.hypot(counts, LEADS_VARY * function.lead_ohm / unit),
        step=max(own_step, step or 0.0),
        top=function.top / unit,
        meter=f"{meter.id}:{measured}",
    )


def without_lead_ohms(meter: Meter, read: str, shown: float | None) -> float | None:
    """A reading with its test leads' resistance taken off where ohms were read, not below 0."""
    if shown is None or read != "ohm" or "ohm" not in meter.functions:
        return shown
    return max(shown - meter.functions["ohm"].lead_ohm, 0.0)


def case_of(job: JobFile, model: CompiledModel) -> Case:
    """Everything that counts in a job, as evidence."""
    family = model.family
    counting = [entry for entry in job.readings if entry.counts]
    times, where = _times(job, counting)
    seen = tuple(
        _seen(job, family, entry, times[position])
        for entry, position in zip(counting, where, strict=True)
    )
    renewals = tuple(renewal_of(model, family.repairs[done.repair]) for done in job.done)
    return Case(seen, tuple(where), Timeline(tuple(times), renewals))


def _times(job: JobFile, counting: list[ReadingEntry]) -> tuple[list[Time], list[int]]:
    """Stretches of readings: a repair, a plug or a shake starts a new one."""
    times: list[Time] = []
    where: list[int] = []
    before: ReadingEntry | None = None
    for entry in counting:
        provoked = _provoked(job.family, entry)
        if before is None or provoked or _broken(job.family, before, entry):
            times.append(Time(entry.epoch, provoked))
        where.append(len(times) - 1)
        before = entry
    if not times or times[-1].epoch != job.epoch:
        times.append(Time(job.epoch))
    return times, where


def _provoked(family: Family, entry: ReadingEntry) -> tuple[str, ...]:
    return family.checks[entry.check].provokes if entry.check is not None else ()


def _broken(family: Family, before: ReadingEntry, entry: ReadingEntry) -> bool:
    """An intermittent may have changed its mood between two readings."""
    if before.epoch != entry.epoch or _provoked(family, before):
        return True
    plugs = [n for n, v in family.states.items() if "unplugged" in v.values]
    return any(before.state.get(name) != entry.state.get(name) for name in plugs)


def renewal_of(model: CompiledModel, repair: Repair) -> Renewal:
    """What a repair cures, and which tolerances are fresh after it."""
    prefixes = (*repair.renews, *repair.sets)
    ends = tuple(f".{connector.rsplit('.', 1)[-1]}.ohm" for connector in repair.reseats)
    ids = model.table.ids
    fresh = tuple(
        column
        for column, position in enumerate(model.cells.tolerance)
        if any(ids[position] == p or ids[position].startswith(p + ".") for p in prefixes)
        or ids[position].endswith(ends)
    )
    return Renewal(repair.cures, fresh)


def _seen(job: JobFile, family: Family, entry: ReadingEntry, time: Time) -> Seen:
    meter = meter_of(job, entry)
    form = form_of_entry(family, entry, meter)
    noise = noise_of(meter, form.function, entry.number or 0.0, entry.step)
    number = without_lead_ohms(meter, form.function, entry.number)
    alternatives: tuple[Alternative, ...] = ()
    slips: tuple[Alternative, ...] = ()
    odds: Mapping[str, float] = {}
    base = 1.0
    flat = flat_density(form)
    if entry.overload:
        top = _floor(meter, entry, noise)
        over = Noise(noise.gain, noise.own, noise.step, top, noise.meter)
        alternatives = overload_alternatives(form, over)
        flat = math.log(0.2)
    elif number is not None and entry.word is not None and entry.word in form.words:
        alternatives = word_and_number(form, entry.word, number, noise)
    elif number is not None:
        alternatives = number_alternatives(form, number, noise)
        if alternatives:
            slips = number_slips(
                family, form, entry.red, entry.black, number, noise,
                thousandth=_resolves_thousandth(meter, entry),
            )  # fmt: skip
    elif entry.word is not None and entry.word in form.words:
        alternatives = word_alternatives(form, entry.word)
        slips = word_slips(form, entry.word)
        flat = -math.log(max(len(form.words), 2))
    if entry.word is not None and entry.word not in form.words:
        odds, base = word_odds(form, entry.word)
        flat = -math.log(len(form.odds) or 2)
    return Seen(
        entry.id,
        alternatives,
        time.epoch,
        0,
        odds=odds,
        base=base,
        slips=slips,
        flat=flat,
        what=entry.check or "",
    )


def _resolves_thousandth(meter: Meter, entry: ReadingEntry) -> bool:
    """True if the meter can show a thousandth of what was typed with as many digits.

    Who types "8.5 mV" for 8.5 uV has a meter with a tenth of a microvolt.
    """
    measured = "volt" if entry.function == "mV" else entry.function
    if entry.number is None or not entry.step or measured not in meter.functions:
        return True
    unit = in_base_unit(entry.function, THOUSANDTH)
    finest = float(meter.functions[measured].step_at(entry.number * unit))
    return entry.step * unit >= 0.5 * finest


def flat_density(form: Form) -> float:
    """Log density of a broad rest for a number of this form."""
    if form.scale == "linear":
        return -math.log(LINEAR_RANGE.get(form.unit, RANGE_OF_SCALE["linear"]))
    return -math.log(RANGE_OF_SCALE[form.scale])


def _floor(meter: Meter, entry: ReadingEntry, noise: Noise) -> float:
    read = "volt" if entry.function == "mV" else entry.function
    if read not in meter.functions:
        return noise.top
    return meter.functions[read].overload_floor(Overload(entry.typed, entry.overload_unit))


def word_odds(form: Form, word: str) -> tuple[dict[str, float], float]:
    """Chance of an odds word under each fault that shows any, and on every other car."""
    unusual = [name for name in form.odds if name != form.usual_word]
    shows: dict[str, float] = {}
    for name in unusual:
        for fault, chance in form.odds[name].items():
            shows[fault] = shows.get(fault, 0.0) + chance
    stray = form.false_word
    if word == form.usual_word:
        return {fault: max(1.0 - chance, stray) for fault, chance in shows.items()}, 1.0 - stray
    each = stray / max(len(unusual), 1)
    odds = {fault: max(form.odds[word].get(fault, 0.0), each) for fault in shows}
    return odds, each


def words_of(form: Form) -> Iterator[str]:
    """Every word a form can be answered with."""
    yield from form.words
    yield from (word for word in form.odds if word not in form.words)
