"""Odds, changes, money and times as a person says them.

One ladder of odds words serves the JSON answer, the pages, the papers and the terminal, so the
same probability never reads two ways. Nothing here needs NumPy.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from typing import Any

from idlewright.errors import IdlewrightError

LADDER: tuple[tuple[float, str], ...] = (
    (1 / 100, "1 in 100"),
    (1 / 50, "1 in 50"),
    (1 / 20, "1 in 20"),
    (1 / 10, "1 in 10"),
    (1 / 7, "1 in 7"),
    (1 / 5, "1 in 5"),
    (1 / 4, "1 in 4"),
    (1 / 3, "1 in 3"),
    (2 / 5, "2 in 5"),
    (1 / 2, "even"),
    (3 / 5, "3 in 5"),
    (2 / 3, "2 in 3"),
    (3 / 4, "3 in 4"),
    (4 / 5, "4 in 5"),
    (6 / 7, "6 in 7"),
    (9 / 10, "9 in 10"),
    (19 / 20, "19 in 20"),
    (49 / 50, "49 in 50"),
    (99 / 100, "99 in 100"),
)
"""The rungs of the ladder: probability and its words."""

GUIDES: tuple[tuple[float, str], ...] = (
    (0.01, "1 in 100"),
    (0.1, "1 in 10"),
    (0.5, "even"),
    (0.9, "9 in 10"),
    (0.99, "99 in 100"),
)
"""Guide lines of every picture of the odds."""

SCALE_END = 1 / 200
"""Pictures of the odds run from this probability to one minus it, in log-odds."""

LEADER_FROM = 1 / 3
"""Below this nobody leads yet."""

CANNOT_DECIBANS = 10 * math.log10(50)
"""A reading at least 50 times less likely under a fault than under the leader: "cannot"."""

NO_MOVE_DECIBANS = 1.76
_CHANGES: tuple[tuple[float, str], ...] = (
    (3.98, "twice"),
    (6.02, "3 times"),
    (8.45, "5 times"),
    (11.76, "10 times"),
    (14.77, "20 times"),
    (18.45, "50 times"),
    (math.inf, "more than 50 times"),
)


def _between(lower: float, upper: float) -> float:
    """The probability midway between two rungs in log-odds."""
    against = math.sqrt((1 / lower - 1) * (1 / upper - 1))
    return 1 / (1 + against)


CUTS: tuple[float, ...] = tuple(_between(a, b) for (a, _), (b, _) in itertools.pairwise(LADDER))
"""Where one word gives way to the next; a probability at a cut takes the higher word."""


def checked_probability(p: float) -> float:
    """`p` as a probability; rounding dust beyond 0 and 1 is forgiven, anything else is our bug.

    Raises:
        IdlewrightError: `p` is not a number between 0 and 1.
    """
    if not -1e-6 <= p <= 1 + 1e-6:  # also false for NaN
        raise IdlewrightError(f"{p!r} was given where odds between 0 and 1 were expected")
    return min(1.0, max(0.0, p))


def rung(p: float) -> str:
    """The ladder's word nearest to probability `p` in log-odds, without "about"."""
    return LADDER[sum(p >= cut for cut in CUTS)][1]


def odds_words(p: float) -> str:
    """A probability (0 to 1) in the words a person is shown: "about 4 in 5".

    Outside .01 to .99 the end words stand alone: nobody is ever surer than that.
    """
    p = checked_probability(p)
    if p < LADDER[0][0]:
        return "less than 1 in 100"
    if p > LADDER[-1][0]:
        return "more than 99 in 100"
    return f"about {rung(p)}"


def share_words(level: float) -> str:
    """A coverage level as a share of cases: .9 gives "9 in 10". No "about": it is a definition."""
    return rung(checked_probability(level))


def logit(p: float) -> float:
    """Natural log-odds of `p`, held finite at 0 and 1."""
    p = min(1 - 1e-15, max(1e-300, p))
    return math.log(p) - math.log1p(-p)


def decibans(before: float, after: float) -> float:
    """Change of odds from one probability to another, in decibans (10 log10 of the odds ratio)."""
    return 10 * (logit(after) - logit(before)) / math.log(10)


def scale_place(p: float) -> float:
    """Place of `p` on the pictures' log-odds scale: 0 at 1 in 200, 1 at 199 in 200."""
    end = logit(1 - SCALE_END)
    return min(1.0, max(0.0, (logit(p) + end) / (2 * end)))


def off_scale(p: float) -> bool:
    """True where a picture must park the suspect at its edge."""
    return not SCALE_END <= p <= 1 - SCALE_END


def change_words(change: float) -> str:
    """What a change of odds (decibans) is called: "3 times likelier", "hardly moved"."""
    size = abs(change)
    if size < NO_MOVE_DECIBANS:
        return "hardly moved"
    times = next(words for top, words in _CHANGES if size <= top)
    if times == "twice":
        return "twice as likely" if change > 0 else "half as likely"
    return f"{times} likelier" if change > 0 else f"{times} less likely"


def leader_words(title: str, p: float) -> str:
    """Who leads, or that nobody does yet."""
    if p < LEADER_FROM:
        return f"no leader yet; likeliest {lower_first(title)}, {odds_words(p)}"
    return f"{title}, {odds_words(p)}"


def others_words(count: int, p: float) -> str:
    """Everything that is not named: "31 others together: about 1 in 20"."""
    return f"{others_name(count)}: {odds_words(p)}"


def others_name(count: int) -> str:
    """What the unnamed are called together."""
    return "1 other" if count == 1 else f"{count} others together"


def lower_first(text: str) -> str:
    """`text` for the middle of a sentence; abbreviations (TPS, ISC) and single letters stay."""
    if len(text) > 1 and text[0].isupper() and text[1].islower():
        return text[0].lower() + text[1:]
    return text


def upper_first(text: str) -> str:
    """`text` for the start of a sentence."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """`text` with a capital and one full stop."""
    text = " ".join(text.split())
    if not text:
        return ""
    return upper_first(text) + ("" if text[-1] in ".!?:" else ".")


def counted(number: int, what: str) -> str:
    """How many of what: "1 step", "2 steps"."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def listed(parts: list[str], last: str = "and") -> str:
    """ "a, b and c"."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


# --- times and money ---------------------------------------------------------------------------

_MINUTES_AN_HOUR = 60
_HOURS_IN_WORDS = 100 * _MINUTES_AN_HOUR


def minutes_words(minutes: float) -> str:
    """Minutes as said at the car: "under 1 min", "15 min", "1 h 35 min"."""
    if minutes <= 0:
        return "no time"
    whole = math.floor(minutes + 0.5)
    if whole < 1:
        return "under 1 min"
    if whole < _MINUTES_AN_HOUR:
        return f"{whole} min"
    hours, rest = divmod(whole, _MINUTES_AN_HOUR)
    return f"{hours} h {rest} min" if rest and whole < _HOURS_IN_WORDS else f"{hours:,} h"


def step_time_words(minutes: Mapping[str, Any]) -> str:
    """Hands-on and waiting minutes of a step, kept apart: "4 min, then 12 min waiting"."""
    hands = float(minutes.get("setup") or 0) + float(minutes.get("do") or 0)
    wait = float(minutes.get("wait") or 0)
    if wait <= 0:
        return minutes_words(hands)
    return f"{minutes_words(hands)}, then {minutes_words(wait)} waiting"


_COARSE_FROM = 1000.0
_MEDIUM_FROM = 100.0
_CURRENCIES = {"EUR": "euro"}


def currency_word(currency: str) -> str:
    """The word for a currency; only the euro has one of its own here, others stand as given."""
    return _CURRENCIES.get(currency, currency)


def money_number(amount: float) -> str:
    """A sum rounded as an estimate deserves: to 5 below 100, to 10 below 1,000, then to 50."""
    size = abs(amount)
    step = 50 if size >= _COARSE_FROM else 10 if size >= _MEDIUM_FROM else 5
    rounded = step * math.floor(amount / step + 0.5)
    if rounded == 0 and amount > 0:
        return f"{max(1, round(amount))}"
    return f"{rounded:,}"


def money_span(low: float, high: float, currency: str) -> str:
    """ "60 to 310 euro", or one sum when both ends round alike."""
    first, last = money_number(low), money_number(high)
    unit = currency_word(currency)
    return f"{first} {unit}" if first == last else f"{first} to {last} {unit}"


def money_sentence(cost: Mapping[str, Any]) -> str:
    """ "most likely 90 euro, 9 in 10 such cars between 60 and 310".

    Args:
        cost: currency, low, high, level and either `likely` (the median) or `mean`. A mean is
            called "on average", because it is not what is most likely.
    """
    likely = cost.get("likely")
    middle = cost["mean"] if likely is None else likely
    head = "on average" if likely is None else "most likely"
    unit = currency_word(str(cost["currency"]))
    first, last = money_number(cost["low"]), money_number(cost["high"])
    if first == last:
        return f"{head} {money_number(middle)} {unit}"
    share = share_words(cost["level"])
    return f"{head} {money_number(middle)} {unit}, {share} such cars between {first} and {last}"


def price_slip(cost: Mapping[str, Any]) -> str:
    """The price slip's one sentence, without its name: what a proven cure will cost."""
    return sentence(money_sentence(cost))


def parts_words(parts: object, currency: str) -> str:
    """What a step's parts cost: "no part", "part 5 to 20 euro", or the text as given."""
    if isinstance(parts, str):
        return parts
    if not isinstance(parts, Mapping) or not parts.get("high"):
        return "no part"
    return f"part {money_span(float(parts.get('low') or 0), float(parts['high']), currency)}"
