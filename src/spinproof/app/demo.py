"""The demo: an invented job from take-in to the verified dossier, every run over the wire."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TypeVar

from spinproof.app.burn_in import (
    RunDone,
    Station,
    classify_run,
    make_next_run,
    make_witnessed_run,
    open_campaign,
)
from spinproof.app.clock import utc_now
from spinproof.app.evidence_desk import hold_evidence
from spinproof.app.handing_over import Dossier, issue_dossier, verify
from spinproof.app.home import Home, open_home
from spinproof.app.intake import HeadSetup, configure, open_shop_ledger, take_in
from spinproof.app.people import FrontDesk
from spinproof.app.planning import plan_burn_in
from spinproof.app.recording import StandAddress, service_stand
from spinproof.app.stand import stand_aside
from spinproof.dossier.verification import Verification
from spinproof.ledger.entries import Closing
from spinproof.model.channel_map import ChannelMap
from spinproof.model.configuration import Configuration
from spinproof.model.documents import parse_document
from spinproof.model.errors import BusyError
from spinproof.model.head import HeadSpec
from spinproof.model.job import JobFile
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.noun import Noun
from spinproof.model.plan import Plan
from spinproof.model.program import Fault, FaultKind
from spinproof.model.recipe import Recipe
from spinproof.model.run import Outcome

SEED = 1041
PLANNED_RUNS = 54
EXPECTED_RUNS = 80
"""With the witnessed run; for the progress bar alone."""
MARKER = ".spinproof-demo"
OWNER = "OW-1"
"""Who looks at the pages afterwards, at the machine itself and without a sign-in."""
CREEP = Fault(kind=FaultKind.TACH_GAP_CREEP, size=0.006)
"""The lock-nut of the head's tach was never torqued, so its gap creeps ..."""
NUT_LETS_GO = {23: Fault(kind=FaultKind.TACH_GAP, size=1.9)}
"""... until the nut lets go in this attempt of the first campaign."""
MISHAPS = {
    20: Fault(kind=FaultKind.DI_PRESSURE_DIP, size=1.4),
    37: Fault(kind=FaultKind.OPERATOR_STOP, size=200.0),
}
"""What goes wrong in which attempt of the second campaign."""

N = TypeVar("N", bound=Noun)
OnRun = Callable[[RunDone], None]
Say = Callable[[str], None]


@dataclass(frozen=True)
class DemoDone:
    """What the demo made."""

    home: Home
    dossier: Dossier
    verification: Verification


def play_demo(root: Path, *, say: Say, on_run: OnRun) -> DemoDone:
    """Play the invented job from take-in to the verified dossier.

    Parameters
    ----------
    root : Path
        Home folder of the demo; an earlier demo in it is removed first.
    say : callable
        Is called with a sentence at each station of the job.
    on_run : callable
        Is called after each run.

    Returns
    -------
    DemoDone
        Where everything lies, and whether the dossier verifies.

    Raises
    ------
    BusyError
        If the folder holds something else than an earlier demo.
    """
    home = _fresh_home(root)
    ledger = open_shop_ledger(home)
    try:
        job = demo_file("qa-1041.job.toml", JobFile)
        setup = demo_setup("as-built.configuration.toml")
        FrontDesk(ledger).first_owner(OWNER, utc_now())
        take_in(ledger, job, by="RT-1")
        configure(ledger, setup, by="AS-2")
        say(f"Job {job.job}, {job.order}: machine {job.machine}, head {setup.head.designation}.")
        plan = plan_burn_in(
            "QA-1041 burn-in",
            setup.head,
            [demo_file("cr-1.recipe.toml", Recipe)],
            demo_file("partial.load.toml", Load),
            runs=PLANNED_RUNS,
            seed=SEED,
        )
        upper = demo_file("upper.head.toml", HeadSpec)
        with stand_aside(upper, setup.head) as stand:
            address = StandAddress(stand.host, stand.port)
            say(f"Virtual stand at {stand.host}:{stand.port}, Modbus TCP. All of it is SIMULATED.")
            station = Station(
                home,
                ledger,
                setup.head.designation,
                address,
                operator="TT-1",
                simulated_start=True,
                seed=SEED,
            )
            _burn_in(station, plan, job.job, say, on_run)
        dossier = issue_dossier(home, ledger, setup.head.designation)
    finally:
        ledger.close()
    return DemoDone(home, dossier, verify(dossier.path, dossier.fingerprint))


def _burn_in(station: Station, plan: Plan, job: str, say: Say, on_run: OnRun) -> None:
    open_campaign(station.ledger, station.head, plan, by="TT-1")
    say(f"Campaign 1: {len(plan.runs)} runs planned.")
    failed = _until_failure(station, on_run)
    say(f"{failed.entry.name}: {failed.judgement.reasons[0]}")
    corrected = demo_setup("tach-corrected.configuration.toml")
    configure(station.ledger, corrected, by="AS-2")
    service_stand(station.address, corrected.channels)
    say(f"{corrected.configuration.what} Campaign 1 is closed; its counted runs are void.")
    open_campaign(station.ledger, station.head, plan, by="TT-1")
    say("Campaign 2: the count begins again at zero.")
    _second_campaign(station, len(plan.runs), job, say, on_run)
    customer = demo_file("cr-1.recipe.toml", Recipe)
    on_run(make_witnessed_run(station, customer, demo_file("partial.load.toml", Load)))
    say("Source inspection: the customer's recipe with 13 of 25 wafers.")
    with station.ledger.transaction("QI-2", utc_now()) as records:
        records.close_campaign(station.head, Closing.COMPLETE, "every planned run counted")


def _until_failure(station: Station, on_run: OnRun) -> RunDone:
    """Run until a failure stops the first campaign."""
    attempt = 0
    while True:
        attempt += 1
        done = make_next_run(station, faults=(NUT_LETS_GO.get(attempt, CREEP),))
        on_run(done)
        if done.outcome is not Outcome.COUNTED:
            return done


def _second_campaign(station: Station, planned: int, job: str, say: Say, on_run: OnRun) -> None:
    attempt = counted = 0
    while counted < planned:
        attempt += 1
        mishap = MISHAPS.get(attempt)
        done = make_next_run(station, faults=(mishap,) if mishap else ())
        on_run(done)
        counted += done.outcome is Outcome.COUNTED
        if done.judgement.outside_cause:
            say(f"{done.entry.name}: {done.judgement.outside_cause}")
            _show_outside_cause(station, job, done)
        elif done.outcome is not Outcome.COUNTED:
            say(f"{done.entry.name}: {done.outcome}; {done.judgement.reasons[0]}")


def _show_outside_cause(station: Station, job: str, done: RunDone) -> None:
    """Attach the building's own log of the supply, and have a second person confirm."""
    run = done.entry.name
    log = station.home.root / f"supply-log-{run}.csv"
    rows = "\n".join(f"{minute},{bar}" for minute, bar in enumerate((2.8, 2.8, 1.4, 2.8, 2.8)))
    log.write_text(
        f"# SIMULATED log of the building's water supply\nminute,pressure bar_g\n{rows}\n"
    )
    item = hold_evidence(
        station.home,
        station.ledger,
        job,
        log,
        f"Log of the water supply during {run}: pressure fell from 2.8 to 1.4 bar gauge.",
        by="TT-1",
    )
    log.unlink()
    classify_run(
        station.ledger,
        run,
        Outcome.INVALID_OUTSIDE,
        by="TT-1",
        reasons=("The building's water supply dipped; its own log shows it.",),
        evidence=(item.sha256,),
        second="QI-2",
    )


def demo_file(name: str, kind: type[N]) -> N:
    """Read one of the demo's files."""
    text = files("spinproof.app").joinpath("demo_data", name).read_text(encoding="utf-8")
    return parse_document(text, kind, name)


def demo_setup(configuration: str) -> HeadSetup:
    """Give the lower head of the demo in one of its configurations."""
    return HeadSetup(
        demo_file(configuration, Configuration),
        demo_file("lower.head.toml", HeadSpec),
        demo_file("lower.channels.toml", ChannelMap),
        demo_file("run.limits.toml", LimitSet),
    )


def _fresh_home(root: Path) -> Home:
    """Make the demo's home anew.

    Raises
    ------
    BusyError
        If the folder holds something that no demo made.
    """
    marker = root / MARKER
    if root.exists() and any(root.iterdir()):
        if not marker.exists():
            raise BusyError(
                "the folder holds something that no demo made",
                where=str(root),
                mend="Name an empty or a new folder for the demo.",
            )
        shutil.rmtree(root)
    home = open_home(root)
    marker.touch()
    return home
