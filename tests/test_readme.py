"""The README keeps its word: two commands, and an example that prints what stands there."""

import re
import subprocess
import sys
from pathlib import Path

import fermkit as fk
from fermkit.show import plots
from fermkit.show.glossary import glossary, in_markdown

ROOT = Path(__file__).resolve().parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def block(language):
    """The first fenced block of a language."""
    return re.search(rf"```{language}\n(.*?)```", TEXT, re.S).group(1)


def test_the_first_block_holds_two_commands():
    """One sets up and runs the main job, one passes the tests."""
    first, second = block("sh").strip().splitlines()
    assert "fermkit report" in first
    assert second.endswith("-m pytest")
    assert (ROOT / re.search(r"fermkit report (\S+)", first).group(1) / "run.toml").is_file()


def test_the_example_prints_what_the_readme_says(tmp_path):
    """The example is run as it stands, elsewhere, and its output compared word by word."""
    code = block("python").replace('"sample_data', f'"{(ROOT / "sample_data").as_posix()}')
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=tmp_path)
    assert out.stdout.strip() == block("text").strip()
    assert (tmp_path / "report.html").is_file()


def test_each_notebook_is_listed():
    """The table names every notebook that there is."""
    for path in (ROOT / "notebooks").glob("[0-9]*.ipynb"):
        assert f"`{path.stem}`" in TEXT


def test_the_picture_is_the_one_that_the_kit_draws():
    """Remade from the sample run, the picture of the two routes says and shows the same."""
    gas = fk.analyse(fk.read_run(ROOT / "sample_data" / "jar_7_leak")).gas
    drawn = plots.svg(plots.show(plots.routes_apart, gas, size_cm=(16, 8)))
    kept = (ROOT / "notebooks" / "two_routes.svg").read_text(encoding="utf-8")
    assert "(notebooks/two_routes.svg)" in TEXT
    for pattern, fewest in ((r">([^<>]+)</text>", 10), (r'<use [^>]*x="([\d.]+)"', 40)):
        assert re.findall(pattern, kept) == re.findall(pattern, drawn)
        assert len(re.findall(pattern, kept)) > fewest


def test_the_glossary_is_made_from_the_run():
    """Each of about thirty words, with the numbers that the sample run gives today."""
    leaky = fk.analyse(fk.read_run(ROOT / "sample_data" / "jar_7_leak"))
    assert (ROOT / "notebooks" / "glossary.md").read_text(encoding="utf-8") == in_markdown(leaky)
    entries = glossary(leaky)
    assert 28 <= len(entries) <= 36 and sum(bool(entry.here) for entry in entries) >= len(entries) - 1
