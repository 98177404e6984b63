"""What is kept between runs."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from idlewright import kept


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
