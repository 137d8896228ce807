"""Where the sugar went: element and electron balances that are tested before they are believed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from scipy import linalg
from scipy.optimize import nnls

from fermkit.balance.bounds import Bounds, bounds
from fermkit.balance.byproducts import Listing, with_usual_byproducts
from fermkit.balance.closure import Closure, close
from fermkit.balance.detection import POWER, DetectionLimits, detection_limits
from fermkit.balance.elements import ROW_NAMES, balanced_elements
from fermkit.balance.evidence import Evidence, gather
from fermkit.balance.explanations import Explanations, explain
from fermkit.balance.faults import usual_faults
from fermkit.balance.measurements import MeasureNext, measure_next
from fermkit.balance.ranking import Ranking, rank
from fermkit.balance.reconciliation import Reconciliation, and_list
from fermkit.balance.redundancy import Redundancy, chi_square, redundancy, weights
from fermkit.balance.streams import (
    LinearMeasurement,
    Stream,
    check_signs,
    covariance,
    only_sign,
    read_streams,
)
from fermkit.basis.checks import Floats, between, one_of
from fermkit.basis.errors import BalanceError, InputError
from fermkit.basis.written import Line, Number, Page, Written, nominal, uncertainty
from fermkit.matter import usual
from fermkit.matter.composition import NITROGEN_REFERENCES, compound


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
        What to assume for by-products that nobody measured. "usual": glycerol tied to the yeast made, by the
        nitrogen source, and 0 to 3 % of the sugar's carbon as organic acids, wherever sugar is fermented
        to ethanol. A mapping replaces them: ``{"glycerol": ufloat(6.0, 0.5), "acids": ufloat(0.02, 0.005)}``
        [mmol/g, C-mol/C-mol]; ``"oxygen"`` is what the yeast took of the air in the vessel [g], negative, and
        ``"electrons"`` what it holds beside its formula [mol for each mole of its carbon].
    nitrogen_source : "mixture", "ammonium", "amino" or "short"
        What the yeast's nitrogen came as, where glycerol stands at its usual amount: 4 to 13, 8 to 13, 4 to 8, or
        with too little nitrogen 4 to 28 mmol for each gram of dry yeast (sources: `fermkit.matter.usual`).
    aerated : bool
        Whether oxygen was taken up; if so and not listed, it is an unmeasured stream.
    nitrogen : "ammonia", "nitrogen gas" or "nitrate"
        The nitrogen compound whose degree of reduction counts as zero (urea counts as ammonia).
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
    >>> round(bal.closure()["carbon"].n, 3), round(bal.closure()["carbon"].s, 3)
    (0.997, 0.016)
    >>> found = bal.reconcile()
    >>> round(found["ethanol"].n, 2), round(found["ethanol"].s, 2)
    (45.55, 0.36)
    >>> round(found.chi2, 2), found.degrees_of_freedom, str(found.verdict)
    (3.57, 2, 'the measurements agree with one another')

    References
    ----------
    Roels, J. A., Energetics and Kinetics in Biotechnology, Elsevier 1983 (carbon and electron balances).
    van der Heijden et al., Biotechnol. Bioeng. 43 (1994) 3-31; Wang & Stephanopoulos, Biotechnol. Bioeng. 25
    (1983) 2177-2208 (reconciliation, chi-square test).
    """

    streams: Mapping[str, Any]
    unit: str | Mapping[str, str] = "g"
    of: Mapping[str, Any] = field(default_factory=dict)
    priors: str | Mapping[str, Any] = "usual"
    nitrogen_source: str = "mixture"
    aerated: bool = False
    nitrogen: str = "ammonia"
    extra: Sequence[LinearMeasurement] = ()
    ash: Number | None = None

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
        _ = self._listing  # refuses what contradicts nature

    @cached_property
    def _listing(self) -> Listing:
        streams = read_streams(self.streams, self.unit, self.of, self.ash)
        if self.aerated and not any(s.role == "O2" for s in streams):
            streams.append(Stream("O2", compound("O2"), None, "g", 0.0, 1.0, "unmeasured", "O2"))
        check_signs(streams)
        return with_usual_byproducts(streams, self.priors, self.nitrogen_source, self.aerated)

    @property
    def listed(self) -> list[Stream]:
        """All streams: measured, at their usual amount, unmeasured."""
        return self._listing.streams

    @property
    def known(self) -> list[Stream]:
        """Streams with an amount: measured, or at their usual amount."""
        return [s for s in self.listed if s.amount is not None]

    @property
    def unknown(self) -> list[Stream]:
        """Streams without an amount."""
        return [s for s in self.listed if s.amount is None]

    @property
    def readings(self) -> list[LinearMeasurement]:
        """Measurements that sum several streams, and relations that are assumed."""
        return [*self.extra, *self._listing.relations]

    @cached_property
    def _rows(self) -> tuple[list[str], list[str]]:
        return balanced_elements(self.listed, self.nitrogen)

    @property
    def balances(self) -> list[str]:
        """Names of the balances that are used."""
        return [ROW_NAMES.get(row, row) for row in self._rows[0]]

    @cached_property
    def _matrices(self) -> tuple[Floats, Floats]:
        """A for the known streams and the extra readings, B for the unknown streams."""

        def table(streams: Sequence[Stream]) -> Floats:
            inside = [s.content(self.nitrogen) for s in streams]
            top = [[c.get(row, 0.0) for c in inside] for row in self._rows[0]]
            below = [[m.coefficients.get(s.name, 0.0) for s in streams] for m in self.readings]
            return np.array(top + below, dtype=float).reshape(len(top) + len(below), len(streams))

        readings = np.vstack([np.zeros((len(self._rows[0]), len(self.readings))), -np.eye(len(self.readings))])
        return np.hstack([table(self.known), readings]), table(self.unknown)

    @cached_property
    def _values(self) -> list[Any]:
        return [s.weighed for s in self.known] + [m.value for m in self.readings]

    @cached_property
    def _numbers(self) -> tuple[Floats, Floats]:
        return np.array([nominal(v) for v in self._values]), covariance(self._values)

    @cached_property
    def _redundancy(self) -> Redundancy:
        return redundancy(*self._matrices)

    def _evidence(self, with_yield: bool) -> Evidence:
        x, V = self._numbers
        hint = usual.YEAST.value(usual.FOR_ALARMS) if with_yield else None
        return gather(self.known, self.readings, x, V, self._redundancy, self._rows[0], self.nitrogen, hint)

    @cached_property
    def _ranked(self) -> tuple[Evidence, Ranking]:
        self._refuse_untested()
        evidence = self._evidence(with_yield=not self.aerated)
        return evidence, rank(evidence, usual_faults(evidence))

    def closure(self) -> Closure:
        """How much of what went in is found again: carbon, electrons, and other elements that are balanced."""
        notes = [*self._listing.notes, *self._rows[1]]
        balances = dict(zip(self.balances, self._rows[0]))
        return close(self.known, self.unknown, balances, self.nitrogen, notes)

    def reconcile(self) -> Reconciliation:
        """Correct all amounts by weighted least squares so that every balance closes, and test the correction.

        What would come out with the wrong sign (ethanol below zero) is held at zero, with its ± as it was.
        """
        self._refuse_undetermined(self._redundancy)
        columns = [*self.known, *self.unknown]
        amounts, chi2, moved_by = self._solved([])
        held: list[int] = []
        if any(_wrong_sign(s, amount) for s, amount in zip(columns, amounts)):
            held, free = self._at_zero(), amounts
            amounts, chi2, _ = self._solved(held)
            for i in held:
                amounts[i] = free[i] - nominal(free[i])
        variances = np.diag(self._numbers[1])
        reported = [nominal(s.amount) for s in self.known]
        shift = {
            s.name: float((nominal(new) - old) / sd) if sd > 1e-9 * np.sqrt(v) else 0.0
            for s, new, old, sd, v in zip(self.known, amounts, reported, moved_by, variances)
        }
        return Reconciliation(
            amounts={s.name: amount / s.scale for s, amount in zip(columns, amounts)},
            reported={s.name: s.amount for s in columns},
            shift=shift,
            chi2=chi2,
            degrees_of_freedom=self._redundancy.R.shape[0],
            standing={s.name: s.standing for s in columns},
            units={s.name: s.unit for s in columns},
            redundant=tuple(s.name for s, tested in zip(self.known, self._redundancy.redundant) if tested),
            balances=tuple(self.balances),
            held=tuple(columns[i].name for i in held),
            notes=tuple(self._listing.notes + self._rows[1] + self._spread_note(self._redundancy)),
        )

    def _solved(self, held: list[int]) -> tuple[list[Any], float, Floats]:
        """Corrected amounts (some held at zero), the misfit, and the standard deviation of each move."""
        A, B = self._matrices
        n, m = A.shape[1], len(self.known)
        at_zero = np.eye(n + B.shape[1])[[i if i < m else i - m + n for i in held]]
        found = redundancy(np.vstack([A, at_zero[:, :n]]), np.vstack([B, at_zero[:, n:]])) if held else self._redundancy
        x, V = self._numbers
        correction, inverse = weights(found.R, V)
        chi2 = float(chi_square(x, found.R, inverse)) if found.R.size else 0.0
        moved_by = np.sqrt(np.maximum(np.diag(V - correction @ V @ correction.T), 0))
        known = _combine(correction, self._values)[:m]
        return [*known, *_combine(found.Y @ correction, self._values)], chi2, moved_by

    def _at_zero(self) -> list[int]:
        """Which streams the least squares hold at zero when everything keeps its sign.

        A least-distance problem, solved by non-negative least squares: Lawson & Hanson, Solving Least Squares
        Problems, Prentice-Hall 1974, chapter 23.
        """
        A, B = self._matrices
        x, V = self._numbers
        n, m = A.shape[1], len(self.known)
        closing = linalg.null_space(np.hstack([A, B]) / np.abs(np.hstack([A, B])).max(axis=1, keepdims=True))
        tiny = np.diag(1e-9 * np.diag(V) + 1e-12 * V.max())  # amounts tied to each other have a singular V
        root = np.linalg.inv(np.linalg.cholesky(V + tiny))
        Q, R = np.linalg.qr(root @ closing[:n])
        streams = [*range(m), *range(n, n + B.shape[1])]
        signs = np.array([only_sign(s) for s in (*self.known, *self.unknown)])
        inside = (signs[:, None] * closing[streams]) @ np.linalg.inv(R)
        least = inside @ (Q.T @ root @ x)
        multipliers, _ = nnls(np.vstack([inside.T, -least]), np.append(np.zeros(len(R)), 1.0))
        return [int(i) for i in np.flatnonzero(multipliers > 0)]

    def flows(self, balance: str = "carbon", amounts: str = "reconciled") -> tuple[Any, dict[str, Any]]:
        """What went in [mol], and where it is found again by stream: for the picture 'where it went'.

        Oxygen that was taken up counts as electrons found.

        Parameters
        ----------
        balance : str
            "carbon", "electrons" or another element that is balanced.
        amounts : "reconciled" or "reported"
        """
        one_of(balance, self.balances, "balance")
        one_of(amounts, ("reconciled", "reported"), "amounts")
        row = self._rows[0][self.balances.index(balance)]
        chosen = self.reconcile().amounts if amounts == "reconciled" else {s.name: s.amount for s in self.known}
        parts = {
            s.name: chosen[s.name] * s.scale * s.content(self.nitrogen).get(row, 0.0)
            for s in self.listed
            if s.name in chosen
        }
        into = -sum(p for p in parts.values() if nominal(p) < 0)
        return into, {name: p for name, p in parts.items() if nominal(p) > 0}

    def reconcile_many(self, amounts: Floats) -> Floats:
        """Reconcile many sets of amounts at once, in one matrix product.

        Parameters
        ----------
        amounts : array of shape (n, n_known)
            Amounts in the order of `known`, then the extra readings; in each stream's unit.

        Returns
        -------
        numpy.ndarray of the same shape
            With the uncertainties of this balance as weights.
        """
        self._refuse_undetermined(self._redundancy)
        correction, _ = weights(self._redundancy.R, self._numbers[1])
        reconciled: Floats = np.asarray(amounts) @ correction.T
        return reconciled

    def explain(self) -> Explanations:
        """Which mistakes could have made the gap: ranked, those alike in one group, with the corrected values.

        Where sugar is fermented to ethanol without air, the usual yield of yeast is one more hint.

        Raises
        ------
        BalanceError
            Where no balance tests the amounts.

        Examples
        --------
        CO2 counted as one third of a mole for each mole of hexose:

        >>> from uncertainties import ufloat
        >>> slip = Balance({"glucose": -ufloat(100, 2), "ethanol": ufloat(45.6, 2.3), "CO2": ufloat(7.45, 0.2),
        ...                 "yeast": ufloat(5.0, 0.4)})
        >>> found = slip.explain()
        >>> found.best.key, round(found.best.probability, 2), f"{found.best.corrected['CO2']:.1u}"
        ('third', 1.0, '44+/-1')

        References
        ----------
        Suspects one at a time: Wang & Stephanopoulos, Biotechnol. Bioeng. 25 (1983) 2177-2208; van der Heijden et
        al., Biotechnol. Bioeng. 43 (1994) 11-20. Weights: Kass & Raftery, J. Am. Stat. Assoc. 90 (1995) 773-795.
        """
        return explain(*self._ranked)

    def detection_limits(self, level: float = 0.95, power: float = POWER) -> DetectionLimits:
        """The smallest leak, slip or wet weight that this set of measurements could have seen.

        Uses the uncertainties alone: planned amounts will do, before a run.

        Parameters
        ----------
        level : float
            Level of the alarm (0.95: 5 % false alarms).
        power : float
            Chance of an alarm that counts as seen.

        Examples
        --------
        >>> from uncertainties import ufloat
        >>> plan = Balance({"glucose": -ufloat(100, 2), "ethanol": ufloat(45.6, 2.3), "CO2": ufloat(44.7, 1.3),
        ...                 "yeast": ufloat(5.0, 0.4)})
        >>> plan.detection_limits()["wet"].in_words()
        '35 % dry or wetter'

        References
        ----------
        van der Heijden et al., Biotechnol. Bioeng. 43 (1994) 21-31 (sensitivity of the test to an error).
        """
        self._refuse_untested()
        between(level, 0.5, 0.9999, "level")
        between(power, 0.06, 0.9999, "power")
        evidence = self._evidence(with_yield=False)
        return detection_limits(evidence, usual_faults(evidence), level, power)

    def measure_next(self) -> MeasureNext:
        """Extra measurements ranked by the share of the doubt between mistakes that they would settle for their effort.

        Which mistake it was is this question; what would narrow the amounts is asked of a run's estimate.
        """
        return measure_next(*self._ranked)

    def bounds(self, stream: str, region: str = "one") -> Bounds:
        """Least and most of a stream over the 95 % region of the reconciled data (linear programmes).

        Parameters
        ----------
        stream : str
            Any stream of the balance, measured or not.
        region : "one" or "joint"
            The 95 % region of one amount at a time, or of all amounts together (wider).

        Examples
        --------
        Ethanol from 100 ± 1 g glucose, nothing else measured: from none to 0.5114 g/g of the most sugar.

        >>> from uncertainties import ufloat
        >>> bal = Balance({"glucose": -ufloat(100, 1), "ethanol": None, "CO2": None, "biomass": None}, priors="none")
        >>> round(bal.bounds("ethanol").high, 1)
        52.1
        """
        one_of(stream, [s.name for s in self.listed], "stream")
        x, V = self._numbers
        columns: list[Any] = [*self.known, *self.readings, *self.unknown]
        signs = [only_sign(c) if isinstance(c, Stream) else 0 for c in columns]
        at = next(i for i, c in enumerate(columns) if c.name == stream)
        low, high = bounds(at, x, V, *self._matrices, signs=signs, region=region)
        unit = next(s.unit for s in self.listed if s.name == stream)
        return Bounds(stream, low, high, unit, region, self.balances)

    def _refuse_untested(self) -> None:
        if self._redundancy.R.shape[0] == 0:
            raise BalanceError(
                f"no balance tests the {len(self.known)} known amounts: all are needed to find the unknown ones",
                "more measurements than the balances need",
                f"measure one of: {', '.join(s.name for s in self.unknown)}",
            )

    def _refuse_undetermined(self, found: Redundancy) -> None:
        if all(found.observable):
            return
        B = self._matrices[1]
        unknown = [s.name for s in self.unknown]
        helps = [
            n for i, n in enumerate(unknown) if _rank(np.delete(B, i, axis=1)) == _rank(B) and not found.observable[i]
        ]
        missing = B.shape[1] - _rank(B)
        raise BalanceError(
            f"{len(unknown)} unmeasured amounts ({', '.join(unknown)}) but only {_rank(B)} independent balances "
            f"that see them ({', '.join(self.balances)})",
            f"{missing} more measurement{'s' if missing > 1 else ''}",
            f"measure {missing} of: {', '.join(helps)}",
        )

    def _spread_note(self, found: Redundancy) -> list[str]:
        if len(self.unknown) > 1 and found.spread < 0.05:
            names = " and ".join(s.name for s in self.unknown)
            return [f"{names} are hardly told apart by these balances: their amounts lean on small differences."]
        return []

    def page(self) -> Page:
        lines = [
            Line(s.name, "not measured" if s.amount is None else s.amount, s.unit, "; ".join([*s.notes(), tested]))
            for s, tested in zip([*self.known, *self.unknown], self.standing.values())
        ]
        said = {"measured": "extra measurement", "usual": "assumed relation"}
        lines += [Line(m.name, m.value, "", said[m.standing]) for m in self.readings]
        df = self._redundancy.R.shape[0]
        tests = f"{df} independent test{'s' if df != 1 else ''} of the measurements."
        return Page(f"Balance of {and_list(self.balances)}", lines, [tests, *self._listing.notes, *self._rows[1]])

    @property
    def standing(self) -> dict[str, str]:
        """What the balances do for each stream: "tested" or "not tested", "found" or "not determined"."""
        found = self._redundancy
        known = {s.name: "tested" if r else "not tested" for s, r in zip(self.known, found.redundant)}
        unknown = {s.name: "found" if o else "not determined" for s, o in zip(self.unknown, found.observable)}
        return known | unknown


def _wrong_sign(s: Stream, amount: Number) -> bool:
    """Whether something made comes out consumed, or the reverse, by more than rounding."""
    return nominal(amount) * only_sign(s) < -1e-9 * abs(nominal(s.amount or 1.0))


def _combine(matrix: Floats, values: Sequence[Any]) -> list[Any]:
    return [sum(k * v for k, v in zip(row, values) if k != 0.0) + 0.0 for row in matrix]


def _rank(matrix: Floats) -> int:
    return int(np.linalg.matrix_rank(matrix, tol=1e-9)) if matrix.size else 0
