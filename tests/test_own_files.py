"""Files with titles of their own: read by a mapping, which is proposed from the titles."""

import numpy as np
import openpyxl
import pytest

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.run.begin import begin
from fermkit.run.proposals import propose

KITCHEN = """My log;;;;
;;;;
Datum;Uhrzeit;Gas im Zylinder (ml);Raum °C;Bemerkung
02.03.2026;18:00;0;21,5;los
;20:00;120;21,5;
03.03.2026;06:00;1500,5;20,0;
;18:00;2100;20,0;
"""


def of(tmp_path, content, name="own.csv", **keys):
    """A run that takes its gas from a file of its own."""
    folder = tmp_path / "jar"
    folder.mkdir()
    (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    said = "".join(f'{key} = "{value}"\n' for key, value in {"file": name, **keys}.items())
    (folder / "run.toml").write_text(f'[tables.gas]\n{said}[[gas]]\nkind = "collected volume"\n', "utf-8")
    return fk.read_run(folder)


def test_a_kitchen_log_is_proposed_and_read(tmp_path):
    """Two lines above, day and time apart, decimal commas, foreign words: read as hours and millilitres."""
    (tmp_path / "own.csv").write_text(KITCHEN, "utf-8")
    run = fk.read_run(begin(tmp_path / "jar", "150 g", readings=tmp_path / "own.csv"))
    gas = run.tables["gas"]
    assert gas["time_h"].tolist() == [0, 2, 12, 24] and gas["volume_mL"].tolist() == [0, 120, 1500.5, 2100]
    assert gas["row"].tolist() == [4, 5, 6, 7] and gas["temperature_C"].tolist() == [21.5, 21.5, 20, 20]
    assert not run.doubts


WAYS = {
    "ISO stamps": ["2026-03-02 18:00:00", "2026-03-02 19:30:00"],
    "ISO with T and Z": ["2026-03-02T18:00:00Z", "2026-03-02T19:30:00Z"],
    "over the change to summer time": ["2026-03-29T01:00:00+01:00", "2026-03-29T03:30:00+02:00"],
    "seconds since 1970": ["1772474400", "1772479800"],
    "milliseconds since 1970": ["1772474400000", "1772479800000"],
    "month names aside, a short clock": ["18:00", "19:30"],
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("long", [False, True])
def test_each_way_of_writing_a_moment(tmp_path, way, long):
    """An hour and a half, however it is written; also where the file is long and read quickly."""
    one, other = WAYS[way]
    more = [""] * (9000 if long else 0)
    rows = "".join(f"{stamp},{i}\n" for i, stamp in enumerate([one, other, *(more and [other] * 9000)]))
    gas = of(tmp_path, "when,Gas [ml]\n" + rows, time="when", volume="Gas [ml]").tables["gas"]
    assert gas["time_h"].iloc[0] == 0 and gas["time_h"].iloc[-1] == pytest.approx(1.5, abs=1e-6)


def test_seconds_since_a_start(tmp_path):
    """The unit of the time stands in run.toml where the title has none."""
    gas = of(tmp_path, "t;Gas\n0;0\n5400;0,2\n", time="t", time_unit="s", volume="Gas", volume_unit="L").tables["gas"]
    assert gas["time_h"].tolist() == [0, 1.5] and gas["volume_mL"].tolist() == [0, 200]


def test_a_title_without_a_unit_is_asked_for(tmp_path):
    """The refusal names the person's title, and the key that mends it; `begin` leaves that key open."""
    with pytest.raises(InputError) as refused:
        of(tmp_path, "when,Gas\n2026-03-02 18:00,0\n2026-03-02 19:00,5\n", time="when", volume="Gas")
    assert "'Gas'" in refused.value.met and "volume_unit" in refused.value.do
    found = propose(b"when,Gas\n2026-03-02 18:00,0\n2026-03-02 19:00,5\n", "own.csv")
    assert found[0].asked == ("volume_unit",)


def test_what_a_file_leaves_open_is_said_at_once(tmp_path, capsys):
    """A unit in no title, a pressure of unknown sort: the run is written, and the line to mend is named."""
    from fermkit.__main__ import main

    for title, key in (("Gas", "volume_unit"), ("P (bar)", 'pressure = "gauge"')):
        rows = "".join(f"2026-03-02 {18 + i}:00,{i / 10}\n" for i in range(5))
        (tmp_path / "own.csv").write_text(f"when,{title}\n{rows}")
        folder = tmp_path / key[:8]
        assert main(["begin", str(folder), "--sugar", "150 g", "--readings", str(tmp_path / "own.csv")]) == 0
        assert key in capsys.readouterr().out and f"# {key}" in (folder / "run.toml").read_text("utf-8")


def test_a_mapped_column_that_is_not_there(tmp_path):
    """The nearest title is offered."""
    with pytest.raises(InputError) as refused:
        of(tmp_path, "when,Gas [ml]\n0:00,0\n1:00,5\n", time="when", volume="Gaz [ml]")
    assert "Gaz [ml]" in refused.value.met and "'Gas [ml]'" in refused.value.do


def test_one_file_with_several_quantities(tmp_path):
    """A logger's one file feeds the gas by two routes and the warm hold."""
    rows = "".join(f"{60 * i},{i},{1500 - i / 100},{20 + i / 10}\n" for i in range(50))
    folder = tmp_path / "jar"
    folder.mkdir()
    (folder / "log.csv").write_text("t (s),Gas (ml),Jar (g),T1 (°C)\n" + rows, "utf-8")
    (folder / "run.toml").write_text(
        '[tables.gas]\nfile = "log.csv"\ntime = "t (s)"\nvolume = "Gas (ml)"\nweight = "Jar (g)"\n'
        '[tables.hold]\nfile = "log.csv"\ntime = "t (s)"\ntemperature = "T1 (°C)"\n'
        '[[gas]]\nkind = "collected volume"\n[[gas]]\nkind = "vessel weight"\n', "utf-8",
    )  # fmt: skip
    run = fk.read_run(folder)
    assert run.tables["hold"]["temperature_C"].iloc[-1] == pytest.approx(24.9)
    assert len(run.gas) == 2 and len(run.tables["gas"]) == 50 and not run.doubts


def test_a_workbook_of_ones_own(tmp_path):
    """A sheet with a heading above its table, real dates in its cells, and a sheet of something else."""
    import datetime

    book = openpyxl.Workbook()
    book.active.title = "Shopping"
    book.active.append(["eggs", 12])
    sheet = book.create_sheet("Jar 3")
    sheet.append(["Jar 3, kitchen"])
    sheet.append([])
    sheet.append(["When", "Jar weight (kg)", "Notes"])
    for hour in range(5):
        sheet.append([datetime.datetime(2026, 3, 2, 18) + datetime.timedelta(hours=hour), 2.5 - hour / 1000, None])
    book.save(tmp_path / "log.xlsx")
    run = fk.read_run(begin(tmp_path / "jar", "150 g", readings=tmp_path / "log.xlsx"))
    assert run.tables["gas"]["weight_g"].tolist() == pytest.approx([2500, 2499, 2498, 2497, 2496])
    assert [gas.kind for gas in run.gas] == ["vessel weight"]


def test_a_table_in_two_places_is_refused(tmp_path):
    """gas.csv and a file of one's own for the same table."""
    folder = tmp_path / "jar"
    folder.mkdir()
    for name in ("gas.csv", "own.csv"):
        (folder / name).write_text("time [h],volume [mL]\n0,0\n1,5\n")
    (folder / "run.toml").write_text('[tables.gas]\nfile = "own.csv"\n')
    with pytest.raises(InputError):
        fk.read_run(folder)


@pytest.mark.parametrize("file", ["../own.csv", "/etc/hostname", "sub/own.csv"])
def test_no_file_outside_the_folder_is_read(tmp_path, file):
    """A name with a folder in it is refused."""
    folder = tmp_path / "jar"
    folder.mkdir()
    (tmp_path / "own.csv").write_text("time [h],volume [mL]\n0,0\n1,5\n")
    (folder / "run.toml").write_text(f'[tables.gas]\nfile = "{file}"\n')
    with pytest.raises(InputError):
        fk.read_run(folder)


def test_a_long_log_is_thinned_and_keeps_what_it_says(tmp_path):
    """Of 60,000 readings the middle ones of equal stretches are kept, each a row of the file; a wild one is not."""
    rng = np.random.default_rng(3)
    time = np.arange(60_000) / 360
    volume = 2000 / (1 + np.exp(-(time - 60) / 8)) + rng.normal(0, 3, time.size)
    volume[30_000] = 9000
    rows = "".join(f"{t:.5f},{v:.2f}\n" for t, v in zip(time, volume))
    gas = of(tmp_path, "time [h],volume [mL]\n" + rows).tables["gas"]
    assert 4_000 < len(gas) <= 5_002 and gas["volume_mL"].max() < 2100
    rows_kept = gas["row"].to_numpy() - 2
    assert np.allclose(gas["volume_mL"], volume[rows_kept], atol=0.006)
    spread = np.std(gas["volume_mL"] - 2000 / (1 + np.exp(-(gas["time_h"] - 60) / 8)))
    assert spread < 3
