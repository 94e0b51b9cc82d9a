"""All calculators, by name."""

from spinproof.app.calculators.balance import BALANCE
from spinproof.app.calculators.calculator import Calculator
from spinproof.app.calculators.drive import DRIVE
from spinproof.app.calculators.electropolish import ELECTROPOLISH
from spinproof.app.calculators.load import LOAD
from spinproof.app.calculators.nitrogen_heater import NITROGEN_HEATER
from spinproof.app.calculators.oxygen import OXYGEN
from spinproof.app.calculators.permissible_unbalance import PERMISSIBLE_UNBALANCE
from spinproof.app.calculators.resistivity import RESISTIVITY
from spinproof.app.calculators.wafer import WAFER

_ALL = (
    BALANCE,
    LOAD,
    PERMISSIBLE_UNBALANCE,
    DRIVE,
    WAFER,
    ELECTROPOLISH,
    RESISTIVITY,
    NITROGEN_HEATER,
    OXYGEN,
)

CALCULATORS: dict[str, Calculator] = {each.name: each for each in _ALL}
"""In the order in which they are offered."""
