"""Which readings still stand: after the repairs made since, and after what was read later."""

from __future__ import annotations

from collections.abc import Mapping

from idlewright.diagnosis.belief import Belief
from idlewright.job.case import form_of_entry, meter_of
from idlewright.job.entries import JobFile, ReadingEntry
from idlewright.model.compiled import CompiledModel

SLIP_LEADS = 0.5
"""From here on a reading is likelier a slip than not."""


def likelier_slips(job: JobFile, belief: Belief) -> frozenset[str]:
    """Ids of the counting readings that are likelier a slip than not."""
    counting = [entry.id for entry in job.readings if entry.counts]
    return frozenset(
        name for name, slip in zip(counting, belief.slip, strict=True) if slip >= SLIP_LEADS
    )


def doubted_checks(done: Mapping[str, int], belief: Belief) -> frozenset[str]:
    """Checks whose reading that counts (its position, see `standing`) is likelier a slip."""
    return frozenset(check for check, at in done.items() if belief.slip[at] >= SLIP_LEADS)


def standing(job: JobFile, model: CompiledModel) -> Mapping[str, int]:
    """Checks whose answer is known, with the position of the reading that counts.

    A reading from before a repair stands if the repair is no cure of anything that shows in it:
    whoever looked at the posts before the timing was set need not look at them again.
    """
    found: dict[str, int] = {}
    counting = [entry for entry in job.readings if entry.counts]
    for position, entry in enumerate(counting):
        if entry.check is None:
            continue
        since = job.done[entry.epoch :]
        shows = _shows(job, entry, model) if since else set()
        if any(shows & set(job.family.repairs[one.repair].cures) for one in since):
            found.pop(entry.check, None)
        else:
            found[entry.check] = position
    return found


def _shows(job: JobFile, entry: ReadingEntry, model: CompiledModel) -> set[str]:
    """Faults that can show in a reading."""
    form = form_of_entry(job.family, entry, meter_of(job, entry))
    ids = [fault.id for fault in model.cells.faults]
    found = {fault for odds in form.odds.values() for fault in odds}
    for latent in form.latents():
        touching = model.touching(model.number_of(latent))
        found.update(fault for fault, touches in zip(ids, touching, strict=True) if touches)
    return found
