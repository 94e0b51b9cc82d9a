"""A job of the full process, played through the ledger with the shop's own rules."""

import fcntl
import shutil
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tests import postgres
from tests.demo_files import JOB
from tests.shop_files import matrix, positions, sheets

from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.ledger.measuring import Answered
from spinproof.ledger.records import Records
from spinproof.ledger.shop_entries import CheckEntry, Deed, Meaning, Piece
from spinproof.ledger.standing import (
    answers_of,
    passed_checks,
    required_checks,
    standing_of,
)
from spinproof.ledger.states import LockoutState
from spinproof.model.attestation import (
    AgreedLimit,
    Attestation,
    Balance,
    Decontamination,
    Direction,
    EvidenceDetail,
    Plane,
)
from spinproof.model.calculation import Calculation, Result, TypedInput
from spinproof.model.check import (
    Answer,
    Checkpoint,
    CheckTemplate,
    Energy,
    EvidenceKind,
    LimitFrom,
    Reading,
)
from spinproof.model.instrument import (
    Calibration,
    InstrumentKind,
    InstrumentRecord,
    MeasuringRange,
    Tolerance,
)
from spinproof.model.job import JobFile
from spinproof.model.limit import Basis, Limit
from spinproof.model.matter import Lockout
from spinproof.model.part import Belongs
from spinproof.model.quantity import Quantity, units_of
from spinproof.model.shop_rules import ShopRules
from spinproof.model.tag import tag_of

START = datetime(2031, 5, 6, 7, 0, tzinfo=UTC)
HEAD, OTHER, SHARED = "QM-207-L", "QM-207-U", "QM-207-S"
RULES = ShopRules(name="shop rules", positions=positions(), sheets=sheets(), matrix=matrix())
POSITION_OF = {
    "SC-03": "BWL",
    "SC-04": "RTR",
    "SC-05": "BRF",
    "SC-06": "SSL",
    "SC-07": "DSL",
    "SC-08": "BLT",
    "SC-12": "DSW",
    "SC-13": "VDI",
    "SC-15": "NFI",
    "SC-20": "WIN",
    "SC-21": "ION",
}

CALCULATED = Calculation(
    calculator="permissible-unbalance",
    title="Permissible unbalance",
    inputs=(
        TypedInput(name="mass", label="Mass", typed="16.2 kg", si=16.2, si_unit="kg"),
        TypedInput(name="speed", label="Speed", typed="2000 rpm", si=209.43951, si_unit="rad/s"),
    ),
    results=(Result(name="total", label="Whole rotor", value=487.3006, unit="g.mm", leads=True),),
    cautions=("A grade without its speed says nothing.",),
    formula=("U = G m / ω",),
    model_error="A rigid rotor is assumed.",
    sources=("ISO 21940-11:2016",),
    software="spinproof 0.1.0",
)


def full_job(**changes: Any) -> JobFile:
    """Give the demo's job as one of the full process."""
    document = JOB.to_document() | {"process": "full"} | changes
    for line in document["scope"]:
        line["position"] = POSITION_OF.get(line["item"])
    return JobFile.from_document(document)


class Clock:
    """Time that goes on by a minute with every transaction."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def tick(self) -> datetime:
        """Give the next moment."""
        self.now += timedelta(minutes=1)
        return self.now


class Floor:
    """People who do one thing after the other on one head."""

    def __init__(self, ledger: Ledger, head: str = HEAD) -> None:
        self.ledger = ledger
        self.head = head
        with ledger.reading() as records:
            told = records.audit()
        self.clock = Clock(datetime.fromisoformat(told[-1].at) if told else START)

    def do(self, who: str, act: Callable[[Records], Any]) -> Any:
        """Do something in a transaction of its own."""
        with self.ledger.transaction(who, self.clock.tick()) as records:
            return act(records)

    def file(self) -> HeadFile:
        """Open the file of the head."""
        with self.ledger.reading() as records:
            return records.head_file(self.head, self.clock.now.date())

    def take_in(self, job: JobFile | None = None) -> None:
        """Take the job in, with the shop's instruments."""
        self.do("RT-1", lambda records: records.add_job(job or full_job(), RULES))
        self.do("QI-2", add_instruments)
        self.agree_limits()

    def agree_limits(self) -> None:
        """State the limits that stand in the head's own numbers."""
        for check in _all_checks():
            for reading in check.readings:
                if reading.limit_from is LimitFrom.HEAD_SPEC and reading.unit is not None:
                    limit = Limit(
                        metric=reading.name,
                        lower=0.5,
                        upper=2.0,
                        unit=reading.unit,
                        basis=Basis.SHOP_RULE,
                        source="head spec",
                    )
                    agreed = AgreedLimit(
                        check=check.id, reading=reading.name, limit=limit, approved_by="QI-2"
                    )
                    self.state(agreed, who="QI-2")

    def state(self, fact: Attestation, deed: Deed | None = None, who: str = "RT-1") -> None:
        """State a fact of the head."""
        self.do(who, lambda records: records.state_fact(fact, unit=self.head, deed=deed))

    def sign(self, point: Checkpoint, by: str = "TT-1", verified_by: str = "QI-2") -> None:
        """Sign a gate, performed and verified."""
        self.do(by, lambda records: records.sign_gate(self.head, point, Meaning.PERFORMED))
        self.do(verified_by, lambda records: records.sign_gate(self.head, point, Meaning.VERIFIED))

    def lock(self, *left_on: Energy, who: str = "TD-2") -> str:
        """Open a lockout; give its name."""
        locked = tuple(energy for energy in Energy if energy not in left_on)
        content = Lockout(where="bowl", locked=locked, left_on=left_on, verification="0 V, 0 bar")
        return self.do(
            who,
            lambda records: (
                records.open_matter(records.unit(self.head).job, content, unit=self.head).name
            ),
        )

    def unlock(self, name: str, who: str = "TD-2") -> None:
        """Remove a lockout."""
        self.do(
            who,
            lambda records: records.step_matter(name, LockoutState.REMOVED, Deed("work done")),
        )

    def evidence(self, name: str, shows: EvidenceKind, who: str = "TT-1") -> str:
        """Hold a file that shows the head; give its hash."""
        sha256 = sha256_of_bytes(f"{self.head} {name}".encode())

        def add(records: Records) -> None:
            job = records.unit(self.head).job
            records.add_evidence(job, sha256, name, f"{name} of {self.head}")
            detail = EvidenceDetail(sha256=sha256, shows=shows, removed=("place of the camera",))
            records.state_fact(detail, unit=self.head)

        self.do(who, add)
        return sha256

    def up_to_build(self) -> None:
        """Take the head in, tear it down and build it up; nothing is exchanged."""
        cleared = Decontamination(
            direction=Direction.INCOMING,
            cleared=True,
            none_known_by="RT-1",
            method="rinse and strip",
        )
        self.state(cleared)
        self.sign(Checkpoint.INCOMING, "RT-1")
        self.do("TD-2", lambda records: record_everything(records, self.head))
        self.sign(Checkpoint.TEARDOWN, "TD-2")
        self.sign(Checkpoint.RESTORATION, "EP-1")
        self.unlock(self.lock())
        self.sign(Checkpoint.BUILD, "AS-2")

    def balance(self) -> None:
        """Record the balance of the rotor that is in, in the spindle that is in."""
        file = self.file()
        rotor, spindle = file.occupant("RTR"), file.occupant("SPI")
        self.state(
            Balance(
                rotor=rotor.tag,
                spindle=spindle.tag,
                service_rpm=2000.0,
                grade="G 2.5",
                planes=(
                    Plane(residual_g_mm=61.0, limit_g_mm=96.69),
                    Plane(residual_g_mm=48.0, limit_g_mm=96.69),
                ),
                standard_uncertainty_g_mm=7.5,
            ),
            who="AS-2",
        )

    def make_dry_test(self) -> None:
        """Make every check of the dry test."""
        self.make_all(Checkpoint.DRY_TEST)

    def pass_dry_test(self) -> None:
        """Sign the dry test, and balance the rotor."""
        self.sign(Checkpoint.DRY_TEST)
        self.balance()

    def pass_wet_test(self) -> None:
        """Pass the wet test."""
        self.make_all(Checkpoint.WET_TEST)
        self.sign(Checkpoint.WET_TEST)

    def make(self, check: str, **answers: Answered) -> CheckEntry:
        """Make a check: under lockout where it asks for one, with every answer in order."""
        template = RULES.check(check)
        lock = self.lock(*template.energies) if template.lockout else None
        held = tuple(self.evidence(_file_name(self, check, k), k) for k in template.evidence)
        in_force = answers_of(self.file(), check)

        def answer_and_finish(records: Records) -> CheckEntry:
            for reading in template.readings:
                given = answers.get(reading.name, good_answer(reading))
                deed = Deed("measured again") if reading.name in in_force else None
                records.answer_reading(self.head, check, given, deed)
            return records.finish_check(self.head, check, Deed("finished", held))

        done = self.do("TT-1", answer_and_finish)
        if lock is not None:
            self.unlock(lock)
        return done

    def make_all(self, point: Checkpoint, but: Iterable[str] = ()) -> None:
        """Make every check of a checkpoint that does not stand, in an order that is allowed."""
        file = self.file()
        left = [
            check
            for check in required_checks(file, point)
            if check.id not in but and not standing_of(file, check.id).stands
        ]
        stands = set(passed_checks(file))
        while left:
            check = next(c for c in left if set(c.after) <= stands)
            assert self.make(check.id).passed, check.id
            stands.add(check.id)
            left.remove(check)


def at_bonding(floor: Floor) -> None:
    """Pass the first check, keep a calculation, and lock the head for the second."""
    floor.make("D-01")
    floor.do("AS-2", lambda records: records.keep_calculation(CALCULATED, job=JOB.job, unit=HEAD))
    floor.lock()


STAGES: dict[str, tuple[str | None, Callable[[Floor], None]]] = {
    "taken in": (None, Floor.take_in),
    "built": ("taken in", Floor.up_to_build),
    "bonding": ("built", at_bonding),
    "dry made": ("built", Floor.make_dry_test),
    "dry": ("dry made", Floor.pass_dry_test),
    "wet": ("dry", Floor.pass_wet_test),
}
"""How a head gets to a stage: the stage before, and what is done from there."""


class Stages:
    """Ledgers played up to a stage, once for all tests."""

    def __init__(self, folder: Path, empty_file: Path) -> None:
        self.folder = folder
        self.empty_file = empty_file
        self.databases: dict[str, str] = {}

    def file(self, stage: str) -> Path:
        """Give the file of a ledger at a stage; copy it before you open it."""
        path = self.folder / f"{stage}.db"
        before, act = STAGES[stage]
        base = self.empty_file if before is None else self.file(before)
        with (self.folder / "lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)  # workers of one test run share the folder
            if not path.exists():
                part = path.with_suffix(".part")
                shutil.copy(base, part)
                _play(f"sqlite:///{part}", act)
                part.rename(path)
        return path

    def database(self, stage: str, server: postgres.Server, empty: str) -> str:
        """Give the name of a PostgreSQL database at a stage, to be used as a template."""
        if stage not in self.databases:
            before, act = STAGES[stage]
            template = empty if before is None else self.database(before, server, empty)
            name = server.new_database(template)
            _play(server.url(name), act)
            self.databases[stage] = name
        return self.databases[stage]


def _play(url: str, act: Callable[[Floor], None]) -> None:
    ledger = open_ledger(url, at=START)
    act(Floor(ledger))
    ledger.close()


def _file_name(floor: Floor, check: str, kind: EvidenceKind) -> str:
    made = len([c for c in floor.file().checks if c.check == check])
    return f"{check}-{kind}-{made + 1}"


def _all_checks() -> list[CheckTemplate]:
    return [check for sheet in RULES.sheets for check in sheet.checks]


def good_answer(reading: Reading) -> Answered:
    """Give an answer that passes."""
    if reading.answer is Answer.YES_NO:
        return Answered(reading.name, yes=True)
    if reading.answer is Answer.TEXT:
        return Answered(reading.name, words="as seen")
    lower, upper = reading.lower, reading.upper
    if lower is None and upper is None:
        value = 1.0
    elif lower is None:
        value = upper / 2 if upper > 0 else upper - 1
    elif upper is None:
        value = 2 * lower if lower > 0 else lower + 1
    else:
        value = (lower + upper) / 2
    uncertainty = None
    if reading.derived:
        span = (upper - lower) if lower is not None and upper is not None else abs(value) or 1.0
        uncertainty = Quantity(value=span / 1000, unit=reading.unit)
    return Answered(
        reading.name,
        quantity=Quantity(value=value, unit=reading.unit),
        instrument=f"{reading.instruments[0]} 1",
        uncertainty=uncertainty,
        conditions="21 degC, 45 %",
    )


def add_instruments(records: Records) -> None:
    """Record an instrument of every kind that the checks name."""
    ranges: dict[InstrumentKind, dict[str, MeasuringRange]] = {}
    for check in _all_checks():
        for reading in check.readings:
            for kind in reading.instruments:
                unit = units_of(reading.dimension)[0] if reading.dimension else None
                if unit is not None:
                    ranges.setdefault(kind, {})[unit] = MeasuringRange(
                        unit=unit,
                        low=-1e9,
                        high=1e9,
                        resolution=1e-6,
                        standard_uncertainty=1e-6,
                        relative_uncertainty=1e-3,
                    )
    for kind, held in ranges.items():
        good = Calibration(
            at=datetime(2031, 1, 10, tzinfo=UTC).date(),
            due=datetime(2032, 1, 10, tzinfo=UTC).date(),
            certificate=f"C-{kind}",
            as_found=Tolerance.IN,
        )
        records.add_instrument(
            InstrumentRecord(
                id=f"{kind} 1",
                kind=kind,
                words=kind.value,
                ranges=tuple(held.values()),
                calibrations=(good,) if kind.needs_calibration else (),
            )
        )


def add_expired_instruments(floor: Floor) -> None:
    """Record a second instrument of every kind, whose calibration ended long ago."""

    def add(records: Records) -> None:
        for first in file.instruments.values():
            ended = [c.model_copy(update={"due": c.at + timedelta(30)}) for c in first.calibrations]
            name = first.id.replace(" 1", " 2")
            changed = {"id": name, "calibrations": tuple(ended)}
            records.add_instrument(first.model_copy(update=changed))

    file = floor.file()
    floor.do("QI-2", add)


def record_everything(records: Records, head: str) -> None:
    """Record a part in every position of a head, and of its shared module."""
    file = records.head_file(head, START.date())
    for unit, belongs in ((head, Belongs.HEAD), (file.shared, Belongs.SHARED)):
        if unit is None:
            continue
        name = unit if isinstance(unit, str) else unit.designation
        for place in RULES.positions.of(belongs):
            piece = Piece(new_tag(name, place.code, 1), place.name)
            records.record_as_found(name, place.code, piece)


def new_tag(unit: str, code: str, number: int) -> str:
    """Give the tag of an instance."""
    return tag_of(f"{unit.replace('-', '')}{code}{number:02d}")
