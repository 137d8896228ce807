"""A class with real jars: one workbook, filled in as people write, marked and pooled by its own readings."""

import datetime
import json
import re

import openpyxl
import pytest

from fermkit.__main__ import main
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal
from fermkit.matter.properties import co2_solubility
from fermkit.run.analysis import analyse
from fermkit.run.records import run_from
from fermkit.teach.classes import key_in_words, make_real_class, mark, pool
from fermkit.teach.marking import Kind
from fermkit.teach.real_jars import JARS, jars_key, read_jars

LOST = (0.0, 0.9, 4.1, 7.6, 11.8, 16.4, 18.6, 23.0, 24.6, 25.2, 25.9)
"""Grams that a jar of 60 g of sugar has lost at each weighing; invented: about 26 g, as half of the sugar leaves."""

DAYS = (("Monday", "10:00"), ("", "12:30"), ("", "4 pm"), ("Tuesday", "8:15"), ("", "12:00"), ("", "16:00"),
        ("Wednesday", "8:15"), ("", "4 pm"), ("Thursday", "8:15"), ("", "16:00"), ("Friday", "9 am"))  # fmt: skip
HOURS = (0.0, 2.5, 6.0, 22.25, 26.0, 30.0, 46.25, 54.0, 70.25, 78.0, 95.0)


def rows_of(sheet):
    """Label in the first column → row number; the first row of readings."""
    there = {str(row[0].value): row[0].row for row in sheet.iter_rows() if row[0].value}
    return there, there["day"] + 1


def fill(sheet, said, readings):
    """Type header cells, answers and readings into a sheet."""
    labels, first = rows_of(sheet)
    by_name = {label.split(" [")[0]: row for label, row in labels.items()}
    for name, value in said.items():
        sheet.cell(by_name[name], 2, value)
    for i, row in enumerate(readings):
        for j, value in enumerate(row):
            sheet.cell(first + i, 1 + j, value)


def jar_readings(scale=1.0, start=1250.0):
    """Weighings of one jar, day and clock as written."""
    return [(day, clock, round(start - scale * lost, 1)) for (day, clock), lost in zip(DAYS, LOST)]


PUT_IN = {"sugar put in": "60 g white sugar", "water": 0.6, "yeast put in": 3, "jar": "1 L jar",
          "closed with": "airlock", "temperature": 24, "sugar left": 0, "scale ±": 0.1}  # fmt: skip


@pytest.fixture
def jars(tmp_path):
    """A class of six groups, filled in as people do; the last three sparsely or badly."""
    kit = make_real_class(6, tmp_path / "class")
    book = openpyxl.load_workbook(kit.folder / JARS)
    for i, scale in ((1, 1.0), (2, 0.95), (3, 1.04)):
        fill(book[f"group {i:02d}"], PUT_IN, jar_readings(scale))
    dated = [(datetime.date(2026, 3, 2), datetime.time(10, 0), 1250.0), ("", "16:00", 1245.8),
             (datetime.date(2026, 3, 6), "9:00", 1224.3)]  # fmt: skip
    fill(book["group 04"], {"sugar put in": 60, "water": "600 mL", "jar": 1}, dated)
    fill(book["group 05"], PUT_IN, [("Monday", "10 o'clock or so", 1250.0), ("Tuesday", "8:15", 1243.0)])
    book.save(kit.folder / JARS)
    return kit


def change(kit, group, said, readings=()):
    """Type more into one sheet."""
    book = openpyxl.load_workbook(kit.folder / JARS)
    fill(book[f"group {group}"], said, readings)
    book.save(kit.folder / JARS)


def right_of(kit, group):
    """What a group's own readings give."""
    key, _ = jars_key(read_jars(kit.folder)[0])
    return next(one["read"] for one in key["groups"] if one["group"] == group)


def test_a_sheet_is_read_as_any_run_is(jars):
    """The same jar written as run.toml and gas.csv, in hours, gives the same numbers."""
    same = analyse(run_from(
        {"vessel": {"liquid": "0.637 ± 0.019 L", "total": "1 L", "kind": "jar", "closed": "airlock"},
         "conditions": {"temperature": "24 °C"}, "feed": [{"ingredient": "white sugar", "amount": "60 g"}],
         "inoculum": {"ingredient": "active dry yeast", "amount": "3 g"}, "residual_sugar": {"value": "0 g/L"},
         "gas": [{"kind": "vessel weight", "u_reading": "0.1 g", "drift": "0 ± 0.001 g/h"}]},
        {"gas": {"time [h]": HOURS, "weight [g]": [1250.0 - lost for lost in LOST]}},
    ))  # fmt: skip
    jar = read_jars(jars.folder)[0][0]
    assert jar.run.tables["gas"]["time_h"].tolist() == pytest.approx(list(HOURS))
    right = right_of(jars, "01")
    assert right["gas made"]["value"] == pytest.approx(same.gas[0].total().nominal_value, rel=1e-3)
    assert right["largest rate"]["value"] == pytest.approx(same.read.max_rate.nominal_value * 1000, rel=1e-3)
    assert right["sugar"]["value"] == pytest.approx(-same.amounts["hexose"].nominal_value, rel=1e-3)


def test_the_gas_of_a_jar_is_its_loss_of_weight(jars):
    """25.9 g lost are about 0.59 mol of 44.01 g; vapour and air take some off, what the liquid holds adds some."""
    assert right_of(jars, "01")["gas made"]["value"] == pytest.approx(25.9 / 44.01, rel=0.04)
    assert right_of(jars, "01")["gas made"]["u"] < 0.025, "a scale that is set to zero each time does not wander"
    assert right_of(jars, "01")["sugar"]["value"] == pytest.approx(60 * 360.31 / 342.30, rel=0.01)


def test_what_a_pocket_calculator_gives_is_right(jars):
    """The weight lost and CO2 held by a litre at 24 °C (CRC Handbook, from memory: 1.69 g at 20, 1.45 g at 25 °C)."""
    right = right_of(jars, "01")["gas made"]
    assert abs((25.9 + 1.49 * 0.637) / 44.01 - right["value"]) <= right["tolerance"]
    how = {str(row[0].value): str(row[1].value) for row in openpyxl.load_workbook(jars.folder / JARS)["how"]}
    for degrees, said in zip((20.0, 25.0), re.findall(r"([\d.]+) g (?:in|at)", how["CO2 still held"])):
        assert float(said) == pytest.approx(44.01 * float(nominal(co2_solubility(degrees, 1.0))), abs=0.1)


def test_marked_by_its_own_readings(jars):
    """Right answers earn their points, slips half; what a jar cannot tell is not asked; no mistake is hunted."""
    right = right_of(jars, "01")
    change(jars, "01", {"gas made": f"{right['gas made']['value']:.3f} ± {right['gas made']['u']:.3f} mol",
                        "largest rate": f"{right['largest rate']['value']:.3g}", "lag": 99,
                        "sugar": "60 g", "CO2 expected": f"{60 * 2 * 44.01 / 180.16:.4g}",
                        "in our words": "It bubbled until Thursday."})  # fmt: skip
    one = next(group for group in mark(jars.folder).groups if group.group == "01")
    found = {each.question: each for each in one.marks}
    asked = ("gas made", "largest rate", "lag", "sugar", "CO2 expected")
    assert [found[name].points for name in asked] == [1, 1, 0, 0.5, 1]
    assert found["CO2 expected"].kind is Kind.FOLLOWS and found["a sensible ±"].points == 1
    assert found["yeast"].kind is found["carbon found"].kind is Kind.NOT_ASKED
    assert "mistake" not in found and one.words.startswith("It bubbled")


def test_sparse_groups_get_what_their_jar_can_tell(jars):
    """Three weighings with dates in cells of dates: the gas in all; no sugar was tested, so no number is made up."""
    right = right_of(jars, "04")
    assert right["gas made"]["value"] == pytest.approx(25.7 / 44.01, rel=0.06)
    four = next(group for group in mark(jars.folder).groups if group.group == "04")
    assert four.of >= 2
    book = openpyxl.load_workbook(jars.folder / JARS)
    book["group 04"].cell(rows_of(book["group 04"])[0]["jar [L]"], 2).value = None
    book.save(jars.folder / JARS)
    assert "total volume" in " ".join(mark(jars.folder).groups[3].problems), "what is missing is told"


def test_a_bad_group_costs_itself_only(jars):
    """A time nobody can read, and an empty sheet: told in words, the other four are marked and pooled."""
    marks, found = mark(jars.folder), pool(jars.folder)
    said = {one.group: " ".join(one.problems) for one in marks.groups}
    assert "10 o'clock or so" in said["05"] and "row 19" in said["05"]
    assert "still empty" in said["06"] and [(one.points, one.of) for one in marks.groups[4:]] == [(0, 0), (0, 0)]
    assert said["01"] == said["02"] == ""
    assert len(found.groups) == 6 and {"01", "02", "03"} <= set(found.by_kit["CO2 yield"].values)
    assert any("10 o'clock" in note for note in found.groups[4].notes)


def test_pooled_without_a_truth(jars):
    """Robust mean and spread of the answers, with the kit's beside them; nobody knows the truth."""
    for group in ("01", "02", "03"):
        change(jars, group, {"gas made": "0.58 mol", "sugar": f"{63 + int(group)} g", "shared 1": 5.0 + int(group) / 10,
                             "shared 2": 5.1})  # fmt: skip
    found = pool(jars.folder)
    assert found.answered["CO2 yield"].truth is None and found.shared_truth is None
    assert found.answered["CO2 yield"].mean.nominal_value == pytest.approx(0.58 * 180.16 / 65, rel=0.02)
    assert set(found.scores) == {"01", "02", "03"}
    assert "<svg" in found.write(jars.teacher).read_text(encoding="utf-8")


def test_what_no_jar_measured_is_worked_out_for_the_pool(jars):
    """Weight and a sugar test: alcohol and yeast of the estimate, said so; what is only usual is not pooled.

    60 g of sucrose are 63.2 g of hexose; 26 g of CO2 go with 26 × 46.07/44.01 = 27 g of alcohol, a little less for
    the yeast.
    """
    found = pool(jars.folder)
    alcohol = found.by_kit["alcohol yield"]
    assert {"01", "02", "03"} <= set(alcohol.values)
    assert alcohol.values["01"] == pytest.approx(27 / 63.2, rel=0.06)
    assert "04" not in found.by_kit["yeast yield"].values and "carbon found" not in found.by_kit
    assert any("worked out" in note for note in found.groups[0].notes)


def test_a_closed_jar_is_refused_with_its_danger(jars):
    """No class ferments in a closed jar."""
    change(jars, "02", {"closed with": "closed"})
    assert "burst" in " ".join(mark(jars.folder).groups[1].problems)


def test_labels_that_nobody_knows_are_told(jars):
    """A mistyped label names what was meant."""
    book = openpyxl.load_workbook(jars.folder / JARS)
    sheet = book["group 01"]
    labels, _ = rows_of(sheet)
    sheet.cell(labels["temperature [°C]"], 1, "temprature")
    book.create_sheet("group 1")
    book.create_sheet("diary")
    book.save(jars.folder / JARS)
    marks = mark(jars.folder)
    assert "'temperature'" in " ".join(marks.groups[0].problems)
    assert "diary" in " ".join(marks.lost) and "once more" in " ".join(marks.lost)


def test_from_the_command_line(tmp_path, capsys):
    """make --real, mark and pool, one command each; no key, and no mistakes to deal."""
    place = str(tmp_path / "spring")
    assert main(["workshop", "make", place, "--groups", "3", "--real"]) == 0
    assert main(["workshop", "mark", place]) == main(["workshop", "pool", place]) == 0
    assert "burst" in capsys.readouterr().out
    assert main(["workshop", "key", place]) == 1
    assert main(["workshop", "make", place + "2", "--real", "--faults", "leak"]) == 1
    assert main(["workshop", "make", place, "--real"]) == 1
    assert "nothing was overwritten" in capsys.readouterr().err


def test_no_workbook_and_no_key(tmp_path):
    """A file that is no workbook stops the marking with words; a class of real jars has no key."""
    kit = make_real_class(1, tmp_path / "class")
    with pytest.raises(InputError, match="truth nobody knows"):
        key_in_words(kit.folder)
    (kit.folder / JARS).write_text(json.dumps({"a": 1}))
    with pytest.raises(InputError, match=r"no \.xlsx workbook"):
        mark(kit.folder)
