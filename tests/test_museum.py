"""The museum of small mistakes: each piece is read as it was meant, with its doubt or note, or refused by name."""

import tomllib
from pathlib import Path

import pytest

from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.run.records import read_run

HERE = Path(__file__).parent / "museum"
PIECES = [(room.stem, piece) for room in sorted(HERE.glob("*.toml"))
          for piece in tomllib.loads(room.read_text("utf-8"))["piece"]]  # fmt: skip
OUTCOMES = {"reads", "wide", "doubt", "note", "refused"}
KNOWN = {"name", "toml", "encoding", *OUTCOMES}


def written(piece, folder):
    """The piece as a run folder."""
    (folder / "run.toml").write_text(piece.get("toml", ""), "utf-8")
    for table in piece.keys() - KNOWN:
        (folder / f"{table}.csv").write_bytes(piece[table].encode(piece.get("encoding", "utf-8")))
    return folder


def at(run, path):
    """A value of the run by its path, such as ``gas.time_h`` or ``feed.0.amount_g``."""
    first, *rest = path.split(".")
    found = run.tables[first] if first in run.tables and not first.isdecimal() else getattr(run, first)
    for step in rest:
        if step.isdecimal():
            found = found[int(step)]
        elif hasattr(found, "columns"):
            return found[step].tolist()
        else:
            found = found[step] if isinstance(found, dict) else getattr(found, step)
    return found


def test_the_museum_is_large_and_every_piece_shows_something():
    """At least eighty pieces, each with a name of its own and one or more things that must come of it."""
    assert len(PIECES) >= 80 and len({piece["name"] for _, piece in PIECES}) == len(PIECES)
    assert all(piece.keys() & OUTCOMES for _, piece in PIECES)


@pytest.mark.parametrize(("room", "piece"), PIECES, ids=[f"{room}: {piece['name']}" for room, piece in PIECES])
def test_a_piece(room, piece, tmp_path):
    """Read as it was meant, or refused with what was met, where, and what to do."""
    folder = written(piece, tmp_path)
    if "refused" in piece:
        with pytest.raises(InputError) as error:
            read_run(folder)
        assert all(part in str(error.value) for part in piece["refused"]), str(error.value)
        assert error.value.needed and error.value.do
        return
    run = read_run(folder)
    for path, value in piece.get("reads", {}).items():
        found = at(run, path)
        if isinstance(value, list):
            assert found == pytest.approx(value, abs=1e-6) if not isinstance(value[0], str) else found == value
        elif isinstance(value, (str, bool)):
            assert found == value
        else:
            assert nominal(found) == pytest.approx(value, rel=1e-3)
    for path, value in piece.get("wide", {}).items():
        assert uncertainty(at(run, path)) == pytest.approx(value, rel=0.05)
    for level in ("doubt", "note"):
        if level in piece:
            file, row = piece[level]
            told = [
                str(one) for one in run.findings if one.level == level and one.file == file and one.row == (row or None)
            ]
            assert told, [str(one) for one in run.findings]
    if "doubt" not in piece:
        sparse = ("too few for a curve",)  # the pieces are short
        assert [str(one) for one in run.doubts if not str(one).endswith(sparse)] == []
