"""What a learner types, taken apart."""

from __future__ import annotations

import pytest

from idlewright.errors import BadInput
from idlewright.lesson.steps import MOST_TRIES, hint, plain, take_apart, tries_in


@pytest.mark.parametrize(
    ("line", "word", "args"),
    [
        ("read tps.signal.closed", "read", ("tps.signal.closed",)),
        ("  READ a b volt key=on ", "read", ("a", "b", "volt", "key=on")),
        ("say it's the wire, I'd bet", "say", ("it's", "the", "wire,", "I'd", "bet")),
        ("prove", "prove", ()),
        ("strike r2 leads swapped", "strike", ("r2", "leads", "swapped")),
    ],
)
def test_a_line_is_a_word_and_what_follows(line: str, word: str, args: tuple[str, ...]) -> None:
    """Spaces and capitals of the word do not matter; free text needs no quotes."""
    typed = take_apart(line)
    assert (typed.word, typed.args) == (word, args)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("red tps", 'did you mean "read"'),
        ("", "type help"),
        ("repair", "repair goes with REPAIR"),
        ("leave now", "leave stands alone"),
        ('read "a', "a quote is not closed"),
        ("strike r2", "strike goes with READING WHY"),
    ],
)
def test_a_line_that_is_no_step_says_what_would_be(line: str, says: str) -> None:
    """Bad input with a remedy."""
    with pytest.raises(BadInput, match=says):
        take_apart(line)


@pytest.mark.parametrize("typed", ["0", "-1", "many", "²", "9" * 5000, str(MOST_TRIES + 1)])
def test_a_number_of_tries(typed: str) -> None:
    """Whole, from one to a limit."""
    assert tries_in(("7",)) == 7
    with pytest.raises(BadInput, match="no number of tries"):
        tries_in((typed,))


def test_a_name_that_is_not_there_is_answered_in_one_short_line() -> None:
    """Never more than what to do, however long the name is, and nothing for writers of families."""
    assert hint("tps.signl", ["tps.signal", "ask"], "list checks") == 'did you mean "tps.signal"?'
    assert hint("xyz", [f"check.{n}" for n in range(99)], "list checks") == "type list checks"
    with pytest.raises(BadInput) as caught:
        take_apart("x" * 3000)
    assert len(caught.value.problems[0].one_line()) < 80


def test_text_that_can_be_kept_anywhere() -> None:
    """No broken byte, control character or mark at a file's beginning stays."""
    assert plain("\ufeffsay \udcff\x1b[31m it\0is\tso \n") == "say [31m it is so"
