"""The door: its inflated seal, its lock, and its leaf."""

import math

from spinproof.model.head import HeadSpec


class Seal:
    """The inflated door seal: fed, then closed off and leaking, then vented.

    Parameters
    ----------
    spec : HeadSpec
        The head, with working and release pressure.
    loss_percent : float
        Pressure that the closed-off seal loses in 60 s. [%]
    vent_s : float
        Time to vent from the working pressure below the release pressure. [s]
    """

    FEED_S = 0.4
    """Time constant of inflation. [s]"""

    def __init__(self, spec: HeadSpec, loss_percent: float, vent_s: float) -> None:
        self._working = spec.seal_pressure_kpa_g
        self._leak = -math.log1p(-loss_percent / 100) / 60
        self._vent = math.log(spec.seal_pressure_kpa_g / spec.seal_release_kpa_g) / vent_s
        self.pressure_kpa_g = 0.0
        self.fed = False
        """Whether the valve joins the seal to its supply; when it drops, the seal vents."""
        self.closed_off = False
        """Whether the supply is shut behind the valve, so that a leak shows."""

    @property
    def is_inflated(self) -> bool:
        """Whether the seal holds its working pressure, within 5 %."""
        return self.pressure_kpa_g >= 0.95 * self._working

    def advance(self, h: float) -> None:
        """Move on by ``h`` seconds."""
        if not self.fed:
            rate = -self.pressure_kpa_g * self._vent
        elif self.closed_off:
            rate = -self.pressure_kpa_g * self._leak
        else:
            rate = (self._working - self.pressure_kpa_g) / self.FEED_S
        self.pressure_kpa_g += rate * h


class Door:
    """The door's lock and its leaf, as the switches on them tell."""

    def __init__(self) -> None:
        self.is_locked = False
        self.is_closed = True
