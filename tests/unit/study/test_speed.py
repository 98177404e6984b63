"""`study speed`: what is timed, and how it is shown."""

import pytest
from jsonschema import Draft202012Validator

from idlewright.errors import BadInput
from idlewright.report.speed_text import speed_text
from idlewright.schemas import schema
from idlewright.study.speed import READINGS, speed
from tiny_family import TINY


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Two cars of the tiny family, timed."""
    path = tmp_path_factory.mktemp("family") / "tiny.toml"
    path.write_text(TINY, encoding="utf-8")
    return speed(str(path), 2, 1)


def test_the_answer_is_as_published(found):
    """It follows its schema; each thing was done once a car or a few times in all."""
    Draft202012Validator(schema("speed")).validate(found)
    assert {row["id"]: row["n"] for row in found["rows"]} == dict.fromkeys(
        ["family", "model", "predict", "first", "judge", "verdict", "plain", "suspects", "next"], 2
    )


def test_times_are_times(found):
    """Nothing takes no time, and the middle lies between the ends."""
    for row in found["rows"]:
        for clock in (row["wall"], row["processor"]):
            assert 0 <= clock["low"] <= clock["median"] <= clock["high"]
        assert row["wall"]["low"] > 0


def test_it_is_shown_on_any_terminal(found):
    """A row a thing with its seconds, ASCII, within the width asked for."""
    for width in (32, 60, 80, 100):
        text = speed_text(found, width)
        assert text.isascii()
        assert max(map(len, text.splitlines())) <= width
    assert f"judge a job with {READINGS} readings" in speed_text(found, 100)


def test_no_car_is_no_study(tmp_path):
    """Nothing to time is bad input."""
    with pytest.raises(BadInput, match="nothing to time"):
        speed("plunger-carburettor", 0, 1)
