"""A refusal as a person in a notebook sees it."""

from IPython.core.interactiveshell import InteractiveShell

from fermkit.basis.errors import InputError


def test_a_notebook_shows_the_three_things_and_no_way_through_the_code():
    """IPython asks the exception for its own picture: what was met, needed and to do, without a traceback."""
    shell, shown = InteractiveShell.instance(), []
    shell._showtraceback = lambda kind, value, lines: shown.extend(lines)
    try:
        try:
            raise InputError("volume is -3 mL", "a volume above zero", "mend the entry")
        except InputError:
            shell.showtraceback()
    finally:
        InteractiveShell.clear_instance()
    assert "\n".join(shown) == ("InputError: volume is -3 mL\n  needed: a volume above zero\n  to do:  mend the entry")
