"""`python -m fermkit report`: exit status and message for each way it can go."""

import json
import os
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from fermkit.__main__ import main
from fermkit.basis.written import rounded

SAMPLES = Path(__file__).resolve().parent.parent / "sample_data"


def test_report_prints_the_page_and_writes_the_file(tmp_path, capsys):
    """The main job: status 0, the yield on the screen, the report in the file."""
    target = tmp_path / "out.html"
    assert main(["report", str(SAMPLES / "jar_3_closes"), "-o", str(target)]) == 0
    printed = capsys.readouterr().out
    assert "g of dry yeast for each gram of sugar" in printed
    assert str(target) in printed
    assert target.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_a_missing_folder(tmp_path, capsys):
    """Status 1, and what was met, what is needed, what to do."""
    assert main(["report", str(tmp_path / "no such run")]) == 1
    message = capsys.readouterr().err
    assert "no such run" in message
    assert "needed:" in message
    assert "to do:" in message


def test_a_bad_file(tmp_path, capsys):
    """A run.toml that cannot be read is named with its line."""
    (tmp_path / "run.toml").write_text("[run\nname = 3", encoding="utf-8")
    assert main(["report", str(tmp_path)]) == 1
    assert "run.toml" in capsys.readouterr().err


def test_an_unwritable_target(tmp_path, capsys):
    """The report is refused by name of the place, and nothing is written."""
    assert main(["report", str(SAMPLES / "jar_3_closes"), "-o", str(tmp_path / "no" / "x.html")]) == 1
    assert "cannot be written" in capsys.readouterr().err


@pytest.mark.parametrize("call", [[], ["rapport"], ["report"]])
def test_a_wrong_call(call, capsys):
    """Status 2 and the usage."""
    with pytest.raises(SystemExit) as stop:
        main(call)
    assert stop.value.code == 2
    assert "usage:" in capsys.readouterr().err


def test_json_and_workbook_hold_the_same_numbers(tmp_path, capsys):
    """The yield in the JSON is the yield in the workbook is the yield on the page; two writings are the same bytes."""
    call = ["report", str(SAMPLES / "jar_3_closes"), "-o", str(tmp_path / "r.html")]
    assert main([*call, "--json", str(tmp_path / "r.json"), "--workbook", str(tmp_path / "r.xlsx")]) == 0
    data = json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))
    book = openpyxl.load_workbook(tmp_path / "r.xlsx")
    rows = [[cell.value for cell in row] for row in book["results"].iter_rows()]
    yeast = next(row for row in rows if row[1] == "dry yeast, per g of hexose used")
    assert yeast[2] == pytest.approx(data["yields"]["yeast_yield"]["per_g_hexose_g"])
    assert rounded(yeast[2], yeast[3])[0] in capsys.readouterr().out
    before = (tmp_path / "r.xlsx").read_bytes()
    main([*call, "--workbook", str(tmp_path / "r.xlsx")])
    assert (tmp_path / "r.xlsx").read_bytes() == before


def test_copy_puts_the_kit_into_a_folder_once(tmp_path, capsys):
    """Notebooks and runs arrive; a second time is refused and overwrites nothing."""
    assert main(["copy", str(tmp_path / "mine")]) == 0
    assert (tmp_path / "mine" / "notebooks" / "00_start_here.ipynb").is_file()
    assert (tmp_path / "mine" / "sample_data" / "jar_3_closes" / "run.toml").is_file()
    assert main(["copy", str(tmp_path / "mine")]) == 1
    assert "nothing was overwritten" in capsys.readouterr().err


def test_copy_to_where_no_folder_can_be_says_so(tmp_path, capsys):
    """A place inside a file is no place: exit status 1, the place and what to do, no traceback."""
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    assert main(["copy", str(tmp_path / "file" / "kit")]) == 1
    said = capsys.readouterr().err
    assert "file/kit' cannot be written: " in said.replace("\\", "/") and "choose another place" in said
    assert (tmp_path / "file").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_reader_that_has_seen_enough_ends_it_quietly(tmp_path, unbuffered):
    """Piped into something that closes early (as `head` does), nothing is printed about it."""
    reader, writer = os.pipe()
    os.close(reader)
    call = [sys.executable, "-m", "fermkit", "copy", str(tmp_path / "kit")]
    done = subprocess.run(
        call, stdout=writer, stderr=subprocess.PIPE, env=os.environ | {"PYTHONUNBUFFERED": unbuffered}
    )
    os.close(writer)
    assert (done.returncode, done.stderr) == (1, b"")
    assert (tmp_path / "kit" / "notebooks").is_dir()
