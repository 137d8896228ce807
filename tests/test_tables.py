"""Tables as people and loggers write them: what is read, what is said, what is refused."""

import contextlib
import io

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fermkit.basis.errors import InputError
from fermkit.run.clock import clock_hours, dated_hours
from fermkit.run.findings import Remarks
from fermkit.run.format import TABLES
from fermkit.run.oddities import odd_readings, one_row_a_moment
from fermkit.run.tables import LARGEST_BYTES, read_rows, read_table


def read(text, table="gas", **how):
    """A table from text or bytes."""
    data = text if isinstance(text, bytes) else text.encode()
    return read_table(data, f"{table}.csv", TABLES[table], **how)


def said(table):
    """All findings as one text."""
    return "\n".join(f"{finding.level}: {finding}" for finding in table.findings)


def test_units_in_the_header_are_converted_once():
    """Minutes and litres become hours and millilitres."""
    table = read("time [min],volume [L]\n0,0\n30,0.21\n")
    assert table.frame.time_h.tolist() == [0.0, 0.5]
    assert table.frame.volume_mL.tolist() == [0.0, 210.0]
    assert table.frame.row.tolist() == [2, 3]


@pytest.mark.parametrize(
    "header",
    [
        "time [h];volume [mL]",
        "time (h);volume (mL)",
        "time_h;volume_mL",
        "time / h;volume / mL",
        "Time [h];Volume [mL]",
    ],
)
def test_titles_in_common_spellings(header):
    """Brackets of both kinds, our own names, and capitals."""
    assert read(f"{header}\n0;0\n1;5\n").frame.volume_mL.tolist() == [0.0, 5.0]


def test_semicolons_with_decimal_commas():
    """The spreadsheet habit of half of Europe."""
    assert read("time [h];volume [mL]\n0,0;0\n1,5;0,35\n").frame.volume_mL.tolist() == [0.0, 0.35]


def test_tabs_and_a_trailing_separator():
    """Columns don't shift when each row ends with an empty cell."""
    table = read("time [h]\tvolume [mL]\t\n0\t0\t\n1\t5\t\n")
    assert table.frame.columns.tolist() == ["row", "time_h", "volume_mL"]
    assert table.frame.volume_mL.tolist() == [0.0, 5.0]


def test_decimal_commas_between_commas_are_refused():
    """'0,21' in a comma-split row is two cells: no guess is made."""
    with pytest.raises(InputError, match="row 3: 3 cells under a header of 2") as error:
        read("time [h],volume [mL]\n0,0\n1,0,21\n")
    assert "';'" in error.value.do


def test_a_stray_decimal_point_among_commas_is_read_and_told():
    """0.5 can only be a decimal point."""
    table = read("time [h];volume [mL]\n0,5;0\n1,5;0.5\n2,5;1,5\n")
    assert table.frame.volume_mL.tolist() == [0.0, 0.5, 1.5]
    assert "a decimal point among decimal commas" in said(table)


def test_a_cell_with_two_readings_is_refused():
    """1.234 among decimal commas is a thousand or one and a bit."""
    with pytest.raises(InputError, match=r"row 4, volume \[mL\]: '1.234' can be read as 1234 or as 1.234"):
        read("time [h];volume [mL]\n0,5;0,5\n1,5;2,5\n2,5;1.234\n")


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_encodings_are_recognised_and_told(encoding):
    """A byte-order mark, UTF-16 and the old Windows one; only the odd ones are told."""
    table = read("time [h];temperature [°C]\n0;20\n1;21\n".encode(encoding), "hold")
    assert table.frame.temperature_C.tolist() == [20.0, 21.0]
    assert ("since it is not UTF-8" in said(table)) == (encoding != "utf-8-sig")


def test_units_in_a_row_of_their_own():
    """Some programs write units below the names."""
    table = read("time,volume\nmin,L\n0,0\n30,1\n")
    assert table.frame.volume_mL.tolist() == [0.0, 1000.0]
    assert "row 2: the row below the header was taken for the units" in said(table)


def test_what_a_logger_writes_above_its_table_is_skipped():
    """The header is the first line that names two columns."""
    text = "sep=;\nLogger 7, channel 2\nserial;12\n\nTime [h];Volume [mL];Temperature [°C]\n0;0;20\n1;5;20\n"
    table = read(text)
    assert table.frame.volume_mL.tolist() == [0.0, 5.0] and table.frame.row.tolist() == [6, 7]
    assert "row 5: the table starts here; 4 lines above it were skipped" in said(table)
    assert read("sep=;\n" + "time [h];volume [mL]\n0,5;0\n1,5;5\n").frame.time_h.tolist() == [0.5, 1.5]


def test_a_sample_may_have_no_time():
    """Where the time is not needed a row without it stays, in the order of the file."""
    table = read("sample,time [h],signal [V]\nb,5,1\na,,2\nc,1,3\n", "samples")
    assert table.frame["sample"].tolist() == ["b", "a", "c"]


def test_rows_without_a_reading_are_left_out_and_listed():
    """n.d., blanks and limits are no readings; blank lines keep the count of rows."""
    table = read("time [h],volume [mL]\n0,0\n1,n.d.\n\n2,\n3,9\n4,<10\n5,11\n")
    assert table.frame.row.tolist() == [2, 6, 8]
    assert "3 rows without a reading left out: 3, 5, 7" in said(table)
    assert "1 blank row skipped: 4" in said(table)
    assert "doubt: gas.csv, row 7, volume [mL]: '<10' is a limit and no reading; left out" in said(table)


def test_impossible_values_are_left_out_with_a_doubt():
    """A pH of 48 is a slip of the pen."""
    table = read("time [h],temperature [°C],pH\n0,20,4.8\n1,21,48\n2,22,4.7\n", "hold")
    assert np.isnan(table.frame.pH[1])
    assert "pH of 48 is not possible (at least 0, at most 14)" in said(table)


def test_rows_out_of_order_are_sorted_and_doubted():
    """Time never goes back in what is handed on."""
    table = read("time [h],volume [mL]\n0,0\n2,8\n1,4\n3,12\n")
    assert table.frame.volume_mL.tolist() == [0.0, 4.0, 8.0, 12.0]
    assert "doubt: gas.csv, row 4, time: the time goes back" in said(table)


def test_a_clock_that_crosses_midnight():
    """22:00 to 01:00 are three hours; the row is told."""
    table = read("time,volume [mL]\n22:00,0\n23:30,5\n01:00,9\n02:00,11\n")
    assert table.frame.time_h.tolist() == [0.0, 1.5, 3.0, 4.0]
    assert table.zero == "22:00"
    assert "row 4, time: the clock passed midnight here" in said(table)


def test_a_clock_that_goes_back_a_little_is_no_midnight():
    """Five minutes back is a late entry; ten hours back after hourly readings is doubted."""
    assert read("time,volume [mL]\n8:00,0\n9:00,5\n8:55,4\n10:00,7\n").frame.time_h.max() == 2.0
    odd = read("time,volume [mL]\n8:00,0\n9:00,5\n10:00,6\n6:00,7\n7:00,9\n")
    assert "doubt: gas.csv, row 5, time: the clock goes back here; taken as the next day, 20 h later" in said(odd)


def test_a_start_sets_the_zero():
    """Clock times count from the start that run.toml names, before midnight or after."""
    assert read("time,volume [mL]\n20:00,0\n21:00,5\n", start="18:00").frame.time_h.tolist() == [2.0, 3.0]
    assert read("time,volume [mL]\n03:00,0\n04:00,5\n", start="18:00").frame.time_h.tolist() == [9.0, 10.0]


@pytest.mark.parametrize(
    ("stamps", "dates"),
    [
        (("2026-03-02 22:00", "2026-03-03 01:00"), ""),
        (("2026-03-02T22:00:00", "2026-03-03T01:00:00"), ""),
        (("02.03.2026 22:00", "03.03.2026 01:00"), ""),
        (("2/3/2026 10:00 pm", "3/3/2026 1:00 am"), "day first"),
        (("3/2/2026 22:00", "3/3/2026 01:00"), "month first"),
        (("13/2/2026 22:00", "14/2/2026 01:00"), ""),
        (("46083.9166666667", "46084.0416666667"), ""),
    ],
)
def test_dated_times(stamps, dates):
    """ISO, dotted, slashed with a stated order, and spreadsheet day numbers."""
    table = read(f"time;volume [mL]\n{stamps[0]};0\n{stamps[1]};5\n", dates=dates)
    assert table.frame.time_h.tolist() == pytest.approx([0.0, 3.0], abs=1e-6)


def test_an_ambiguous_date_is_refused_with_the_remedy():
    """03/04 is March or April: nobody guesses."""
    with pytest.raises(InputError, match="can be day first or month first") as error:
        read("time;volume [mL]\n03/04/2026 22:00;0\n")
    assert 'dates = "day first"' in error.value.do


def test_decimal_hours_without_a_unit_are_not_taken_for_a_clock():
    """1.50 is an hour and a half or ten to two: refused."""
    with pytest.raises(InputError, match=r"'1\.50' is no time of day"):
        read("time,volume [mL]\n1.50,0\n")


def test_clock_readers_by_themselves():
    """Hours of a clock, of a stopwatch beyond a day, and of a date."""
    assert clock_hours("25:10:30") == pytest.approx(25.175)
    assert clock_hours("12:05 am") == pytest.approx(5 / 60)
    assert clock_hours("12:75") is None
    assert dated_hours("2026-02-30 10:00") is None


def test_alcohol_given_in_other_ways():
    """g/L and % mass are converted and told, a plain % is refused: it could be either."""
    assert read("ethanol [g/L],signal [V]\n7.892,1\n0,0\n", "standards").frame.ethanol_pct_vol[0] == pytest.approx(
        1, abs=1e-3
    )
    assert read("ethanol [% mass],signal [V]\n4,1\n0,0\n", "standards").frame.ethanol_pct_vol[0] == pytest.approx(
        5.02, abs=0.02
    )
    with pytest.raises(InputError, match="alcohol in '%'"):
        read("ethanol [%],signal [V]\n4,1\n", "standards")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the table is empty"),
        ("\n\n# only a remark\n", "the table is empty"),
        ("time [h],volume [mL]\n", "a header but no rows"),
        ("time [h],volume [mL]\n0,\n1,\n", "no row holds a reading"),
        ("time [h],volume [mL]\n0,zz\n", r"row 2, volume \[mL\]: 'zz' is not a number"),
        ("time [h],volume [mL]\n0,inf\n", "'inf' is not a number"),
        ("time [h],volume\n0,1\n", "'volume' has no unit"),
        ("time [h],volume [kg]\n0,1\n", "'kg' cannot be turned into 'mL'"),
        ("time [h],volume [mL],volume [L]\n0,1,1\n", "two columns mean 'volume'"),
        ("a,b\n0,1\n", "no column is known: a, b"),
        ('time [h],volume [mL]\n1,"2\n3', "cannot be split"),
        (b"PK\x03\x04\x00\x00", "not text"),
        (b"\xff\xfe\x00", "not text"),
        (",".join(f"c{i}" for i in range(70)) + "\n", "70 columns"),
    ],
)
def test_what_cannot_be_read_is_refused(text, words):
    """File, row, column and value are named; all three beats are there."""
    with pytest.raises(InputError, match=words) as error:
        read(text)
    assert str(error.value).startswith("gas.csv")
    assert error.value.needed and error.value.do


def test_a_misspelt_column_names_the_nearest():
    """A table keeps what it can and doubts the rest."""
    table = read("time [h],volume [mL],temprature [°C],colour\n0,0,20,red\n1,5,20,red\n")
    assert "doubt: gas.csv, row 1, temprature [°C]: this column is not used here; did you mean 'temperature'?" in said(
        table
    )
    assert "note: gas.csv, row 1, colour: this column is not used here" in said(table)


def test_a_column_that_a_table_does_not_have_says_what_to_write_instead():
    """An event beside gas, the temperature beside a drying weight: noted with a remedy."""
    assert "when" in said(read("ethanol [% vol],signal [V],time [h]\n0,1,0\n5,2,1\n", "standards"))
    assert "note" in said(read("time [h],weight [g],temperature [°C]\n0,5,60\n1,4,60\n", "drying"))


def test_strain_names_that_look_like_missing_values_are_kept():
    """A sample called NA or None is a sample."""
    table = read("sample,signal [V]\nNA,1\nNone,2\n", "samples")
    assert table.frame["sample"].tolist() == ["NA", "None"]


def test_too_large_a_file_is_refused_before_it_is_read():
    """The message says how large, and what to do."""
    with pytest.raises(InputError, match="201 MB"):
        read(b" " * (LARGEST_BYTES + 600_000))


def long_table(rows, **changes):
    """A logger's table as bytes."""
    time_h = np.arange(rows) / 1800
    frame = pd.DataFrame({"time [h]": time_h.round(5), "volume [mL]": np.arange(rows) * 0.25, "temperature [°C]": 22.0})
    return frame.assign(**changes).to_csv(index=False).encode()


@pytest.mark.parametrize("change", ["none", "missing", "commas", "stamps", "clock", "text"])
def test_the_quick_way_gives_the_same_as_the_careful_way(change):
    """A long even table read by the C parser equals its first rows read cell by cell."""
    rows = 6000
    data = long_table(rows)
    if change == "missing":
        data = data.replace(b",100.0,22.0", b",n.d.,").replace(b",200.0,22.0", b",,")
    if change == "commas":
        data = data.replace(b",", b";").replace(b".", b",")
    if change == "text":
        data = data.replace(b"temperature [\xc2\xb0C]", b"note").replace(b",22.0\n", b",'=SUM(A1)\n")
    if change in ("stamps", "clock"):
        stamps = pd.Timestamp(2026, 3, 2, 23, 50) + pd.to_timedelta(np.arange(rows) * 2, unit="s")
        frame = pd.read_csv(io.BytesIO(data)).rename(columns={"time [h]": "time"})
        data = (
            frame.assign(time=stamps.strftime("%Y-%m-%d %H:%M:%S" if change == "stamps" else "%H:%M:%S"))
            .to_csv(index=False)
            .encode()
        )
    quick = read(data)
    careful = read(b"".join(line + b"\n" for line in data.splitlines()[:1000]))
    pd.testing.assert_frame_equal(quick.frame.iloc[: len(careful.frame)].reset_index(drop=True), careful.frame)
    assert len(quick.frame) == rows - (2 if change == "missing" else 0)


def test_a_long_table_with_a_bad_cell_is_refused_by_its_row():
    """The quick way hands over to the careful one, which names the row."""
    lines = long_table(6000).splitlines()
    lines[4000] = lines[4000].replace(b",", b",x1", 1)
    with pytest.raises(InputError, match=r"row 4001, volume \[mL\]"):
        read(b"\n".join(lines))


def test_a_long_uneven_table_is_refused_by_its_size(monkeypatch):
    """Cell by cell a long table would need too much memory: the message says how to help."""
    monkeypatch.setattr("fermkit.run.tables.LARGEST_UNEVEN_BYTES", 100_000)
    with pytest.raises(InputError, match="is not plain numbers throughout"):
        read(long_table(6000).replace(b",100.0,", b",about 100,"))


def test_long_tables_that_are_not_even_are_read_all_the_same():
    """Quoted cells, a column twice, infinite numbers and unknown stamps go the careful way."""
    data = long_table(6000)
    assert len(read(data.replace(b"\n0.00056,0.25", b'\n0.00056,"0.25"')).frame) == 6000
    with pytest.raises(InputError, match="two columns mean 'volume'"):
        read(data.replace("temperature [°C]".encode(), b"volume [L]"))
    with pytest.raises(InputError, match="'inf' is not a number"):
        read(data.replace(b",100.0,", b",inf,"))
    with pytest.raises(InputError, match=r"'0\.0' is no time of day"):
        read(data.replace(b"time [h]", b"time"))


def test_rows_without_a_time_are_left_out_and_doubted():
    """A reading that belongs to no moment cannot be used."""
    table = read("time [h],volume [mL]\n0,0\n,5\n2,8\n")
    assert table.frame.row.tolist() == [2, 4]
    assert "doubt: gas.csv, time: 1 rows without a time left out: 3" in said(table)


def test_alcohol_beyond_all_alcohol_is_refused():
    """1,000 g/L of ethanol is more than pure ethanol."""
    with pytest.raises(InputError, match=r"standards\.csv, ethanol"):
        read("ethanol [g/L],signal [V]\n1000,1\n", "standards")


def test_same_time_twice():
    """A repeated row goes; two different readings are averaged, and doubted."""
    book = Remarks("gas.csv")
    frame = read("time [h],volume [mL]\n0,0\n1,4\n1,4\n2,8\n2,10\n3,12\n").frame
    frame = one_row_a_moment(frame, book)
    assert frame.time_h.tolist() == [0, 1, 2, 3]
    assert frame.volume_mL.tolist() == [0, 4, 9, 12]
    assert [finding.level for finding in book.all()] == ["note", "doubt"]


def test_gaps_spikes_and_offsets_are_told_and_kept():
    """A reading out of line is said, not smoothed; a step is no spike."""
    time_h = np.r_[np.arange(0, 20.0), 30.0, 31.0]
    volume = 100.0 + 10 * time_h
    volume[7] += 90
    book = Remarks("gas.csv")
    odd_readings(
        pd.DataFrame({"row": np.arange(2, 24), "time_h": time_h, "volume_mL": volume}),
        "volume_mL",
        book,
        cumulative=True,
    )
    text = "\n".join(map(str, book.all()))
    assert "row 9: volume_mL of 260 stands out of line" in text
    assert "the longest is 11 h, from 19 h" in text
    assert "volume_mL starts at 100, not at zero" in text
    book = Remarks("hold.csv")
    step = np.r_[np.full(10, 50.0), np.full(10, 43.0)]
    odd_readings(
        pd.DataFrame({"row": np.arange(20), "time_h": np.arange(20.0), "temperature_C": step}), "temperature_C", book
    )
    assert not book.all()


def test_rows_of_a_sheet_are_read_the_same():
    """A workbook's sheet goes the same way as a CSV."""
    cells = [["time [h]", "volume [mL]"], ["0", "0"], ["", ""], ["1", "2.5"]]
    assert read_rows(cells, "gas", TABLES["gas"]).frame.row.tolist() == [2, 4]


SIGNS = st.sampled_from(
    list("0123456789.,;:\t\n\r\"'[]()hmLg-+eE/ °%\x00aNn#=|ß–") + ["time", "volume", "[h]", "[mL]", "\r\n"]
)


@settings(max_examples=200, deadline=None)
@given(st.lists(SIGNS, max_size=120).map("".join), st.sampled_from(sorted(TABLES)))
def test_any_text_is_read_or_refused(text, name):
    """No table makes the reader hang or fall over, whatever stands in it."""
    try:
        table = read("time [h],volume [mL]\n" + text if name == "gas" else text, name)
        assert len(table.frame) and "row" in table.frame
    except InputError as problem:
        assert problem.met and problem.needed and problem.do


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(data):
    """Nor do bytes that are no text."""
    with contextlib.suppress(InputError):
        read(data)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 10**4), st.integers(-(10**9), 10**9)),
        min_size=1,
        max_size=30,
        unique_by=lambda x: x[0],
    ),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from([".", ","]),
    st.randoms(use_true_random=False),
)
def test_order_separator_and_decimal_sign_do_not_matter(rows, separator, decimal, random):
    """The same readings come out, however they were written down and shuffled."""
    decimal = "." if separator == "," else decimal
    shuffled = list(rows)
    random.shuffle(shuffled)
    lines = [f"{t / 100:.2f}{separator}{v / 1000:.4f}".replace(".", decimal) for t, v in shuffled]
    frame = read(f"time [h]{separator}flow [mL/h]\n" + "\n".join(lines)).frame
    expected = sorted(rows)
    assert frame.time_h.tolist() == pytest.approx([t / 100 for t, _ in expected])
    assert frame.flow_mL_h.tolist() == pytest.approx([v / 1000 for _, v in expected])


@pytest.mark.parametrize(
    ("text", "table", "words"),
    [
        ("time,volume\nparsec,mL\n0,0\n1,5\n", "gas", "'parsec' is no time of day"),
        ("time,volume\nh,kg\n0,0\n1,5\n", "gas", "row 2"),
        ("sample,signal\nS1,V\nS1,0.3\n", "samples", "'V' is not a number"),
    ],
    ids=["no unit", "another kind of unit", "a name above"],
)
def test_a_row_that_only_looks_like_units_is_not_swallowed(text, table, words):
    """Words below the header that are no units of their columns stay readings, and are refused with their row."""
    with pytest.raises(InputError, match=words):
        read(text, table)


def test_readings_at_one_moment_that_differ_are_both_kept():
    """Two different volumes at one time are no repetition: neither is thrown away."""
    assert read("time [h],volume [mL]\n0,0\n1,5\n1,7\n2,9\n").frame.volume_mL.tolist() == [0, 5, 7, 9]


def test_a_table_of_words_alone_keeps_its_rows():
    """Without any column of numbers no row counts as empty."""
    assert read("item\npaste\nextract\n", "weights").frame["item"].tolist() == ["paste", "extract"]


def test_a_sheet_of_empty_cells_is_called_empty():
    """Rows of nothing are no table."""
    with pytest.raises(InputError, match="the table is empty"):
        read_rows([["", ""], [" ", ""]], "gas", TABLES["gas"])


@pytest.mark.parametrize(
    ("text", "table", "column", "values"),
    [
        ("time [h],volume mL\n0,0\n1,5\n", "gas", "volume_mL", [0, 5]),
        ("hours,Gas [ml]\n0,0\n1,5\n", "gas", "volume_mL", [0, 5]),
        ("time [h],weight [g]\n0,3.25 kg\n1,3240\n", "gas", "weight_g", [3250, 3240]),
        ("time [h:mm];volume [mL]\n0:00;0\n25:30;5\n", "gas", "time_h", [0, 25.5]),
        ("sample,signal [V],dilution\nS1,1,1+9\nS2,1,1 in 10\nS3,1,10x\nS4,1,undiluted\n", "samples", "dilution",
         [10, 10, 10, 1]),
        ("sample,signal [V],dilution\nS1,1,5\n,1.1,\nS2,2,\n", "samples", "dilution", [5, 5, 1]),
        ("ethanol [% vol],signal [V]\n0.40 %,1\n0.8 %,2\n", "standards", "ethanol_pct_vol", [0.4, 0.8]),
    ],
)  # fmt: skip
def test_plain_spellings_are_read(text, table, column, values):
    """A unit without brackets or in the cell, a by-name, a duration, a dilution in parts."""
    assert read(text, table).frame[column].tolist() == pytest.approx(values)


def test_a_sample_named_once_names_its_block():
    """Merged cells, or a name in the first row alone: each sample keeps its own readings, and it is said."""
    table = read("sample,time [h],signal [V]\nS1,6,0.1\n,,0.2\nS2,12,0.3\n,,0.4\n", "samples")
    assert table.frame["sample"].tolist() == ["S1", "S1", "S2", "S2"]
    assert table.frame["time_h"].tolist() == [6, 6, 12, 12]
    assert "filled in at rows 3, 5" in said(table)


@pytest.mark.parametrize(
    ("text", "table", "words"),
    [
        ("time [h],volume [mL],note\n0,5,12\n1,0,60\n", "gas", "the note holds only digits"),
        ("time [h];volume [mL]\n0;0\n1;637\n2;1,234\n3;2,050\n", "gas", "may split thousands"),
        ("time [h]\tvolume [mL]\n0\t0\n1\t637\n2\t1.234\n3\t2.050\n", "gas", "may split thousands"),
        ("sample,signal [V],dilution\nS1,1,1:10\n", "samples", "has two usages"),
        ("time;volume [mL]\n26-03-26 18:00;0\n", "gas", "a year of two digits"),
        ("time;volume [mL]\n2026-03-02 18:00;0\nnow;4\n", "gas", "'now' is no time of day"),
    ],
)
def test_what_would_be_silently_wrong_is_refused(text, table, words):
    """Comma decimals between commas, thousands signs, ratios of two usages, short years, words for the moment."""
    with pytest.raises(InputError, match=words) as error:
        read(text, table)
    assert error.value.needed and error.value.do


def test_volts_and_kilograms_with_three_decimals_stay_decimals():
    """Three decimals throughout are decimals where nothing larger stands beside them."""
    assert read("time [h];weight [kg]\n0;3,516\n1;3,514\n").frame.weight_g.tolist() == pytest.approx([3516, 3514])
    assert read("ethanol [% vol];signal [V]\n0;0,051\n1;1,234\n", "standards").frame.signal[1] == 1.234


def test_one_reading_a_day_without_dates():
    """The same time again is the next day: six days stay six days, and it is said."""
    table = read("time,volume [mL]\n" + "08:00,1\n" * 3 + "08:05,4\n07:58,5\n")
    assert table.frame.time_h.tolist() == pytest.approx([0, 24, 48, 72 + 5 / 60, 96 - 2 / 60])
    assert "one reading a day" in said(table)
    twice = read("time,volume [mL]\n08:00,0\n20:00,5\n20:00,9\n08:00,12\n")
    assert twice.frame.time_h.tolist() == [0, 12, 36, 48]


def test_a_start_after_the_readings_is_refused():
    """A start a day late would make all times negative."""
    with pytest.raises(InputError, match="the first time is 24 h before the start"):
        read("time,volume [mL]\n2026-03-02 18:00,0\n2026-03-02 20:00,5\n", start="2026-03-03 18:00")
