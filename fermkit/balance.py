"""Where the sugar went: element and electron balances that are tested before they are believed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from fermkit.checks import one_of
from fermkit.composition import NITROGEN_REFERENCES, compound
from fermkit.errors import BalanceError, InputError
from fermkit.reconciliation import Floats, Redundancy, chi_square, redundancy, weights
from fermkit.streams import (
    LinearMeasurement,
    Stream,
    add_usual_byproducts,
    check_signs,
    covariance,
    read_streams,
)
from fermkit.written import Line, Page, Written, in_words, nominal, percent, rounded, uncertainty

_ROW_NAMES = {"C": "carbon", "electrons": "electrons", "N": "nitrogen", "H": "hydrogen", "O": "oxygen"}


@dataclass(frozen=True, repr=False, eq=False)
class Balance(Written):
    """The streams of a run, and the balances that they must obey.

    Carbon and electrons close without knowing the water, and are used always. The other elements are used
    only where every stream that carries them is listed; the page says which are left out and why.

    Parameters
    ----------
    streams : mapping of str to ufloat or None
        Amount of each stream, consumed negative, made positive, each ± its standard uncertainty; amounts
        that share a cause (one scale, one dilution) may be correlated. None: not measured. The keys name
        compounds (``"glucose"``, ``"CH1.83O0.56N0.17"``); other names are explained in `of`.
    unit : str or mapping of str to str
        "g" (usual), "kg", "mol", "mmol" or "C-mol": for all streams, or by stream (the rest in g).
    of : mapping, optional
        What a stream is made of where its name does not say: a name, a formula, a `Compound`, or the mass
        fractions of a mixture, ``{"molasses": {"sucrose": ufloat(0.33, 0.01), "hexose": 0.21}}``
        (the rest of the mass carries no carbon).
    priors : "usual", "none" or mapping
        What to assume for by-products that nobody measured. "usual": glycerol tied to the yeast made,
        6.25 ± 0.7 mmol/g, and 1.5 ± 0.5 % of the sugar's carbon as organic acids, wherever sugar is fermented
        to ethanol. A mapping replaces them: ``{"glycerol": ufloat(6.0, 0.5), "acids": ufloat(0.02, 0.005)}``.
    aerated : bool
        Whether oxygen was taken up; if so and not listed, it is an unmeasured stream.
    nitrogen : "ammonia", "nitrogen gas" or "nitrate"
        The nitrogen source, whose degree of reduction counts as zero (urea counts as ammonia).
    extra : sequence of LinearMeasurement
        Measurements that sum several streams: a density, a loss of weight.
    ash : ufloat or mapping, optional
        Ash of the yeast, or of any stream by name [g/g]. Usual for streams of yeast: 6.5 ± 0.9 %. The stream
        ``"biomass"`` has none unless it is given here.

    Raises
    ------
    InputError
        Unknown formula, uncertainty of zero, unknown unit or name.
    BalanceError
        Signs that contradict nature.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> bal = Balance({"glucose": -ufloat(100, 1), "ethanol": ufloat(46.4, 0.9), "CO2": ufloat(44.1, 0.5),
    ...                "biomass": ufloat(4.6, 0.3), "glycerol": ufloat(3.6, 0.2)}, priors="none")
    >>> print(bal.reconcile())
    Balance of carbon and electrons: the measurements agree with one another
    ...
    """

    streams: Mapping[str, Any]
    unit: str | Mapping[str, str] = "g"
    of: Mapping[str, Any] = field(default_factory=dict)
    priors: str | Mapping[str, Any] = "usual"
    aerated: bool = False
    nitrogen: str = "ammonia"
    extra: Sequence[LinearMeasurement] = ()
    ash: Any = None

    def __post_init__(self) -> None:
        one_of(self.nitrogen, NITROGEN_REFERENCES, "nitrogen")
        for measurement in self.extra:
            for name in measurement.coefficients:
                one_of(name, list(self.streams), f"stream in {measurement.name}")
            if not uncertainty(measurement.value) > 0:
                raise InputError(
                    f"the uncertainty of {measurement.name} is {uncertainty(measurement.value):g}",
                    "a standard uncertainty above zero",
                    "write ufloat(value, …) with its ±",
                )
        check_signs(self.listed)

    @cached_property
    def _read(self) -> tuple[list[Stream], list[str]]:
        streams = read_streams(self.streams, self.unit, self.of, self.ash)
        if self.aerated and not any(s.role == "O2" for s in streams):
            streams.append(Stream("O2", compound("O2"), None, "g", 0.0, 1.0, "unmeasured", "O2"))
        return add_usual_byproducts(streams, self.priors, self.aerated)

    @property
    def listed(self) -> list[Stream]:
        """All streams: measured, at their usual amount, unmeasured."""
        return self._read[0]

    @property
    def known(self) -> list[Stream]:
        """Streams with an amount: measured, or at their usual amount."""
        return [s for s in self.listed if s.amount is not None]

    @property
    def unknown(self) -> list[Stream]:
        """Streams without an amount."""
        return [s for s in self.listed if s.amount is None]

    @cached_property
    def _rows(self) -> tuple[list[str], list[str]]:
        """Elements that are balanced (rank tested), and why others are not."""
        used, notes = ["C", "electrons"], []
        names = {s.role for s in self.listed}
        inside = [s.content(self.nitrogen) for s in self.listed]
        sources = [c for s, c in zip(self.listed, inside) if c.get("N") and s.role != "yeast"]
        others = sorted({e for c in inside for e in c if e not in ("C", "electrons", "N", "H", "O")})
        if sources:
            used.append("N")
        elif any(c.get("N") for c in inside):
            notes.append(f"Nitrogen is left out: no nitrogen source is listed ({self.nitrogen} closes it).")
        if "water" in names:
            used += ["H", "O"]
        else:
            notes.append(
                "Hydrogen and oxygen are left out: water is made, used and lost unweighed, and closes them."
            )
        used += [e for e in others if sum(bool(c.get(e)) for c in inside) > 1]
        independent: list[str] = []
        for row in used:
            table = np.array([[c.get(e, 0.0) for c in inside] for e in [*independent, row]])
            if np.linalg.matrix_rank(table / np.abs(table).max(axis=1, keepdims=True).clip(1e-300)) > len(
                independent
            ):
                independent.append(row)
            else:
                notes.append(
                    f"{_ROW_NAMES.get(row, row).capitalize()} follows from the others and is not counted twice."
                )
        return independent, notes

    @property
    def balances(self) -> list[str]:
        """Names of the balances that are used."""
        return [_ROW_NAMES.get(row, row) for row in self._rows[0]]

    @cached_property
    def _matrices(self) -> tuple[Floats, Floats]:
        """A for the known streams and the extra readings, B for the unknown streams."""

        def table(streams: Sequence[Stream]) -> Floats:
            inside = [s.content(self.nitrogen) for s in streams]
            top = [[c.get(row, 0.0) for c in inside] for row in self._rows[0]]
            below = [[m.coefficients.get(s.name, 0.0) for s in streams] for m in self.extra]
            return np.array(top + below, dtype=float).reshape(len(top) + len(below), len(streams))

        readings = np.vstack([np.zeros((len(self._rows[0]), len(self.extra))), -np.eye(len(self.extra))])
        return np.hstack([table(self.known), readings]), table(self.unknown)

    @cached_property
    def _values(self) -> list[Any]:
        return [s.weighed for s in self.known] + [m.value for m in self.extra]

    @cached_property
    def _numbers(self) -> tuple[Floats, Floats]:
        return np.array([nominal(v) for v in self._values]), covariance(self._values)

    @cached_property
    def _redundancy(self) -> Redundancy:
        return redundancy(*self._matrices)

    def closure(self) -> "Closure":
        """How much of what went in is found again: carbon, electrons, and other elements that are balanced."""
        rows: dict[str, Any] = {}
        measured: dict[str, Any] = {}
        for row, name in zip(self._rows[0], self.balances):
            parts = [(s, s.weighed * s.content(self.nitrogen).get(row, 0.0)) for s in self.known]
            into = -sum(p for _, p in parts if nominal(p) < 0)
            if nominal(into) <= 0:
                continue
            rows[name] = sum(p for _, p in parts if nominal(p) > 0) / into
            measured[name] = sum(p for s, p in parts if nominal(p) > 0 and s.standing == "measured") / into
        return Closure(
            rows, measured, tuple(s.name for s in self.unknown), tuple(self._read[1] + self._rows[1])
        )

    def reconcile(self) -> "Reconciliation":
        """Correct all amounts by weighted least squares so that every balance closes, and test the correction."""
        found = self._redundancy
        self._refuse_undetermined(found)
        x, V = self._numbers
        correction, inverse = weights(found.R, V)
        amounts = [new / s.scale for new, s in zip(_combine(correction, self._values), self.known)]
        chi2 = float(chi_square(x, found.R, inverse)) if found.R.size else 0.0
        moved_by = np.sqrt(np.maximum(np.diag(V - correction @ V @ correction.T), 0))
        names = [s.name for s in self.known]
        unknown = [
            new / s.scale for new, s in zip(_combine(found.Y @ correction, self._values), self.unknown)
        ]
        shift = {
            name: float((nominal(new) - old) / sd) if sd > 1e-9 * np.sqrt(v) else 0.0
            for name, new, old, sd, v in zip(names, amounts, x, moved_by, np.diag(V))
        }
        return Reconciliation(
            amounts=dict(zip(names, amounts)) | dict(zip([s.name for s in self.unknown], unknown)),
            reported={s.name: s.amount for s in self.listed},
            shift=shift,
            chi2=chi2,
            degrees_of_freedom=found.R.shape[0],
            standing={s.name: s.standing for s in self.listed},
            units={s.name: s.unit for s in self.listed},
            redundant=tuple(n for n, r in zip(names, found.redundant) if r),
            balances=tuple(self.balances),
            notes=tuple(self._read[1] + self._rows[1] + self._spread_note(found)),
        )

    def reconcile_many(self, amounts: Floats) -> Floats:
        """Reconcile many sets of amounts at once: array (n, n_streams) of the listed order of `known`, and back."""
        self._refuse_undetermined(self._redundancy)
        correction, _ = weights(self._redundancy.R, self._numbers[1])
        reconciled: Floats = np.asarray(amounts) @ correction.T
        return reconciled

    def sample(self, n: int, seed: int = 0) -> Floats:
        """Monte-Carlo draws of the reconciled amounts.

        Parameters
        ----------
        n : int
            How many draws.
        seed : int

        Returns
        -------
        numpy.ndarray of shape (n, n_known)
            In the order of `known` (and of the extra readings after them), in each stream's own unit.
        """
        x, V = self._numbers
        correction, _ = weights(self._redundancy.R, V)
        values, vectors = np.linalg.eigh(correction @ V @ correction.T)
        keep = values > 1e-12 * values.max()
        root = vectors[:, keep] * np.sqrt(values[keep])
        draws: Floats = np.random.default_rng(seed).standard_normal((n, int(keep.sum()))) @ root.T
        draws += correction @ x
        return draws

    def _refuse_undetermined(self, found: Redundancy) -> None:
        if all(found.observable):
            return
        A, B = self._matrices
        unknown = [s.name for s in self.unknown]
        helps = [
            n
            for i, n in enumerate(unknown)
            if _rank(np.delete(B, i, axis=1)) == _rank(B) and not found.observable[i]
        ]
        missing = B.shape[1] - _rank(B)
        raise BalanceError(
            f"{len(unknown)} unmeasured amounts ({', '.join(unknown)}) but only {_rank(B)} independent balances "
            f"that see them ({', '.join(self.balances)})",
            f"{missing} more measurement{'s' if missing > 1 else ''}",
            f"measure {missing} of: {', '.join(helps)}; or see what can be said without with bounds()",
        )

    def _spread_note(self, found: Redundancy) -> list[str]:
        if len(self.unknown) > 1 and found.spread < 0.05:
            names = " and ".join(s.name for s in self.unknown)
            return [
                f"{names} are hardly told apart by these balances: their amounts lean on small differences."
            ]
        return []

    def page(self) -> Page:
        lines = [
            Line(s.name, "not measured" if s.amount is None else s.amount, s.unit, _standing_note(s))
            for s in self.listed
        ]
        lines += [Line(m.name, m.value, "", "extra measurement") for m in self.extra]
        df = self._redundancy.R.shape[0]
        tests = f"{df} independent test{'s' if df != 1 else ''} of the measurements."
        return Page(f"Balance of {_and(self.balances)}", lines, [tests, *self._read[1], *self._rows[1]])


@dataclass(frozen=True, repr=False)
class Closure(Written):
    """How much of what went in is found again.

    Attributes
    ----------
    found : dict of str to ufloat
        For each balance the recovered fraction [mol/mol], by-products at their usual amount included.
    measured_only : dict of str to ufloat
        The same from measured streams alone.
    unmeasured : tuple of str
        Streams that were not measured and are not in the sums.
    """

    found: Mapping[str, Any]
    measured_only: Mapping[str, Any]
    unmeasured: tuple[str, ...]
    notes: tuple[str, ...]

    def __getitem__(self, balance: str) -> Any:
        one_of(balance, self.found, "balance")
        return self.found[balance]

    def page(self) -> Page:
        lines = []
        for name, fraction in self.found.items():
            without = percent(self.measured_only[name])
            extra = f"measured streams alone: {without}" if without != percent(fraction) else ""
            lines.append(Line(name, fraction * 100, "%", extra))
        blind = [
            f"A gap in {n} below about {rounded(280 * uncertainty(f))[0]} % could not have been seen."
            for n, f in self.found.items()
        ]
        over = [
            f"More {n} out than in, by {nominal(f) * 100 - 100:.1f} %: {(nominal(f) - 1) / uncertainty(f):.1f} standard uncertainties."
            for n, f in self.found.items()
            if nominal(f) > 1
        ]
        gaps = [f"Not in the sums, as unmeasured: {', '.join(self.unmeasured)}."] if self.unmeasured else []
        return Page("Recovered of what went in", lines, [*over, *blind, *gaps, *self.notes])


@dataclass(frozen=True, repr=False)
class Reconciliation(Written):
    """Amounts corrected so that every balance closes, and what the correction says about the measurements.

    Attributes
    ----------
    amounts : dict of str to ufloat
        Corrected amounts, in each stream's unit, linear in the numbers that came in, so that their
        correlations live on. For yeast with ash: dry matter, ash included.
    reported : dict of str to ufloat or None
    shift : dict of str to float
        How far each amount was moved, in standard deviations of such a move.
    chi2, degrees_of_freedom : float, int
    """

    amounts: Mapping[str, Any]
    reported: Mapping[str, Any]
    shift: Mapping[str, float]
    chi2: float
    degrees_of_freedom: int
    standing: Mapping[str, str]
    units: Mapping[str, str]
    redundant: tuple[str, ...]
    balances: tuple[str, ...]
    notes: tuple[str, ...]

    def __getitem__(self, stream: str) -> Any:
        one_of(stream, self.amounts, "stream")
        return self.amounts[stream]

    @property
    def p_value(self) -> float:
        """Chance of a misfit this large or larger when nothing is wrong; NaN where nothing is tested."""
        from scipy.special import chdtrc

        return float(chdtrc(self.degrees_of_freedom, self.chi2)) if self.degrees_of_freedom else float("nan")

    @property
    def verdict(self) -> str:
        """The test in words, at the 95 % level."""
        if not self.degrees_of_freedom:
            return "nothing is measured twice over, so nothing can be tested"
        if self.p_value < 0.05:
            return "the measurements contradict one another"
        return "the measurements agree with one another"

    def page(self) -> Page:
        lines = []
        for name, amount in self.amounts.items():
            reported = self.reported[name]
            note = (
                "from the balances"
                if reported is None
                else f"reported {_short(reported)}, moved by {self.shift[name]:.1f} σ"
            )
            if reported is not None and name not in self.redundant:
                note = "not tested by any balance"
            if self.standing[name] == "usual":
                note += " (not measured, usual amount)"
            lines.append(Line(name, amount, self.units[name], note))
        test = (
            f"chi² = {self.chi2:.2f} on {self.degrees_of_freedom}, {in_words(self.p_value)}: {self.verdict}."
        )
        return Page(f"Balance of {_and(self.balances)}: {self.verdict}", lines, [test, *self.notes])


def _combine(matrix: Floats, values: Sequence[Any]) -> list[Any]:
    return [sum(k * v for k, v in zip(row, values) if k != 0.0) + 0.0 for row in matrix]


def _rank(matrix: Floats) -> int:
    return int(np.linalg.matrix_rank(matrix, tol=1e-9)) if matrix.size else 0


def _and(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def _short(amount: Any) -> str:
    value, u = rounded(nominal(amount), uncertainty(amount))
    return f"{value} ± {u}"


def _standing_note(s: Stream) -> str:
    kind = {"measured": "", "usual": "not measured: usual amount", "unmeasured": ""}[s.standing]
    ash = f"{percent(s.ash)} of it ash" if s.ash else ""
    return "; ".join(part for part in (kind, ash) if part)
