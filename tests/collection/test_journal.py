import json

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.collection.journal import Entry, JournalError, open_journal

MADE_BY = {"litlamp": "1", "finder": "finder-1@abc"}


def entry(seed):
    return Entry(seed, msgspec.Raw(b'{"t":1}'), msgspec.Raw(b'{"r":1}'))


def filled(path, seeds):
    journal = open_journal(path, MADE_BY)
    for seed in seeds:
        journal.add(entry(seed))
    journal.close()
    return path


def test_what_was_added_is_there_again(tmp_path):
    path = filled(tmp_path / "j", [3, 1, 2])
    journal = open_journal(path, MADE_BY)
    assert list(journal.done) == [3, 1, 2]
    assert bytes(journal.done[1].truth) == b'{"t":1}'
    journal.add(entry(4))
    journal.close()
    assert len(path.read_bytes().splitlines()) == 5


@given(st.data())
def test_a_line_cut_short_is_dropped_and_the_rest_kept(tmp_path_factory, data):
    path = filled(tmp_path_factory.mktemp("j") / "j", range(5))
    whole = path.read_bytes()
    cut = data.draw(st.integers(0, len(whole)))
    path.write_bytes(whole[:cut])
    journal = open_journal(path, MADE_BY)
    assert list(journal.done) == list(range(max(whole[:cut].count(b"\n") - 1, 0)))
    for seed in range(5):
        if seed not in journal.done:
            journal.add(entry(seed))
    journal.close()
    assert path.read_bytes() == whole


def test_another_model_is_refused_by_name(tmp_path):
    path = filled(tmp_path / "j", [1])
    before = path.read_bytes()
    with pytest.raises(JournalError, match="begun with finder finder-1@abc, but now it is finder-2@def"):
        open_journal(path, MADE_BY | {"finder": "finder-2@def"})
    with pytest.raises(JournalError, match="begun with rulebook not given"):
        open_journal(path, MADE_BY | {"rulebook": "CROR 2025"})
    assert path.read_bytes() == before


@pytest.mark.parametrize("text", ["nonsense\n", "[]\n", json.dumps({"made_by": MADE_BY}) + "\n{}\n"])
def test_what_is_no_journal_is_left_alone(tmp_path, text):
    path = tmp_path / "j"
    path.write_text(text)
    with pytest.raises(JournalError, match="line"):
        open_journal(path, MADE_BY)
    assert path.read_text() == text


def test_a_folder_is_no_journal(tmp_path):
    with pytest.raises(JournalError):
        open_journal(tmp_path, MADE_BY)
