"""The public surface is a list under test."""

import subprocess
import sys

import pytest

import idlewright

PUBLIC = {
    "load_family", "load_sheet", "load_job", "Meter", "Reading", "CarState", "compile_model",
    "predict", "judge", "propose", "open_car", "study", "schema", "IdlewrightError",
}  # fmt: skip


def test_exactly_the_promised_names_are_public():
    """`idlewright.__all__` is the fourteen promised names and nothing else."""
    assert len(PUBLIC) == 14
    assert set(idlewright.__all__) == PUBLIC
    assert len(idlewright.__all__) == len(PUBLIC)


@pytest.mark.parametrize("name", sorted(PUBLIC))
def test_every_public_name_can_be_had(name):
    """Each promised name resolves, is listed by dir(), and says what it is."""
    found = getattr(idlewright, name)
    assert name in dir(idlewright)
    assert found.__doc__ and found.__doc__.strip()


def test_an_unknown_name_is_an_attribute_error():
    """A name that is not promised is not there, and the error says which."""
    with pytest.raises(AttributeError, match="no attribute 'judgement'"):
        _ = idlewright.judgement


def test_importing_the_package_is_cheap():
    """`import idlewright` loads no floor and no numerical library."""
    code = (
        "import sys, idlewright; heavy = ('numpy', 'scipy', 'idlewright.');"
        "print([name for name in sys.modules if name.startswith(heavy)])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_name_stays_the_same_whatever_was_imported_before():
    """`idlewright.study` is one object, also after the package of that name has been imported."""
    before = idlewright.study
    import idlewright.study as module

    assert idlewright.study is before
    assert module is not None
