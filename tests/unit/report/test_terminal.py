"""The judge answer as terminal text."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest

from idlewright.errors import Problem
from idlewright.report import columns, tables_text
from idlewright.report.predict_text import predict_text
from idlewright.report.quantity_words import reading_text
from idlewright.report.terminal import judge_text
from idlewright.words import odds_words

Sample = Callable[[str], dict[str, Any]]


def _flat(text: str) -> str:
    """Text with all breaks and runs of spaces as one space, to find sentences across lines."""
    return " ".join(text.split())


def test_sections_stand_in_order_and_next_is_last(sample: Sample) -> None:
    """Car, READINGS, HOW THE ODDS MOVED, NOW, NEXT; the price slip ends it."""
    text = judge_text(sample("near"))
    heads = ["Blue estate", "READINGS", "HOW THE ODDS MOVED", "\nNOW", "\nNEXT"]
    places = [text.index(head) for head in heads]
    assert places == sorted(places)
    assert text.rstrip().splitlines()[-1].startswith(" Price slip: most likely 90 euro")


def test_careful_comes_before_the_step(sample: Sample) -> None:
    """The caution is the first line under NEXT, before what to do."""
    lines = judge_text(sample("near")).splitlines()
    start = lines.index("NEXT")
    assert lines[start + 1].startswith(" Careful: Engine off.")
    assert "Set the throttle sensor" in lines[start + 2]


def test_everything_that_matters_is_said(judged: dict[str, Any]) -> None:
    """Vehicle, state, readings, odds, doubts, step, leads, reason and price all appear."""
    text = _flat(judge_text(judged))
    step = judged["next"]
    wanted = [judged["job"]["vehicle"], judged["job"]["id"], judged["job"]["complaint"]]
    wanted += judged["state_says"]
    wanted += [step["why"].rstrip(".")] if step["why"] else []
    wanted += [text for text in step["cautions"]]
    wanted += [change["cautions"][0] for change in step["setup"] if change["cautions"]]
    wanted += [note["says"] for note in judged["notes"]]
    wanted += [odds_words(max(s["probability"] for s in judged["suspects"]))]
    for reading in judged["readings"]:
        wanted += [
            reading["id"],
            reading_text(reading),
            reading["struck_because"] or reading["verdict"],
        ]
    if judged["surprise"]["word"] != "none":
        wanted.append(judged["surprise"]["says"])
    for part in wanted:
        assert columns.ascii_text(part).lower() in text.lower(), part


def test_doubts_are_said(sample: Sample) -> None:
    """Soft evidence that decides, and an unsettled answer, are said plainly."""
    text = _flat(judge_text(sample("something_else")))
    assert "Without the complaint and the codes something else would lead." in text
    assert "Not settled" in text
    assert "between pin B and the computer" in text


def test_slip_is_asked_kindly(sample: Sample) -> None:
    """A likely slip is named as a question; the word wrong is never used."""
    text = _flat(judge_text(sample("slip")))
    assert "This may be a slip: pins counted from the other face of the plug" in text
    assert "Read it again?" in text
    assert "wrong" not in text.lower().replace("nothing wrong", "")


def test_start_says_no_readings_yet(sample: Sample) -> None:
    """An empty job says what would stand here and the one thing to do, with its minutes."""
    text = judge_text(sample("start"))
    assert "No readings yet. First: note every stored code" in text
    assert "4 min." in text
    assert "READINGS" not in text and "HOW THE ODDS MOVED" not in text


def test_struck_reading_does_not_move_the_odds(sample: Sample) -> None:
    """A struck reading is listed with its reason and has no row on the scale."""
    text = judge_text(sample("near"))
    assert re.search(r"r3 +-- +sensor ground, to +1\.97 V +struck +leads were swapped", text)
    scale = text[text.index("HOW THE ODDS MOVED") : text.index("\nNOW")]
    assert "r2 0.93 V" in scale and "r3" not in scale


def test_scale_places_letters_by_log_odds(sample: Sample) -> None:
    """A suspect at even stands on the even line; each row holds every letter once."""
    judged = sample("near")
    text = judge_text(judged)
    block = text[text.index("HOW THE ODDS MOVED") : text.index("\nNOW")].splitlines()
    letters = [line[24:] for line in block[1:] if line.strip()]
    for row in letters:
        for letter in "smgt?o":
            assert row.count(letter) == 1
    even = block[0].index("even") + 1
    assert all(row[even - 24] in "|smgt?o" for row in letters)


def test_no_percent_anywhere(judged: dict[str, Any]) -> None:
    """Odds are words and counts; no percent sign reaches a person."""
    assert "%" not in judge_text(judged)


def test_style_only_adds_escapes(judged: dict[str, Any]) -> None:
    """Bold and colour change nothing but add escape sequences; plain text has none."""
    plain, styled = judge_text(judged), judge_text(judged, style=True)
    assert "\x1b" not in plain
    assert "\x1b[1mNEXT" in styled
    assert re.sub(r"\x1b\[[0-9;]*m", "", styled) == plain


@pytest.mark.parametrize(
    ("terminal", "environment", "wanted"),
    [
        (True, {}, True),
        (False, {}, False),
        (True, {"NO_COLOR": "1"}, False),
        (True, {"NO_COLOR": ""}, True),
        (True, {"TERM": "dumb"}, False),
        (True, {"TERM": "xterm"}, True),
    ],
)
def test_when_style_is_wanted(terminal: bool, environment: dict[str, str], wanted: bool) -> None:
    """Bold and colour need a terminal, no NO_COLOR and a TERM that is not dumb."""
    assert columns.wants_style(is_terminal=terminal, environment=environment) is wanted


def test_hostile_text_cannot_reach_the_terminal(sample: Sample) -> None:
    """Escape sequences, bells and line breaks in typed text are taken out."""
    judged = sample("mid")
    judged["job"]["vehicle"] = "blue\x1b[2J\x07 estate\nNEXT\n\u202e oil"
    judged["readings"][0]["typed"] = "4.98\x1b]0;x\x07 V"
    text = judge_text(judged)
    assert "\x1b" not in text and "\x07" not in text
    assert text.splitlines()[0].startswith("blue [2J estate NEXT")


def test_ascii_spelling() -> None:
    """Signs of the trade are spelled, accents dropped, the rest is a question mark."""
    assert columns.ascii_text("±8 mV at 20 °C, 5 Ω, 2 µA, Ščuk") == (
        "+-8 mV at 20 degC, 5 ohm, 2 uA, Scuk"
    )
    assert columns.ascii_text("车") == "?"


def test_predict_tables(sample: Sample) -> None:
    """Good car first, columns aligned, open circuit in words, an invalid row with its reason."""
    text = predict_text(sample("predict"))
    assert re.search(r"good car +0\.473 +0\.520 +0\.566", text)
    assert "limits 0.47 to 0.57 V" in text and "no spec" in text
    assert "OL about 49 in 50" in text
    assert "not valid: the circuit is alive" in _flat(text)
    assert "9 in 10 such cars" in text and "%" not in text


def test_study_tables(sample: Sample) -> None:
    """Every policy, its counts, and the pairs with whether they differ clearly."""
    text = _flat(tables_text.study_text(sample("study")))
    assert "188/200" in text and "wrong 2" in text
    assert "roll-out is 22.0 cheaper than bits per minute" in text
    assert "19 in 20 between -31.0 and -13.0." in text
    assert "so no clear difference" in text


def test_errors_are_one_line_each() -> None:
    """Errors keep the one-line form at any length; a line break inside a text cannot split one."""
    problem = Problem("unknown\nkey", "one of a, b", "remove it " * 20, "a.toml", 12, "check.x")
    text = tables_text.error_lines([problem, problem])
    assert len(text.splitlines()) == 2
    assert text.startswith("a.toml:12: check.x: unknown key; one of a, b; remove it")


def test_vet_and_lists() -> None:
    """Sound files are said to be sound; an empty list says what would stand there."""
    assert tables_text.vet_text(["a.toml"], []) == "a.toml: no faults found.\n"
    assert tables_text.vet_text(["a"], [Problem("x", file="a")]).endswith("1 fault in 1 file.\n")
    assert tables_text.list_text([], "No checks here.") == "No checks here.\n"
    assert tables_text.list_text([("a.b", "says")], "").startswith("a.b")


def test_terminal_text_needs_no_heavy_import() -> None:
    """Writing terminal text imports neither NumPy, SciPy nor the page templates."""
    code = (
        "import sys, idlewright.report.terminal, idlewright.report.predict_text, "
        "idlewright.report.tables_text; "
        "print([m for m in ('numpy', 'scipy', 'jinja2') if m in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
