"""A home folder with a job of the full process whose head has come to its dry test."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from shutil import copytree

from tests.demo_files import JOB
from tests.web.seed import HEAD, OWNER

from spinproof.app.clock import utc_now
from spinproof.app.home import Home, open_home
from spinproof.app.intake import open_shop_ledger
from spinproof.app.people import FrontDesk
from spinproof.app.shop import shop_rules
from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.measuring import Answered
from spinproof.ledger.records import Records
from spinproof.ledger.shop_entries import Deed, Meaning, Piece
from spinproof.model.attestation import Decontamination, Direction, EvidenceDetail
from spinproof.model.check import Checkpoint, Energy, EvidenceKind
from spinproof.model.instrument import (
    Calibration,
    InstrumentKind,
    InstrumentRecord,
    MeasuringRange,
)
from spinproof.model.job import Process
from spinproof.model.matter import Lockout
from spinproof.model.part import Belongs
from spinproof.model.tag import tag_of

SHARED = "QM-207-S"
BEFORE_THE_BUILD = (Checkpoint.INCOMING, Checkpoint.TEARDOWN, Checkpoint.RESTORATION)


@dataclass
class FloorShop:
    """A home folder, its ledger, and a clock that has come near the present."""

    home: Home
    ledger: Ledger
    now: datetime

    def later(self, minutes: float = 1) -> datetime:
        """Let time go on."""
        self.now += timedelta(minutes=minutes)
        return self.now


def copied_shop(template: Path, root: Path, *, at_dry_test: bool = True) -> FloorShop:
    """Give a shop of its own, as in a home folder that nobody has open."""
    home = open_home(copytree(template, root / "shop"))
    shop = FloorShop(home, open_shop_ledger(home), utc_now() - timedelta(hours=9))
    if at_dry_test:
        _pass(shop, Checkpoint.BUILD)
    return shop


def _pass(shop: FloorShop, point: Checkpoint) -> None:
    for who, meaning in (("TT-1", Meaning.PERFORMED), ("QI-2", Meaning.VERIFIED)):
        with shop.ledger.transaction(who, shop.later()) as records:
            records.sign_gate(HEAD, point, meaning)


def make_floor_shop(root: Path) -> Path:
    """Make a shop whose head QM-207-L is built, all but signed; a lock is on."""
    home = open_home(root)
    shop = FloorShop(home, open_shop_ledger(home), utc_now() - timedelta(days=3))
    FrontDesk(shop.ledger).first_owner(OWNER, shop.now)
    with shop.ledger.transaction("RT-1", shop.later()) as records:
        records.add_job(JOB.model_copy(update={"process": Process.FULL}), shop_rules())
        _instruments(records, shop.now.date())
        _parts(records)
    with shop.ledger.transaction("RT-1", shop.later()) as records:
        _receive(records)
    for point in BEFORE_THE_BUILD:
        _pass(shop, point)
    shop.ledger.close()
    return root


def _receive(records: Records) -> None:
    records.state_fact(
        Decontamination(
            direction=Direction.INCOMING,
            cleared=True,
            none_known_by="RT-1",
            method="declaration and wipe test",
        ),
        unit=HEAD,
    )
    records.open_matter(
        JOB.job,
        Lockout(
            where="bowl and cabinet",
            locked=tuple(Energy),
            verification="0 V between all phases, gauges at 0 bar",
        ),
        unit=HEAD,
    )
    for kind in (EvidenceKind.PHOTO, EvidenceKind.DOCUMENT):
        sha256 = sha256_of_bytes(kind.encode())
        records.add_evidence(JOB.job, sha256, f"d-01 {kind}", f"the {kind} of D-01")
        records.state_fact(EvidenceDetail(sha256=sha256, shows=kind), unit=HEAD)


def _parts(records: Records) -> None:
    positions = shop_rules().positions
    for unit, belongs in ((HEAD, Belongs.HEAD), (SHARED, Belongs.SHARED)):
        for place in positions.of(belongs):
            tag = tag_of(f"{unit}-{place.code}01")
            records.record_as_found(unit, place.code, Piece(tag, place.name))


def _instruments(records: Records, today: date) -> None:
    ranges = (
        MeasuringRange(
            unit="Ohm", low=0.0, high=10.0, resolution=0.001, standard_uncertainty=0.004
        ),
    )
    for name, due in (("LO-1", today + timedelta(days=200)), ("LO-2", today - timedelta(days=9))):
        calibrated = Calibration(
            at=today - timedelta(days=160), due=due, certificate=f"certificate of {name}"
        )
        records.add_instrument(
            InstrumentRecord(
                id=name,
                kind=InstrumentKind.LOW_OHM_METER,
                words="low-ohm meter, 1 A",
                ranges=ranges,
                calibrations=(calibrated,),
            )
        )


def make_check(shop: FloorShop, check: str, *, finish: bool = True) -> None:
    """Answer every reading of a check of yes and no, an hour ago, and finish it."""
    shop.now = utc_now() - timedelta(hours=1)
    template = shop_rules().check(check)
    with shop.ledger.transaction("TT-1", shop.now) as records:
        for reading in template.readings:
            records.answer_reading(HEAD, check, Answered(reading.name, yes=True))
        if finish:
            held = tuple(item.sha256 for item in records.evidence(JOB.job))
            records.finish_check(HEAD, check, Deed("finished", held))
