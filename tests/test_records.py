"""Runs on disk, as folder and as workbook: values, corrections, ledger, findings, refusals."""

import io
import math
import os
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fermkit.basis.errors import InputError
from fermkit.run.fields import SUFFIXES, fields_of
from fermkit.run.format import SECTIONS, TABLES
from fermkit.run.ledger import Entry, Ledger
from fermkit.run.records import read_run, run_from, write_run, write_workbook
from fermkit.run.sections_gas import GAS_KINDS

SETTINGS = {
    "run": {"name": "jar 1", "date": "2026-03-02", "invented": True},
    "vessel": {"total": "3.00 ± 0.02 L", "liquid": "2.00 ± 0.02 L", "closed": "airlock", "rated": "2.0 bar"},
    "conditions": {"temperature": "28.0 ± 0.5 °C", "barometer": "1008 ± 2 hPa", "pH": "4.8 ± 0.2"},
    "feed": [
        {"ingredient": "beet molasses", "amount": "240 ± 1 g"},
        {"ingredient": "white sugar", "amount": "2 teaspoons"},
    ],
    "ingredients": {
        "beet molasses": {"sucrose": "49 ± 1 %", "usable_nitrogen": "0.1 to 0.3 %", "density": "1.40 g/mL"}
    },
    "inoculum": {"ingredient": "active dry yeast", "amount": "5.0 ± 0.1 g", "dry_matter": "95 ± 1 %"},
    "gas": [
        {
            "kind": "collected volume",
            "volume_factor": "1.000 ± 0.015",
            "loss_to_water": "0 to 2 %",
            "u_increment": "3 mL",
        }
    ],
    "harvest": {"nitrogen": ["8.0 %", "8.2 %", "8.4 %"], "window": "45 to 55 °C"},
}
GAS = {"time [h]": ["0", "1", "2", "3", "4"], "volume [mL]": ["0", "50", "140", "200", "240"]}
VOLUMES = {"time [h]": ["2", "3"], "what": ["sample", "water"], "volume [mL]": ["10", "100"], "u [mL]": ["0.5", ""]}
TABLES_WRITTEN = {"gas": GAS, "volumes": VOLUMES}


@pytest.fixture
def folder(tmp_path):
    """A small complete run folder."""
    return write_run(SETTINGS, TABLES_WRITTEN, tmp_path / "jar")


def changed(**sections):
    """The settings with some sections replaced."""
    return {**SETTINGS, **sections}


def test_values_come_in_our_units_with_their_act(folder):
    """Everything is converted once, and each uncertain number says what was done to get it."""
    run = read_run(folder)
    assert run.vessel.total_L.nominal_value == 3.0 and run.vessel.total_L.tag.phrase == "measuring the vessel"
    assert run.vessel.rated_bar_gauge == 2.0
    assert run.conditions.barometer_bar.std_dev == pytest.approx(0.002)
    assert run.feed[0].amount_g.tag.phrase == "weighing the beet molasses"
    assert run.feed[1].amount == "2 teaspoons" and run.feed[1].amount_g is None
    assert run.ingredients["beet molasses"].sucrose.nominal_value == pytest.approx(0.49)
    assert run.ingredients["beet molasses"].usable_nitrogen == pytest.approx((0.001, 0.003))
    assert run.gas[0].column == "volume_mL" and run.gas[0].u_increment == 3.0
    assert run.gas[0].loss_to_water == (0.0, 0.02)
    assert run.harvest.window_C == (45.0, 55.0)
    assert run.invented and run.name == "jar 1" and run.folder == folder


def test_replicates_carry_their_degrees_of_freedom(folder):
    """Three replicates: mean, s/√3, two degrees of freedom."""
    run = read_run(folder)
    assert run.harvest.nitrogen.nominal_value == pytest.approx(0.082)
    assert run.harvest.nitrogen.std_dev == pytest.approx(0.002 / math.sqrt(3))
    assert run.degrees_of_freedom == {"harvest.nitrogen": 2}


def test_sources_name_file_hash_and_rows(folder):
    """Whoever repeats the analysis can see that the files are the same."""
    import hashlib

    run = read_run(folder)
    source = next(source for source in run.sources if source.file == "gas.csv")
    assert source.rows == 5
    assert source.sha256 == hashlib.sha256((folder / "gas.csv").read_bytes()).hexdigest()


def test_reading_changes_nothing_on_disk(folder):
    """Raw readings stay as they are."""
    before = {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in folder.iterdir()}
    read_run(folder)
    assert before == {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in folder.iterdir()}


def test_the_ledger_follows_the_liquid(folder):
    """A sample out, water in; the volume just before each act."""
    ledger = read_run(folder).ledger
    assert [entry.what for entry in ledger.entries] == ["sample", "water"]
    assert ledger.volume_L(2.0).nominal_value == 2.0
    assert ledger.volume_L(2.5).nominal_value == pytest.approx(1.99)
    assert ledger.volume_L(9.0).nominal_value == pytest.approx(2.09)
    assert ledger.entries[0].change_L.tag.phrase == "measuring the sample of 2 h"
    assert ledger.total_L("sample").nominal_value == pytest.approx(0.01)
    assert ledger.taken("sample", before_h=2.0) == ()


def test_amounts_come_from_the_ledger():
    """At a constant rate of making, what was made does not depend on the samples taken."""
    made_g_h, start = 3.0, 2.0
    entries, volume, inside, at = [], start, 0.0, 0.0
    concentration = {}
    for time_h in (5.0, 9.0, 14.0):
        inside += made_g_h * (time_h - at)
        concentration[time_h], at = inside / volume, time_h
        entries.append(Entry(time_h, "sample", -0.1))
        inside, volume = inside - 0.1 * concentration[time_h], volume - 0.1
    concentration[20.0] = (inside + made_g_h * 6.0) / volume
    assert Ledger(start, tuple(entries)).amount(concentration.__getitem__, 20.0) == pytest.approx(60.0)


def test_evaporation_takes_nothing_along():
    """Water that evaporates leaves the alcohol behind in this account."""
    ledger = Ledger(2.0, (Entry(1.0, "evaporation", -0.5),))
    assert ledger.amount(lambda t: 20.0 if t < 1 else 80 / 3, 2.0) == pytest.approx(40.0)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ((["2"], ["sampel"], ["10"]), "'sampel'"),
        ((["2"], ["sample"], ["9000"]), "leaves -7 L"),
        ((["2", "3"], ["sample", "spill"], ["10", "n.d."]), "row 3, volume: no volume is given"),
    ],
)
def test_a_ledger_that_cannot_be_is_refused(rows, words):
    """More out than in, an unknown act, a withdrawal without its volume."""
    table = dict(zip(("time [h]", "what", "volume [mL]"), rows, strict=True))
    with pytest.raises(InputError, match=words):
        run_from(SETTINGS, {"gas": GAS, "volumes": table})


def test_an_item_dried_in_the_table_and_told_too_says_which_counts():
    """Paste stands in both: a doubt at harvest; extract stands in run.toml alone: none."""
    weights = {"item": ["paste"], "tare [g]": ["50.2"], "wet [g]": ["100.4"], "dry [g]": ["60.24"]}
    told = changed(harvest={"paste": "11 ± 1 g dry", "extract": "3 ± 1 g dry"})
    run = run_from(told, {"gas": GAS, "weights": weights})
    doubts = [str(doubt) for doubt in run.doubts if doubt.column == "harvest"]
    assert len(doubts) == 1 and "paste" in doubts[0]


def test_a_scale_is_corrected_by_its_check_weight():
    """A scale that reads 502 g for 500 g: every weight is 500/502 of its reading, with one common error."""
    weights = {"item": ["paste"], "tare [g]": ["50.2"], "wet [g]": ["100.4"], "dry [g]": ["60.24"]}
    scale = {"scale": {"resolution": "1 g", "check_weight": "500 g", "check_reading": "502 g"}}
    run = run_from(changed(instruments=scale), {"gas": GAS, "weights": weights})
    assert run.tables["weights"].tare_g[0] == pytest.approx(50.0)
    assert run.feed[0].amount_g.nominal_value == pytest.approx(240 * 500 / 502)
    common = run.common_factor("weights")
    assert common.nominal_value == pytest.approx(1.0)
    weight = 0.0005 / math.sqrt(3)  # OIML R 111-1, class M3: 0.25 g on 500 g at most
    assert common.std_dev == pytest.approx(math.hypot(1 / math.sqrt(3) / 502, weight), rel=1e-6)
    ratio = run.feed[0].amount_g / run.inoculum.amount_g
    alone = math.hypot(1 / 240, 0.1 / 5.0)
    assert ratio.std_dev / ratio.nominal_value == pytest.approx(alone, rel=1e-6), "the common factor cancels"


def test_thermometer_and_gauge_are_corrected_at_zero():
    """0.4 °C in ice and 0.02 bar open to the air are taken off."""
    instruments = {"thermometer": {"ice_reading": "0.4 ± 0.1 °C"}, "gauge": {"zero_reading": "0.02 bar"}}
    gas = [{"kind": "pressure", "pressure": "gauge"}]
    tables = {
        "gas": {"time [h]": list("01234"), "pressure [bar]": ["0.02", "0.12", "0.3", "0.5", "0.6"]},
        "hold": {"time [h]": list("01"), "temperature [°C]": ["50.4", "51.4"]},
    }
    run = run_from(changed(instruments=instruments, gas=gas), tables)
    assert run.tables["hold"].temperature_C.tolist() == pytest.approx([50.0, 51.0])
    assert run.conditions.temperature_C.nominal_value == pytest.approx(27.6)
    assert run.conditions.temperature_C.std_dev == pytest.approx(math.hypot(0.5, 0.1))
    assert run.tables["gas"].pressure_bar_gauge.tolist() == pytest.approx([0.0, 0.1, 0.28, 0.48, 0.58])
    assert run.gas[0].column == "pressure_bar_gauge"


def test_an_absolute_pressure_becomes_gauge():
    """The barometer is taken off; without the word the pressure is refused."""
    gas = {"time [h]": list("01234"), "pressure [bar]": ["1.008", "1.1", "1.3", "1.5", "1.6"]}
    run = run_from(changed(gas=[{"kind": "pressure", "pressure": "absolute"}]), {"gas": gas})
    assert run.tables["gas"].pressure_bar_gauge[0] == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(InputError, match="gauge or absolute is not said"):
        run_from(changed(gas=[{"kind": "pressure"}]), {"gas": gas})


@pytest.mark.parametrize(
    ("instruments", "words"),
    [
        ({"scale": {"check_weight": "500 g", "check_reading": "5.02 g"}}, "500 g reads 5.02 g"),
        (
            {
                "a": {"check_weight": "5 g", "check_reading": "5 g"},
                "b": {"check_weight": "5 g", "check_reading": "5 g"},
            },
            "'a' and 'b' both claim",
        ),
        ({"scale": {"reads": ["weihgts"]}}, "did you mean|weihgts"),
    ],
)
def test_checks_that_cannot_be_are_refused(instruments, words):
    """A check that is far off, two scales for the same readings, an unknown place."""
    with pytest.raises(InputError, match=words):
        run_from(changed(instruments=instruments), {"gas": GAS})


def test_unknown_keys_and_files_name_the_nearest(folder):
    """Nothing is dropped in silence."""
    text = (folder / "run.toml").read_text().replace("temperature =", "temprature =").replace("[harvest]", "[harvset]")
    (folder / "run.toml").write_text(text)
    (folder / "drying_.csv").write_text("time [h],weight [g]\n0,1\n")
    said = "\n".join(str(finding) for finding in read_run(folder).doubts)
    assert "the key 'temprature' is not known and was left out; did you mean 'temperature'?" in said
    assert "the section 'harvset' is not known and was left out; did you mean 'harvest'?" in said
    assert "drying_.csv: this file was not read; did you mean 'drying.csv'?" in said


@pytest.mark.parametrize(
    ("section", "content", "words"),
    [
        ("vessel", {"liquid": "2.0"}, r"run.toml, vessel.liquid is '2.0': no unit"),
        ("vessel", {"liquid": "2 kg"}, "'kg' cannot be turned into 'L'"),
        ("vessel", {"closed": "airlok"}, "did you mean|airlok"),
        ("conditions", {"pH": "48"}, "conditions.pH is 48"),
        ("conditions", {"barometer": "10 bar"}, "0.5 to 1.2"),
        ("run", {"invented": "perhaps"}, "'perhaps'"),
        ("gas", [{"table": "gas"}], "no kind is given"),
        ("gas", [{"kind": "vessel weight"}], "gas has only: time_h, volume_mL"),
        ("gas", [{"kind": "collected volume", "table": "more"}], "'more', which is not there"),
        ("gas", [{"kind": "collected volume", "table": "../../etc/passwd"}], "a plain name without folders"),
        ("gas", [{"kind": "collected volume", "table": "weights"}], "a table of its own"),
        ("gas", "collected", "gas"),
        ("feed", [{"ingredient": "sugar", "amount": "-5 g"}], "zero or more"),
        ("harvest", {"nitrogen": ["8 %"]}, "list of 1"),
        ("harvest", {"nitrogen": {"a": 1}}, "is a section"),
        ("ingredients", {"molasses": {"sucrose": "490 %"}}, "0 to 1"),
        ("vessel", "big", "'big'"),
    ],
)
def test_settings_that_cannot_be_are_refused(section, content, words):
    """Key, value and what is possible are named."""
    with pytest.raises(InputError, match=words) as error:
        run_from(changed(**{section: content}), {"gas": GAS})
    assert error.value.needed and error.value.do


def test_clock_times_in_samples_count_from_the_gas():
    """Samples and ledger on the kitchen clock share the zero of the gas readings; without it they are refused."""
    gas = {"time": ["18:00", "20:00", "23:00", "01:00", "04:00"], "volume [mL]": GAS["volume [mL]"]}
    samples = {"sample": ["a", "b"], "time": ["21:00", "02:30"], "signal [V]": ["1", "2"]}
    run = run_from(SETTINGS, {"samples": samples, "gas": gas})
    assert run.tables["samples"].time_h.tolist() == [3.0, 8.5]
    with pytest.raises(InputError, match="nothing says when the run started"):
        run_from(SETTINGS, {"samples": samples, "gas": GAS})
    started = changed(run={"name": "jar", "start": "2026-03-02 18:00"})
    assert run_from(started, {"samples": samples, "gas": GAS}).tables["samples"].time_h.tolist() == [3.0, 8.5]


def test_run_toml_itself_may_be_named(folder):
    """Whoever points at run.toml means its folder."""
    assert read_run(folder / "run.toml").name == "jar 1"


def test_a_word_document_is_no_run(tmp_path):
    """Another kind of file is refused by its name."""
    (tmp_path / "run.xls").write_bytes(b"x")
    with pytest.raises(InputError, match=r"'run\.xls' is no run"):
        read_run(tmp_path / "run.xls")


def test_a_table_that_is_not_known_is_refused():
    """In memory there is no file to overlook, so a wrong name is refused."""
    with pytest.raises(InputError, match="no table 'gass'"):
        run_from(SETTINGS, {"gass": GAS})


def test_an_amount_without_its_own_error_takes_the_scales():
    """A scale with a resolution gives its amounts a rectangular error."""
    feed = [{"ingredient": "beet molasses", "amount": "240 g"}]
    run = run_from(changed(feed=feed, instruments={"scale": {"resolution": "1 g"}}), {"gas": GAS})
    assert run.feed[0].amount_g.std_dev == pytest.approx(1 / math.sqrt(3))
    assert run.feed[0].amount_g.tag.phrase == "weighing the beet molasses"


def test_the_collectors_thermometer_is_corrected_too():
    """The ice check applies to the collector's temperature."""
    gas = [{"kind": "collected volume", "collector_temperature": "22.0 ± 0.5 °C"}]
    run = run_from(changed(gas=gas, instruments={"thermometer": {"ice_reading": "0.5 °C"}}), {"gas": GAS})
    assert run.gas[0].collector_temperature_C.nominal_value == pytest.approx(21.5)


def test_an_absolute_pressure_wants_a_barometer():
    """Without it there is no gauge pressure."""
    gas = {"time [h]": list("01234"), "pressure [bar]": ["1", "1.1", "1.3", "1.5", "1.6"]}
    with pytest.raises(InputError, match="without a barometer"):
        run_from({"gas": [{"kind": "pressure", "pressure": "absolute"}]}, {"gas": gas})


def test_two_routes_in_one_table():
    """Volume and weight may share a table, each in its own rows; neither is called missing."""
    gas = [{"kind": "collected volume"}, {"kind": "vessel weight"}]
    table = {
        "time [h]": ["0", "1", "2", "3", "4"],
        "volume [mL]": ["0", "", "140", "", "240"],
        "weight [g]": ["", "3000", "", "2990", ""],
    }
    run = run_from(changed(gas=gas), {"gas": table})
    assert not any("rows have no" in str(finding) for finding in run.findings)
    assert run.tables["gas"].weight_g.notna().sum() == 2


def test_a_route_says_which_rows_have_no_reading():
    """A row with only a temperature is kept, and told."""
    table = {**GAS, "temperature [°C]": ["20"] * 5, "volume [mL]": ["0", "n.d.", "140", "200", "240"]}
    assert "1 rows have no volume_mL: 3" in "\n".join(map(str, run_from(SETTINGS, {"gas": table}).findings))


def test_too_few_readings_are_doubted():
    """Three readings carry no curve."""
    run = run_from(SETTINGS, {"gas": {key: cells[:3] for key, cells in GAS.items()}})
    assert "only 3 readings of volume_mL" in str(run.doubts[0])


def test_the_ledger_prints_itself(folder):
    """Each entry with its time."""
    text = str(read_run(folder).ledger)
    assert "sample at 2 h" in text and "at the end" in text


def test_a_missing_column_is_named():
    """Which table, which column, which unit."""
    with pytest.raises(InputError, match=r"weights has no column wet \[g\]"):
        run_from(SETTINGS, {"gas": GAS, "weights": {"item": ["a"], "tare [g]": ["1"]}})


def test_samples_come_in_the_unit_of_the_standards():
    """Millivolts against volts are converted, amperes are refused."""
    standards = {"ethanol [% vol]": ["0", "1"], "signal [V]": ["0.1", "0.9"]}
    samples = {"sample": ["a"], "signal [mV]": ["500"]}
    run = run_from(SETTINGS, {"gas": GAS, "standards": standards, "samples": samples})
    assert run.tables["samples"].signal[0] == pytest.approx(0.5)
    with pytest.raises(InputError, match="the signal is in 'A', in the standards in 'V'"):
        run_from(SETTINGS, {"gas": GAS, "standards": standards, "samples": {"sample": ["a"], "signal [A]": ["5"]}})


def test_a_run_prints_what_was_recorded(folder):
    """The page lists vessel, feed and tables, and says 'invented'."""
    text = str(read_run(folder))
    assert "Run: jar 1" in text and "240.0 ± 1.0" in text and "Invented data" in text


@pytest.mark.parametrize("what", ["missing", "file", "empty", "broken", "nested"])
def test_what_is_no_run_is_refused(tmp_path, what):
    """A missing path, a plain file, a folder without run.toml, a broken or absurd TOML."""
    place = tmp_path / "jar"
    if what == "file":
        place = tmp_path / "jar.csv"
        place.write_text("a")
    elif what != "missing":
        place.mkdir()
        if what != "empty":
            (place / "run.toml").write_text("[run\n" if what == "broken" else "a = " + "[" * 3000)
    with pytest.raises(InputError) as error:
        read_run(place)
    assert error.value.met and error.value.needed and error.value.do


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
@pytest.mark.parametrize("name", ["gas.csv", "run.toml"])
def test_links_out_of_the_folder_are_refused(folder, tmp_path, name):
    """A link to a file elsewhere is not followed."""
    outside = tmp_path / "outside"
    outside.write_bytes((folder / name).read_bytes())
    (folder / name).unlink()
    (folder / name).symlink_to(outside)
    with pytest.raises(InputError, match="link out of the run folder"):
        read_run(folder)


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
def test_links_in_a_circle_are_refused(folder):
    """A link to itself leads nowhere."""
    (folder / "gas.csv").unlink()
    (folder / "gas.csv").symlink_to(folder / "gas.csv")
    with pytest.raises(InputError, match=r"link out of the run folder|cannot be read"):
        read_run(folder)


def test_files_that_may_not_be_read_are_refused(folder, monkeypatch):
    """The message says which run, and what the system said."""

    def forbidden(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.read_bytes", forbidden)
    with pytest.raises(InputError, match="'jar' cannot be read: Permission denied"):
        read_run(folder)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_pipes_are_refused(folder):
    """A named pipe would make the reader wait for ever."""
    (folder / "gas.csv").unlink()
    os.mkfifo(folder / "gas.csv")
    with pytest.raises(InputError, match="or no file"):
        read_run(folder)


def test_a_folder_reached_by_a_link_is_fine(folder, tmp_path):
    """The run folder itself may be a link."""
    (tmp_path / "link").symlink_to(folder)
    assert read_run(tmp_path / "link").name == "jar 1"


def test_writing_never_overwrites(folder):
    """Neither a folder with something in it nor a workbook."""
    with pytest.raises(InputError, match="is there already"):
        write_run(SETTINGS, TABLES_WRITTEN, folder)
    book = folder.parent / "a.xlsx"
    write_workbook(SETTINGS, TABLES_WRITTEN, book)
    with pytest.raises(InputError, match="is there already"):
        write_workbook(SETTINGS, TABLES_WRITTEN, book)


def test_writing_is_whole_or_not_at_all(tmp_path):
    """A failure in the middle leaves nothing behind."""
    with pytest.raises(ValueError):
        write_run(SETTINGS, {"gas": {"time [h]": ["0", "1"], "volume [mL]": ["0"]}}, tmp_path / "jar")
    with pytest.raises(InputError, match=r"no table '\.\./evil'"):
        write_run(SETTINGS, {"../evil": GAS}, tmp_path / "jar")
    assert list(tmp_path.iterdir()) == []


def same(one, other):
    """Two runs hold the same values."""
    assert one.tables.keys() == other.tables.keys()
    for name in one.tables:
        pd.testing.assert_frame_equal(one.tables[name].drop(columns="row"), other.tables[name].drop(columns="row"))
    for section in SECTIONS:
        if section != "run":
            assert str(getattr(one, section)) == str(getattr(other, section)), section


def test_folder_workbook_and_memory_are_the_same_run(tmp_path):
    """The three ways in agree in every value."""
    folder = read_run(write_run(SETTINGS, TABLES_WRITTEN, tmp_path / "jar"))
    workbook = read_run(write_workbook(SETTINGS, TABLES_WRITTEN, tmp_path / "jar.xlsx"))
    same(folder, workbook)
    same(folder, run_from(SETTINGS, TABLES_WRITTEN))


def test_a_workbook_is_the_same_each_time(tmp_path):
    """No clock time goes into the file."""
    one, two = (write_workbook(SETTINGS, TABLES_WRITTEN, tmp_path / f"{i}.xlsx").read_bytes() for i in (1, 2))
    assert one == two


def own_workbook(path, fill):
    """A workbook with a sheet 'run', then filled by hand."""
    book = openpyxl.Workbook()
    book.active.title = "run"
    book.active.append(["section", "key", "value"])
    book.active.append(["run", "name", "by hand"])
    book.active.append(["", "invented", True])
    fill(book)
    book.save(path)
    return path


def test_a_workbook_by_hand(tmp_path):
    """Spreadsheet times, numbers as text, blank lines and a formula without a saved value."""
    import datetime

    def fill(book):
        sheet = book.create_sheet("Hold")
        for row in (
            ["time", "temperature [°C]"],
            [datetime.time(22, 0), 20],
            [None, None],
            [datetime.time(23, 30), "45,5"],
            [datetime.time(1, 0), 50.25],
            [datetime.time(2, 0), "=A1+1"],
        ):
            sheet.append(row)
        book.create_sheet("colours").append(["red"])

    run = read_run(own_workbook(tmp_path / "run.xlsx", fill))
    assert run.name == "by hand" and run.invented
    assert run.tables["hold"].time_h.tolist() == [0.0, 1.5, 3.0]
    assert run.tables["hold"].temperature_C.tolist() == [20.0, 45.5, 50.25]
    said = "\n".join(map(str, run.findings))
    assert "a formula without a saved value" in said and "colours: this sheet was not read" in said


def packed(parts):
    """A zip file from names and bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def repacked(path, change):
    """A good workbook with some parts changed."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    return packed(change(parts))


def test_macros_are_told_and_never_run(tmp_path):
    """A workbook that carries macros is read for its cells alone."""
    good = write_workbook(SETTINGS, TABLES_WRITTEN, tmp_path / "good.xlsx")
    bad = tmp_path / "macro.xlsx"
    bad.write_bytes(repacked(good, lambda parts: {**parts, "xl/vbaProject.bin": b"Sub Auto_Open()"}))
    assert "macros; they were not run" in "\n".join(map(str, read_run(bad).findings))


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("bomb", lambda good: repacked(good, lambda p: {**p, "xl/media/a.xml": b"0" * 70_000_000}), "unpacks to 70 MB"),
        ("many", lambda good: repacked(good, lambda p: {**p, **{f"x{i}": b"" for i in range(600)}}), "parts"),
        (
            "entity",
            lambda good: repacked(
                good,
                lambda p: {**p, "xl/workbook.xml": b'<!DOCTYPE a [<!ENTITY b "c">]>' + p["xl/workbook.xml"]},
            ),
            "declares entities",
        ),
        ("text", lambda good: b"not a workbook", "no .xlsx workbook"),
        ("cut", lambda good: good.read_bytes()[:2000], "no .xlsx workbook"),
        ("hollow", lambda good: packed({"a.txt": b"x"}), "cannot be read"),
        ("torn", lambda good: repacked(good, lambda p: {**p, "xl/workbook.xml": b"<a>"}), "cannot be read"),
    ],
)
def test_hostile_workbooks_are_refused(tmp_path, name, data, words):
    """Zip bombs, hidden documents, damaged and false files."""
    good = write_workbook(SETTINGS, TABLES_WRITTEN, tmp_path / "good.xlsx")
    place = tmp_path / f"{name}.xlsx"
    place.write_bytes(data(good))
    with pytest.raises(InputError, match=words):
        read_run(place)


RISKY = [
    "=1+1", "+A1", "-A1", "@SUM(A1)", "=cmd|' /C calc'!A0", "\t=1", "\r=1", "x\r=1", "<b>x</b>", "'quoted", "a,b;c",
    "two\nlines",
]  # fmt: skip


def _one_newline(text):
    """The text without blanks about it; a carriage return is a new line."""
    return text.replace("\r", "\n").strip()


@pytest.mark.parametrize("text", RISKY)
def test_no_text_can_act_as_a_formula(tmp_path, text):
    """What we write opens as text in a spreadsheet, and reads back as it was."""
    tables = {"weights": {"item": [text], "tare [g]": ["-0.01"], "wet [g]": ["2"], "note": ["x"]}}
    settings_ = {"run": {"name": text}}
    folder = write_run(settings_, tables, tmp_path / "jar")
    assert b"\r" not in (folder / "weights.csv").read_bytes()
    cell = (folder / "weights.csv").read_text().split("\n")[1]
    assert not cell.lstrip('"').startswith(("=", "+", "-", "@", "\t"))
    workbook = write_workbook(settings_, tables, tmp_path / "jar.xlsx")
    sheet = openpyxl.load_workbook(workbook)["weights"]
    assert sheet["A2"].data_type == "s" and sheet["B2"].value == -0.01
    for run in (read_run(folder), read_run(workbook)):
        assert _one_newline(run.tables["weights"]["item"][0]) == _one_newline(text)
        assert _one_newline(run.name) == _one_newline(text)


PARTS = (*SECTIONS.values(), *GAS_KINDS.values())
TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=40)


@settings(max_examples=150, deadline=None)
@given(name=TEXT, note=TEXT, ingredient=TEXT)
def test_any_text_in_the_settings_reads_back(tmp_path_factory, name, note, ingredient):
    """TOML escapes are right for every character that a keyboard or a prank can make."""
    place = tmp_path_factory.mktemp("toml") / "jar"
    written = {
        "run": {"name": name, "note": note},
        "ingredients": {ingredient: {"sucrose": "49 %", "note": note}},
    }
    run = read_run(write_run(written, {}, place))
    assert run.note == note and run.name == (name or "jar")
    assert list(run.ingredients) == [ingredient] and run.ingredients[ingredient].note == note


@settings(max_examples=300, deadline=None)
@given(
    st.recursive(
        st.one_of(st.text(max_size=20), st.booleans(), st.integers(), st.floats()),
        lambda inner: st.one_of(
            st.lists(inner, max_size=3),
            st.dictionaries(
                st.sampled_from([*SECTIONS, *(key.written for one in PARTS for key in fields_of(one)), "x"]),
                inner,
                max_size=4,
            ),
        ),
        max_leaves=12,
    )
)
def test_any_settings_are_read_or_refused(written):
    """No shape of settings makes the reader fall over."""
    if not isinstance(written, dict):
        written = {"run": written}
    try:
        run_from(written, {})
    except InputError as problem:
        assert problem.met and problem.needed and problem.do


def test_the_layout_has_no_name_twice():
    """Every key and column has one name, and every number a unit."""
    for one in PARTS:
        keys = fields_of(one)
        assert len({key.written for key in keys}) == len(keys)
    for columns in TABLES.values():
        assert len({column.name for column in columns}) == len(columns)
    for about in (about for fields in (*map(fields_of, PARTS), *TABLES.values()) for about in fields):
        known = about.unit in SUFFIXES or about.unit in ("1", "any", "g/mL")
        assert known, f"{about.name}: write how {about.unit} ends a name into SUFFIXES of run/fields.py"


def test_numbers_of_rows_survive_to_the_tables(folder):
    """A row of the table can be found again in the file."""
    run = read_run(folder)
    lines = Path(folder, "gas.csv").read_text().splitlines()
    for row, volume in zip(run.tables["gas"]["row"], run.tables["gas"].volume_mL, strict=True):
        assert float(lines[row - 1].split(",")[1]) == volume
    assert np.all(np.diff(run.tables["gas"].time_h) > 0)


def test_a_missing_uncertainty_is_the_usual_one_and_said(tmp_path):
    """A scale that shows 240 g is within half a gram or half a percent; one finding lists what was taken."""
    amounts = {"white sugar": "240 g", "diammonium phosphate": "6.00 g"}
    feed = [{"ingredient": name, "amount": amount} for name, amount in amounts.items()]
    run = run_from(changed(feed=feed, vessel={"total": "3.0 L", "liquid": "2.0 L"}), {"gas": GAS})
    assert [part.amount_g.std_dev for part in run.feed] == pytest.approx([1.2, 0.03])
    assert run.vessel.total_L.std_dev == pytest.approx(0.06)
    (said,) = (str(finding) for finding in run.findings if "no ± was written" in finding.sentence)
    assert "feed 1.amount ± 1.2 g" in said and "vessel.total ± 0.06 L" in said and "gas 1.u_reading" in said


@pytest.mark.parametrize("amount", ["240 ± 0 g", "240 ± 0.0 g", "240 g, resolution 0 g"])
def test_a_zero_uncertainty_is_refused_with_the_usual_one(amount):
    """Nothing is weighed without error."""
    with pytest.raises(InputError, match="an uncertainty of zero") as error:
        run_from(changed(feed=[{"ingredient": "white sugar", "amount": amount}]), {"gas": GAS})
    assert "1.2 g" in error.value.needed


def test_a_rough_number_is_three_times_as_wide():
    """About 22 °C is 22 ± 3 °C where a thermometer read in a hurry is ± 1 °C."""
    run = run_from(changed(conditions={"temperature": "about 22 °C"}), {"gas": GAS})
    assert (run.conditions.temperature_C.nominal_value, run.conditions.temperature_C.std_dev) == (22.0, 3.0)


@pytest.mark.parametrize(
    ("written", "value", "u"),
    [("0.95 ± 1 %", 0.95, 0.0095), ("1.0 ± 1 %", 1.0, 0.01), ("0.97 ± 0.5 %", 0.97, 0.00485)],
)
def test_percent_behind_a_factor_is_percent_of_it(written, value, u):
    """A factor of 0.95 ± 1 % is no factor of 0.0095."""
    run = run_from(changed(gas=[{"kind": "collected volume", "volume_factor": written}]), {"gas": GAS})
    assert run.gas[0].volume_factor.nominal_value == pytest.approx(value)
    assert run.gas[0].volume_factor.std_dev == pytest.approx(u)


def test_percent_of_a_weight_may_stand_before_its_unit():
    """240 ± 2 % g is 240 ± 4.8 g."""
    run = run_from(changed(feed=[{"ingredient": "white sugar", "amount": "240 ± 2 % g"}]), {"gas": GAS})
    assert (run.feed[0].amount_g.nominal_value, run.feed[0].amount_g.std_dev) == pytest.approx((240, 4.8))


@pytest.mark.parametrize(
    ("kind", "key", "value", "instead"),
    [
        ("bubble count", "volume_factor", "1.01", "volume_per_bubble"),
        ("flow rate", "volume_factor", "1.01", "flow_factor"),
        ("collected volume", "drift", "0.1 g/h", "vessel weight"),
        ("vessel weight", "u_increment", "3 g", "u_reading"),
    ],
)
def test_a_key_of_another_kind_of_gas_reading_says_what_to_write(kind, key, value, instead):
    """Old runs still read; what has no effect is a doubt."""
    column = {"bubble count": "bubbles", "flow rate": "flow [mL/h]", "vessel weight": "weight [g]"}
    table = {"time [h]": list("01234"), column.get(kind, "volume [mL]"): ["0", "5", "14", "20", "24"]}
    run = run_from(changed(gas=[{"kind": kind, key: value}]), {"gas": table})
    (doubt,) = (finding for finding in run.doubts if key in finding.sentence)
    assert instead in doubt.sentence and "does not use it" in doubt.sentence


def test_a_hydrometer_may_show_specific_gravity():
    """1.038 of water at 20 °C (998.2 kg/m3) is 1036.1 kg/m3."""
    run = run_from(changed(density={"start": "1.038", "end": "1013 kg/m3"}), {"gas": GAS})
    assert run.density.start_kg_m3.nominal_value == pytest.approx(1.038 * 998.2, abs=0.05)
    assert run.density.end_kg_m3.nominal_value == 1013


def test_by_names_of_ingredients_and_a_little_of_something_unknown():
    """Sugar is white sugar; 2 g that nobody knows are left out with a doubt, and the rest counts."""
    amounts = {"cane sugar": "240 ± 1 g", "yeast nutrient": "2 ± 0.1 g"}
    feed = [{"ingredient": name, "amount": amount} for name, amount in amounts.items()]
    run = run_from(changed(feed=feed, inoculum={"ingredient": "baker's yeast", "amount": "5 g"}), {"gas": GAS})
    assert [part.ingredient for part in run.feed] == ["white sugar"]
    assert run.inoculum.ingredient == "active dry yeast"
    assert any("'yeast nutrient' is not known; its 2 g were left out" in found.sentence for found in run.doubts)


def test_more_liquid_than_vessel_costs_the_vessel_s_size_only():
    """2500 L in a jar of 3 L is a unit: said as a doubt, the rest is read."""
    run = run_from(changed(vessel={"total": "3 L", "liquid": "2500 L"}), {"gas": GAS})
    assert run.vessel.total_L is None and run.vessel.liquid_L.nominal_value == 2500
    assert any("2500 L of liquid in a vessel of 3 L" in found.sentence for found in run.doubts)


def test_a_gap_in_a_logged_temperature_is_bridged_and_said():
    """One empty cell costs that cell, not the column."""
    table = {**GAS, "temperature [°C]": ["20", "", "22", "22", ""]}
    run = run_from(SETTINGS, {"gas": table})
    assert run.tables["gas"].temperature_C.tolist() == [20, 21, 22, 22, 22]
    assert any("2 empty cells of temperature_C" in found.sentence for found in run.findings)


def test_a_pandas_table_is_a_table_and_columns_have_one_length():
    """In memory a data frame will do; columns of two lengths are refused."""
    assert len(run_from(SETTINGS, {"gas": pd.DataFrame(GAS)}).tables["gas"]) == 5
    with pytest.raises(InputError, match=r"time \[h\]: 5, volume \[mL\]: 4"):
        run_from(SETTINGS, {"gas": {**GAS, "volume [mL]": GAS["volume [mL]"][:4]}})


def test_a_section_twice_is_refused():
    """The last one does not win."""
    twice = {**SETTINGS, "residual_sugar": {"value": "1 g/L"}, "residual sugar": {"value": "2 g/L"}}
    with pytest.raises(InputError, match="is there twice"):
        run_from(twice, {"gas": GAS})


def test_one_wild_time_costs_its_row():
    """A minus too many drops one row and is told; the rest stays in order."""
    table = {"time [h]": ["0", "1", "-2", "3", "4"], "volume [mL]": GAS["volume [mL]"]}
    run = run_from(SETTINGS, {"gas": table})
    assert run.tables["gas"].time_h.tolist() == [0, 1, 3, 4]
    assert any(found.row == 4 and "far from all others" in found.sentence for found in run.doubts)


def test_a_slip_in_the_last_reading_is_told_of_its_own_row():
    """Not of its good neighbour."""
    times = [str(i) for i in range(12)]
    volume = [str(50 * i) for i in range(11)] + ["5500"]
    run = run_from(SETTINGS, {"gas": {"time [h]": times, "volume [mL]": volume}})
    assert [found.row for found in run.doubts if "out of line" in found.sentence] == [13]


def test_dry_grams_of_several_dishes_add_up():
    """Two dishes of paste are one paste."""
    run = run_from(changed(harvest={"paste": ["10.0 ± 0.3 g dry", "11.5 ± 0.4 g dry"]}), {"gas": GAS})
    assert run.harvest.paste_g.nominal_value == pytest.approx(21.5)
    assert run.harvest.paste_g.std_dev == pytest.approx(0.5)


def test_a_content_and_own_sums_are_read():
    """Alcohol measured elsewhere, in % vol, % mass or g/L; sums that a person made stand as they were written."""
    for content, value in (("3.3 ± 0.3 % vol", 3.3), ("26.04 ± 2 g/L", 3.3), ("2.622 ± 0.2 % mass", 3.3)):
        run = run_from(changed(ethanol={"content": content}), {"gas": GAS})
        assert run.ethanol.content_pct_vol.nominal_value == pytest.approx(value, abs=0.01)
    run = run_from(changed(my_sums={"co2": "12 g", "yeast at most": "60 g", "yield": "10 %"}), {"gas": GAS})
    assert run.my_sums.given == {"co2_g": 12.0, "yeast_at_most_g": 60.0, "yield_": pytest.approx(0.1)}
