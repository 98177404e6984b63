"""What is kept between runs."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from idlewright import kept
from idlewright.family import load
from idlewright.family.shipped import known_files
from idlewright.physics.star_mesh import PortProgram, compile_port


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """A cache folder of the test's own."""
    monkeypatch.setattr(kept, "folder", lambda: tmp_path / "worked-out")
    return tmp_path / "worked-out"


def test_what_was_kept_comes_back():
    """A thing kept under a key is found under it, and under no other."""
    kept.keep("a" * 64, {"answer": [1, 2, 3]})
    assert kept.load("a" * 64) == {"answer": [1, 2, 3]}
    assert kept.load("b" * 64) is None


@pytest.mark.parametrize("damage", [b"", b"nonsense", b"idlewright kept 1\n" + b"x" * 40])
def test_a_damaged_file_is_as_good_as_none(own_folder, damage):
    """Empty, foreign or altered files are not read."""
    kept.keep("a" * 64, "thing")
    (own_folder / ("a" * 64)).write_bytes(damage)
    assert kept.load("a" * 64) is None


def test_one_changed_byte_is_noticed(own_folder):
    """The hash guards every byte."""
    kept.keep("a" * 64, "thing")
    file = own_folder / ("a" * 64)
    data = bytearray(file.read_bytes())
    data[-3] ^= 1
    file.write_bytes(bytes(data))
    assert kept.load("a" * 64) is None


def test_a_deleted_folder_and_one_that_cannot_be_made_do_no_harm(own_folder):
    """Nothing kept is nothing lost."""
    assert kept.load("c" * 64) is None
    own_folder.write_text("in the way")
    kept.keep("c" * 64, "thing")
    assert kept.load("c" * 64) is None


def test_many_writers_at_once_leave_a_whole_file():
    """Concurrent writers never leave half a file."""
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda n: kept.keep("d" * 64, ["thing"] * 1000), range(40)))
    assert kept.load("d" * 64) == ["thing"] * 1000


def test_only_the_newest_files_stay(own_folder):
    """The folder does not grow without end."""
    for number in range(kept.MOST_FILES + 5):
        kept.keep(f"{number:064d}", number)
    assert len(list(own_folder.iterdir())) == kept.MOST_FILES


def test_the_key_changes_with_the_content():
    """Another family or sheet is another key; the same content the same."""
    assert kept.key_of("family", "sheet") == kept.key_of("family", "sheet")
    assert kept.key_of("family", "sheet") != kept.key_of("family", "other")


def test_a_shipped_family_comes_back_the_same(own_folder, monkeypatch):
    """Read from its files and from what was kept; damage to what was kept changes nothing."""
    file = known_files("families")["plunger-carburettor"]
    read = load._shipped.__wrapped__(file)
    monkeypatch.setattr(load, "read_document", lambda _: pytest.fail("read again"))
    assert load._shipped.__wrapped__(file) == read
    monkeypatch.undo()
    monkeypatch.setattr(kept, "folder", lambda: own_folder)
    for path in own_folder.iterdir():
        path.write_bytes(path.read_bytes()[:-9])
    assert load._shipped.__wrapped__(file) == read


def test_a_circuit_comes_back_with_its_tapes():
    """A port that has run, kept and loaded, gives the same numbers without compiling again."""
    port = compile_port([("a", "b"), ("b", "c"), ("a", "c")], "a", "c")
    conductance, emf = np.array([[1.0, 2.0], [0.5, 0.1], [3.0, 1e-9]]), np.ones((3, 2))
    before = port.solve_with_sensitivity(conductance, emf)
    kept.keep("e" * 64, port)
    found = kept.load("e" * 64)
    assert isinstance(found, PortProgram)
    after = found.solve_with_sensitivity(conductance, emf)
    assert (after.dohms_dlnr == before.dohms_dlnr).all()
    assert (after.volts == before.volts).all()
