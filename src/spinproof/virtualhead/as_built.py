"""The head as it was built: near its specification, never on it, and different each day."""

from random import Random

from spinproof.model.head import HeadSpec

OWN_SHARE, DAILY_SHARE = 0.005, 0.003
"""Standard deviations of a quantity from its specification: the head's own, and the run's. [1]"""
DRIVE_SHARE = 0.0004
"""Standard deviation of a drive's speed from what it believes. [1]"""


def as_built(spec: HeadSpec, rng: Random) -> HeadSpec:
    """Give the head as it is in one run.

    Parameters
    ----------
    spec : HeadSpec
        The head as specified; its designation decides what is its own.
    rng : Random
        Source of what differs from run to run.

    Returns
    -------
    HeadSpec
        The same head with its real drag, flows and supply pressure.
    """
    own = Random(spec.designation)  # noqa: S311 - tolerances of a simulation, no secret

    def near(value: float) -> float:
        return value * (1 + own.gauss(0.0, OWN_SHARE) + rng.gauss(0.0, DAILY_SHARE))

    return spec.model_copy(
        update={
            "coulomb_torque_n_m": near(spec.coulomb_torque_n_m),
            "quadratic_drag_n_m_s2": near(spec.quadratic_drag_n_m_s2),
            "di_flow_lpm": near(spec.di_flow_lpm),
            "di_pressure_bar_g": near(spec.di_pressure_bar_g),
            "n2_flow_slm": near(spec.n2_flow_slm),
        }
    )


def drive_scale(spec: HeadSpec) -> float:
    """Give the true speed of a head's drive in proportion to the speed that it believes."""
    own = Random(f"{spec.designation} drive")  # noqa: S311 - tolerances of a simulation, no secret
    return 1 + own.gauss(0.0, DRIVE_SHARE)
