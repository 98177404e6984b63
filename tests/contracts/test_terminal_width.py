"""Terminal text: ASCII only and never past the right edge, whatever the answer holds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from idlewright.report.columns import NARROWEST, WIDEST, both_ends, dotted, wrap
from idlewright.report.predict_text import predict_text
from idlewright.report.tables_text import list_text, study_text
from idlewright.report.terminal import judge_text

SAMPLES = Path(__file__).parents[1] / "unit" / "report" / "samples"
JUDGED = ("start", "mid", "near", "slip", "something_else", "nothing_wrong", "stop")

texts = st.text(max_size=60)
names = st.text(min_size=1, max_size=40)
chances = st.floats(0, 1)
numbers = st.one_of(st.none(), st.floats(-1e9, 1e9), st.floats(-1, 1))
verdicts = st.sampled_from(["inside", "outside", "too close to call", "no spec"])
limits = st.one_of(
    st.none(),
    st.fixed_dictionaries({"low": numbers, "high": numbers, "page": st.one_of(st.none(), texts)}),
)
readings = st.fixed_dictionaries(
    {
        "id": names, "check": st.one_of(st.none(), names), "say": st.one_of(st.none(), texts),
        "typed": st.one_of(st.none(), texts), "value": numbers,
        "unit": st.sampled_from([None, "V", "ohm", "rpm", "mm", "kPa"]),
        "word": st.one_of(st.none(), texts), "overload": st.booleans(), "counts": st.booleans(),
        "struck_because": st.one_of(st.none(), names), "verdict": verdicts, "limit": limits,
        "corrected_limit": limits, "u": st.one_of(st.none(), st.floats(0, 10)), "reason": texts,
        "slip": chances, "slip_kind": st.one_of(st.none(), texts),
    }
)  # fmt: skip


@st.composite
def judge_answers(draw: st.DrawFn) -> dict[str, Any]:
    """A random judge answer with consistent ids, odd texts and odds of any size."""
    faults = [*draw(st.lists(names, min_size=1, max_size=9, unique=True)), "something-else"]
    weights = draw(st.lists(st.floats(1e-9, 1), min_size=len(faults), max_size=len(faults)))
    read = draw(st.lists(readings, max_size=4, unique_by=lambda reading: str(reading["id"])))

    def odds() -> list[dict[str, Any]]:
        drawn = draw(st.lists(chances, min_size=len(faults), max_size=len(faults)))
        return [{"faults": [f], "probability": p} for f, p in zip(faults, drawn, strict=True)]

    equals = st.lists(st.lists(names, max_size=2), max_size=2)
    suspects = [
        {"faults": [fault], "title": draw(texts), "probability": weight / sum(weights),
         "active_now": draw(chances), "equal_to": draw(equals),
         "severity": None, "repairs": [], "where": [[draw(names), draw(names)]]}
        for fault, weight in zip(faults, weights, strict=True)
    ]  # fmt: skip
    step: dict[str, Any] = {
        "kind": draw(st.sampled_from(["check", "repair", "reread", "stop"])), "id": draw(names),
        "say": draw(texts), "do": draw(texts), "why": draw(texts), "unit": "V", "parts": None,
        "cautions": draw(st.lists(texts, max_size=2)),
        "setup": [{"name": draw(names), "from": "a", "to": draw(names),
                   "minutes": draw(st.floats(0, 500)), "cautions": [draw(texts)]}],
        "minutes": {"setup": 0.0, "do": draw(st.floats(0, 1e5)), "wait": draw(st.floats(0, 1e4))},
        "probes": {"red": draw(names), "black": draw(names)},
        "good": {"low": draw(numbers), "high": draw(numbers), "words": []},
        "would_read": [{"faults": [faults[0]], "low": -1.0, "median": 0.0, "high": 1e4,
                        "words": {draw(names): draw(chances)}, "overload": draw(chances)}],
    }  # fmt: skip
    return {
        "made_by": {"settled": draw(st.booleans())},
        "job": {"id": draw(texts), "vehicle": draw(texts), "family": "f", "complaint": draw(texts)},
        "state": {}, "state_says": draw(st.lists(texts, max_size=4)), "readings": read,
        "suspects": suspects,
        "history": [{"reading": None, "odds": odds()}]
        + [{"reading": reading["id"], "odds": odds()} for reading in read],
        "surprise": {"p": 0.5, "word": "strong", "says": draw(texts)},
        "soft_evidence_decides": True, "next": step, "others": [], "repairs": [],
        "cost": {"currency": "EUR", "mean": draw(st.floats(0, 1e6)), "low": draw(st.floats(0, 1e6)),
                 "high": draw(st.floats(0, 1e6)), "level": 0.9},
        "notes": [{"code": "x", "says": draw(texts), "where": draw(texts)}],
    }  # fmt: skip


def _fits(text: str, width: int) -> None:
    assert text.isascii()
    assert all(char == "\n" or " " <= char <= "~" for char in text)
    for line in text.splitlines():
        assert len(line) <= width, line
        assert line == line.rstrip()


def _sample(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((SAMPLES / f"{name}.json").read_text(encoding="utf-8"))
    return found


@given(judge_answers())
@settings(max_examples=120, deadline=None, derandomize=True)
def test_any_answer_fits_80_columns(answer: dict[str, Any]) -> None:
    """Whatever texts and odds an answer holds, it is ASCII and at most 80 wide."""
    _fits(judge_text(answer), 80)


@given(judge_answers(), st.integers(NARROWEST, 140))
@settings(max_examples=120, deadline=None, derandomize=True)
def test_any_answer_fits_any_terminal(answer: dict[str, Any], width: int) -> None:
    """Narrower terminals wrap at their width, wider ones never get more than 100."""
    _fits(judge_text(answer, width), min(width, WIDEST))


@pytest.mark.parametrize("width", [NARROWEST, 40, 64, 72, 80, 100, 300])
def test_samples_fit_every_width(width: int) -> None:
    """Real answers, predictions and studies keep within the width asked for."""
    for name in JUDGED:
        _fits(judge_text(_sample(name), width), min(width, WIDEST))
    _fits(predict_text(_sample("predict"), width), min(width, WIDEST))
    _fits(study_text(_sample("study"), width), min(width, WIDEST))


@given(texts, texts, names, st.integers(NARROWEST, WIDEST))
@settings(max_examples=200, deadline=None, derandomize=True)
def test_pieces_fit(left: str, right: str, head: str, width: int) -> None:
    """Wrapped lines, two-ended lines and dotted lines never pass the edge."""
    for lines in (
        wrap(left, width, " ", "   "),
        both_ends(left, right, width),
        dotted(" s  ", left, head, width),
    ):
        _fits("\n".join(lines), width)


@given(st.lists(st.lists(texts, min_size=2, max_size=3), min_size=1, max_size=5))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_lists_fit(rows: list[list[str]]) -> None:
    """Lists of any ids and sayings fit 80 columns."""
    _fits(list_text(rows, "nothing"), 80)
