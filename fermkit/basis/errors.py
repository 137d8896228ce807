"""What can go wrong, by name.

Every error says three things: what was met (with its value, and for data the
file and row), what is needed, and what to do about it.
"""

from fermkit.basis.shown import visible


class FermkitError(ValueError):
    """The family of all errors that fermkit raises on purpose.

    Parameters
    ----------
    met : str
        What was met, with the live value: ``"headspace is 12.0 L in a vessel of 10.0 L"``.
    needed : str
        What is needed instead: ``"a headspace smaller than the vessel"``.
    do : str
        What the person can do now: ``"Give the gas space above the liquid, in litres."``

    Examples
    --------
    >>> print(InputError("headspace is 12.0 L in a vessel of 10.0 L",
    ...                  "a headspace smaller than the vessel",
    ...                  "give the gas space above the liquid, in litres"))
    headspace is 12.0 L in a vessel of 10.0 L
      needed: a headspace smaller than the vessel
      to do:  give the gas space above the liquid, in litres
    """

    def __init__(self, met: str, needed: str, do: str) -> None:
        super().__init__(met, needed, do)
        self.met = met
        self.needed = needed
        self.do = do

    def __str__(self) -> str:
        return visible(f"{self.met}\n  needed: {self.needed}\n  to do:  {self.do}")

    def _render_traceback_(self) -> list[str]:
        """In a notebook the three things are shown, without the way through the code (``%debug`` still finds it)."""
        return [f"{type(self).__name__}: {self}"]


class InputError(FermkitError):
    """A value, table or file that cannot be used as it stands."""


class FitError(FermkitError):
    """The readings cannot carry the curve that was asked for."""


class BalanceError(FermkitError):
    """The streams cannot be balanced: too many unknowns, or they contradict nature."""


class DoubtfulResult(UserWarning):
    """A result is given, but something about it should be doubted; the text says what."""
