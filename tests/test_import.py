"""`import fermkit` is cheap: it loads none of the heavy libraries."""

import subprocess
import sys

HEAVY = (
    "scipy",
    "pandas",
    "matplotlib",
    "lmfit",
    "ipywidgets",
    "pint",
    "periodictable",
    "jinja2",
    "openpyxl",
)


def test_import_loads_nothing_heavy():
    """Checked by what is loaded, not by the clock."""
    code = f"import sys, fermkit; print([m for m in {HEAVY!r} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_every_public_name_can_be_reached():
    """Each name on the list is there, and is documented."""
    import fermkit

    for name in fermkit.__all__:
        assert getattr(fermkit, name).__doc__, name


def test_a_function_that_uses_the_library_can_travel():
    """A notebook's own function that names fermkit goes to a joblib worker, which gets the module by its name."""
    import pickle

    from joblib import Parallel, delayed

    import fermkit

    assert pickle.loads(pickle.dumps(fermkit)) is fermkit
    masses = Parallel(n_jobs=2)(delayed(lambda formula: fermkit.molar_mass(formula))(f) for f in ("H2O", "CO2"))
    assert masses == [fermkit.molar_mass("H2O"), fermkit.molar_mass("CO2")]
