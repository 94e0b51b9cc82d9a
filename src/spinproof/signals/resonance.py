"""Resonance of a head on its mounts, from 1x vectors over a run-up or a coast-down."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from spinproof.stats.validity import require

FEWEST_VECTORS = 12
"""Vectors below which six unknowns are not told from noise. [1]"""
LEAST_DAMPING = 1e-6
"""Damping ratio below which none was found; no rotor has so little. [1]"""

Floats = NDArray[np.float64]
Vectors = NDArray[np.complex128]


@dataclass(frozen=True)
class Resonance:
    """A single resonance excited by an unbalance.

    Attributes
    ----------
    speed, speed_uncertainty : float
        Undamped natural angular speed, and its standard uncertainty. [rad/s]
    damping, damping_uncertainty : float
        Damping ratio, and its standard uncertainty. [1]
    strength : complex
        Response far above the resonance, in the unit of the vectors.
    rest : complex
        What does not come from the unbalance, in the unit of the vectors.
    scatter : float
        Root mean square of what the model leaves, in the unit of the vectors.
    """

    speed: float
    speed_uncertainty: float
    damping: float
    damping_uncertainty: float
    strength: complex
    rest: complex
    scatter: float

    @property
    def amplification(self) -> float:
        """Height of the peak over the response far above. [1]."""
        return float(1 / (2 * self.damping * np.sqrt(1 - self.damping**2)))


def unbalance_response(speed: ArrayLike, natural: float, damping: float) -> Vectors:
    r"""Displacement over that far above the resonance; the negative of its angle is the lag.

    .. math:: X/e = \frac{r^2}{1 - r^2 + 2 i \zeta r},\quad r = \omega / \omega_n

    Parameters
    ----------
    speed : array_like
        Angular speeds. [rad/s]
    natural : float
        Undamped natural angular speed. [rad/s]
    damping : float
        Damping ratio. [1]

    Returns
    -------
    ndarray of complex
        The vectors. [1]

    Raises
    ------
    OutOfRangeError
        If the natural speed is not above 0, or the damping is negative.

    References
    ----------
    .. [1] H. H. Jeffcott, Phil. Mag. 37, 304-314 (1919).
    """
    require(
        natural > 0 and damping >= 0,
        f"a natural speed of {natural:g} with damping {damping:g} is no resonance",
        where="unbalance_response",
        mend="Give a natural speed above 0, and no negative damping.",
    )
    r = np.asarray(speed, dtype=np.float64) / natural
    return np.asarray(r**2 / (1 - r**2 + 2j * damping * r))


def fit_resonance(speed: ArrayLike, vectors: ArrayLike) -> Resonance:
    """Fit one resonance to displacement vectors over speed.

    Parameters
    ----------
    speed : array_like
        Angular speeds on both sides of the resonance. [rad/s]
    vectors : array_like of complex
        1x displacement vectors. [any]

    Returns
    -------
    Resonance
        Natural speed, damping, strength and what is left.

    Raises
    ------
    OutOfRangeError
        If there are too few vectors, or the resonance does not lie inside the speeds, or no
        damping shows: it cannot be told.

    Notes
    -----
    The standard uncertainties take the model for true. A ramp moves the peak (Lewis, Trans. ASME
    54, 1932): compare a run-up with a coast-down, and quote both.

    References
    ----------
    .. [1] C. C. Kennedy and C. D. P. Pancu, J. Aeronaut. Sci. 14, 603-625 (1947; vector plots,
       cited from memory).
    """
    w = np.asarray(speed, dtype=np.float64)
    x = np.asarray(vectors, dtype=np.complex128)
    require(
        w.shape == x.shape and w.size >= FEWEST_VECTORS and bool(np.isfinite(x).all()),
        f"{w.size} vectors do not tell a resonance from noise",
        where="fit_resonance",
        mend=f"Give at least {FEWEST_VECTORS} finite vectors on both sides of the peak.",
    )
    size = float(np.abs(x).max())
    start = _start(w, x / size)

    def left(p: Floats) -> Floats:
        model = complex(p[2], p[3]) * unbalance_response(w, p[0], p[1]) + complex(p[4], p[5])
        error = model - x / size
        return np.concatenate((error.real, error.imag))

    bounds = ([1e-9, 0, *[-np.inf] * 4], [np.inf, 1, *[np.inf] * 4])
    fit = least_squares(left, start, x_scale=np.maximum(np.abs(start), 1e-3), bounds=bounds)
    p = fit.x
    require(
        float(w.min()) < p[0] < float(w.max()),
        f"the fitted resonance, {p[0]:.4g} rad/s, lies outside the speeds that were run",
        where="fit_resonance",
        mend="Record a run-up that passes the resonance; from one side it cannot be told.",
    )
    require(
        float(p[1]) > LEAST_DAMPING,
        "the vectors show no damping: they are too far apart, or turn the wrong way",
        where="fit_resonance",
        mend="Give vectors close enough that several lie on the peak, with lags as lags.",
    )
    freedom = 2 * w.size - p.size
    slopes = np.asarray(fit.jac, dtype=np.float64)
    covariance = np.linalg.pinv(slopes.T @ slopes) * (2 * fit.cost / freedom)
    deviation = np.sqrt(np.diag(covariance))
    return Resonance(
        speed=float(p[0]),
        speed_uncertainty=float(deviation[0]),
        damping=float(p[1]),
        damping_uncertainty=float(deviation[1]),
        strength=size * complex(p[2], p[3]),
        rest=size * complex(p[4], p[5]),
        scatter=size * float(np.sqrt(2 * fit.cost / freedom)),
    )


def _start(w: Floats, x: Vectors) -> Floats:
    # without a rest the model is linear: wn**2 X + 2i zeta wn w X - u w**2 = w**2 X
    columns = np.column_stack((x, 1j * w * x, -(w**2) + 0j, -1j * w**2))
    design = np.vstack((columns.real, columns.imag))
    wanted = np.concatenate(((w**2 * x).real, (w**2 * x).imag))
    square, damped, real, imaginary = np.linalg.lstsq(design, wanted, rcond=None)[0]
    natural = float(np.sqrt(square)) if square > 0 else float(w[np.argmax(np.abs(x))])
    damping = float(np.clip(damped / (2 * natural), 1e-3, 0.9))
    return np.array([natural, damping, real, imaginary, 0.0, 0.0])
