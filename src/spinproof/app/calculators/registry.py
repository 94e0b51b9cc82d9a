"""All calculators, by name."""

from spinproof.app.calculators.balance import BALANCE
from spinproof.app.calculators.calculator import Calculator
from spinproof.app.calculators.drive import DRIVE
from spinproof.app.calculators.load import LOAD
from spinproof.app.calculators.nitrogen_heater import NITROGEN_HEATER
from spinproof.app.calculators.oxygen import OXYGEN
from spinproof.app.calculators.permissible_unbalance import PERMISSIBLE_UNBALANCE

CALCULATORS: dict[str, Calculator] = {
    each.name: each
    for each in (BALANCE, LOAD, PERMISSIBLE_UNBALANCE, DRIVE, NITROGEN_HEATER, OXYGEN)
}
"""In the order in which they are offered."""
