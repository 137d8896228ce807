"""A class made, answered, marked and pooled; and what students must not be able to see."""

import html
import json
import os
import re
import shutil
import stat
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from fermkit.__main__ import main
from fermkit.basis.errors import InputError
from fermkit.run.analysis import analyse
from fermkit.run.records import read_run
from fermkit.teach.answers import FILE, LARGEST, MENDED, QUESTION, noted
from fermkit.teach.class_data import FILE_TIME, HANDED_IN, read_key
from fermkit.teach.class_key import SLIPS, class_results, right_answers
from fermkit.teach.classes import key_in_words, make_class, mark, open_group, pool
from fermkit.teach.group_folder import ABOUT
from fermkit.teach.marking import Kind
from fermkit.teach.mishaps import MISHAP, NAMES, NONE, RULES
from fermkit.teach.papers import student_notebooks

SECRET = bytes(range(32))
EVERY = (*NAMES, NONE)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """One class of nine groups with each mistake once, and one honest group."""
    return make_class(9, tmp_path_factory.mktemp("room") / "class", faults=EVERY, secret=SECRET)


@pytest.fixture
def lesson(made, tmp_path):
    """A copy of that class, to be written into."""
    shutil.copytree(made.folder, tmp_path / "class")
    shutil.copytree(made.teacher, tmp_path / "class-teacher")
    return tmp_path / "class"


@pytest.fixture(scope="module")
def key(made):
    """The key: group → its part."""
    return {one["group"]: one for one in read_key(made.teacher)["groups"]}


def group_with(key, fault):
    """Which group was dealt a mistake."""
    return next(name for name, one in key.items() if one["fault"] == fault)


def answer_all(folder, one, *, hunt=True):
    """Fill in what is right for a group: as read, and as mended."""
    file = folder / FILE
    for name, right in one["read"].items():
        noted(file, name, f"{right['value']:.5g} ± {right['u']:.2g}")
    if not hunt:
        return
    for name, right in one["mended"].items():
        if right != one["read"].get(name):
            noted(file, name, f"{right['value']:.5g}", mended=True)
    settled = MISHAP[one["fault"]].settled_by[0] if one["fault"] in MISHAP else "weigh the jar"
    for word, said in (("mistake", one["fault"]), ("measured", settled), ("settled by", settled)):
        noted(file, word, said)


def marks_of(marks, group):
    """Question → mark, of one group."""
    return {mark.question: mark for one in marks.groups if one.group == group for mark in one.marks}


def problems_of(marks, group):
    """What is said of a group's file as a whole."""
    return " ".join(next(one.problems for one in marks.groups if one.group == group))


# what students get, and must not see


def test_every_group_gets_a_whole_folder(made):
    """A run that reads, a page of its own, an answers file and the notebooks, ready for the folder they lie in."""
    for name in made.groups:
        folder = made.folder / f"group_{name}"
        have = {path.name for path in folder.iterdir()}
        assert have == {"run", ABOUT, FILE, f"group_{name}.html", *student_notebooks()}
        assert read_run(folder / "run").name == f"Group {name}"
        for book in student_notebooks():
            text = (folder / book).read_text(encoding="utf-8")
            assert '"output_type"' not in text
            assert 'open_group(\\".\\")' in text or book.startswith("5")


def test_each_mistake_is_dealt_once_and_somebody_has_none(key, tmp_path):
    """Nine groups, eight mistakes and none; of four groups one has none, whatever the secret."""
    assert sorted(one["fault"] for one in key.values()) == sorted(EVERY)
    for i in range(3):
        kit = make_class(4, tmp_path / f"{i}", secret=bytes([i]) * 32)
        assert NONE in [one["fault"] for one in read_key(kit.teacher)["groups"]]


def test_no_answer_lies_with_the_class(made, key):
    """No secret, no lock, no slip of paper, no right or mended number in any byte handed out."""
    secret = (made.teacher / "secret.txt").read_text().strip()
    for name, one in key.items():
        folder = made.folder / f"group_{name}"
        text = "\n".join(p.read_text(encoding="utf-8") for p in folder.rglob("*") if p.is_file())
        assert secret not in text and "hash" not in (folder / ABOUT).read_text()
        assert str(one["stated"]["steepest_h"] * 1000) not in text
        for found in one["slips"].values():
            assert found["settles"] not in text
        for part in ("read", "mended"):
            for right in one[part].values():
                assert f"{right['value']:.5f}" not in text
        assert one["fault"] not in (folder / ABOUT).read_text()


def test_files_tell_nothing_by_their_times_or_names(made):
    """Every file has one time, every group the same files with the same columns and lengths."""
    assert {path.stat().st_mtime for path in (*made.folder.rglob("*"), made.folder)} == {FILE_TIME}
    layouts = set()
    for name in made.groups:
        folder = made.folder / f"group_{name}"
        layouts.add(
            tuple(
                (str(path.relative_to(folder)), path.read_text().split("\n")[0], path.read_text().count("\n"))
                for path in sorted(folder.rglob("*.csv"))
            )
        )
        assert set(read_run(folder / "run").tables["samples"]["dilution"]) in ({4.0, 8.0}, {8.0, 16.0})
    assert len(layouts) == 1


def test_the_key_is_readable_by_its_owner_only(made):
    """Every file of the teacher's is mode 600 in a folder of mode 700."""
    assert stat.S_IMODE(made.teacher.stat().st_mode) == 0o700
    assert {stat.S_IMODE(path.stat().st_mode) for path in made.teacher.iterdir()} == {0o600}
    pages = {f"{name}.html" for name in ("desk", "print_pack", "slides", "key")}
    assert {path.name for path in made.teacher.iterdir()} == pages | {"key.json", "secret.txt", "teachers_page.md"}


def test_another_secret_gives_another_class(tmp_path):
    """The same secret makes the same readings; one bit changed makes others, in every group."""
    kits = [
        make_class(2, tmp_path / name, faults=("none",), secret=secret)
        for name, secret in (("same", SECRET), ("again", SECRET), ("other", bytes([1]) + SECRET[1:]))
    ]
    for name in kits[0].groups:
        same, again, other = ((kit.folder / f"group_{name}" / "run" / "gas.csv").read_bytes() for kit in kits)
        assert same == again != other
    assert kits[0].class_id == kits[1].class_id != kits[2].class_id


def test_groups_differ_in_what_they_weighed(key):
    """Sugar of the nine groups spreads by a fifth at least: the numbers of one are wrong for another."""
    sugar = np.array([one["read"]["sugar"]["value"] for one in key.values()])
    assert sugar.std() / sugar.mean() > 0.15


# mistakes


def run_of(made, key, fault):
    """The analysed run of the group with a mistake."""
    return analyse(read_run(made.folder / f"group_{group_with(key, fault)}" / "run"))


@pytest.mark.parametrize(("fault", "fits"), [(NONE, True), ("leak", False), ("wrong dilution", False),
                                             ("wet product", False)])  # fmt: skip
def test_a_mistake_in_the_readings_shows_in_the_balance(made, key, fault, fits):
    """An honest group's measurements agree; these three contradict one another."""
    assert run_of(made, key, fault).consistent is fits


def test_a_dead_sensor_range_shows_in_the_dilutions(made, key):
    """The stronger dilution reads the same volts for samples that differ; the dilutions disagree."""
    analysis = run_of(made, key, "dead sensor range")
    table = analysis.run.tables["samples"]
    strong = table[table["dilution"] == table["dilution"].min()].groupby("sample")["signal"].mean()
    assert abs(strong["S4"] - strong["S3"]) < 0.02
    low, high = sorted(reading.value.nominal_value for reading in analysis.samples[-1].readings)
    assert high > 1.2 * low


def test_a_shifted_clock_shows_in_the_shares(made, key):
    """Alcohol and gas are out of step; in an honest group they are in step."""

    def out_of_step(fault):
        analysis = run_of(made, key, fault)
        gas, last = analysis.gas[0], analysis.samples[-1].value.nominal_value
        share = [(s.time_h, s.value.nominal_value / last) for s in analysis.samples[:-1]]
        return max(abs(float(np.interp(t, gas.time_h, gas.co2_mol / gas.co2_mol[-1])) - x) for t, x in share)

    assert out_of_step("shifted clock") > 0.12 > 2 * out_of_step(NONE)


@pytest.mark.parametrize("fault", ["% vol as % mass", "CO2 slip", "sucrose as glucose"])
def test_a_mistake_in_the_working_shows_in_one_number_of_the_sheet(made, key, fault):
    """One number of the first sheet is wrong; the readings are honest, and the sheet gives no answer away."""
    group = open_group(made.folder / f"group_{group_with(key, fault)}")
    wrong = [of for of, used in group.rules.items() if used != pytest.approx(RULES[of][1], rel=1e-3)]
    assert wrong == [MISHAP[fault].mends]
    assert analyse(group.run).consistent


def test_the_slips_settle_each_mistake(key):
    """What was read is no right answer to what is mended, and what is bought leads to the truth."""
    for fault, name, truth in (
        ("leak", "gas made", lambda t: t["CO2 made"] / 44.01),
        ("wrong dilution", "alcohol", lambda t: t["ethanol made"]),
        ("dead sensor range", "alcohol", lambda t: t["ethanol made"]),
        ("wet product", "yeast", lambda t: t["yeast grown"]),
    ):
        one = key[group_with(key, fault)]
        was, now = one["read"][name], one["mended"][name]
        assert abs(was["value"] - now["value"]) > now["tolerance"], fault
        assert now["value"] == pytest.approx(truth(one["truth"]), rel=0.04, abs=1.6 * (name == "yeast")), fault


# answers in a notebook


def test_a_noted_answer_is_repeated_and_never_judged(lesson, key):
    """Right and wrong are noted in the same words: nothing in the folder tells them apart."""
    group = open_group(lesson / "group_01")
    right = key["01"]["read"]["gas made"]["value"]
    assert str(group.note("gas made", f"{right:.4g}")).replace(f"{right:.4g}", "x") == str(
        group.note("gas made", f"{right * 2:.4g}")
    ).replace(f"{right * 2:.4g}", "x")
    assert group.answers.number("gas made").value == pytest.approx(2 * right, rel=1e-3)


def test_mended_numbers_stand_beside_the_first_ones(lesson):
    """Mending overwrites nothing: both are in the file."""
    group = open_group(lesson / "group_02")
    group.note("alcohol", "25 ± 1 g")
    group.note("mended alcohol", "50.6 g")
    assert (group.answers.given["alcohol"], group.answers.mended["alcohol"]) == ("25 ± 1 g", "50.6 g")


TWO_AT_ONCE = """
import sys, time
from pathlib import Path
from fermkit.teach.classes import open_group
group, mine, go = open_group(sys.argv[1]), sys.argv[2].split("|"), Path(sys.argv[3])
(go.parent / f"ready {mine[0]}").touch()
while not go.exists():
    time.sleep(0.001)
for turn in range(8):
    for i, name in enumerate(mine):
        group.note(name, f"{100 * turn + i}")
        kept = group.answers
        now = {**kept.given, **{f"mended {n}": text for n, text in kept.mended.items()}}
        lost = [n for j, n in enumerate(mine) if j <= i and now.get(n) != f"{100 * turn + j}"]
        if lost or kept.group != group.group or kept.class_id != group.class_id:
            sys.exit(f"turn {turn}: lost {lost}, group {kept.group!r}")
"""


def test_two_processes_in_one_folder_lose_nothing(lesson, tmp_path):
    """Two programs note eight answers each, eight times over and at once: all stand, class and group with them."""
    (lesson / "group_01" / FILE).unlink()
    names = [*QUESTION, "shared 1", "shared 2", *(f"mended {name}" for name in MENDED)]
    go, half = tmp_path / "go", len(names) // 2
    command = [sys.executable, "-c", TWO_AT_ONCE, str(lesson / "group_01")]
    both = [subprocess.Popen([*command, "|".join(part), str(go)], stderr=subprocess.PIPE, text=True)
            for part in (names[:half], names[half:])]  # fmt: skip
    while len(list(tmp_path.glob("ready *"))) < 2 and all(one.poll() is None for one in both):
        time.sleep(0.01)
    go.touch()
    assert [(one.communicate()[1], one.returncode) for one in both] == [("", 0)] * 2
    answers = open_group(lesson / "group_01").answers
    assert answers.filled == len(names) and answers.notes == ()


def test_an_open_answer_changes_nothing(lesson):
    """Empty quotes are called open, and nothing is noted; a file that was deleted is written anew."""
    group = open_group(lesson / "group_01")
    group.note("lag", "4 h")
    assert "open" in str(group.note("lag", ""))
    assert group.answers.given["lag"] == "4 h"
    (lesson / "group_01" / FILE).unlink()
    group.note("mistake", "our watch was slow")
    assert group.answers.given["mistake"] == "shifted clock"
    assert group.answers.class_id == group.class_id


def test_wrong_words_are_refused_in_words(lesson):
    """An unknown question or a unit of another kind names what there is; no folder is no group's."""
    group = open_group(lesson / "group_01")
    with pytest.raises(InputError, match="lag"):
        group.note("lagg", 3)
    with pytest.raises(InputError, match="another kind of unit"):
        group.note("lag", "3 g")
    with pytest.raises(InputError, match="no group's folder"):
        open_group(lesson)
    (lesson / "group_01" / ABOUT).write_text("[" * 100_000)
    with pytest.raises(InputError, match="cannot be read"):
        open_group(lesson / "group_01")


# marking


def test_right_answers_get_full_marks(lesson, key):
    """Every group answering right, as read and as mended, gets every point."""
    for name, one in key.items():
        answer_all(lesson / f"group_{name}", one)
    marks = mark(lesson)
    for one in marks.groups:
        assert one.points == one.of == 22, str(one)
        assert one.problems == () and one.minutes >= 5


def test_the_library_itself_gets_full_marks(made, key):
    """Analysing the folder on disk gives the numbers of the key."""
    for name, one in key.items():
        found = right_answers(class_results(read_run(made.folder / f"group_{name}" / "run")))
        for question, right in one["read"].items():
            assert found[question]["value"] == pytest.approx(right["value"], abs=right["tolerance"] / 4)


def test_a_line_along_the_steepest_readings_is_right(made, key):
    """Rate and lag by the hand-out's own definition, through three, four or five readings, are right in every group."""
    for name, one in key.items():
        gas = class_results(read_run(made.folder / f"group_{name}" / "run")).gas[0]
        time_h, mmol = gas.time_h, gas.co2_mol * 1000
        for many in (3, 4, 5):
            lines = [np.polyfit(time_h[i : i + many], mmol[i : i + many], 1) for i in range(len(time_h) - many + 1)]
            slope, start = max(lines, key=lambda line: line[0])
            rate, lag = one["read"]["largest rate"], one["read"]["lag"]
            assert abs(slope - rate["value"]) <= rate["tolerance"], (name, many)
            assert abs((mmol[0] - start) / slope - lag["value"]) <= lag["tolerance"], (name, many)


def test_a_sheet_typed_without_opening_any_data_earns_little(lesson, key):
    """The class's own mean of every answer, typed by all groups, earns less than two of nine points on average."""
    values = {n: float(np.mean([one["read"][n]["value"] for one in key.values()])) for n in QUESTION}
    for name in key:
        for question, value in values.items():
            noted(lesson / f"group_{name}" / FILE, question, f"{value:.4g}")
    marks = mark(lesson)
    points = [sum(m.points for m in one.marks if m.question in QUESTION) for one in marks.groups]
    assert np.mean(points) < 2


def test_mending_costs_nothing(lesson, key):
    """A group that mends keeps the points of its first numbers; one that does not mend loses the hunt only."""
    name = group_with(key, "wrong dilution")
    answer_all(lesson / f"group_{name}", key[name], hunt=False)
    before = marks_of(mark(lesson), name)
    answer_all(lesson / f"group_{name}", key[name])
    after = marks_of(mark(lesson), name)
    first = [*QUESTION, "a sensible ±"]
    assert [before[n].points for n in first] == [after[n].points for n in first] == [1] * 10
    assert sum(m.points for m in before.values()) == 10 and sum(m.points for m in after.values()) == 22


def test_finding_and_mending_is_worth_the_most(lesson, key):
    """Of 22 points twelve are for the hunt, more than for all first numbers; the right mistake alone is worth four."""
    name = group_with(key, "wet product")
    answer_all(lesson / f"group_{name}", key[name])
    found = marks_of(mark(lesson), name)
    first = sum(found[n].of for n in (*QUESTION, "a sensible ±"))
    hunt = {n: m.of for n, m in found.items() if n not in QUESTION and n != "a sensible ±"}
    assert sum(hunt.values()) == 12 > first == 10
    assert hunt == {"mistake": 4, "settled by": 2, "mended number": 4, "carbon found, mended": 2}


@pytest.mark.parametrize("fault", ["leak", "wrong dilution", "wet product", "dead sensor range"])
def test_a_number_mended_before_it_was_written_down_is_right(lesson, key, fault):
    """A group that finds its mistake first, and writes the mended number alone, loses nothing."""
    name, what = group_with(key, fault), MISHAP[fault].mends
    answer_all(lesson / f"group_{name}", key[name])
    noted(lesson / f"group_{name}" / FILE, what, f"{key[name]['mended'][what]['value']:.5g}")
    noted(lesson / f"group_{name}" / FILE, "carbon found", f"{key[name]['mended']['carbon found']['value']:.5g}")
    for again in (what, "carbon found"):
        noted(lesson / f"group_{name}" / FILE, again, "", mended=True)
    found = marks_of(mark(lesson), name)
    assert found[what].points == 1 and found["mended number"].points == 4
    assert found["carbon found, mended"].points == 2


def test_later_numbers_follow_from_earlier_ones(lesson, key):
    """Sucrose taken as glucose is half a point, and the CO2 worked from it is right."""
    own = key["05"]["read"]
    sugar = own["sugar"]["value"] / RULES["sugar"][1]
    file = lesson / "group_05" / FILE
    noted(file, "sugar", f"{sugar:.2f} g")
    noted(file, "CO2 expected", f"{sugar * 2 * 44.01 / 180.16:.2f} g")
    found = marks_of(mark(lesson), "05")
    assert (found["sugar"].kind, found["sugar"].points) == (Kind.SLIP, 0.5)
    assert (found["CO2 expected"].kind, found["CO2 expected"].points) == (Kind.FOLLOWS, 1)


def test_a_number_follows_only_from_one_that_earned(lesson, key):
    """Out of thin air and worked on rightly is still out of thin air."""
    file = lesson / "group_05" / FILE
    sugar = key["05"]["read"]["sugar"]["value"] * 1.23
    noted(file, "sugar", f"{sugar:.2f} g")
    noted(file, "CO2 expected", f"{sugar * 2 * 44.01 / 180.16:.2f} g")
    found = marks_of(mark(lesson), "05")
    assert found["sugar"].points == found["CO2 expected"].points == 0


@pytest.mark.parametrize("slip", SLIPS, ids=lambda slip: f"{slip.of}: {slip.says}"[:50])
def test_each_slip_is_named_with_where_to_look(lesson, key, slip):
    """In some group at least the slip's number is taken for what it is, and worth half a point."""
    told = []
    for name, one in key.items():
        known = {n: r["value"] for n, r in one["read"].items()} | one["stated"]
        if slip.of == "carbon found":
            answer_all(lesson / f"group_{name}", one, hunt=False)
        noted(lesson / f"group_{name}" / FILE, slip.of, f"{slip.gives(known):.5g}")
        told.append((name, slip.gives(known)))
    marks = mark(lesson)
    found = [marks_of(marks, name)[slip.of] for name, _ in told]
    assert any(one.points == 0.5 and slip.look in one.says for one in found)


def test_the_plus_minus_is_asked(lesson, key):
    """A sensible ± earns its point; none, a wild one, or one beside a wrong number does not."""
    right = key["01"]["read"]["sample"]
    for text, points in ((f"{right['value']:.3f} ± {right['u']:.3f}", 1), (f"{right['value']:.3f}", 0),
                         (f"{right['value']:.3f} ± {30 * right['u']:.3f}", 0),
                         (f"{right['value'] * 3.3:.3f} ± {right['u']:.3f}", 0)):  # fmt: skip
        noted(lesson / "group_01" / FILE, "sample", text)
        assert marks_of(mark(lesson), "01")["a sensible ±"].points == points


def test_altering_an_honest_reading_costs(lesson, key):
    """A group without a mistake that mends something all the same loses the points of leaving it alone."""
    name = group_with(key, NONE)
    answer_all(lesson / f"group_{name}", key[name])
    noted(lesson / f"group_{name}" / FILE, "yeast", "31 g", mended=True)
    assert marks_of(mark(lesson), name)["mended number"].points == 0


def test_broken_files_are_told_and_stop_nothing(lesson, key, tmp_path):
    """Missing, binary, a pipe, a link, too long, in another encoding: all reported, the rest is marked."""
    for name, one in key.items():
        answer_all(lesson / f"group_{name}", one)
    shutil.rmtree(lesson / "group_01")
    for name in ("02", "04", "06"):
        (lesson / f"group_{name}" / FILE).unlink()
    os.mkfifo(lesson / "group_02" / FILE)
    (lesson / "group_03" / FILE).write_bytes(bytes(range(256)) * 4)
    (tmp_path / "diary.txt").write_text("dear diary: nobody may read this\n")
    (lesson / "group_04" / FILE).symlink_to(tmp_path / "diary.txt")
    text = (lesson / "group_05" / FILE).read_text()
    (lesson / "group_05" / FILE).write_bytes((text + "wir fanden 3 µg\n").encode("cp1252"))
    (lesson / "group_06" / FILE).write_text("x" * (LARGEST + 1))
    marks = mark(lesson)
    points = {one.group: one.points for one in marks.groups}
    assert [points[name] for name in ("01", "02", "03", "04", "06")] == [0] * 5
    assert points["05"] == points["07"] == 22
    assert all(problems_of(marks, name) for name in ("01", "02", "03", "04", "05", "06"))
    assert "diary:" not in str(marks.groups[3])


def test_copies_are_told_and_left_out(lesson, key):
    """A folder that a file manager copied is no group's; nothing of it is marked or pooled."""
    shutil.copytree(lesson / "group_01", lesson / "group_01 - Copy")
    marks, found = mark(lesson), pool(lesson)
    assert len(marks.groups) == len(found.groups) == 9
    assert "group_01 - Copy" in " ".join(marks.lost) and "group_01 - Copy" in " ".join(found.lost)


def test_marking_needs_the_teachers_file_alone(lesson, key, tmp_path):
    """Answer files in one folder, named anyhow, are marked by the key, without any of the students' folders."""
    for name in ("03", "07"):
        answer_all(lesson / f"group_{name}", key[name])
    place = tmp_path / "elsewhere" / HANDED_IN
    place.mkdir(parents=True)
    shutil.copy(lesson / "group_03" / FILE, place / "from a phone.txt")
    shutil.copy(lesson / "group_07" / FILE, place / "group_07_answers (1).txt")
    (place / "whose.txt").write_text("lag: 3\n")
    marks = mark(place.parent, lesson.with_name("class-teacher"))
    assert {one.group: one.points for one in marks.groups if one.points} == {"03": 22, "07": 22}
    assert "whose.txt" in " ".join(marks.lost)


def test_another_groups_numbers_are_found_out(lesson, key):
    """They fit the other group's readings, and hardly earn anything here."""
    answer_all(lesson / "group_01", key["04"])
    marks = mark(lesson)
    assert "group 04" in problems_of(marks, "01")
    assert sum(marks_of(marks, "01")[name].points for name in QUESTION) <= 3


def test_an_answers_file_of_another_class_or_group(lesson):
    """Told by what the file says of itself."""
    noted(lesson / "group_01" / FILE, "class", "deadbeef")
    noted(lesson / "group_01" / FILE, "group", "07")
    said = problems_of(mark(lesson), "01")
    assert "deadbeef" in said and "07" in said


@pytest.mark.parametrize("text", ["not JSON", "[" * 100_000, '{"class": 1}'])
def test_a_key_that_is_none_is_refused(lesson, text):
    """What stands there is no key: nothing is marked."""
    (lesson.with_name("class-teacher") / "key.json").write_text(text)
    with pytest.raises(InputError, match="no key that can be read"):
        mark(lesson)


def test_feedback_is_written_and_harmless(lesson, tmp_path):
    """A page for each group, a table; what a student typed can run neither in a browser nor in a spreadsheet."""
    noted(lesson / "group_01" / FILE, "mistake", "<script>alert(1)</script>")
    noted(lesson / "group_01" / FILE, "in our words", "=1+2")
    place = mark(lesson).write(tmp_path / "out")
    page = (place / "feedback" / "group_01.html").read_text()
    assert "<script>" not in page and "&lt;script&gt;" in page and "=1+2" in page
    rows = (place / "marks.csv").read_text().splitlines()
    assert len(rows) == 10
    assert not any(cell.startswith("=") for row in rows for cell in row.split(","))


# pooling


def test_pool_of_the_classs_own_answers(lesson, key):
    """Robust means of what the groups wrote, mended, near the truth; the kit's own and the scores beside them."""
    for i, (name, one) in enumerate(key.items()):
        answer_all(lesson / f"group_{name}", one)
        for shared, off in (("shared 1", 0.02), ("shared 2", -0.02)):
            noted(lesson / f"group_{name}" / FILE, shared, f"{5.0 + off + 0.02 * i:.2f} % vol")
    noted(lesson / "group_09" / FILE, "shared 1", "9.1")
    found = pool(lesson)
    for name, one in found.answered.items():
        assert len(one.values) == 9
        assert one.mean.nominal_value == pytest.approx(one.truth, rel=0.06), name
    wet = group_with(key, "wet product")
    assert abs(found.by_kit["yeast yield"].z[wet]) > 3 > abs(found.answered["yeast yield"].z[wet])
    assert found.by_kit["yeast yield"].mean.nominal_value < 0.14, "one wet product hardly moves a robust mean"
    assert found.shared.counts.tolist() == [2] * 9
    assert abs(found.scores["09"][0]) > 3 and found.scores["09"][2] > 2
    assert found.shared_truth == key["01"]["shared_truth"]
    assert found.picture()._repr_png_()[:4] == b"\x89PNG"


def test_the_kit_reads_the_shared_sample_near_its_truth(made, key):
    """Each group's two volts on its own standards give what was poured, within pipettes and sensor."""
    for one in pool(made.folder).groups:
        assert len(one.shared_by_kit) == 2
        assert np.mean(one.shared_by_kit) == pytest.approx(key[one.group]["shared_truth"], rel=0.08)


def test_real_volts_are_not_read_on_invented_standards(lesson):
    """A group that wrote volts of its own over those handed out is told, and its sample left out."""
    place = lesson / "group_03" / ABOUT
    about = json.loads(place.read_text())
    about["shared"]["volts"] = [0.091, 0.093]
    place.write_text(json.dumps(about))
    three = next(one for one in pool(lesson).groups if one.group == "03")
    assert three.shared_by_kit == () and any("invented standards" in note for note in three.notes)


def test_bad_groups_cost_themselves_only(lesson):
    """Standards gone, gas × 1e9, a spoilt run, a pipe among the tables, a signal of 1e29, an impossible answer."""
    run = {name: lesson / f"group_{name}" / "run" for name in (f"{i:02d}" for i in range(1, 10))}
    (run["01"] / "standards.csv").unlink()
    gas = (run["02"] / "gas.csv").read_text()
    (run["02"] / "gas.csv").write_text(re.sub(r"(?m),(\d+)$", r",\g<1>000000000", gas))
    (run["03"] / "run.toml").write_text("[run\n")
    (run["04"] / "gas.csv").unlink()
    os.mkfifo(run["04"] / "gas.csv")
    text = (run["05"] / "samples.csv").read_text()
    (run["05"] / "samples.csv").write_text(re.sub(r",0\.\d+,", ",1e29,", text))
    shutil.rmtree(run["06"])
    noted(lesson / "group_07" / FILE, "shared 1", "5000")
    found = pool(lesson)
    notes = {one.group: " ".join(one.notes) for one in found.groups}
    assert all(notes[name] for name in ("01", "02", "03", "04", "05", "06", "07"))
    assert notes["08"] == notes["09"] == ""
    assert len(found.by_kit["CO2 yield"].values) >= 4


def test_the_pool_is_written(lesson, tmp_path):
    """One page that holds the picture and the numbers, and loads nothing from elsewhere."""
    page = pool(lesson).write(tmp_path / "out").read_text()
    assert "<svg" in page and "CO2 yield" in page
    assert not re.search(r"(src|href)=['\"]https?:", page)


def test_pool_of_nothing(tmp_path):
    """A folder without groups, and no folder, are refused."""
    for place in (tmp_path, tmp_path / "none"):
        with pytest.raises(InputError):
            pool(place)


# making


@pytest.mark.parametrize(
    ("groups", "how", "match"),
    [
        (0, {}, "1 to 99"),
        (100, {}, "1 to 99"),
        (2, {"faults": ("leek",)}, "leak"),
        (2, {"secret": b"short"}, "128 bits"),
    ],
)
def test_a_class_that_cannot_be_made(tmp_path, groups, how, match):
    """Refused before anything is written."""
    with pytest.raises(InputError, match=match):
        make_class(groups, tmp_path / "class", **how)
    assert list(tmp_path.iterdir()) == []


def test_a_key_inside_the_class_is_refused(tmp_path):
    """The teacher's folder may not lie in the students', by whatever path."""
    for inside in ("class/key", "class/../class/key", "class"):
        with pytest.raises(InputError, match="students'"):
            make_class(1, tmp_path / "class", teacher=tmp_path / inside)


def test_nothing_is_overwritten(made):
    """A class that is there stays as it is."""
    with pytest.raises(InputError, match="there already"):
        make_class(1, made.folder)
    with pytest.raises(InputError, match="there already"):
        make_class(1, made.folder.with_name("new"), teacher=made.teacher)


def test_a_class_that_breaks_off_leaves_nothing_behind(tmp_path, monkeypatch):
    """Interrupted while the key is written: no half class for students to find, no key, no hidden folders."""
    from fermkit.teach import class_data

    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(class_data, "_teachers_folder", interrupted)
    with pytest.raises(KeyboardInterrupt):
        make_class(1, tmp_path / "class", faults=(NONE,), secret=SECRET)
    assert list(tmp_path.iterdir()) == []


def test_from_the_command_line(tmp_path, capsys):
    """make, mark, pool and key, each one command."""
    place = str(tmp_path / "spring")
    assert main(["workshop", "make", place, "--groups", "3", "--faults", "none, leak"]) == 0
    for act in ("mark", "pool", "key"):
        assert main(["workshop", act, place]) == 0
        assert capsys.readouterr().out
    assert {"marks.csv", "pooled.html", "feedback"} <= {path.name for path in Path(place + "-teacher").iterdir()}
    assert main(["workshop", "make", place]) == 1
    assert "there already" in capsys.readouterr().err
    assert main(["workshop", "mark", place, "--teacher", str(tmp_path)]) == 1


def test_the_key_in_words(made, key):
    """Every group with its mistake and each of its answers."""
    page = key_in_words(made.folder)
    for name, one in key.items():
        assert f"Group {name}: {one['fault']}" in page
    for name in (*QUESTION, *MENDED):
        assert name in page


# what is handed out on paper and on the screen


def test_the_print_pack_holds_the_whole_lesson(made, key):
    """Every reading of every group, its curves drawn, its answer sheet, its slips to cut; of the key nothing."""
    text = html.unescape((made.teacher / "print_pack.html").read_text(encoding="utf-8"))
    for name, one in key.items():
        tables = read_run(made.folder / f"group_{name}" / "run").tables
        assert all(f"<td>{volume:.0f}</td>" in text for volume in tables["gas"]["volume_mL"])
        assert all(f"{volts:.3f}" in text for volts in (*tables["standards"]["signal"], *tables["samples"]["signal"]))
        for found in one["slips"].values():
            assert all(str(cell) in text for line in found["lines"] for cell in line)
        assert one["says"] == "" or one["says"] not in text
    assert text.count("<svg") == 2 * len(key) and text.count("class=cut") == 7 * len(key)
    assert text.count("as mended: only what changes") == len(key)


def test_pages_are_small_and_need_nothing_from_elsewhere(made):
    """Each group's page is far under 1.5 MB and names no other address; so are the teacher's papers."""
    for path in (*made.folder.glob("group_*/*.html"), *made.teacher.glob("*.html")):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"(src|href)\s*=\s*['\"]|https?://(?!www\.w3\.org/2000/svg)|@import|fetch\(", text), (
            path.name
        )
    assert max(path.stat().st_size for path in made.folder.glob("group_*/*.html")) < 200_000
