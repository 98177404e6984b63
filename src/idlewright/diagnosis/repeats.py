"""A look repeated says nothing new."""

from __future__ import annotations

from collections.abc import Sequence

from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.world import Timeline


def news(seen: Sequence[Seen], times: Sequence[int], timeline: Timeline) -> list[bool]:
    """For each reading, whether its word with stated odds is news.

    It is not if the same answer to the same check was given before: whoever looks again sees what
    was seen, right or wrong, until a repair of what shows there; and a shake may bring out at the
    second try what it did not at the first.
    """
    before: dict[tuple[object, ...], list[int]] = {}
    found = []
    for one, time in zip(seen, times, strict=True):
        if not one.what or (not one.odds and one.base == 1.0):
            found.append(True)
            continue
        answer = (one.what, one.base, *sorted(one.odds.items()))
        known = before.setdefault(answer, [])
        found.append(not any(_same(earlier, time, one, timeline) for earlier in known))
        known.append(time)
    return found


def _same(earlier: int, later: int, one: Seen, timeline: Timeline) -> bool:
    """Whether nothing between two times could have changed what a look shows."""
    if earlier == later:
        return True
    first, second = timeline.times[earlier], timeline.times[later]
    if first.provoked or second.provoked:
        return False
    between = timeline.renewals[first.epoch : second.epoch]
    return not any(set(renewal.cures) & set(one.odds) for renewal in between)
