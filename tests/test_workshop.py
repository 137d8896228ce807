"""A class made, answered, marked and pooled; and what students must not be able to see."""

import json
import re
import shutil
import stat
from pathlib import Path

import pytest

from fermkit.__main__ import main
from fermkit.basis.errors import InputError
from fermkit.run.analysis import analyse
from fermkit.run.records import read_run
from fermkit.teach.answers import FILE, QUESTIONS, as_asked, fault_named, noted, read_answers, slip_of
from fermkit.teach.class_data import FILE_TIME, right_answers
from fermkit.teach.classes import key_in_words, make_class, mark, open_group, pool, read_key
from fermkit.teach.group_folder import LOCKS, readings_code
from fermkit.teach.handout import student_notebooks
from fermkit.teach.mishaps import MEASUREMENTS, MISHAP, NAMES, NONE
from fermkit.teach.secrecy import number_lock, opens

SECRET = bytes(range(32))
EVERY = (*NAMES, NONE)
ASKED = {question.name: question for question in QUESTIONS}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """One class of nine groups with each fault once, and one honest group."""
    return make_class(9, tmp_path_factory.mktemp("room") / "class", faults=EVERY, secret=SECRET)


@pytest.fixture(scope="module")
def honest(tmp_path_factory):
    """The same class, drawn from the same secret, without any fault."""
    return make_class(9, tmp_path_factory.mktemp("honest") / "class", faults=(NONE,), secret=SECRET)


@pytest.fixture
def lesson(made, tmp_path):
    """A copy of that class, to be written into."""
    shutil.copytree(made.folder, tmp_path / "class")
    shutil.copytree(made.teacher, tmp_path / "class-teacher")
    return tmp_path / "class"


@pytest.fixture(scope="module")
def key(made):
    """The key: group → its part."""
    return {one["group"]: one for one in read_key(made.folder)["groups"]}


def group_with(key, fault):
    """Which group was dealt a fault."""
    return next(name for name, one in key.items() if one["fault"] == fault)


def answer_all(folder, one):
    """Fill in what is right for a group, as the notebooks would."""
    for name, right in one["right"].items():
        noted(folder / FILE, name, f"{right['value']:.6g}")
    noted(folder / FILE, "fault", one["fault"])
    settled = MISHAP[one["fault"]].settled_by[0] if one["fault"] in MISHAP else ""
    noted(folder / FILE, "settled by", settled)


def marks_of(marks, group):
    """Question → mark, of one group."""
    return {mark.question: mark for one in marks.groups if one.group == group for mark in one.marks}


def problems_of(marks, group):
    """What is said of a group's file as a whole."""
    return " ".join(next(one.problems for one in marks.groups if one.group == group))


# what students must not see


def test_every_group_gets_a_whole_folder(made):
    """A run that reads, a sheet, a hand-out, a shared sample, envelopes, locks, answers and the notebooks."""
    for name in made.groups:
        folder = made.folder / f"group_{name}"
        have = {path.name for path in folder.iterdir()}
        assert {"run", "sheet.csv", "hand_out.md", "check_sample.csv", "envelopes.json", LOCKS, FILE} <= have
        assert read_run(folder / "run").name == f"Group {name}"
        assert set(student_notebooks()) <= have
        for book in student_notebooks():
            text = (folder / book).read_text(encoding="utf-8")
            assert "practice_group" not in text and '"output_type"' not in text
            assert 'open_group(\\".\\")' in text or book.startswith("5")


def test_each_fault_is_dealt_once(key):
    """Nine groups, eight faults and none: each comes once."""
    assert sorted(one["fault"] for one in key.values()) == sorted(EVERY)


def test_nothing_of_the_key_lies_with_the_class(made, key):
    """No secret, no file of the teacher's, no right answer as text beside a lock, in any byte handed out."""
    secret = (made.teacher / "secret.txt").read_text().strip()
    assert bytes.fromhex(secret) == SECRET
    for path in made.folder.rglob("*"):
        if path.is_file():
            assert secret not in path.read_text(encoding="utf-8")
            assert SECRET not in path.read_bytes()
    for name, one in key.items():
        locks = (made.folder / f"group_{name}" / LOCKS).read_text()
        assert not any(
            re.search(rf"\b{re.escape(format(right['value'], '.5g'))}", locks) for right in one["right"].values()
        )
        assert one["fault"] not in locks


def test_files_tell_nothing_by_their_times_or_names(made):
    """Every file and folder has one time, every group the same files with the same columns and lengths."""
    assert {path.stat().st_mtime for path in (*made.folder.rglob("*"), made.folder)} == {FILE_TIME}
    layouts = set()
    for name in made.groups:
        folder = made.folder / f"group_{name}"
        heads = [
            (str(path.relative_to(folder)), path.read_text().split("\n")[0], path.read_text().count("\n"))
            for path in sorted(folder.rglob("*.csv"))
        ]
        layouts.add(tuple(heads))
        dilutions = set(read_run(folder / "run").tables["samples"]["dilution"])
        assert dilutions in ({4.0, 8.0}, {8.0, 16.0})
    assert len(layouts) == 1


def test_the_key_is_readable_by_its_owner_only(made):
    """Secret and key are mode 600 in a folder of mode 700."""
    assert stat.S_IMODE(made.teacher.stat().st_mode) == 0o700
    assert {stat.S_IMODE((made.teacher / name).stat().st_mode) for name in ("secret.txt", "key.json")} == {0o600}


def test_another_secret_gives_another_class(made, tmp_path):
    """The same secret makes the same readings; one bit changed makes others, in every group."""
    same = make_class(2, tmp_path / "same", faults=("none",), secret=SECRET)
    again = make_class(2, tmp_path / "again", faults=("none",), secret=SECRET)
    other = make_class(2, tmp_path / "other", faults=("none",), secret=bytes([1]) + SECRET[1:])
    for name in same.groups:
        codes = [readings_code(kit.folder / f"group_{name}" / "run") for kit in (same, again, other)]
        assert codes[0] == codes[1] != codes[2]
    assert same.class_id == again.class_id == made.class_id != other.class_id


def test_a_lock_opens_within_its_tolerance_only():
    """Every number within the tolerance opens it, none outside; for signs and small numbers too."""
    for right, tolerance in ((1.19, 0.03), (-125.0, 3.0), (0.02, 0.5), (98.2, 2.9)):
        made = number_lock(right, tolerance, bytes(16))
        for share in (-0.99, 0.0, 0.99):
            assert opens(made, right + share * tolerance)
        for share in (-1.01, 1.01, 3.0, -7.0):
            assert not opens(made, right + share * tolerance)
    assert not opens(made, float("nan"))


# faults


def test_an_honest_group_closes(made, key):
    """Without a fault the measurements agree, and the sheet agrees with the readings."""
    folder = made.folder / f"group_{group_with(key, NONE)}"
    analysis = analyse(read_run(folder / "run"))
    assert analysis.consistent
    sheet = open_group(folder).sheet()
    assert sheet["ethanol made"] == pytest.approx(analysis.amounts["ethanol"].nominal_value, rel=2e-3)
    assert sheet["CO2 to expect"] == pytest.approx(0.4886 * sheet["sugar as hexose"], rel=2e-3)


@pytest.mark.parametrize("fault", ["leak", "wrong dilution", "wet product"])
def test_a_fault_in_the_readings_shows_in_the_balance(made, key, fault):
    """The measurements contradict one another, and the right kind of suspect leads."""
    analysis = analyse(read_run(made.folder / f"group_{group_with(key, fault)}" / "run"))
    assert analysis.consistent is False
    expected = {"leak": "leak", "wrong dilution": "dilution", "wet product": "wet paste"}[fault]
    assert expected in [suspect.mistake.key for suspect in analysis.suspects.first.suspects]


def test_a_dead_sensor_range_shows_in_the_dilutions(made, key):
    """The stronger dilution reads the same volts for samples that differ; the dilutions disagree."""
    run = read_run(made.folder / f"group_{group_with(key, 'dead sensor range')}" / "run")
    table = run.tables["samples"]
    strong = table[table["dilution"] == table["dilution"].min()].groupby("sample")["signal"].mean()
    assert abs(strong["S4"] - strong["S3"]) < 0.02
    last = analyse(run).samples[-1]
    low, high = sorted(reading.value.nominal_value for reading in last.readings)
    assert high > 1.2 * low


def test_a_shifted_clock_shows_in_the_shares(made, key):
    """Alcohol and gas are out of step; in an honest group they are in step."""

    def out_of_step(fault):
        analysis = analyse(read_run(made.folder / f"group_{group_with(key, fault)}" / "run"))
        gas, last = analysis.gas[0], analysis.samples[-1].value.nominal_value
        shares = [(s.time_h, s.value.nominal_value / last) for s in analysis.samples[:-1]]
        from numpy import interp

        return max(abs(float(interp(t, gas.time_h, gas.co2_mol / gas.co2_mol[-1])) - share) for t, share in shares)

    assert out_of_step("shifted clock") > 0.12 > 2 * out_of_step(NONE)


@pytest.mark.parametrize(
    ("fault", "row", "factor"),
    [
        ("% vol as % mass", "ethanol made", 1.27),
        ("CO2 slip", "CO2 to expect", 1 / 6),
        ("sucrose as glucose", "sugar as hexose", 0.95),
    ],
)
def test_a_fault_in_the_working_shows_in_the_sheet_only(made, honest, key, fault, row, factor):
    """The readings are those of the group without the slip, byte for byte; one row of the sheet is off."""
    folder = made.folder / f"group_{group_with(key, fault)}"
    for path in (folder / "run").iterdir():
        assert path.read_bytes() == (honest.folder / folder.name / "run" / path.name).read_bytes(), path.name
    analysis = analyse(read_run(folder / "run"))
    amounts = {"sugar as hexose": -analysis.amounts["hexose"], "ethanol made": analysis.amounts["ethanol"]}
    amounts["CO2 to expect"] = amounts["sugar as hexose"] * 0.4886
    for name, value in amounts.items():
        wrong = open_group(folder).sheet()[name] / value.nominal_value
        assert wrong == pytest.approx(factor if name == row else 1.0, rel=0.02)


def test_the_right_measurement_settles_each_fault(made, key):
    """Bought envelopes differ from the faulted readings where they should: jar, alcohol, dry weight, clock."""

    def bought(fault, measurement, line):
        group = key[group_with(key, fault)]
        return float(group_envelope(made, group["group"], measurement)[line][1].split(" ±")[0])

    leak = analyse(read_run(made.folder / f"group_{group_with(key, 'leak')}" / "run"))
    assert bought("leak", "weigh the jar", 2) > 1.15 * leak.amounts["CO2"].nominal_value
    honest = analyse(read_run(made.folder / f"group_{group_with(key, NONE)}" / "run"))
    assert bought(NONE, "weigh the jar", 2) < 1.05 * honest.amounts["CO2"].nominal_value
    for fault in ("wrong dilution", "dead sensor range"):
        run = analyse(read_run(made.folder / f"group_{group_with(key, fault)}" / "run"))
        assert abs(bought(fault, "fresh dilution", 0) / run.ethanol_pct_vol.nominal_value - 1) > 0.1
    weights = read_run(made.folder / f"group_{group_with(key, 'wet product')}" / "run").tables["weights"]
    assert bought("wet product", "dry the sample again", 0) < weights.set_index("item").loc["paste sample", "dry_g"] - 2
    samples = read_run(made.folder / f"group_{group_with(key, 'shifted clock')}" / "run").tables["samples"]
    assert abs(bought("shifted clock", "compare the clocks", 0) - samples["time_h"].iloc[0]) > 3


def group_envelope(made, name, measurement):
    """Lines of an envelope, without spending minutes."""
    import base64

    packed = json.loads((made.folder / f"group_{name}" / "envelopes.json").read_text())[measurement]
    return json.loads(base64.b64decode(packed))["lines"]


# checking


@pytest.mark.parametrize(
    ("factor", "kind"),
    [
        (1.0, "right"),
        (1000, "unit"),
        (1 / 6, "stoichiometry"),
        (-1, "sign"),
        (2, "factor"),
        (44.01, "unit"),
        (1.11, "other"),
    ],
)
def test_check_names_the_slip_and_never_the_value(lesson, key, factor, kind):
    """Right, or the kind of slip; the value itself is in no sentence."""
    group = open_group(lesson / "group_01")
    right = key["01"]["right"]["gas made"]["value"]
    said = group.check("gas made", right * factor)
    assert said.kind == kind
    assert said.right is (kind == "right")
    assert f"{right:.2f}" not in str(said) and f"{right:.3g}" not in str(said)


def test_check_notes_the_answer_and_the_folder(lesson):
    """The answers file holds number and code of the readings; lines of others stay."""
    group = open_group(lesson / "group_02")
    group.check("lag", "3,5 h")
    group.check("sugar", 126.1)
    found = read_answers(lesson / "group_02" / FILE)
    assert (found.given["lag"], found.given["sugar"]) == ("3.5", "126.1")
    assert found.readings == readings_code(lesson / "group_02" / "run")
    assert "2 of 10" in str(group)


@pytest.mark.parametrize("blank", [..., None, "", "..."])
def test_an_open_blank_is_no_answer(lesson, blank):
    """A blank left open is called open, and nothing is noted."""
    said = open_group(lesson / "group_01").check("lag", blank)
    assert (said.right, said.kind) == (None, "open")
    assert not read_answers(lesson / "group_01" / FILE).given.get("lag")


def test_the_hunt_counts_minutes(lesson, key):
    """Measurements and wrong names cost minutes, a measurement once; the right name is right."""
    name = group_with(key, "leak")
    group = open_group(lesson / f"group_{name}")
    assert group.minutes_spent == 0
    print(group.measure("weigh the jar"), group.measure("weigh the jar"))
    assert group.minutes_spent == 10
    assert group.check("fault", "wet product").right is False
    assert group.minutes_spent == 20
    assert group.check("fault", "The Leak").right is True
    assert "not made" not in str(group.check("settled by", "weigh the jar"))
    assert "not made" in str(group.check("settled by", "fresh dilution"))
    assert len(group.menu().page().lines) == len(MEASUREMENTS)


def test_wrong_words_are_refused_in_words(lesson):
    """An unknown question, measurement or fault names what there is."""
    group = open_group(lesson / "group_01")
    with pytest.raises(InputError, match="lag"):
        group.check("lagg", 3)
    with pytest.raises(InputError, match="weigh the jar"):
        group.measure("weigh the jars")
    assert "not understood" in str(group.check("fault", "gremlins"))
    assert "another kind of unit" in str(group.check("lag", "3 g"))
    with pytest.raises(InputError, match="no group's folder"):
        open_group(lesson)


# answers as people type them


@pytest.mark.parametrize(
    ("text", "name", "expected"),
    [
        ("1,19", "gas made", 1.19),
        ("1.19 mol", "gas made", 1.19),
        ("1190 mmol", "gas made", 1.19),
        ("≈ 1,2 mol CO2", "gas made", 1.2),
        ("0,104 mol/h", "largest rate", 104.0),
        ("3,5", "lag", 3.5),
        ("210 min", "lag", 3.5),
        ("3.5 ± 0.4 h", "lag", 3.5),
        ("0.126 kg", "sugar", 126.0),
        ("52,345", "CO2", 52.345),
        ("87 %", "carbon found", 87.0),
        ("-12.1 g", "yeast", -12.1),
        ("−12.1", "yeast", -12.1),
        ("12.1 g yeast", "yeast", 12.1),
        ("", "lag", None),
        ("...", "lag", None),
        ("?", "lag", None),
    ],
)
def test_answers_as_typed(text, name, expected):
    """Decimal commas, units typed in, ±, blanks."""
    assert as_asked(text, ASKED[name]) == (None if expected is None else pytest.approx(expected))


@pytest.mark.parametrize(
    ("text", "name", "match"),
    [
        ("3 g", "lag", "another kind of unit"),
        ("3.3 % vol", "alcohol", "a number in g"),
        ("about three", "lag", "one number"),
        ("3 or 4", "lag", "one number"),
        ("1.2.3", "lag", "not a number"),
        ("9" * 200, "lag", "one number"),
    ],
)
def test_answers_that_cannot_be_read(text, name, match):
    """Refused with what is needed."""
    with pytest.raises(InputError, match=match):
        as_asked(text, ASKED[name])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("leak", "leak"),
        ("It was a LEAK!", "leak"),
        ("CO2 slip", "CO2 slip"),
        ("% vol as % mass", "% vol as % mass"),
        ("none", NONE),
        ("no fault", NONE),
        ("", None),
    ],
)
def test_faults_as_typed(text, expected):
    """Case, articles and signs don't matter."""
    assert fault_named(text) == expected


def test_two_faults_at_once_are_refused():
    """Naming everything is no answer."""
    with pytest.raises(InputError, match="several"):
        fault_named("leak or wet product")


def test_slips_are_told_apart():
    """Each slip's own factor is named by its kind, on a number known to half a per cent."""
    from fermkit.teach.answers import SLIPS

    for slip in SLIPS:
        assert slip_of(50.0 * slip.factor, lambda x: abs(x - 50.0) < 0.25).kind == slip.kind
    assert slip_of(50.0 * 1.2, lambda x: abs(x - 50.0) < 0.25) is None


# marking


def test_right_answers_get_full_marks(lesson, key):
    """Every group answering right gets everything right, the fault among it."""
    for name, one in key.items():
        answer_all(lesson / f"group_{name}", one)
    marks = mark(lesson)
    for one in marks.groups:
        assert one.right == one.asked >= 8, str(one)
        assert one.problems == ()
    assert "fault found" in str(marks)
    assert marks.table()["right"].eq(True).sum() == sum(one.right for one in marks.groups)


def test_the_library_itself_gets_full_marks(made, key):
    """Analysing the folder on disk gives the numbers of the key: what `check` calls right can be found."""
    for name, one in key.items():
        found = right_answers(analyse(read_run(made.folder / f"group_{name}" / "run")))
        for question, right in one["right"].items():
            assert found[question]["value"] == pytest.approx(right["value"], abs=right["tolerance"] / 2)


def test_broken_files_are_told_and_stop_nothing(lesson, key):
    """Missing folder, missing file, binary rubbish, empty, another encoding: all reported, the rest is marked."""
    for name, one in key.items():
        answer_all(lesson / f"group_{name}", one)
    shutil.rmtree(lesson / "group_01")
    (lesson / "group_02" / FILE).unlink()
    (lesson / "group_03" / FILE).write_bytes(bytes(range(256)) * 4)
    (lesson / "group_04" / FILE).write_text("")
    text = (lesson / "group_05" / FILE).read_text()
    (lesson / "group_05" / FILE).write_bytes((text + "wir fanden 3 µg\n").encode("cp1252"))
    (lesson / "group_06" / FILE).write_text("x" * 50_000)
    marks = mark(lesson)
    assert "missing" in problems_of(marks, "01")
    assert "cannot be read" in problems_of(marks, "02")
    assert "no answers file" in problems_of(marks, "03")
    assert "nothing is answered" in problems_of(marks, "04")
    assert "not understood" in problems_of(marks, "05")
    assert "no answers file" in problems_of(marks, "06")
    right = {one.group: one.right for one in marks.groups}
    assert [right[name] for name in ("01", "02", "03", "04", "06")] == [0] * 5
    assert right["05"] >= 8 and right["07"] >= 8


def test_a_link_and_an_endless_number_stop_nothing(lesson, key, tmp_path):
    """An answers file that leads elsewhere is not opened; six thousand nines of wrong names count as many."""
    (tmp_path / "diary.txt").write_text("dear diary: nobody may read this\n")
    (lesson / "group_01" / FILE).unlink()
    (lesson / "group_01" / FILE).symlink_to(tmp_path / "diary.txt")
    answer_all(lesson / "group_02", key["02"])
    noted(lesson / "group_02" / FILE, "wrong names", "9" * 6000)
    marks = mark(lesson)
    assert "is no file, but a link" in problems_of(marks, "01") and "diary" not in str(marks.groups[0])
    two = next(one for one in marks.groups if one.group == "02")
    assert two.right >= 8 and two.minutes > 500


def test_commas_units_empty_and_swapped(lesson, key):
    """Each is seen for what it is."""
    one = key["03"]
    value = {name: right["value"] for name, right in one["right"].items()}
    file = lesson / "group_03" / FILE
    noted(file, "gas made", f"{value['gas made'] * 1000:.1f} mmol".replace(".", ","))
    noted(file, "lag", f"{value['lag']:.2f} hours")
    noted(file, "alcohol", f"{value['sugar']:.1f}")
    noted(file, "sugar", f"{value['alcohol']:.1f}")
    noted(file, "largest rate", f"{value['largest rate'] / 1000:.4f}")
    noted(file, "yeast", "plenty")
    kinds = {name: one.kind for name, one in marks_of(mark(lesson), "03").items()}
    assert kinds["gas made"] == kinds["lag"] == "right"
    assert kinds["alcohol"] == kinds["sugar"] == "swapped"
    assert (kinds["largest rate"], kinds["yeast"], kinds["CO2"]) == ("unit", "unreadable", "empty")


def test_another_groups_folder_is_found_out(lesson, key):
    """By the code of the readings, and by the numbers where there is no code."""
    answer_all(lesson / "group_01", key["04"])
    assert "those of group 04" in problems_of(mark(lesson), "01")
    shutil.rmtree(lesson / "group_02" / "run")
    shutil.copytree(lesson / "group_05" / "run", lesson / "group_02" / "run")
    open_group(lesson / "group_02").check("lag", 4.0)
    assert "group 05" in problems_of(mark(lesson), "02")


def test_an_answers_file_of_another_class_or_group(lesson):
    """Told by what the file says of itself."""
    noted(lesson / "group_01" / FILE, "class", "deadbeef")
    noted(lesson / "group_01" / FILE, "group", "07")
    said = problems_of(mark(lesson), "01")
    assert "deadbeef" in said and "07" in said


def test_a_key_of_another_class_is_refused(lesson, tmp_path):
    """The key names its class; nothing is marked with the wrong one."""
    other = make_class(1, tmp_path / "other", faults=("none",))
    with pytest.raises(InputError, match="of class"):
        mark(lesson, other.teacher)
    (tmp_path / "class-teacher" / "key.json").write_text("not JSON")
    with pytest.raises(InputError, match="no key that can be read"):
        mark(lesson)


def test_feedback_is_written_and_harmless(lesson, tmp_path):
    """A page for each group, a table; what a student typed can run neither in a browser nor in a spreadsheet."""
    noted(lesson / "group_01" / FILE, "fault", "<script>alert(1)</script>")
    noted(lesson / "group_01" / FILE, "group", "=1+2")
    place = mark(lesson).write(tmp_path / "out")
    page = (place / "feedback" / "group_01.html").read_text()
    assert "<script>" not in page and "&lt;script&gt;" in page
    rows = (place / "marks.csv").read_text().splitlines()
    assert len(rows) == 10
    assert not any(cell.startswith("=") for row in rows for cell in row.split(","))


# pooling


def test_pool_without_a_key(lesson):
    """Every group's curve, results and shared sample; a pooled growth estimate with its interval."""
    found = pool(lesson)
    assert len(found.groups) == 9
    assert found.shared.counts.tolist() == [2] * 9
    low, high = found.growth.interval
    assert low < found.growth.value.nominal_value < high
    assert found.growth.count == 9
    assert found.estimates["yeast yield"].between_sd > 0.02, "the wet product is in it"
    words = str(found)
    assert "repeatability" in words and "Cochran" in words and "Grubbs" in words


def test_pool_with_missing_tables(lesson):
    """A group without standards, one without gas, one with a spoilt run: told, and the others are pooled."""
    (lesson / "group_01" / "run" / "standards.csv").unlink()
    (lesson / "group_02" / "run" / "gas.csv").unlink()
    (lesson / "group_03" / "run" / "run.toml").write_text("[run\n")
    (lesson / "group_04" / "check_sample.csv").write_text("reading;signal [V];dilution\n1;0,45;10\n2;0,46;10\n")
    (lesson / "group_05" / "check_sample.csv").unlink()
    found = pool(lesson)
    notes = {one.group: " ".join(one.notes) for one in found.groups}
    assert "no standards" in notes["01"] and "alcohol" in notes["01"]
    assert "cannot be read" in notes["02"] or "largest rate" in notes["02"]
    assert "cannot be read" in notes["03"]
    assert "check_sample.csv" in notes["05"]
    assert next(one for one in found.groups if one.group == "04").shared == pytest.approx((4.91, 5.04), abs=0.15)
    assert found.growth.count >= 7
    assert found.picture()._repr_png_()[:4] == b"\x89PNG"


def test_the_pool_is_written(lesson, tmp_path):
    """One page that holds the picture and the numbers, and loads nothing from elsewhere."""
    page = pool(lesson).write(tmp_path / "out").read_text()
    assert "<svg" in page and "reproducibility" in page
    assert not re.search(r"(src|href)=['\"]https?:", page)


def test_pool_of_nothing(tmp_path):
    """A folder without groups is refused."""
    with pytest.raises(InputError, match="no folder called group_"):
        pool(tmp_path)


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


def test_from_the_command_line(tmp_path, capsys):
    """make, mark, pool and key, each one command; the time is printed."""
    place = str(tmp_path / "spring")
    assert main(["workshop", "make", place, "--groups", "3", "--faults", "none, leak"]) == 0
    assert "made in" in capsys.readouterr().out
    assert main(["workshop", "mark", place]) == 0
    assert "Marked in" in capsys.readouterr().out
    assert main(["workshop", "pool", place]) == 0
    assert "Pooled in" in capsys.readouterr().out
    assert main(["workshop", "key", place]) == 0
    assert "keep it from students" in capsys.readouterr().out
    assert {"marks.csv", "pooled.html", "feedback"} <= {path.name for path in Path(place + "-teacher").iterdir()}
    assert main(["workshop", "make", place]) == 1
    assert "there already" in capsys.readouterr().err
    assert main(["workshop", "mark", place, "--teacher", str(tmp_path)]) == 1


def test_the_key_in_words(made, key):
    """Every group with its fault, its sign and the answers."""
    page = key_in_words(made.folder)
    for name, one in key.items():
        assert f"## Group {name}: {one['fault']}" in page
