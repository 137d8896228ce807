"""A run begun from a few answers."""

import tomllib

import pytest

import fermkit as fk
from fermkit.__main__ import main
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal
from fermkit.run.begin import MEASURES, QUESTIONS, begin
from fermkit.run.sections_batch import CLOSED


def test_the_sugar_alone_is_a_run_that_analyses(tmp_path):
    """One answer: run.toml says it and nothing else, and the plan stands."""
    folder = begin(tmp_path / "jar", "150 g")
    assert tomllib.loads((folder / "run.toml").read_text("utf-8")) == {
        "feed": [{"ingredient": "white sugar", "amount": "150 g"}]
    }
    assert fk.analyse(fk.read_run(folder)).estimate["sugar_fed"].value > 140


@pytest.mark.parametrize("measure", MEASURES)
def test_each_thing_to_measure_can_be_filled_in_at_once(tmp_path, measure):
    """Empty tables are no error; with every # taken away all keys are known."""
    folder = begin(tmp_path / "jar", "150 g", water="2 L", measure=measure)
    assert fk.read_run(folder).doubts == ()
    text = (folder / "run.toml").read_text("utf-8")
    (folder / "run.toml").write_text(text.replace("\n# ", "\n").replace("# What", "#").replace("\nTables", "\n# Tables")
                                     .replace("\n±", "\n# ±").replace("\nEvery", "\n# Every"), "utf-8")  # fmt: skip
    assert fk.read_run(folder).doubts == ()


def test_two_ways_to_the_gas_in_one_table(tmp_path):
    """Volume and weight side by side, each read at its own hours."""
    folder = begin(tmp_path / "jar", "150 g", water="1.5 L", vessel="3 L", measure="gas volume, weight")
    rows = "".join(f"{h},{h * 100 if h % 2 == 0 else ''},{2000 - h / 5 if h % 3 == 0 else ''}\n" for h in range(13))
    with (folder / "gas.csv").open("a") as table:
        table.write(rows)
    analysis = fk.analyse(fk.read_run(folder))
    assert [len(gas.time_h) for gas in analysis.released] == [7, 5]


def test_water_and_sugar_make_the_volume(tmp_path):
    """150 g of sugar in 1.5 L of water: 1.593 L, by the partial volume of sucrose of 0.62 mL/g (CRC Handbook)."""
    liquid = fk.read_run(begin(tmp_path / "jar", "150 g", water="1.5 L")).vessel.liquid_L
    assert nominal(liquid) == pytest.approx(1.5 * 1.0018 + 0.150 * 0.62, rel=0.005)


def test_the_questions(tmp_path, capsys):
    """What cannot be read is asked again; no answer is needed but the sugar."""
    answers = iter(["", "some sugar", "300 g beet molasses, 20 g sugar", "", "7 g", "5 L jar", "half", "vented", ""])
    asked = []
    folder = begin(tmp_path / "jar", ask=lambda question: asked.append(question) or next(answers))
    run = fk.read_run(folder)
    fed = [(part.ingredient, part.amount) for part in run.feed]
    assert fed == [("beet molasses", "300 g"), ("white sugar", "20 g")]
    assert run.vessel.closed in CLOSED and run.vessel.liquid_L is None and run.inoculum.amount == "7 g"
    assert len(asked) == len(QUESTIONS) + 3
    assert "some sugar" in capsys.readouterr().out


def test_nothing_is_written_where_something_is(tmp_path):
    """A folder with a file in it stays as it is; nor is half a run left after a bad answer."""
    (tmp_path / "note.txt").write_text("mine")
    with pytest.raises(InputError):
        begin(tmp_path, "150 g")
    with pytest.raises(InputError):
        begin(tmp_path / "jar", "150 g", readings=tmp_path / "none.csv")
    assert [path.name for path in tmp_path.iterdir()] == ["note.txt"]


def test_from_the_command_line(tmp_path, capsys):
    """Options instead of questions: status 0, the folder and what to do next; a bad one: status 1."""
    call = ["begin", str(tmp_path / "jar"), "--sugar", "150 g", "--sugar", "20 g honey-like syrup", "--water", "2 L"]
    assert main([*call, "--measure", "bubbles"]) == 0
    assert "report" in capsys.readouterr().out
    assert len(fk.read_run(tmp_path / "jar").feed) == 2
    assert main([*call, "--measure", "luck"]) == 1
    assert main(["begin", str(tmp_path / "pot"), "--sugar", "150"]) == 1
    assert not (tmp_path / "pot").exists()
