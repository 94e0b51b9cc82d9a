"""A model of a head: what is known about each parameter, from where, and what could not be said."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from spinproof.model.head import HeadSpec
from spinproof.model.noun import Noun


class Origin(StrEnum):
    """Where the knowledge of a parameter comes from."""

    CALIBRATED = "calibrated"
    """Fitted to the head's own runs."""
    SPECIFIED = "specified"
    """A figure of the head's own specification, with an assumed tolerance."""
    PRIOR = "prior"
    """Common practice or an assumption: the head itself has said nothing about it yet."""


class Shape(StrEnum):
    """Distribution that stands for the knowledge of a parameter."""

    STUDENT = "student"
    """Symmetric about the value, by the fit's covariance and degrees of freedom."""
    LOG_STUDENT = "log-student"
    """The same for the logarithm; covariances are of logarithms."""
    TRIANGULAR = "triangular"
    """Between two ends, with the value as its mode."""
    LOG_UNIFORM = "log-uniform"
    """Between two ends, each factor as likely."""


class Parameter(Noun):
    """What is known about one parameter of a head."""

    name: str
    """Key, which ends in the unit, for example "hold_up_g"."""
    label: str
    """The parameter in plain words."""
    unit: str
    value: float
    """Best estimate; the median of a log-uniform one. [unit]"""
    low: float
    """Lower end: of the 95 % interval when calibrated, else of what is thought possible. [unit]"""
    high: float
    """Upper end, likewise. [unit]"""
    shape: Shape
    origin: Origin
    basis: str
    """In words: which runs, which specification, or whose assumption."""


class CalibrationRun(Noun):
    """A run that a fit used."""

    run: str
    """Number of the run, or name of the weighing."""
    sha256: str
    """SHA-256 of the sealed trace, or of the file of weighings, in hex."""
    simulated: bool


class Residuals(Noun):
    """What a fit left over, for a plot: measured less fitted."""

    run: str
    across: Annotated[tuple[float, ...], Field(strict=False)]
    left_over: Annotated[tuple[float, ...], Field(strict=False)]


class Fit(Noun):
    """One fit of parameters to runs, with all that is needed to doubt it."""

    subject: str
    """What was fitted, for example "coast-down"."""
    parameters: Annotated[tuple[str, ...], Field(strict=False)]
    covariance: Annotated[
        tuple[Annotated[tuple[float, ...], Field(strict=False)], ...], Field(strict=False)
    ]
    """Of the estimates, or of their logarithms for a log-student parameter."""
    degrees: float
    """Degrees of freedom behind the covariance."""
    runs: Annotated[tuple[CalibrationRun, ...], Field(strict=False)]
    points: int
    """Readings used, over all runs."""
    residual_rms: float
    """Root mean square of what was left over. [residual_unit]"""
    residual_unit: str
    across: str
    """What the residuals are drawn against, with its unit."""
    residuals: Annotated[tuple[Residuals, ...], Field(strict=False)]
    cautions: Annotated[tuple[str, ...], Field(strict=False)] = ()


class CannotSay(Noun):
    """A parameter, or a group, on which the runs say nothing; its knowledge stays as it was."""

    subject: str
    why: str
    mend: str
    """What measurement would tell."""


class HeadModel(Noun):
    """A head as known for prediction; it remembers its runs and what remained prior."""

    schema_version: Annotated[str, Field(pattern="^spinproof.head-model.v1$")] = (
        "spinproof.head-model.v1"
    )
    head: HeadSpec
    parameters: Annotated[tuple[Parameter, ...], Field(strict=False)]
    fits: Annotated[tuple[Fit, ...], Field(strict=False)] = ()
    cannot_say: Annotated[tuple[CannotSay, ...], Field(strict=False)] = ()
    software: str
    """Software and version that made the model."""

    @property
    def simulated(self) -> bool:
        """Whether any run behind the model was simulated."""
        return any(run.simulated for fit in self.fits for run in fit.runs)

    @property
    def still_prior(self) -> tuple[Parameter, ...]:
        """Parameters that the head itself has said nothing about."""
        return tuple(p for p in self.parameters if p.origin is Origin.PRIOR)

    def parameter(self, name: str) -> Parameter:
        """Give a parameter by its name.

        Raises
        ------
        KeyError
            If the model has none of that name.
        """
        for each in self.parameters:
            if each.name == name:
                return each
        raise KeyError(name)
