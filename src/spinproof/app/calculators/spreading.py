"""How the uncertainty of the inputs reaches the results."""

import math
from collections.abc import Callable, Mapping

from spinproof.app.calculators.calculator import Answer, Inputs, Value
from spinproof.app.calculators.reading import Reading
from spinproof.model.calculation import Share
from spinproof.model.errors import OutOfRangeError
from spinproof.model.quantity import UNITS, Dimension
from spinproof.stats.distributions import Gaussian
from spinproof.stats.uncertainty import Budget, Input, budget

Law = Callable[[Inputs], Answer]
NOISE = 1e-9
"""Relative uncertainty below which a result does not depend on the inputs: rounding alone."""
SHOWN = 3
"""Inputs that are named as the ones that an uncertainty comes from."""


class Spreader:
    """Carries the typed uncertainties through a law, by the law of propagation of uncertainty.

    Parameters
    ----------
    law : callable
        Gives the answer for some inputs.
    reading : Reading
        The inputs, with their uncertainties.
    """

    def __init__(self, law: Law, reading: Reading) -> None:
        self._law = law
        self._reading = reading
        self._names = tuple(name for name, spread in reading.spreads.items() if spread > 0)
        self._known: dict[tuple[float, ...], Mapping[str, float]] = {}

    def uncertainty(self, result: Value) -> tuple[float | None, tuple[Share, ...], str | None]:
        """Give the standard uncertainty of a result, where it comes from, and what is missing.

        Parameters
        ----------
        result : Value
            The result.

        Returns
        -------
        tuple
            Standard uncertainty [SI], None when nothing is known; shares; a note, or None.
        """
        own = result.uncertainty
        if not self._names:
            return (own or None), (), None
        try:
            found = self._budget(result)
        except (OutOfRangeError, KeyError):
            return (own or None), (), "the uncertainties of the inputs reach beyond the method"
        total = float((found.uncertainty**2 + own**2) ** 0.5)
        if total <= NOISE * abs(result.si):
            return None, (), None
        ordered = sorted(found.contributions, key=lambda each: -each.contribution)
        shares = tuple(
            Share(
                label=self._reading.labels[each.name],
                share=min(1.0, (each.contribution / total) ** 2),
            )
            for each in ordered[:SHOWN]
            if each.contribution > 0
        )
        return total, shares, None

    def _budget(self, result: Value) -> Budget:
        inputs = [
            Input(name, Gaussian(self._nominal(name), self._reading.spreads[name]))
            for name in self._names
        ]
        return budget(lambda *values: self._near(result, self._values(values)), inputs)

    @staticmethod
    def _near(result: Value, found: Mapping[str, float]) -> float:
        """Give a result of other inputs; an angle does not jump by a turn."""
        value = found[result.name]
        if UNITS[result.unit].dimension is Dimension.ANGLE:
            return result.si + math.remainder(value - result.si, 2 * math.pi)
        return value

    def _nominal(self, name: str) -> float:
        return next(each.si or 0.0 for each in self._reading.given if each.name == name)

    def _values(self, values: tuple[float, ...]) -> Mapping[str, float]:
        key = tuple(float(value) for value in values)
        if key not in self._known:
            inputs = self._reading.inputs
            for name, value in zip(self._names, key, strict=True):
                inputs = inputs.changed(name, value)
            answer = self._law(inputs)
            self._known[key] = {r.name: r.si for r in answer.results if isinstance(r, Value)}
        return self._known[key]
