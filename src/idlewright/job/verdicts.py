"""Each reading against its limits: inside, outside, too close to call, or no spec."""

from __future__ import annotations

import math
from dataclasses import dataclass

from idlewright.family.kinds import Check, Family, Limit, Sheet
from idlewright.job.case import meter_of, without_lead_ohms
from idlewright.job.entries import JobFile, ReadingEntry
from idlewright.physics.conformity import (
    RULE_95,
    Limits,
    against_reference_u,
    corrected_limits,
    judge_overload,
    judge_reading,
    reason,
)
from idlewright.physics.meter import Meter, in_base_unit

NO_SPEC = "no spec"
PRACTICE = "common practice"


@dataclass(frozen=True, slots=True)
class Judged:
    """Verdict on one reading; numbers in the unit that was read.

    Attributes:
        word: the verdict. limits: what it was judged against, or None. page: where they stand.
        corrected: limits moved for the measured reference, or None. words: good words.
        u, p_inside: standard uncertainty and probability, or None. rule, says: in words.
    """

    word: str
    limits: Limits | None = None
    page: str | None = None
    corrected: Limits | None = None
    words: tuple[str, ...] = ()
    u: float | None = None
    p_inside: float | None = None
    rule: str = ""
    says: str = ""


def limits_of_spec(spec: Limit, sheet: Sheet) -> tuple[Limits | None, str | None]:
    """Numbers of a spec for this vehicle and their page; None when the sheet does not give them."""
    if spec.sheet is not None:
        given = sheet.values.get(spec.sheet)
        if given is None or (given.low is None and given.high is None):
            return None, None
        return _limits(given.low, given.high), given.page
    if spec.low is None and spec.high is None:
        return None, None
    return _limits(spec.low, spec.high), PRACTICE


def _limits(low: float | None, high: float | None) -> Limits | None:
    low = None if low is None or math.isinf(low) else low
    high = None if high is None or math.isinf(high) else high
    return Limits(low, high) if low is not None or high is not None else None


def judge_entry(job: JobFile, entry: ReadingEntry) -> Judged:
    """The verdict on one reading of a job."""
    check = job.family.checks.get(entry.check or "")
    if check is None or check.spec is None:
        return Judged(NO_SPEC, says="No limits for this: read anyway, the physics judges it.")
    if entry.word is not None and entry.number is None:
        return _by_words(check, entry)
    limits, page = limits_of_spec(check.spec, job.sheet)
    if limits is None:
        key = check.spec.sheet
        says = "No spec yet: read anyway, judge later."
        if key is not None and key in job.family.sheet:
            says = f"No spec yet for {job.family.sheet[key].say}: read anyway, judge later."
        return Judged(NO_SPEC, says=says)
    meter = meter_of(job, entry)
    if entry.overload:
        return _overload(meter, entry, limits, page)
    return _number(job, check, entry, meter, limits, page)


def _by_words(check: Check, entry: ReadingEntry) -> Judged:
    assert check.spec is not None
    good = check.spec.words
    if not good:
        return Judged(NO_SPEC, says="No limits for this word: the physics judges it.")
    inside = entry.word in good
    word = "inside" if inside else "outside"
    says = f"{entry.word}: {'as it should be' if inside else 'should be ' + ' or '.join(good)}"
    source = check.spec.source
    return Judged(
        word, page=source.split(",")[0], words=good, p_inside=float(inside), rule="words", says=says
    )


def _overload(meter: Meter, entry: ReadingEntry, limits: Limits, page: str | None) -> Judged:
    read = "volt" if entry.function == "mV" else entry.function
    top = meter.functions[read].top if read in meter.functions else math.inf
    verdict = judge_overload(top, 0.0, limits, RULE_95)
    word = verdict.word
    says = "The display shows more than its range: open circuit."
    return Judged(
        word, limits, page, u=None, p_inside=verdict.p_inside, rule=verdict.rule, says=says
    )


def _number(
    job: JobFile, check: Check, entry: ReadingEntry, meter: Meter, limits: Limits, page: str | None
) -> Judged:
    assert entry.number is not None
    unit = entry.unit or ""
    step = entry.step or 0.0
    u = uncertainty(meter, entry)
    used, corrected = limits, None
    reference = _reference(job, check, entry)
    if reference is not None and reference.number is not None and reference.number > 0.05:
        nominal = _nominal(job.family, job.sheet, str(check.ratio_to))
        if nominal:
            corrected = corrected_limits(limits, nominal, reference.number)
            used = corrected
            u = _against(meter, entry, reference)
    number = without_lead_ohms(meter, entry.function, entry.number) or 0.0
    found = judge_reading(number, u, used, RULE_95)
    says = reason(found, number, used, unit, step or 10.0 ** math.floor(math.log10(u or 1)))
    if number != entry.number:
        says += ", the leads taken off"
    if corrected is not None:
        says += f", moved for reference {reference.typed if reference else ''}"
    return Judged(found.word, limits, page, corrected, (), u, found.p_inside, found.rule, says)


def uncertainty(meter: Meter, entry: ReadingEntry) -> float:
    """Standard uncertainty of a reading in the unit read; half a step where no meter reads it."""
    read = "volt" if entry.function == "mV" else entry.function
    if read not in meter.functions:
        return (entry.step or 0.0) / math.sqrt(12.0)
    unit = in_base_unit(entry.function, 1.0)
    value = (entry.number or 0.0) * unit
    return meter.functions[read].u(value, (entry.step or 0.0) * unit) / unit


def _reference(job: JobFile, check: Check, entry: ReadingEntry) -> ReadingEntry | None:
    """The reading of the check the limits scale with, in the same epoch."""
    if check.ratio_to is None:
        return None
    found = [
        other
        for other in job.readings
        if other.check == check.ratio_to and other.counts and other.epoch == entry.epoch
    ]
    return found[-1] if found else None


def _nominal(family: Family, sheet: Sheet, reference: str) -> float | None:
    spec = family.checks[reference].spec
    if spec is None:
        return None
    limits, _ = limits_of_spec(spec, sheet)
    if limits is None and spec.sheet is not None:
        usual = family.sheet[spec.sheet].usual
        limits = Limits(*usual) if usual is not None else None
    if limits is None or limits.low is None or limits.high is None:
        return None
    return 0.5 * (limits.low + limits.high)


def _against(meter: Meter, entry: ReadingEntry, reference: ReadingEntry) -> float:
    function = meter.function("volt")
    assert entry.number is not None and reference.number is not None
    return against_reference_u(
        entry.number,
        reference.number,
        y_variance=float(function.independent_variance(entry.number, entry.step or 0.0)),
        reference_variance=float(
            function.independent_variance(reference.number, reference.step or 0.0)
        ),
        y_gain_sd=function.gain_sd,
        reference_gain_sd=function.gain_sd,
        same_meter=entry.meter == reference.meter,
    )
