"""The empty run and the list of what a run may say, made from the layout."""

import re

import pytest

from fermkit.basis.errors import InputError
from fermkit.run.fields import fields_of
from fermkit.run.format import SECTIONS, TABLES
from fermkit.run.records import read_run
from fermkit.run.sections_gas import GAS_KINDS
from fermkit.run.template import run_format, write_template


def test_an_empty_run_reads_as_nothing(tmp_path):
    """All keys are behind a #, so nothing is said; tables without rows are no error and are told."""
    folder = write_template(tmp_path / "jar")
    run = read_run(folder)
    assert run.name == "jar" and not run.vessel and not run.tables and not run.doubts
    assert {finding.column for finding in run.findings} == {table.stem for table in folder.glob("*.csv")}


def test_every_key_of_the_empty_run_can_be_filled_in(tmp_path):
    """With every # taken away all values are read, and no key is unknown."""
    folder = write_template(tmp_path / "jar")
    for table in folder.glob("*.csv"):
        if table.stem != "gas":
            table.unlink()
    header = (folder / "gas.csv").read_text()
    rows = "".join(",".join([str(i)] * (header.count(",") - 1) + ["", ""]) + "\n" for i in range(5))
    (folder / "gas.csv").write_text(header + rows)
    text = re.sub(r"^# (?=[\w\[])", "", (folder / "run.toml").read_text(), flags=re.MULTILINE)
    (folder / "run.toml").write_text(text)
    run = read_run(folder)
    assert [str(doubt) for doubt in run.doubts if doubt.file == "run.toml"] == []
    for section in ("vessel", "conditions", "inoculum", "harvest"):
        assert getattr(run, section).given.keys() >= {key.name for key in fields_of(SECTIONS[section])}
    assert [route.kind for route in run.gas] == list(GAS_KINDS)
    assert all(route.given.keys() == {key.name for key in fields_of(type(route))} for route in run.gas)


def test_nothing_is_overwritten(tmp_path):
    """A folder with something in it stays as it is."""
    (tmp_path / "note.txt").write_text("mine")
    with pytest.raises(InputError, match="is there already"):
        write_template(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["note.txt"]


def test_the_list_names_every_key_and_column():
    """Nothing that the reader knows is missing from the page."""
    text = str(run_format())
    for section in (*SECTIONS.values(), *GAS_KINDS.values()):
        assert all(key.written.replace(" ", "_") in text for key in fields_of(section))
    for columns in TABLES.values():
        assert all(column.written in text for column in columns)
