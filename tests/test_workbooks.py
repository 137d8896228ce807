"""Workbooks as people fill them: every kind of cell, and the limits."""

import datetime
import io

import openpyxl
import pytest

from fermkit.errors import InputError
from fermkit.records import workbooks
from fermkit.records.workbooks import read_workbook
from fermkit.records.writing import write_run, write_workbook


def made(fill):
    """The bytes of a workbook with a sheet 'run', filled by hand."""
    book = openpyxl.Workbook()
    book.active.title = "Run"
    book.active.append(["section", "key", "value"])
    fill(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def said(book):
    """All findings as one text."""
    return "\n".join(map(str, book.all()))


def test_every_kind_of_cell_becomes_text():
    """Numbers, yes and no, dates, times, spans and errors."""

    def fill(book):
        book.create_sheet("gas").append([
            1.5, 3, True, False, datetime.datetime(2026, 3, 2, 18, 30), datetime.date(2026, 3, 2),
            datetime.time(18, 30), datetime.timedelta(hours=25, minutes=10), "text", "#DIV/0!", None, 1e-7,
        ])  # fmt: skip

    _, sheets, book = read_workbook(made(fill), "a.xlsx")
    assert sheets["gas"][0] == [
        "1.5", "3", "true", "false", "2026-03-02 18:30:00", "2026-03-02 00:00:00", "18:30:00", "25:10:00", "text", "",
        "", "1e-07",
    ]  # fmt: skip
    assert "'#DIV/0!' is an error value" in said(book)


def test_settings_as_rows():
    """Sections carry on until the next one; lists are numbered; replicates are divided by bars."""

    def fill(book):
        for row in (
            ["vessel", "liquid", "2.0 L"],
            ["", "total", "3.0 L"],
            [],
            ["feed 2", "ingredient", "white sugar"],
            ["feed 1", "ingredient", "beet molasses"],
            ["ingredients beet molasses", "sucrose", "49 %"],
            ["harvest", "nitrogen", "8.1 % | 8.3 %"],
            ["harvest", "", "no key"],
        ):
            book.active.append(row)

    settings, _, book = read_workbook(made(fill), "a.xlsx")
    assert settings["vessel"] == {"liquid": "2.0 L", "total": "3.0 L"}
    assert [part["ingredient"] for part in settings["feed"]] == ["beet molasses", "white sugar"]
    assert settings["ingredients"] == {"beet molasses": {"sucrose": "49 %"}}
    assert settings["harvest"] == {"nitrogen": ["8.1 %", "8.3 %"]}
    assert "rows without a section or a key left out: 9" in said(book)


def test_a_formula_counts_as_its_saved_value():
    """A spreadsheet saves formula and value; the value is taken, and told."""
    data = made(lambda book: book.create_sheet("gas").append(["=1+1", 5]))
    with_value = _with_saved_value(data)
    _, sheets, book = read_workbook(with_value, "a.xlsx")
    assert sheets["gas"][0] == ["2", "5"]
    assert "a formula; the value saved with it was taken" in said(book)


def _with_saved_value(data):
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b"<f>1+1</f><v></v>", b"<f>1+1</f><v>2</v>").replace(
                b"<f>1+1</f><v />", b"<f>1+1</f><v>2</v>"))  # fmt: skip
    return out.getvalue()


def test_a_sheet_run_is_needed():
    """The message lists the sheets that there are."""
    book = openpyxl.Workbook()
    book.active.title = "Sheet"
    out = io.BytesIO()
    book.save(out)
    with pytest.raises(InputError, match="there is no sheet 'run', only Sheet"):
        read_workbook(out.getvalue(), "a.xlsx")


def test_limits_of_size(monkeypatch):
    """Too many bytes and too many rows are refused before they are held."""
    data = made(lambda book: [book.create_sheet("gas").append([1]) for _ in range(1)])
    monkeypatch.setattr(workbooks, "LARGEST_BYTES", 100)
    with pytest.raises(InputError, match="the workbook has 0 MB"):
        read_workbook(data, "a.xlsx")
    monkeypatch.undo()

    def fill(book):
        sheet = book.create_sheet("gas")
        for i in range(20):
            sheet.append([i])

    monkeypatch.setattr(workbooks, "MOST_ROWS", 10)
    with pytest.raises(InputError, match="more than 10 rows"):
        read_workbook(made(fill), "a.xlsx")


def test_a_far_cell_costs_no_memory():
    """One cell at the far corner of a sheet does not make a million empty ones."""

    def fill(book):
        book.create_sheet("gas")["XFD29000"] = 1

    import time

    start = time.perf_counter()
    _, sheets, _ = read_workbook(made(fill), "a.xlsx")
    assert sum(len(row) for row in sheets["gas"]) == 0
    assert time.perf_counter() - start < 3


def test_names_and_failures_of_writing(tmp_path, monkeypatch):
    """Only .xlsx; an empty folder may be filled; a full disk leaves nothing behind."""
    with pytest.raises(InputError, match=r"'run\.csv'"):
        write_workbook({}, {}, tmp_path / "run.csv")
    (tmp_path / "empty").mkdir()
    assert (write_run({"run": {"invented": True}}, {}, tmp_path / "empty") / "run.toml").read_text().endswith("true\n")
    write_workbook({"run": {"n": 3}}, {"gas": {"time [h]": [0, 1.5], "volume [mL]": [0, 2]}}, tmp_path / "a.xlsx")
    assert openpyxl.load_workbook(tmp_path / "a.xlsx")["gas"]["A3"].value == 1.5

    def full(*_args, **_kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.write_text", full)
    with pytest.raises(OSError, match="No space"):
        write_run({}, {}, tmp_path / "more")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.xlsx", "empty"]


def test_characters_that_no_workbook_may_hold(tmp_path):
    """A control character in a name is shown as a replacement mark, and the workbook is written all the same."""
    write_workbook({"run": {"name": "a\x00b\x1b"}}, {"gas": {"time [h]": ["0\x07"]}}, tmp_path / "a.xlsx")
    sheets = openpyxl.load_workbook(tmp_path / "a.xlsx")
    assert [cell.value for row in sheets["run"] for cell in row][-1] == "a\ufffdb\ufffd"
