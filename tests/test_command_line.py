"""`python -m fermkit report`: exit status and message for each way it can go."""

from pathlib import Path

import pytest

from fermkit.__main__ import main

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
