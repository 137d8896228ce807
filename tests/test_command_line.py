"""`python -m fermkit report`: exit status and message for each way it can go."""

import contextlib
import io
import json
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from fermkit.__main__ import main
from fermkit.basis.errors import InputError
from fermkit.basis.shown import say
from fermkit.basis.written import rounded
from fermkit.run.writing import write_workbook

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


def jar(tmp_path):
    """A sample run in a folder of its own."""
    return shutil.copytree(SAMPLES / "keg_2_pressure", tmp_path / "keg")


@pytest.mark.parametrize("option", ["-o", "--json", "--workbook"])
@pytest.mark.parametrize("name", ["run.toml", "gas.csv"])
def test_nothing_is_written_over_the_readings(tmp_path, capsys, option, name):
    """A slip in the command line names a file of the run: refused, and the file is as it was."""
    folder = jar(tmp_path)
    before = (folder / name).read_bytes()
    call = ["report", str(folder), "-o", str(tmp_path / "r.html")]
    assert main([*call, option, str(folder / name)]) == 1
    assert "holds the readings" in capsys.readouterr().err
    assert (folder / name).read_bytes() == before


def test_two_outputs_of_one_name_are_refused(tmp_path, capsys):
    """The report would be lost under the numbers: nothing is written."""
    one = str(tmp_path / "x")
    assert main(["report", str(SAMPLES / "keg_2_pressure"), "-o", one, "--json", one]) == 1
    assert "two things are to be written" in capsys.readouterr().err
    assert not (tmp_path / "x").exists()


@pytest.mark.skipif(os.name != "posix", reason="links, pipes and permissions of POSIX")
def test_what_is_no_plain_file_stays_what_it_is(tmp_path, capsys):
    """A pipe, a link and the null device are not replaced; a plain file keeps its permissions."""
    folder, plain = jar(tmp_path), tmp_path / "plain.html"
    os.mkfifo(tmp_path / "pipe")
    plain.write_text("mine", encoding="utf-8")
    plain.chmod(0o600)
    (tmp_path / "link").symlink_to(plain)
    for name in (tmp_path / "pipe", tmp_path / "link", Path(os.devnull)):
        before = os.lstat(name)
        assert main(["report", str(folder), "-o", str(name)]) == 1
        assert (os.lstat(name).st_mode, os.lstat(name).st_ino) == (before.st_mode, before.st_ino)
    assert plain.read_text(encoding="utf-8") == "mine"
    assert main(["report", str(folder), "-o", str(plain)]) == 0
    assert stat.S_IMODE(plain.stat().st_mode) == 0o600
    capsys.readouterr()


@pytest.mark.parametrize("encoding", ["ascii", "cp1251", "cp932", "cp850", "latin-1"])
def test_a_terminal_without_our_signs_gets_spelled_ones(encoding):
    """± becomes +/- where the terminal has no such sign; what it has stays."""
    screen = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    with contextlib.redirect_stdout(screen):
        say("3.1 ± 0.2 g, χ², “yes”")
    screen.seek(0)
    text = screen.read()
    assert "?" not in text and ("±" in text or "+/-" in text)


@pytest.mark.skipif(sys.platform != "linux", reason="names of bytes that are no UTF-8")
def test_names_that_are_not_utf_8(tmp_path, capsys):
    """Folder and stray table have names of other bytes: the report is written, the bytes are shown as such."""
    folder = tmp_path / os.fsdecode(b"jar_\xff")
    shutil.copytree(SAMPLES / "keg_2_pressure", folder)
    toml = (folder / "run.toml").read_text(encoding="utf-8").splitlines()
    toml = [line for line in toml if not line.startswith("name")]
    (folder / "run.toml").write_text("\n".join(toml), encoding="utf-8")
    (folder / os.fsdecode(b"gas\xfe.csv")).write_text("a,b\n", encoding="utf-8")
    files = [str(tmp_path / name) for name in ("r.html", "r.json", "r.xlsx")]
    assert main(["report", str(folder), "-o", files[0], "--json", files[1], "--workbook", files[2]]) == 0
    assert "jar_\\udcff" in capsys.readouterr().out
    assert json.loads(Path(files[1]).read_text(encoding="utf-8"))["run"]["name"] == os.fsdecode(b"jar_\xff")


def test_a_workbook_that_is_written_beside_a_part_leaves_the_part(tmp_path):
    """A file of another name is none of its business, and a workbook that is there is never replaced."""
    (tmp_path / "keep.xlsx.part").write_text("mine", encoding="utf-8")
    write_workbook({"run": {"name": "jar"}}, {}, tmp_path / "keep.xlsx")
    assert (tmp_path / "keep.xlsx.part").read_text(encoding="utf-8") == "mine"
    with pytest.raises(InputError, match="there already"):
        write_workbook({"run": {"name": "jar"}}, {}, tmp_path / "keep.xlsx")
