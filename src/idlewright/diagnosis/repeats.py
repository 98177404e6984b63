"""A look repeated says nothing new."""

from __future__ import annotations

from collections.abc import Sequence

from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.world import Timeline


def news(seen: Sequence[Seen], times: Sequence[int], timeline: Timeline) -> list[bool]:
    """For each reading, whether its word with stated odds is news.

    It is not if the same answer to the same check was given before: whoever looks again sees what
    was seen, right or wrong, until a repair of what shows there; and a shake may bring out at the
    second try what it did not at the first. Times are numbered in one order however the readings
    were entered, and it is the first of equal looks in that order that counts.
    """
    before: dict[tuple[object, ...], list[int]] = {}
    found = [True] * len(seen)
    for k in sorted(range(len(seen)), key=times.__getitem__):
        one = seen[k]
        if not one.what or (not one.odds and one.base == 1.0):
            continue
        answer = (one.what, one.base, *sorted(one.odds.items()))
        known = before.setdefault(answer, [])
        found[k] = not any(_same(earlier, times[k], one, timeline) for earlier in known)
        known.append(times[k])
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
