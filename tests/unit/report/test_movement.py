"""Who is named, and where each stood before and after every reading."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from idlewright.report.movement import Row, headline, moved_words, movement

Sample = Callable[[str], dict[str, Any]]


def _suspect(name: str, p: float, **more: Any) -> dict[str, Any]:
    return {"faults": [name], "title": name.title(), "probability": p, "equal_to": [], **more}


def _history(*rows: tuple[str | None, dict[str, float]]) -> list[dict[str, Any]]:
    return [
        {"reading": reading, "odds": [{"faults": [f], "probability": p} for f, p in odds.items()]}
        for reading, odds in rows
    ]


def test_at_most_five_are_named_and_odds_add_up(judged: dict[str, Any]) -> None:
    """At most five names, something else among them; with the others their odds make one."""
    moves = movement(judged)
    named = [one for one in moves.named if one.kind != "others"]
    assert 1 <= len(named) <= 5
    assert sum(one.kind == "something else" for one in named) == 1
    assert abs(sum(one.p for one in moves.named) - 1) < 1e-6
    letters = [one.letter for one in moves.named]
    assert len(set(letters)) == len(letters)
    assert all(len(letter) == 1 for letter in letters)


def test_counts_cover_every_suspect(judged: dict[str, Any]) -> None:
    """Nothing is hidden: named and others together are all the suspects."""
    moves = movement(judged)
    assert sum(one.count for one in moves.named) == len(judged["suspects"])


def test_something_else_is_named_last_even_when_unlikely() -> None:
    """Something else keeps its place after the named, whatever its odds."""
    judged = {
        "suspects": [_suspect("a", 0.99), _suspect("something-else", 0.01)],
        "history": [],
        "readings": [],
    }
    assert [one.kind for one in movement(judged).named] == ["leader", "something else"]


def test_equals_with_entries_of_their_own_are_said_once() -> None:
    """Two entries that name each other as equals become one line with their odds together."""
    judged = {
        "suspects": [
            _suspect("a", 0.3, equal_to=[["b"]]),
            _suspect("b", 0.3, equal_to=[["a"]]),
            _suspect("c", 0.4),
        ],
        "history": _history(
            (None, {"a": 0.2, "b": 0.2, "c": 0.6}), ("r1", {"a": 0.3, "b": 0.3, "c": 0.4})
        ),
        "readings": [{"id": "r1", "verdict": "inside"}],
    }
    moves = movement(judged)
    assert moves.leader is not None
    assert moves.leader.title == "A" and moves.leader.twins
    assert abs(moves.leader.p - 0.6) < 1e-12
    assert moves.leader.odds == (0.4, 0.6)


def test_no_leader_below_one_in_three(sample: Sample) -> None:
    """At the start nobody leads, and the headline says so."""
    moves = movement(sample("start"))
    assert not moves.leads
    assert headline(moves).startswith("No leader yet; likeliest bad ground")


def test_headline_when_something_else_or_nothing_leads(sample: Sample) -> None:
    """Something else and nothing wrong are said in the headline when they lead."""
    assert "something else" in headline(movement(sample("something_else")))
    assert "nothing is wrong" in headline(movement(sample("nothing_wrong")))
    assert headline(movement(sample("near"))) == ""


def test_struck_reading_has_no_step(sample: Sample) -> None:
    """A struck reading keeps its row and moves nothing."""
    moves = movement(sample("near"))
    row = next(row for row in moves.rows if row.reading and row.reading["id"] == "r3")
    assert row.step is None
    assert moved_words(moves, row) == "Not counted."


def test_moved_words_name_what_cannot_be(sample: Sample) -> None:
    """50 times less likely than under the leader is called cannot; the leader's rise in times."""
    moves = movement(sample("near"))
    row = next(row for row in moves.rows if row.reading and row.reading["id"] == "r4")
    told = moved_words(moves, row)
    assert "Ground cannot do this." in told
    assert "Setting 5 times likelier." in told


def test_not_quite_fifty_times_is_not_cannot() -> None:
    """49 times less likely than under the leader is said in times, 51 times as cannot."""
    for factor, cannot in ((49, False), (51, True)):
        weights = {"a": 0.5, "b": 0.5 / factor}
        total = sum(weights.values())
        after = {name: weight / total for name, weight in weights.items()}
        judged = {
            "suspects": [_suspect(name, p) for name, p in after.items()],
            "history": _history((None, {"a": 0.5, "b": 0.5}), ("r1", after)),
            "readings": [{"id": "r1", "verdict": "inside"}],
        }
        moves = movement(judged)
        assert ("cannot" in moved_words(moves, moves.rows[0])) is cannot


def test_a_small_move_hardly_moved() -> None:
    """Below 1.76 decibans a reading hardly moved the odds."""
    judged = {
        "suspects": [_suspect("a", 0.51), _suspect("b", 0.49)],
        "history": _history((None, {"a": 0.5, "b": 0.5}), ("r1", {"a": 0.51, "b": 0.49})),
        "readings": [{"id": "r1", "verdict": "inside"}],
    }
    moves = movement(judged)
    assert moved_words(moves, moves.rows[0]) == "Hardly moved the odds."


def test_work_between_readings_has_its_own_row() -> None:
    """A history entry without a reading, after the first, is a row that says what was done."""
    judged = {
        "suspects": [_suspect("a", 1.0)],
        "history": [
            *_history((None, {"a": 0.5})),
            *_history(("r1", {"a": 0.9})),
            {
                "reading": None,
                "says": "Cleaned the plug",
                "odds": [{"faults": ["a"], "probability": 0.3}],
            },
            *_history(("r2", {"a": 1.0})),
        ],
        "readings": [{"id": "r1", "verdict": "inside"}, {"id": "r2", "verdict": "inside"}],
    }
    rows = movement(judged).rows
    assert [row.step for row in rows] == [1, 2, 3]
    assert rows[1] == Row(None, "Cleaned the plug", 2)
