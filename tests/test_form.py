"""The form: a run typed in, pasted, saved, opened again and worked out."""

import pytest

import fermkit as fk
from fermkit import panels
from fermkit.basis.errors import InputError
from fermkit.run.fields import fields_of
from fermkit.run.format import SECTIONS
from fermkit.run.sections_gas import GAS_KINDS

PASTED = "time [min]\tvolume [L]\n0\t0\n30\t0,21\n60\t0,5\n90\tn.d.\n120\t0,8\n150\t1,1\n"
FOREIGN = "Datum;Uhrzeit;Gas im Zylinder (ml)\n02.03.2026;18:00;0\n;20:00;120\n;22:00;433,5\n03.03.2026;06:00;1500\n"


def sugar(form, amount="150 g"):
    """The one thing that must be said."""
    form.box("feed 1", "ingredient").value = "white sugar"
    form.box("feed 1", "amount").value = amount
    return form


def test_sugar_alone_is_worked_out(tmp_path):
    """Two fields, and the answer stands beside them."""
    form = sugar(panels.enter_data(tmp_path)).work_out()
    assert form.analysis.estimate["sugar_fed"].value > 140
    assert form.analysis.answer.split(":")[0] in form._found.value


def test_every_field_of_the_format_is_there(tmp_path):
    """Each key of each section has a field, with its unit and its explanation; nothing else has."""
    form = panels.enter_data(tmp_path)
    form.typed.settings.update({"instruments": {"scale": {}}, "ingredients": {"my syrup": {}}})
    places = {"feed": "feed 1", "instruments": "instruments scale", "ingredients": "ingredients my syrup"}
    for name, section in SECTIONS.items():
        for about in fields_of(section) if name != "gas" else ():
            box = form.box(places.get(name, name), about.written)
            assert about.unit in ("1", "any") or about.unit in box.description
    for kind, section in GAS_KINDS.items():
        form.box("gas 1", "kind").value = kind
        assert all(form.box("gas 1", about.written) for about in fields_of(section))


def test_what_is_typed_is_read_while_typing(tmp_path):
    """The reading with its usual ± stands below the field; what cannot be read says why."""
    form = sugar(panels.enter_data(tmp_path))
    box = form.box("vessel", "liquid")
    rows = [row for part in form._left.children for row in getattr(part, "children", [part])]
    below = rows[rows.index(box) + 1]
    box.value = "2,5 L"
    assert "2.500 ± 0.050 L" in below.value
    box.value = "2500"
    assert "role='alert'" in below.value
    box.value = ""
    assert "read as" not in below.value and "liquid" not in form.typed.settings["vessel"]


def test_pasted_cells_are_kept_saved_and_read(tmp_path):
    """Tabs, decimal commas, minutes and litres; the gas is known by its column."""
    form = sugar(panels.enter_data(tmp_path)).paste("gas", PASTED)
    run = fk.read_run(form.save("jar"))
    assert run.tables["gas"]["volume_mL"].tolist() == [0, 210, 500, 800, 1100]
    assert run.tables["gas"]["time_h"].tolist() == [0, 0.5, 1, 2, 2.5]
    assert [gas.kind for gas in run.gas] == ["collected volume"]


def test_foreign_titles_are_mapped_by_themselves_and_by_hand(tmp_path):
    """Day and clock apart, own words: proposed, shown as choices, and saved."""
    form = sugar(panels.enter_data(tmp_path)).paste("gas", FOREIGN)
    assert form.box("readings", "volume").value == "Gas im Zylinder (ml)"
    assert fk.read_run(form.save("jar")).tables["gas"]["volume_mL"].tolist() == [0, 120, 433.5, 1500]
    form.paste("gas", FOREIGN.replace(" (ml)", ""))
    form.box("readings", "volume").value = "Gas im Zylinder"
    form.box("readings", "volume unit").value = "mL"
    assert fk.read_run(form.save()).tables["gas"]["volume_mL"].tolist() == [0, 120, 433.5, 1500]


def test_ones_own_choice_of_columns_stays_while_the_table_grows(tmp_path):
    """A half-typed row is refused in words; the unit that was chosen by hand is not lost."""
    form = sugar(panels.enter_data(tmp_path)).paste("gas", FOREIGN.replace(" (ml)", ""))
    form.box("readings", "volume unit").value = "L"
    more = "".join(f"04.03.2026;{hour:02d}:00;{1500 + hour}\n" for hour in range(9, 24))
    form.box("readings", "cells").value += more + "05.03.2026;08:00;16x"
    assert form.typed.settings["tables"]["gas"]["volume_unit"] == "L"
    form.box("readings", "cells").value += "\n"
    assert set(form.box("readings", "volume").options) >= {("Uhrzeit", "Uhrzeit"), ("Datum", "Datum")}
    assert ("L", "L") not in form.box("readings", "volume").options


def test_an_open_run_goes_on_and_what_was_there_is_kept(tmp_path):
    """Opened, changed, saved: the old run.toml is in its folder 'earlier'; every number is the same."""
    sugar(panels.enter_data(tmp_path)).paste("gas", PASTED).save("jar")
    before = (tmp_path / "jar" / "run.toml").read_bytes()
    form = panels.enter_data(tmp_path / "jar")
    form.box("vessel", "liquid").value = "2 L"
    form.save()
    run = fk.read_run(tmp_path / "jar")
    assert run.vessel.liquid_L.n == 2 and len(run.tables["gas"]) == 5 and run.feed[0].amount == "150 g"
    assert (tmp_path / "jar" / "earlier" / "1" / "run.toml").read_bytes() == before


def test_each_sample_run_opens_and_is_saved_the_same(tmp_path, samples):
    """A run made elsewhere goes through the form unchanged, whatever it says."""
    for name in ("jar_3_closes", "keg_2_pressure"):
        form = panels.enter_data(samples / name)
        form.parent = tmp_path
        for part in form._parts.options:
            form.show(part)
        again, run = fk.read_run(form.save(f"{name}_2")), fk.read_run(samples / name)
        assert str(again).splitlines()[1:] == str(run).splitlines()[1:]


def test_nothing_of_another_is_overwritten(tmp_path):
    """A folder that was not opened here stays; a name that leads elsewhere is refused."""
    (tmp_path / "jar").mkdir()
    (tmp_path / "jar" / "mine.txt").write_text("mine")
    for name in ("jar", "../elsewhere", ""):
        form = sugar(panels.enter_data(tmp_path))
        form._name.value = name
        with pytest.raises(InputError):
            form.save(name)
    assert [path.name for path in (tmp_path / "jar").iterdir()] == ["mine.txt"]


def test_a_button_pressed_too_early_says_so(tmp_path):
    """An unreadable amount: the button's answer is an alert and no traceback."""
    form = sugar(panels.enter_data(tmp_path), "-5 g")
    form._attempt(form.work_out)
    assert "role='alert'" in form._found.value


def test_the_report_lies_in_the_folder(tmp_path):
    """From nothing to a report."""
    form = sugar(panels.enter_data(tmp_path)).paste("gas", PASTED)
    assert form.report().read_text("utf-8").startswith("<!DOCTYPE html>")
