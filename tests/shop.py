"""A shop with the demo's job taken in, its lower head configured, and short plans."""

from dataclasses import dataclass
from pathlib import Path

from tests.demo_files import CR_1, JOB, LIMITS, LOWER, LOWER_CHANNELS, PARTIAL_LOAD

from spinproof.app.demo import demo_setup
from spinproof.app.home import Home, open_home
from spinproof.app.intake import configure, open_shop_ledger, take_in
from spinproof.files.canonical import digest_of
from spinproof.ledger.ledger import Ledger
from spinproof.model.plan import Cell, Plan, PlannedRun
from spinproof.model.recipe import Recipe

HEAD = "QM-207-L"
FILES = (CR_1, JOB, LIMITS, LOWER, LOWER_CHANNELS, PARTIAL_LOAD)


@dataclass(frozen=True)
class Shop:
    """Folders and ledger of a shop."""

    home: Home
    ledger: Ledger


def open_shop(root: Path) -> Shop:
    """Open a shop whose job is taken in and whose lower head is configured."""
    home = open_home(root)
    ledger = open_shop_ledger(home)
    take_in(ledger, JOB, by="RT-1")
    configure(ledger, demo_setup("as-built.configuration.toml"), by="AS-2")
    return Shop(home, ledger)


def short_recipe() -> Recipe:
    """Give a recipe of the demo's envelope that is over soon."""
    document = CR_1.to_document() | {"name": "short", "source": "shop"}
    for step, seconds, rpm in zip(
        document["steps"], (20, 5, 60, 60), (300, 300, 1000, 600), strict=True
    ):
        step |= {"duration_s": seconds, "speed_rpm": rpm, "heater_c": None}
    document["steps"][0]["end_resistivity_mohm_cm"] = None
    return Recipe.from_document(document)


def short_plan(runs: int) -> Plan:
    """Give a plan of short runs for the demo's lower head."""
    return Plan(
        name="short plan",
        head=HEAD,
        head_sha256=digest_of(LOWER.to_document()),
        seed=1,
        software="test",
        feasible_share=1.0,
        runs=tuple(
            PlannedRun(number=n, cell=Cell.FILL, recipe=short_recipe(), load=PARTIAL_LOAD)
            for n in range(1, runs + 1)
        ),
        reliability_if_clean=0.05 ** (1 / runs),
        restart_rule="A change starts the count again.",
    )
