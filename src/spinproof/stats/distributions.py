"""What is known about a quantity, as a distribution: value, standard uncertainty, draws.

Each is a form that JCGM 101:2008, 6.4 assigns to a kind of knowledge. ``uncertainty`` is the one
that a budget after JCGM 100:2008 uses, so for Student's t it is s/√n and not the wider standard
deviation of the distribution; ``draw`` follows the distribution itself.
"""

from dataclasses import dataclass
from math import inf, isfinite, sqrt
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from spinproof.stats.validity import require


class Distribution(Protocol):
    """What a budget and a simulation ask of the knowledge about an input."""

    @property
    def value(self) -> float:
        """Best estimate [unit]."""

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty for a budget [unit]."""

    @property
    def degrees(self) -> float:
        """Degrees of freedom of that uncertainty; infinite when it is exactly known [1]."""

    def draw(self, generator: np.random.Generator, size: int) -> NDArray[np.float64]:
        """Draw possible values [unit]."""


@dataclass(frozen=True)
class Gaussian:
    """A best estimate with a standard uncertainty: a certificate, or the sum of many effects."""

    value: float
    uncertainty: float
    degrees: float = inf

    def __post_init__(self) -> None:
        _require_spread("Gaussian", self.value, self.uncertainty)

    def draw(self, generator: np.random.Generator, size: int) -> NDArray[np.float64]:
        """Draw possible values [unit]."""
        return generator.normal(self.value, self.uncertainty, size)


@dataclass(frozen=True)
class StudentT:
    """A mean of few readings: scale s/√n with n - 1 degrees of freedom (JCGM 101, 6.4.9)."""

    value: float
    uncertainty: float
    degrees: float

    def __post_init__(self) -> None:
        _require_spread("StudentT", self.value, self.uncertainty)
        require(
            self.degrees > 0,
            f"{self.degrees:g} degrees of freedom say nothing",
            where="StudentT",
            mend="Give a number of degrees of freedom above zero.",
        )

    def draw(self, generator: np.random.Generator, size: int) -> NDArray[np.float64]:
        """Draw possible values [unit]."""
        return self.value + self.uncertainty * generator.standard_t(self.degrees, size)


@dataclass(frozen=True)
class _Bounded:
    lower: float
    upper: float

    def __post_init__(self) -> None:
        require(
            isfinite(self.lower) and isfinite(self.upper) and self.lower <= self.upper,
            f"{self.lower:g} to {self.upper:g} is no interval",
            where=type(self).__name__,
            mend="Give a finite lower end that does not lie above the upper end.",
        )

    @property
    def value(self) -> float:
        """Best estimate: the middle [unit]."""
        return (self.lower + self.upper) / 2

    @property
    def half_width(self) -> float:
        """Half the distance between the ends [unit]."""
        return (self.upper - self.lower) / 2

    @property
    def degrees(self) -> float:
        """Degrees of freedom: the ends are taken as exactly known [1]."""
        return inf


@dataclass(frozen=True)
class Rectangular(_Bounded):
    """Between two ends and nothing else known: a resolution, limits of error (6.4.2)."""

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty a/√3 [unit]."""
        return self.half_width / sqrt(3)

    def draw(self, generator: np.random.Generator, size: int) -> NDArray[np.float64]:
        """Draw possible values [unit]."""
        return generator.uniform(self.lower, self.upper, size)


@dataclass(frozen=True)
class Triangular(_Bounded):
    """The difference of two equal rectangular effects, such as a count of pulses (6.4.5)."""

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty a/√6 [unit]."""
        return self.half_width / sqrt(6)

    def draw(self, generator: np.random.Generator, size: int) -> NDArray[np.float64]:
        """Draw possible values [unit]."""
        one, other = generator.random(size), generator.random(size)
        return self.lower + self.half_width * (one + other)


@dataclass(frozen=True)
class Trapezoidal(_Bounded):
    """The sum of two rectangular effects of different width (6.4.4)."""

    top: float = 0.5
    """Width of the top in proportion to the base: 0 is a triangle, 1 a rectangle. [1]"""

    def __post_init__(self) -> None:
        super().__post_init__()
        require(
            0 <= self.top <= 1,
            f"a top of {self.top:g} times the base makes no trapezoid",
            where="Trapezoidal",
            mend="Give a proportion between 0 and 1.",
        )

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty a √((1 + β²)/6) [unit]."""
        return self.half_width * sqrt((1 + self.top**2) / 6)

    def draw(self, generator: np.random.Generator, size: int) -> NDArray[np.float64]:
        """Draw possible values [unit]."""
        one, other = generator.random(size), generator.random(size)
        return self.lower + self.half_width * ((1 + self.top) * one + (1 - self.top) * other)


@dataclass(frozen=True)
class CurvilinearTrapezoid(_Bounded):
    """Between two ends that are themselves known only to ± ``inexactness`` (6.4.3)."""

    inexactness: float = 0.0

    def __post_init__(self) -> None:
        super().__post_init__()
        require(
            0 <= self.inexactness <= self.half_width,
            f"ends inexact by {self.inexactness:g} cross one another",
            where="CurvilinearTrapezoid",
            mend="Give an inexactness of zero up to half the distance between the ends.",
        )

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty √(a²/3 + d²/9) [unit]."""
        return sqrt(self.half_width**2 / 3 + self.inexactness**2 / 9)

    def draw(self, generator: np.random.Generator, size: int) -> NDArray[np.float64]:
        """Draw possible values [unit]."""
        inset = self.inexactness * (2 * generator.random(size) - 1)
        low, high = self.lower + inset, self.upper - inset
        return low + (high - low) * generator.random(size)


@dataclass(frozen=True)
class UShaped(_Bounded):
    """A quantity that swings between two ends, such as a cycling temperature (6.4.6)."""

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty a/√2 [unit]."""
        return self.half_width / sqrt(2)

    def draw(self, generator: np.random.Generator, size: int) -> NDArray[np.float64]:
        """Draw possible values [unit]."""
        return self.value + self.half_width * np.sin(2 * np.pi * generator.random(size))


def _require_spread(where: str, value: float, uncertainty: float) -> None:
    require(
        isfinite(value) and isfinite(uncertainty) and uncertainty >= 0,
        f"a value of {value:g} with standard uncertainty {uncertainty:g} says nothing",
        where=where,
        mend="Give a finite value, and a finite uncertainty of zero or more.",
    )
