"""Workbooks as people fill them: every kind of cell, and the limits."""

import datetime
import io
import zipfile

import openpyxl
import pytest

from fermkit.basis.errors import InputError
from fermkit.run import workbooks
from fermkit.run.workbooks import read_workbook
from fermkit.run.writing import write_run, write_workbook


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

    _, sheets, _ = read_workbook(made(fill), "a.xlsx")
    assert sum(len(row) for row in sheets["gas"]) == 0


NAMESPACE = "xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'"
FILLED = f"<worksheet {NAMESPACE}><sheetData>%s</sheetData></worksheet>"
SHARED = "<row><c r='A1'><f t='shared' si='0'>" + "+".join(["B1"] * 3000) + "</f><v>1</v></c></row>"


@pytest.mark.parametrize(
    ("parts", "why"),
    [
        ({"worksheets/sheet2": "<a>" * 100_000 + "</a>" * 100_000}, "50 elements or more one inside another"),
        ({"worksheets/sheet2": FILLED % ("<x a='1'/><y>z</y>" * 40_000)}, "some 5 cells and 120"),
        ({"worksheets/sheet2": FILLED % ("<row a='1' b='2' c='3'/>" * 300_000)}, "its sheets hold 7.2 MB"),
        (
            {"worksheets/sheet2": FILLED % (SHARED + "<row><c r='A2'><f t='shared' si='0'/></c></row>" * 1000)},
            "formulas",
        ),
        ({"worksheets/sheet2": FILLED % ("<row><c><f>1</f></c></row>" * 30_000)}, "with 30000 formulas"),
        ({"worksheets/sheet2": "<![CDATA[<a>]]>"}, "declares entities"),
        (
            {"styles": f"<styleSheet {NAMESPACE}><cellXfs>" + "<xf/>" * 100_000 + "</cellXfs></styleSheet>"},
            "other marks",
        ),
        ({"sheet": "<a>" * 100_000}, "50 elements or more"),
    ],
    ids=["nested", "marks", "attributes", "shared formulas", "formulas", "raw data", "styles", "by another name"],
)
def test_what_would_take_long_is_refused(parts, why):
    """Small files that unpack to much work are refused before they are read."""
    data = _with_parts(made(lambda book: book.create_sheet("gas").append([1])), parts)
    with pytest.raises(InputError, match=why):
        read_workbook(data, "a.xlsx")


def _with_parts(data, parts):
    """The same workbook, parts under xl/ replaced or added."""
    texts = {f"xl/{name}" + ("" if name == "sheet" else ".xml"): text for name, text in parts.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in {**dict.fromkeys(old.namelist()), **texts}:
            new.writestr(name, texts[name] if name in texts else old.read(name))
    return out.getvalue()


def test_sheets_that_share_a_part():
    """A thousand sheets that all stand in one part are refused; openpyxl would read that part a thousand times."""
    data = made(lambda book: [book.create_sheet(f"s{i}") for i in range(3)])
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        text = packed.read("xl/workbook.xml").decode()
    data = _with_parts(data, {"workbook": text.replace('r:id="rId3"', 'r:id="rId2"')})
    with pytest.raises(InputError, match="4 sheets stand in 3 parts"):
        read_workbook(data, "a.xlsx")


def test_a_long_log_is_read():
    """Fifteen thousand rows of two columns are no bomb."""
    _, sheets, _ = read_workbook(made(lambda book: _fill(book.create_sheet("gas"), 15_000)), "a.xlsx")
    assert len(sheets["gas"]) == 15_000
    assert sheets["gas"][-1] == ["1499.9", "14999"]


def _fill(sheet, rows):
    for i in range(rows):
        sheet.append([i / 10, i])


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

    monkeypatch.setattr("pathlib.Path.write_bytes", full)
    with pytest.raises(OSError, match="No space"):
        write_run({}, {}, tmp_path / "more")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.xlsx", "empty"]


def test_characters_that_no_workbook_may_hold(tmp_path):
    """A control character in a name is shown as a replacement mark, and the workbook is written all the same."""
    write_workbook({"run": {"name": "a\x00b\x1b"}}, {"gas": {"time [h]": ["0\x07"]}}, tmp_path / "a.xlsx")
    sheets = openpyxl.load_workbook(tmp_path / "a.xlsx")
    assert [cell.value for row in sheets["run"] for cell in row][-1] == "a\ufffdb\ufffd"


def test_cells_in_percent_and_long_hours_are_read_as_shown():
    """0.0040 shown as 0.40 % is 0.4 %; one and a half days shown as h:mm are 36 hours."""

    def fill(book):
        sheet = book.create_sheet("standards")
        sheet.append([0.004, 1.5, 0.75])
        sheet["A1"].number_format = "0.00%"
        sheet["B1"].number_format = "h:mm"
        sheet["C1"].number_format = "h:mm"

    _, sheets, _ = read_workbook(made(fill), "a.xlsx")
    assert sheets["standards"][0] == ["0.4 %", "36:00:00", "18:00:00"]


def test_a_key_twice_and_a_sheet_twice_are_refused():
    """The last one does not win."""
    twice = made(lambda book: [book.active.append(["vessel", "liquid", value]) for value in ("2 L", "3 L")])
    with pytest.raises(InputError, match="vessel liquid is written twice"):
        read_workbook(twice, "a.xlsx")
    with pytest.raises(InputError, match="two sheets are called"):
        read_workbook(made(lambda book: [book.create_sheet("gas"), book.create_sheet("gas ")]), "a.xlsx")
