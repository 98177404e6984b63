"""Odds, changes, money and times as words."""

from __future__ import annotations

import math

import pytest

from idlewright import words
from idlewright.errors import IdlewrightError

# The look's table of cuts, three figures each; the upper half mirrors the lower.
LOWER_CUTS = [0.0142, 0.0317, 0.0710, 0.120, 0.170, 0.224, 0.290, 0.366, 0.449]
ALL_CUTS = [*LOWER_CUTS, *(1 - cut for cut in reversed(LOWER_CUTS))]


def test_cuts_are_the_published_ones() -> None:
    """Cuts stand midway between rungs in log-odds, as published to three figures."""
    assert len(words.CUTS) == len(words.LADDER) - 1 == len(ALL_CUTS)
    for cut, published in zip(words.CUTS, ALL_CUTS, strict=True):
        assert cut == pytest.approx(published, abs=0.0006)


@pytest.mark.parametrize("place", range(18))
def test_each_cut_divides_exactly_two_words(place: int) -> None:
    """Just below a cut stands the lower word, at it and above it the upper one."""
    cut = words.CUTS[place]
    lower, upper = words.LADDER[place][1], words.LADDER[place + 1][1]
    assert words.odds_words(cut * (1 - 1e-12)) == f"about {lower}"
    assert words.odds_words(cut) == f"about {upper}"
    assert words.odds_words(cut * (1 + 1e-12)) == f"about {upper}"


@pytest.mark.parametrize(("p", "text"), words.LADDER)
def test_a_rung_reads_as_itself(p: float, text: str) -> None:
    """Every rung's own probability reads as that rung."""
    assert words.odds_words(p) == f"about {text}"


@pytest.mark.parametrize("p", [0.0, 1e-300, 0.00999999, -1e-12])
def test_below_the_ladder_is_less_than_one_in_a_hundred(p: float) -> None:
    """Under .01 the end word stands alone."""
    assert words.odds_words(p) == "less than 1 in 100"


@pytest.mark.parametrize("p", [1.0, 0.9900001, 1 + 1e-12])
def test_above_the_ladder_nobody_is_surer(p: float) -> None:
    """Over .99 the end word stands alone."""
    assert words.odds_words(p) == "more than 99 in 100"


@pytest.mark.parametrize("p", [math.nan, -0.1, 1.1, math.inf])
def test_no_probability_is_refused(p: float) -> None:
    """A number that is no probability is our own bug and is raised, not worded."""
    with pytest.raises(IdlewrightError):
        words.odds_words(p)


def test_a_word_is_off_by_a_bounded_factor_in_odds() -> None:
    """Between 1 in 5 and 4 in 5 a word is off by at most 1.23 in odds, anywhere by at most 1.6."""
    rungs = dict((text, p) for p, text in words.LADDER)
    for step in range(1, 1000):
        p = 0.01 + 0.98 * step / 1000
        said = rungs[words.odds_words(p).removeprefix("about ")]
        factor = math.exp(abs(words.logit(p) - words.logit(said)))
        assert factor < (1.23 if 0.2 <= p <= 0.8 else 1.6)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (0.0, "hardly moved"), (1.75, "hardly moved"), (-1.75, "hardly moved"),
        (1.77, "twice as likely"), (-3.97, "half as likely"), (3.99, "3 times likelier"),
        (6.03, "5 times likelier"), (-8.46, "10 times less likely"), (11.77, "20 times likelier"),
        (-14.78, "50 times less likely"), (18.46, "more than 50 times likelier"),
        (-90.0, "more than 50 times less likely"),
    ],
)  # fmt: skip
def test_changes_in_words(change: float, text: str) -> None:
    """Decibans turn to times by the published steps, with their direction."""
    assert words.change_words(change) == text


def test_decibans_of_a_tenfold_rise_in_odds() -> None:
    """From even to 10 to 1 is ten decibans."""
    assert words.decibans(0.5, 10 / 11) == pytest.approx(10.0)


def test_scale_runs_from_one_in_two_hundred_to_its_mirror() -> None:
    """The pictures' scale is symmetric about even and parks what lies beyond it."""
    assert words.scale_place(0.5) == pytest.approx(0.5)
    assert words.scale_place(1 / 200) == pytest.approx(0.0)
    assert words.scale_place(1e-9) == 0.0 and words.off_scale(1e-9)
    assert words.scale_place(0.1) == pytest.approx(1 - words.scale_place(0.9))
    assert not words.off_scale(0.99)


def test_no_leader_below_one_in_three() -> None:
    """Under 1 in 3 the likeliest is named without calling it a leader."""
    assert words.leader_words("Bad ground", 0.21) == (
        "no leader yet; likeliest bad ground, about 1 in 5"
    )
    assert words.leader_words("Bad ground", 0.8) == "Bad ground, about 4 in 5"


def test_others_are_counted() -> None:
    """What is not named is counted and given its odds."""
    assert words.others_words(31, 0.05) == "31 others together: about 1 in 20"
    assert words.others_words(1, 0.001) == "1 other: less than 1 in 100"


def test_money_says_most_likely_and_the_range() -> None:
    """The price slip's sentence names the likely sum and the range most such cars fall in."""
    cost = {"currency": "EUR", "mean": 120, "likely": 88, "low": 58, "high": 312, "level": 0.9}
    assert words.money_sentence(cost) == (
        "most likely 90 euro, 9 in 10 such cars between 60 and 310"
    )


def test_a_mean_is_not_called_most_likely() -> None:
    """Without a median the mean is called what it is."""
    cost = {"currency": "EUR", "mean": 120, "low": 58, "high": 312, "level": 0.95}
    assert words.money_sentence(cost) == (
        "on average 120 euro, 19 in 20 such cars between 60 and 310"
    )


@pytest.mark.parametrize(
    ("minutes", "text"),
    [(0, "no time"), (0.2, "under 1 min"), (1, "1 min"), (59.4, "59 min"), (60, "1 h"),
     (95, "1 h 35 min")],
)  # fmt: skip
def test_minutes_in_words(minutes: float, text: str) -> None:
    """Minutes read as at the car."""
    assert words.minutes_words(minutes) == text


def test_waiting_is_told_apart_from_work() -> None:
    """Hands-on minutes are set-up and doing; waiting stands by itself."""
    assert words.step_time_words({"setup": 1.0, "do": 3.0, "wait": 12.0}) == (
        "4 min, then 12 min waiting"
    )


def test_parts_in_words() -> None:
    """No price means no part; a range has both ends."""
    assert words.parts_words(None, "EUR") == "no part"
    assert words.parts_words({"low": 0.0, "high": 0.0}, "EUR") == "no part"
    assert words.parts_words({"low": 5.0, "high": 20.0}, "EUR") == "part 5 to 20 euro"


def test_abbreviations_keep_their_capitals() -> None:
    """A title goes into the middle of a sentence without harming TPS or ISC."""
    assert words.lower_first("TPS set high") == "TPS set high"
    assert words.lower_first("Bad ground") == "bad ground"
