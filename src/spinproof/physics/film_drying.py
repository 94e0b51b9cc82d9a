"""Drying of a wafer's film that thins by spinning and evaporates at the same time."""

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.history import columns, draws_shape
from spinproof.physics.validity import demand, floats

_TOLERANCE = 1e-8  # of the thickness, in each step


class FilmCourse(NamedTuple):
    """How a film went; the moments of the history along the first axis, then the draws."""

    thickness: NDArray[np.float64]
    """Thickness at each moment, zero once dry. [m]"""
    dry_time: NDArray[np.float64]
    """Moment at which it was dry, infinite where it never was; in the shape of the draws. [s]"""


def crossover_thickness(
    speed: ArrayLike, evaporation: ArrayLike, kinematic_viscosity: ArrayLike
) -> NDArray[np.float64]:
    r"""Thickness at which a film thins as fast by spinning as by evaporation.

    .. math:: h_c = \left(\frac{3\nu e}{2\omega^2}\right)^{1/3}

    Parameters
    ----------
    speed : array_like
        Angular speed. [rad/s]
    evaporation : array_like
        Evaporation e, thickness lost from a face per time. [m/s]
    kinematic_viscosity : array_like
        Kinematic viscosity ν of the liquid. [m²/s]

    Returns
    -------
    ndarray
        Thickness, in the broadcast shape of the inputs. [m]

    Raises
    ------
    OutOfRangeError
        If an input is not positive.

    Notes
    -----
    Holds for the film of ``film.film_thickness``.

    References
    ----------
    .. [1] D. Meyerhofer, "Characteristics of resist films produced by spinning," J. Appl. Phys.
       49, 3993-3997 (1978).

    Examples
    --------
    >>> float((1e6 * crossover_thickness(209.4395, 4e-7, 8.92658e-7)).round(4))
    2.3027
    """
    w, e, nu = floats(speed, evaporation, kinematic_viscosity)
    demand(
        (w > 0) & (e > 0) & (nu > 0),
        where="crossover_thickness",
        mend="Give a speed, an evaporation and a viscosity above zero.",
    )
    return np.asarray(np.cbrt(3 * nu * e / (2 * w * w)))


def film_drying_time(
    speed: ArrayLike,
    evaporation: ArrayLike,
    kinematic_viscosity: ArrayLike,
    initial_thickness: ArrayLike = np.inf,
) -> NDArray[np.float64]:
    r"""Time in which a film dries at a steady speed, by the exact integral.

    .. math:: t = \frac{h_c}{e}\left[\frac16\ln\frac{(1+x)^2}{x^2-x+1}
              + \frac{1}{\sqrt3}\arctan\frac{\sqrt3\,x}{2-x}\right],
              \qquad x = \frac{h_0}{h_c}

    Parameters
    ----------
    speed : array_like
        Angular speed. [rad/s]
    evaporation : array_like
        Evaporation e, thickness lost from a face per time. [m/s]
    kinematic_viscosity : array_like
        Kinematic viscosity ν of the liquid. [m²/s]
    initial_thickness : array_like
        Thickness h0 at first; a thick film forgets it. [m]

    Returns
    -------
    ndarray
        Time, in the broadcast shape of the inputs. [s]

    Raises
    ------
    OutOfRangeError
        If a speed, evaporation or viscosity is not positive, or a thickness is negative.

    Notes
    -----
    Exact for the equation dh/dt = -2ω²h³/(3ν) - e; from a thick film it is 2π/(3√3) h_c/e.
    Wetting film, pure liquid, steady speed and evaporation. The evaporation rules the error: the
    time falls with its power 2/3.

    References
    ----------
    .. [1] D. Meyerhofer, "Characteristics of resist films produced by spinning," J. Appl. Phys.
       49, 3993-3997 (1978): the equation; integrated in closed form.

    Examples
    --------
    >>> float(film_drying_time(209.4395, 4e-7, 8.92658e-7).round(4))
    6.9611
    """
    w, e, nu, h0 = floats(speed, evaporation, kinematic_viscosity, initial_thickness)
    demand(
        (w > 0) & (e > 0) & (nu > 0) & (h0 >= 0),
        where="film_drying_time",
        mend="Give speed, evaporation and viscosity above zero, a thickness of zero or more.",
    )
    # arrays are used again: fresh memory would cost as much as the arithmetic
    crossover, x, series, angle = (np.empty(w.shape) for _ in range(4))
    np.divide(e, np.multiply(w, w, out=crossover), out=crossover)
    crossover *= 1.5 * nu
    np.cbrt(crossover, out=crossover)
    np.minimum(np.divide(h0, crossover, out=x), 1e12, out=x)
    crossover /= e
    np.subtract(x, 1, out=series)
    series *= x
    series += 1
    np.divide(x, series, out=series)
    series *= 3
    np.log1p(series, out=series)
    series *= np.sqrt(3) / 6
    np.subtract(2, x, out=angle)
    x *= np.sqrt(3)
    np.arctan2(x, angle, out=angle)
    angle += series
    angle *= crossover
    angle /= np.sqrt(3)
    return angle


def dry_film(
    time: ArrayLike,
    speed: ArrayLike,
    evaporation: ArrayLike,
    initial_thickness: ArrayLike,
    kinematic_viscosity: ArrayLike,
) -> FilmCourse:
    r"""Follow a film through any history of speed and evaporation.

    .. math:: \dot h = -\frac{2\omega^2}{3\nu}h^3 - e

    Parameters
    ----------
    time : array_like
        Moments along the first axis, never decreasing; a moment given twice is a jump. [s]
    speed : array_like
        Angular speed at those moments, linear between; further axes are draws. [rad/s]
    evaporation : array_like
        Thickness that a face loses per time at those moments; its square is linear between, as
        the disk's root of the speed is. [m/s]
    initial_thickness : array_like
        Thickness when the history begins, for each draw. [m]
    kinematic_viscosity : array_like
        Kinematic viscosity of the liquid, for each draw. [m²/s]

    Returns
    -------
    FilmCourse
        Thickness at each moment, and the moment at which it was dry. [m, s]

    Raises
    ------
    OutOfRangeError
        If a moment lies before its predecessor, a speed or evaporation is negative or not finite,
        or a thickness or viscosity is not positive.

    Notes
    -----
    Wetting film, thin against √(ν/ω), wafer about its own centre. Without evaporation it equals
    the thinning dose exactly; with it the integration is good to 1e-6 of the thickness.

    References
    ----------
    .. [1] D. Meyerhofer, "Characteristics of resist films produced by spinning," J. Appl. Phys.
       49, 3993-3997 (1978).

    Examples
    --------
    >>> course = dry_film([0.0, 5.0, 20.0], 209.4395, 4e-7, 1e-4, 8.92658e-7)
    >>> (1e6 * course.thickness).round(2), float(course.dry_time.round(4))
    (array([100.  ,   0.79,   0.  ]), 6.9596)
    """
    h0, nu = floats(initial_thickness, kinematic_viscosity)
    series = (time, speed, evaporation)
    shape = draws_shape(series, h0.shape)
    t, w, e = columns(series, shape)
    demand(
        np.isfinite(t) & (np.diff(t, axis=0, prepend=-np.inf) >= 0),
        where="dry_film, time",
        mend="Give moments that never decrease.",
    )
    for name, values in (("speed", w), ("evaporation", e)):
        demand(
            (values >= 0) & np.isfinite(values),
            where=f"dry_film, {name}",
            mend="Give finite values of zero or more.",
        )
    demand(
        (h0 > 0) & (nu > 0) & np.isfinite(h0 + nu),
        where="dry_film, initial_thickness",
        mend="Give a thickness and a viscosity above zero.",
    )
    rows = np.stack([np.ravel(np.broadcast_to(x, shape)) for x in (h0, nu)], axis=-1)
    thickness, dry_time = np.empty((len(t), len(rows))), np.empty(len(rows))
    _run_all(t, w, e, rows, thickness, dry_time)
    return FilmCourse(thickness.reshape((len(t), *shape)), dry_time.reshape(shape))


@njit(cache=True, error_model="numpy")
def _slope(y, at, span, nu, thick):  # type: ignore[no-untyped-def] # compiled
    """Give the slope of 1/h² for a thick film, of h for a thin one."""
    speed = span[0] + span[1] * at
    lost = np.sqrt(max(span[2] + span[3] * at, 0.0))
    if thick:
        return 4 * speed * speed / (3 * nu) + 2 * lost * y * np.sqrt(y)
    return -2 * speed * speed / (3 * nu) * y * y * y - lost


@njit(cache=True, error_model="numpy")
def _classic_step(y, at, h, span, nu, thick):  # type: ignore[no-untyped-def] # compiled
    """Make one fourth-order step of Runge and Kutta."""
    a = _slope(y, at, span, nu, thick)
    b = _slope(y + h / 2 * a, at + h / 2, span, nu, thick)
    c = _slope(y + h / 2 * b, at + h / 2, span, nu, thick)
    d = _slope(y + h * c, at + h, span, nu, thick)
    return y + h / 6 * (a + 2 * b + 2 * c + d)


@njit(cache=True, error_model="numpy")
def _step(y, at, h, span, nu, thick):  # type: ignore[no-untyped-def] # compiled
    """Step once and in two halves; give the extrapolated value and its error."""
    whole = _classic_step(y, at, h, span, nu, thick)
    half = _classic_step(y, at, h / 2, span, nu, thick)
    halves = _classic_step(half, at + h / 2, h / 2, span, nu, thick)
    return halves + (halves - whole) / 15, abs(halves - whole) / 15


@njit(cache=True, error_model="numpy")
def _vanishing(y, at, h, span, nu):  # type: ignore[no-untyped-def] # compiled
    """Give the part of a step after which a thin film is gone."""
    end, _ = _step(y, at, h, span, nu, False)  # noqa: FBT003 - compiled
    low, high, after = 0.0, h, h * y / (y - end)
    for _ in range(50):
        left, _ = _step(y, at, after, span, nu, False)  # noqa: FBT003 - compiled
        if abs(left) < 1e-10 * y or high - low < 1e-12 * h:
            break
        if left > 0.0:
            low = after
        else:
            high = after
        steepness = _slope(left, at + after, span, nu, False)  # noqa: FBT003 - compiled
        after = after - left / steepness if steepness < 0.0 else low
        if after <= low or after >= high:
            after = (low + high) / 2
    return after


@njit(cache=True, error_model="numpy")
def _run_span(thickness, guess, length, span, nu):  # type: ignore[no-untyped-def] # compiled
    """Integrate between two moments; also give when the film was gone, or -1."""
    at = 0.0
    while at < length:
        h = min(guess, length - at)
        speed = span[0] + span[1] * at
        lost = np.sqrt(max(span[2] + span[3] * at, 0.0))
        thick = 2 * speed * speed / (3 * nu) * thickness**3 >= lost
        y = thickness**-2.0 if thick else thickness
        new, error = _step(y, at, h, span, nu, thick)
        error /= y if thick else y + lost * h
        if not np.isfinite(error):  # the step overflowed
            guess = h * 0.1
            continue
        growth = 0.9 * (_TOLERANCE / max(error, 1e-30)) ** 0.2
        if error > _TOLERANCE:
            guess = h * max(growth, 0.1)
            continue
        if h < length - at or guess <= h:
            guess = h * min(max(growth, 0.2), 4.0)
        if not thick and new <= 0.0:
            return 0.0, guess, at + _vanishing(y, at, h, span, nu)
        thickness = new**-0.5 if thick else new
        at = length if h >= length - at else at + h
    return thickness, guess, -1.0


@njit(cache=True, error_model="numpy")
def _run_all(time, speed, lost, rows, thickness, dry_time):  # type: ignore[no-untyped-def] # compiled
    """Integrate all draws; fill the thickness at each moment and the dry times."""
    for j in range(rows.shape[0]):
        a, b, c = j % time.shape[1], j % speed.shape[1], j % lost.shape[1]
        h, nu = rows[j]
        guess = np.inf
        dry_time[j] = np.inf
        thickness[0, j] = h
        for i in range(1, time.shape[0]):
            length = time[i, a] - time[i - 1, a]
            if length > 0.0 and h > 0.0:
                span = (
                    speed[i - 1, b],
                    (speed[i, b] - speed[i - 1, b]) / length,
                    lost[i - 1, c] ** 2,
                    (lost[i, c] ** 2 - lost[i - 1, c] ** 2) / length,
                )
                h, guess, gone = _run_span(h, guess, length, span, nu)
                if gone >= 0.0:
                    dry_time[j] = time[i - 1, a] + gone
            thickness[i, j] = h
