"""A class whose making breaks off, and group folders and keys that were damaged."""

import pytest

from fermkit.basis.errors import InputError
from fermkit.teach import class_data
from fermkit.teach.answers import FILE, read_answers
from fermkit.teach.classes import make_class, open_group, pool, read_key
from fermkit.teach.group_folder import ENVELOPES, readings_code
from fermkit.teach.mishaps import NONE
from fermkit.teach.pooling import CHECK_SAMPLE

SECRET = bytes(range(32))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A class of three honest groups."""
    return make_class(3, tmp_path_factory.mktemp("room") / "class", faults=(NONE,), secret=SECRET)


def test_a_class_that_breaks_off_leaves_nothing_behind(tmp_path, monkeypatch):
    """Interrupted while the key is written: no half class for students to find, no key, no hidden folders."""

    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(class_data, "_group", lambda *_: {"group": "01"})
    monkeypatch.setattr(class_data, "_teachers_folder", interrupted)
    with pytest.raises(KeyboardInterrupt):
        make_class(3, tmp_path / "class", faults=(NONE,), secret=SECRET)
    assert list(tmp_path.iterdir()) == []


def test_a_key_of_no_class_is_refused(tmp_path):
    """A name that is no folder is said back."""
    with pytest.raises(InputError, match="there is no folder"):
        read_key(tmp_path / "clas")


def test_open_blanks_cost_nothing(made):
    """A blank cell run as it stands measures nothing, names nothing and costs no minutes."""
    group = open_group(made.folder / "group_01")
    assert group.measure(...).kind == group.check("fault", " ").kind == "open"
    assert group.minutes_spent == 0


def test_an_answers_file_that_was_deleted_is_written_anew(made):
    """A checked answer is noted even where the file is gone."""
    group, file = open_group(made.folder / "group_02"), made.folder / "group_02" / FILE
    file.unlink()
    group.check("lag", 3.5)
    assert read_answers(file).given["lag"] == "3.5"


def test_damaged_envelopes_are_told(made):
    """A file that was cut off names itself and where a whole one is."""
    place = made.folder / "group_03" / ENVELOPES
    whole = place.read_text(encoding="utf-8")
    place.write_text(whole[:40], encoding="utf-8")
    with pytest.raises(InputError, match=f"{ENVELOPES} cannot be read"):
        open_group(made.folder / "group_03").measure("weigh the jar")
    place.write_text(whole, encoding="utf-8")


def test_notes_beside_the_readings_do_not_change_their_code(made):
    """A picture or a note that a group keeps in its run folder is no other run; another reading is."""
    run = made.folder / "group_01" / "run"
    before = readings_code(run)
    (run / "photo.txt").write_text("the jar at noon", encoding="utf-8")
    assert readings_code(run) == before
    gas = run / "gas.csv"
    text = gas.read_text(encoding="utf-8")
    gas.write_text(text + "99,99999\n", encoding="utf-8")
    assert readings_code(run) != before
    gas.write_text(text, encoding="utf-8")


def test_a_group_has_a_page_of_its_own(made):
    """Results with units, the shared sample, and why one is missing."""
    check = made.folder / "group_02" / CHECK_SAMPLE
    rows = check.read_text(encoding="utf-8").splitlines()
    check.write_text("\n".join([*rows[:1], "1,none,10"]) + "\n", encoding="utf-8")
    found = {one.group: one for one in pool(made.folder).groups}
    assert "shared sample" in str(found["01"]) and "% vol" in str(found["01"]) and "CO2 made" in str(found["01"])
    assert "no shared sample: " in str(found["02"]) and found["02"].shared == ()
    assert found["02"].results.keys() == found["01"].results.keys() >= {"CO2 made", "alcohol"}


def test_an_answer_given_twice_counts_once(tmp_path):
    """The last counts, and the group is told."""
    (tmp_path / FILE).write_text("lag = 3.5\nlag = 4.0\n", encoding="utf-8")
    found = read_answers(tmp_path / FILE)
    assert found.given["lag"] == "4.0" and any("answered twice" in note for note in found.notes)
