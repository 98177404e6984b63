"""What a learner types, taken apart."""

from __future__ import annotations

import pytest

from idlewright.errors import BadInput
from idlewright.lesson.steps import MOST_TRIES, take_apart, tries_in


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


@pytest.mark.parametrize("typed", ["0", "-1", "many", str(MOST_TRIES + 1)])
def test_a_number_of_tries(typed: str) -> None:
    """Whole, from one to a limit."""
    assert tries_in(("7",)) == 7
    with pytest.raises(BadInput, match="no number of tries"):
        tries_in((typed,))
