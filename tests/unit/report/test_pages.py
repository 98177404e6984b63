"""The judge page and the record page."""

from __future__ import annotations

import html as html_escape
import re
from collections.abc import Callable
from html.parser import HTMLParser
from typing import Any

import pytest

from idlewright.report.html import judge_page
from idlewright.report.quantity_words import reading_text
from idlewright.report.record import proof_words, record_page
from idlewright.words import odds_words

Sample = Callable[[str], dict[str, Any]]

HOSTILE = "<script>alert('x')</script><img src=x onerror=\"x\"> & \"'"
_VOID = {"meta", "br", "img", "input", "link", "hr"}


class _Reader(HTMLParser):
    """Collects text, attributes and elements, and checks that elements close in order."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.elements: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(tag)
        self.attributes += attrs
        if tag not in _VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(tag)
        self.attributes += attrs

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] != "style":
            self.texts.append(data)


def _read(page: str) -> _Reader:
    reader = _Reader()
    reader.feed(page)
    reader.close()
    assert not reader.open
    return reader


def _words(page: str) -> str:
    return " ".join(" ".join(_read(page).texts).replace("\u00a0", " ").split())


def _no_outside(page: str) -> None:
    reader = _read(page)
    assert "script" not in reader.elements and "link" not in reader.elements
    for name, value in reader.attributes:
        assert name != "style"
        assert not name.startswith("on")
        assert name not in ("src", "href")
        assert value is None or "http" not in value or name == "content"
    assert not re.search(r"url\((?!data:|#)", page)


def test_page_is_self_contained_and_without_style_attributes(judged: dict[str, Any]) -> None:
    """No script, link, outside address or style attribute; elements nest properly."""
    _no_outside(judge_page(judged))


def test_judge_page_says_everything_that_matters(judged: dict[str, Any]) -> None:
    """Vehicle, state, odds, readings, step, cautions, leads, reason and notes are all on it."""
    said = _words(judge_page(judged)).lower()
    step = judged["next"]
    wanted = [judged["job"]["vehicle"], judged["job"]["complaint"], ", ".join(judged["state_says"])]
    wanted += [step["why"].rstrip("."), *step["cautions"]]
    wanted += [step["probes"].get("red_says") or step["probes"]["red"] or ""]
    wanted += [step["probes"].get("black_says") or step["probes"]["black"] or ""]
    wanted += [note["says"] for note in judged["notes"]]
    wanted += [odds_words(suspect["probability"]) for suspect in judged["suspects"][:2]]
    for reading in judged["readings"]:
        wanted += [
            reading["say"],
            reading_text(reading),
            reading["struck_because"] or reading["verdict"],
        ]
    for part in wanted:
        assert part.lower() in said, part
    assert "%" not in said


def test_verdict_words_stand_beside_every_mark(sample: Sample) -> None:
    """Colour and shape are never alone: each reading carries its verdict as a word."""
    page = judge_page(sample("near"))
    for verdict in ("Inside", "Outside", "Too close to call", "Struck"):
        assert f'<p class="verdict-word">{verdict}</p>' in page


def test_a_slip_replaces_the_verdict(sample: Sample) -> None:
    """A likely slip is asked about in place of the verdict block."""
    page = judge_page(sample("slip"))
    articles = re.findall(r"<article.*?</article>", page, re.DOTALL)
    assert "Read it again?" in articles[1] and "verdict-word" not in articles[1]
    assert "verdict-word" in articles[0]


def test_limit_figures_speak(sample: Sample) -> None:
    """A figure tells limits, page, reading and verdict to a screen reader."""
    page = judge_page(sample("near"))
    assert 'aria-label="4.8 to 5.2 V, p. 12, reading 4.98 V, inside"' in page


def test_limits_moved_for_the_reference_show_both(sample: Sample) -> None:
    """Moved limits are drawn solid over the book's, and both are said."""
    page = judge_page(sample("near"))
    assert 'class="bracket thin"' in page
    assert "0.468 to 0.568 V, moved for the measured reference from 0.47 to 0.57 V" in _words(page)


def test_strokes_have_a_table_in_words(sample: Sample) -> None:
    """The strokes are hidden from screen readers and told again in a table."""
    page = judge_page(sample("near"))
    assert page.count('class="lean-row"') == 6
    assert "The same as a table" in page
    assert "Before any reading" in _words(page)
    assert page.count('class="stroke leading"') == 5
    assert 'class="stroke dotted"' in page and 'class="stroke thin"' in page
    assert 'class="stroke plain rail"' in page and 'class="stroke idle"' in page


def test_no_strokes_before_the_first_reading(sample: Sample) -> None:
    """Without a reading there is nothing to lean."""
    assert 'class="lean-row"' not in judge_page(sample("start"))


def test_hostile_text_is_escaped_everywhere(sample: Sample) -> None:
    """Typed text stays text wherever it lands, in words, attributes and drawings."""
    judged = sample("near")
    judged["job"].update(vehicle=HOSTILE, complaint=HOSTILE, id=HOSTILE)
    judged["state_says"] = [HOSTILE]
    judged["notes"] = [{"code": "x", "says": HOSTILE, "where": HOSTILE}]
    judged["next"].update(do=HOSTILE, why=HOSTILE, cautions=[HOSTILE], say=HOSTILE)
    for reading in judged["readings"]:
        reading.update(say=HOSTILE, typed=HOSTILE, reason=HOSTILE)
        if reading["limit"]:
            reading["limit"]["page"] = HOSTILE
    judged["readings"][2]["struck_because"] = HOSTILE
    for suspect in judged["suspects"]:
        suspect.update(title=HOSTILE, short=HOSTILE)
    page = judge_page(judged)
    _no_outside(page)
    reader = _read(page)
    assert "img" not in reader.elements
    assert "<script" not in page
    assert html_escape.escape("<script>", quote=False) in page


def test_hostile_record_is_escaped(sample: Sample) -> None:
    """The record keeps typed text as text too."""
    record = sample("record")
    for key in (
        "vehicle",
        "job",
        "complaint",
        "outcome",
        "wrong",
        "did",
        "comes_back",
        "who",
        "meters",
    ):
        record[key] = HOSTILE
    record["codes"] = [HOSTILE]
    record["before_after"][0].update(name=HOSTILE, unit=HOSTILE)
    record["before_after"][0]["before"].update(text=HOSTILE, verdict=HOSTILE)
    record["story"][0].update(at=HOSTILE, says=HOSTILE)
    page = record_page(record)  # type: ignore[arg-type]
    _no_outside(page)
    assert "img" not in _read(page).elements


def test_record_tells_the_whole_job(sample: Sample) -> None:
    """Complaint, outcome, proof, what was wrong and done, cost, codes, slips and story are told."""
    record = sample("record")
    said = _words(record_page(record))  # type: ignore[arg-type]
    for part in (
        "It died when the compressor cut in. It does not any more.",
        "Proven here, on this car, by 5 clean tries: hot, in drive, compressor cutting in.",
        "luck alone would do this less than 1 time in 20. Not tried: a cold start.",
        record["wrong"], record["did"], record["comes_back"],
        "47 min at the car, 62 euro. No part.",
        "Said before the work: most likely 90 euro, 9 in 10 such cars between 60 and 310.",
        "You agreed up to 310 euro at 10:50.",
        "Cleared at 11:32, not back after a drive of 6 km.",
        "Struck: sensor ground, to pin B 1.97 V, leads were swapped.",
        "Closed throttle first read 4.41 V: pins counted from the other face of the plug.",
        "Cleaned the sensor plug first. Not the cure: the closed throttle still read 0.93 V.",
        "Practice car.", "Sam, 12 March, 10:31 to 11:48", "41 entries, last one 9f3c",
        "0.47 to 0.57 V, book p. 31", "Too close to call", "Noted the codes.",
    ):  # fmt: skip
        assert part in said, part


def test_record_of_a_real_car_has_no_practice_label(sample: Sample) -> None:
    """Only a practice car's record is marked as one."""
    record = sample("record")
    record["practice"] = False
    assert "Practice" not in _words(record_page(record))  # type: ignore[arg-type]


def test_unproven_job_says_so(sample: Sample) -> None:
    """Without a clean try the record says not proven, never proven."""
    record = sample("record")
    record["proof"] = None
    said = _words(record_page(record))  # type: ignore[arg-type]
    assert "Not proven: no clean try was made." in said
    assert "Proven here" not in said


def test_record_with_little_in_it_still_stands(sample: Sample) -> None:
    """Parts with nothing to say are absent, not empty."""
    record = sample("record")
    record.update(
        before_after=[], said=None, actual=None, codes=[], other_readings=[], struck=[], slips=[],
        wrong_repairs=[], comes_back="", story=[], not_tried=[], meters="", last_hash="",
    )  # fmt: skip
    page = record_page(record)  # type: ignore[arg-type]
    _no_outside(page)
    for head in ("Before and after", "Codes", "Read again", "How the job went", "What it cost"):
        assert head not in page


@pytest.mark.parametrize(
    ("clean", "failed", "tried", "luck"),
    [
        (5, 3, 6, "less than 1 time in 20"),
        (2, 3, 6, "less than 1 time in 3"),
        (1, 0, 5, "could do this"),
    ],
)
def test_luck_is_never_flattered(clean: int, failed: int, tried: int, luck: str) -> None:
    """Luck is (1 - share)^n, the share drawn towards even and rounded to the cautious side."""
    proof = {
        "clean_tries": clean,
        "condition": "hot",
        "failed_before": failed,
        "tried_before": tried,
    }
    assert luck in proof_words(proof, [])  # type: ignore[arg-type]


def test_contrast_tokens_are_the_computed_ones() -> None:
    """The style's colours keep the measured contrasts: words at least 7:1, marks at least 3:1.

    WCAG 2.2 relative luminance, https://www.w3.org/TR/WCAG22/#dfn-relative-luminance
    """
    page = judge_page_style()
    light, dark = (dict(re.findall(r"--([\w-]+): (#[0-9A-F]{6})", part)) for part in page)
    for theme in (light, dark):
        for word, ground, least in (
            ("ink", "card", 7), ("ink", "ground", 7), ("ink2", "card", 7), ("ink2", "ground", 7),
            ("line", "card", 3), ("on-inside", "inside", 7), ("on-outside", "outside", 7),
            ("on-red", "red", 7), ("on-black", "black", 7), ("hatch", "card", 3),
        ):  # fmt: skip
            assert _contrast(theme[word], theme[ground]) >= least, (word, ground)


def judge_page_style() -> tuple[str, str]:
    """The light and the dark block of the style sheet."""
    from idlewright.report.html import page_style

    roots = re.findall(r":root \{(.*?)\}", str(page_style()), re.DOTALL)
    return roots[0], roots[1]


def _contrast(first: str, second: str) -> float:
    bright, dim = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
