"""The bench table: every bench can be run, a missed bar is seen."""

import inspect
from importlib import import_module

import pytest

from bench.__main__ import figures, main, missed, names, table

FOUND = {
    "cases": 12,
    "ms": {"ours": 1.5, "theirs": 30.0},
    "machine": {"cores": 2},
    "note": "words are no figures",
    "ratios": {"speed": 20.0, "memory": 3.0},
    "bars": {"speed": 30.0},
}


@pytest.mark.parametrize("name", names())
def test_every_bench_runs_without_arguments(name):
    """Each module of `bench` says what it measures and has a `run` that needs no arguments."""
    module = import_module(f"bench.{name}")
    assert module.__doc__
    parameters = inspect.signature(module.run).parameters.values()
    assert all(each.default is not each.empty for each in parameters)


def test_figures_are_the_numbers_that_are_neither_ratio_nor_bar():
    """Numbers at the top and one level down, by name; no ratios, bars, machine or words."""
    assert list(figures(FOUND)) == [("cases", 12.0), ("ms ours", 1.5), ("ms theirs", 30.0)]


def test_a_ratio_below_its_bar_is_missed():
    """A bar is missed by a smaller ratio, by none, and by one that is no number."""
    assert missed(FOUND) == ["speed"]
    assert missed({"bars": {"speed": 30.0}}) == ["speed"]
    assert missed({"ratios": {"speed": float("nan")}, "bars": {"speed": 30.0}}) == ["speed"]
    assert missed({"ratios": {"speed": 30.0}, "bars": {"speed": 30.0}}) == []


def test_the_table_says_machine_and_missed_bar():
    """One table: the machine on its first line, a row a figure, the missed bar in words."""
    lines = table({"mine": FOUND}, {"cores": "2"}).splitlines()
    assert lines[0] == "cores 2"
    (row,) = [line for line in lines if "speed" in line]
    assert row.split() == ["mine", "speed", "20", "30", "MISSED"]
    assert any(line.split() == ["mine", "memory", "3"] for line in lines)


def test_an_unknown_bench_is_two(capsys):
    """A name that is not there: exit code 2 and the names that are."""
    assert main(["no-such"]) == 2
    assert "start" in capsys.readouterr().err
