"""The table of outside checks is in step with the checks, the references and the public names."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.slow
@pytest.mark.skipif(
    shutil.which("Rscript") is None,
    reason="Rscript is not installed (apt install r-base-core), and the table holds what R computes",
)
def test_the_table_is_in_step():
    """Every reference is used or excused, every public name checked or excused, the README shows what was found."""
    script = Path(__file__).with_name("make_table.py")
    done = subprocess.run([sys.executable, str(script), "--check"], capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stdout[-500:] + done.stderr[-3000:]
