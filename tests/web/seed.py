"""A home folder with the demo job: simulated runs, recorded, sealed and judged in process."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.demo_files import CR_1, DEMO_DATA, JOB, LIMITS, LOWER, LOWER_CHANNELS, PARTIAL_LOAD

from spinproof.app.home import Home, open_home
from spinproof.app.intake import open_shop_ledger
from spinproof.app.people import FrontDesk
from spinproof.files.digest import sha256_of_bytes
from spinproof.judge.judging import judge
from spinproof.ledger.entries import RunEntry
from spinproof.ledger.ledger import Ledger
from spinproof.model.configuration import Configuration
from spinproof.model.documents import parse_document
from spinproof.model.plan import Plan
from spinproof.model.program import Fault, FaultKind, Program
from spinproof.model.registers import RECORD_REGISTERS, SAMPLE_RATE_HZ, SAMPLES_PER_BLOCK
from spinproof.model.run import Ending, Outcome, Purpose, RunHeader
from spinproof.plan.planning import make_plan
from spinproof.record.blocks import RecordLayout
from spinproof.record.journal import SUFFIX, JournalWriter, Opening
from spinproof.record.trace_file import seal_journal
from spinproof.virtualhead.head import VirtualHead, simulate

AS_BUILT, CORRECTED = (
    parse_document((DEMO_DATA / name).read_text(), Configuration, name)
    for name in ("as-built.configuration.toml", "tach-corrected.configuration.toml")
)
HEAD = "QM-207-L"
EXCLUDED = "QM-207-U"
OWNER = "OW-1"
BEGIN = datetime(2031, 5, 6, 7, 0, 0, tzinfo=UTC)
PERIOD_US = 1_000_000 // SAMPLE_RATE_HZ
LAYOUT = RecordLayout(
    record_registers=RECORD_REGISTERS,
    samples_per_block=SAMPLES_PER_BLOCK,
    sample_period_us=PERIOD_US,
)
PLAN: Plan = make_plan("burn-in of the lower head", LOWER, (CR_1,), 2, 1, 4, 7, PARTIAL_LOAD)


def blocks_of(program: Program, head: VirtualHead) -> Iterator[bytes]:
    """Give the blocks that the stand would send while the head runs the program."""
    records = list(simulate(head, program))
    for number, first in enumerate(range(0, len(records), SAMPLES_PER_BLOCK)):
        part = records[first : first + SAMPLES_PER_BLOCK]
        began_us = 3_600_000_000 + first * PERIOD_US
        block_head = struct.pack(">IIQHH", number, first, began_us, program.run_number, len(part))
        registers = [register for record in part for register in record]
        registers += [0] * (SAMPLES_PER_BLOCK * RECORD_REGISTERS - len(registers))
        yield block_head + struct.pack(f">{len(registers)}H", *registers)


@dataclass
class Bench:
    """A home folder, its ledger, and a head to run."""

    home: Home
    ledger: Ledger
    head: VirtualHead
    now: datetime = BEGIN

    def later(self, minutes: float) -> datetime:
        """Let time go on."""
        self.now += timedelta(minutes=minutes)
        return self.now

    def start(self, purpose: Purpose = Purpose.BURN_IN) -> RunEntry:
        """Allot the next run its number."""
        with self.ledger.transaction("TT-1", self.later(4)) as records:
            planned = records.next_planned(HEAD) if purpose is Purpose.BURN_IN else None
            return records.start_run(
                HEAD,
                purpose=purpose,
                recipe=planned.recipe if planned else CR_1,
                load=planned.load if planned else PARTIAL_LOAD,
                spec=LOWER,
                planned=planned.number if planned else None,
            )

    def header(self, run: RunEntry) -> RunHeader:
        """Give what is known about a run before its first sample."""
        with self.ledger.reading() as records:
            recipe, load = records.recipe(run.name), records.load(run.name)
        return RunHeader(
            run=run.name,
            purpose=run.purpose,
            recipe=recipe,
            head=LOWER,
            load=load,
            channel_map=LOWER_CHANNELS,
            started_at=run.started_at,
            source="modbus-tcp",
            stand_identity="virtual stand",
            simulated=True,
            recorder_version="spinproof 0.1.0",
        )

    def journal(self, run: RunEntry) -> Path:
        """Give the path of a run's journal."""
        return self.home.journals / f"{run.name}{SUFFIX}"

    def opening(self, run: RunEntry) -> Opening:
        """Give the opening frame of a run's journal."""
        return Opening(header=self.header(run), run_number=run.number, layout=LAYOUT)

    def program(self, run: RunEntry, *faults: Fault) -> Program:
        """Give what the virtual head is told to do in a run."""
        header = self.header(run)
        return Program(
            run_number=run.number,
            seed=run.number,
            recipe=header.recipe,
            load=header.load,
            faults=faults,
        )

    def attempt(self, *faults: Fault, purpose: Purpose = Purpose.BURN_IN) -> RunEntry:
        """Make one run from its number to its judgement."""
        run = self.start(purpose)
        with JournalWriter(self.journal(run), self.opening(run), 0) as journal:
            for number, block in enumerate(blocks_of(self.program(run, *faults), self.head)):
                journal.append_block(block, number * 250_000_000)
            journal.close(Ending.COMPLETE, 0)
        trace = seal_journal(self.journal(run), self.home.traces)
        header = trace.header
        judgement = judge(trace, header.recipe, header.head, LIMITS, header.load)
        with self.ledger.transaction("TT-1", self.later(7)) as records:
            records.finish_run(run.name, trace.ending, trace.sha256)
            records.add_judgement(run.name, judgement, LIMITS)
            return records.run(run.name)

    def configure(self, configuration: Configuration) -> None:
        """Record a configuration of the head."""
        document = {
            "configuration": configuration.to_document(),
            "head": LOWER.to_document(),
            "channels": LOWER_CHANNELS.to_document(),
            "limits": LIMITS.to_document(),
        }
        with self.ledger.transaction("AS-2", self.later(30)) as records:
            records.set_configuration(HEAD, document, configuration.what)

    def open_campaign(self) -> None:
        """Open a campaign from the plan."""
        with self.ledger.transaction("TT-1", self.later(1)) as records:
            records.open_campaign(HEAD, PLAN)


def empty_bench(root: Path) -> Bench:
    """Give a home folder without a job, of one owner who needs no sign-in at this machine."""
    home = open_home(root)
    ledger = open_shop_ledger(home)
    FrontDesk(ledger).first_owner(OWNER, BEGIN)
    return Bench(home, ledger, VirtualHead(LOWER))


def burn_in_bench(root: Path) -> Bench:
    """Give a home folder whose head is about to begin its burn-in."""
    bench = empty_bench(root)
    with bench.ledger.transaction("RT-1", bench.now) as records:
        records.add_job(JOB)
    bench.configure(AS_BUILT)
    bench.open_campaign()
    return bench


def demo_bench(root: Path) -> Bench:
    """Give a home folder with a small burn-in: a failure, two invalid runs, a full campaign."""
    bench = burn_in_bench(root)
    bench.attempt()
    bench.attempt(Fault(kind=FaultKind.TACH_GAP, size=1.9))
    bench.configure(CORRECTED)
    bench.open_campaign()
    bench.attempt()
    dipped = bench.attempt(Fault(kind=FaultKind.DI_PRESSURE_DIP, size=1.4))
    _blame_the_supply(bench, dipped)
    bench.attempt(Fault(kind=FaultKind.OPERATOR_STOP, size=60.0))
    for _ in range(len(PLAN.runs) - 1):
        bench.attempt()
    bench.attempt(purpose=Purpose.WITNESS)
    return bench


def _blame_the_supply(bench: Bench, run: RunEntry) -> None:
    log = b"time,pressure\n"
    sha256 = sha256_of_bytes(log)
    (bench.home.evidence / sha256).write_bytes(log)
    with bench.ledger.transaction("TT-1", bench.later(5)) as records:
        records.add_evidence("QA-1041", sha256, "supply.csv", "log of the DI supply pressure")
        records.classify(
            run.name,
            Outcome.INVALID_OUTSIDE,
            reasons=("the DI supply dipped from 2.8 to 1.4 bar gauge during the rinse",),
            evidence=(sha256,),
            second="QI-2",
        )
