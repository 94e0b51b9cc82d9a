"""Binding proofs on record: made at the stand or by hand, kept in the ledger, demanded of runs."""

import tempfile
import threading
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from spinproof.app.binding import Neighbour, Samples, gather, map_digest, prove, samples_of_run
from spinproof.app.clock import utc_now
from spinproof.app.home import Home
from spinproof.app.intake import HeadSetup, present_setup
from spinproof.app.recording import RunOrder, StandAddress, record
from spinproof.app.recovery import hold_head
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.shop_reading import ShopReading
from spinproof.model.attestation import BindingStatement
from spinproof.model.binding import BindingProof, Stimulus
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import DocumentError, GateClosedError
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.program import Fault, Program
from spinproof.model.recipe import Recipe, Step, StepKind, TimerBasis
from spinproof.model.run import Purpose
from spinproof.model.stream import SourceKind
from spinproof.record.recorder import Pace
from spinproof.record.stand import ModbusStand

CAUTION = (
    "Before anybody touches a rotor, the drive is locked out by your own procedure and nobody else "
    "can start it; local rules come first. This program neither locks nor releases anything."
)
Floats = NDArray[np.float64]

_BRIEF_S = 12.0
_GENTLE_RPM = 600.0
_GENTLE_RAMP = 100.0
_STILL_S = 1.0
_LONGEST_S = 600.0


@dataclass(frozen=True)
class BindingBench:
    """Where a binding is proved, and by whom."""

    home: Home
    ledger: Ledger
    head: str
    by: str


def bind_by_run(
    bench: BindingBench,
    address: StandAddress,
    *,
    start: bool = False,
    faults: tuple[Fault, ...] = (),
    pace: Pace | None = None,
) -> BindingProof:
    """Prove a map by one brief run of its head, and keep the proof.

    Parameters
    ----------
    bench : BindingBench
        Which head.
    address : StandAddress
        The stand.
    start : bool
        Whether to start the run; only a simulated stand can be started. A real head is run
        briefly at its own controller while this waits.
    faults : tuple of Fault
        What a simulated stand shall do wrong.
    pace : Pace, optional
        How often and how patiently to ask.

    Returns
    -------
    BindingProof
        What came of it; kept whether it holds or not.

    Raises
    ------
    StandError
        If the stand cannot be reached, or is another head.
    """
    setup = _setup(bench)
    recipe = brief_recipe(setup.head)
    empty = Load(name="no wafers")
    program = None
    if start:
        program = Program(run_number=1, seed=0, recipe=recipe, load=empty, faults=faults)
    with hold_head(bench.home, bench.head), tempfile.TemporaryDirectory() as folder:
        order = RunOrder(
            run=f"{bench.head} binding",
            purpose=Purpose.TRIAL,
            recipe=recipe,
            head=setup.head,
            load=empty,
            channels=setup.channels,
            keys=bench.home.keys,
        )
        with _fast_streams(bench, setup.channels) as (fast_before, fast_during):
            trace = record(order, address, Path(folder), Path(folder), program=program, pace=pace)
        before, during = samples_of_run(trace)
        before, during = {**before, **fast_before}, {**during, **fast_during}
    return _keep(bench, prove(setup.channels, before, during, stimulus=Stimulus.RUN))


@contextmanager
def _fast_streams(
    bench: BindingBench, channels: ChannelMap
) -> Iterator[tuple[Mapping[str, Floats], dict[str, Floats]]]:
    """Listen to the fast streams before a run, and while it is recorded."""
    fast = tuple(s for s in channels.streams if s.is_fast and s.source is not SourceKind.FILE)
    if not fast:
        yield {}, {}
        return
    alone = channels.model_copy(update={"channels": (), "streams": fast})
    before = gather(alone, seconds=_STILL_S, keys=bench.home.keys)
    during: dict[str, Floats] = {}
    over = threading.Event()
    with ThreadPoolExecutor(1) as pool:
        heard = pool.submit(gather, alone, seconds=_LONGEST_S, keys=bench.home.keys, until=over)
        try:
            yield before, during
        finally:
            over.set()
        during.update(heard.result())


def listen_for_binding(
    bench: BindingBench, *, seconds: float, other: str | None = None
) -> tuple[Samples, Samples]:
    """Listen to the streams of a head's map, and of the other head's at the same time.

    Parameters
    ----------
    bench : BindingBench
        Which head.
    seconds : float
        For how long. [s]
    other : str, optional
        The other head of the machine.

    Returns
    -------
    pair of Samples
        Of the head, and of the other.

    Raises
    ------
    StandError
        If a source cannot be reached.
    DocumentError
        If the map has no live stream.
    """
    own = _setup(bench).channels
    if not any(stream.source is not SourceKind.FILE for stream in own.streams):
        raise DocumentError(
            "the map has no live stream: the stand's own channels tell nothing outside a run",
            where=f"head {bench.head}, channel map {own.name}",
            mend="Prove it by a brief run, with --stand.",
        )
    maps = [own, *([] if other is None else [_channels(bench.ledger, other)])]
    keys = bench.home.keys
    with ThreadPoolExecutor(len(maps)) as pool:
        heard = list(pool.map(lambda each: gather(each, seconds=seconds, keys=keys), maps))
    return heard[0], heard[1] if other is not None else {}


def bind_by_hand(
    bench: BindingBench,
    still: tuple[Samples, Samples],
    turned: tuple[Samples, Samples],
    *,
    other: str | None = None,
) -> BindingProof:
    """Prove a map by what was heard before and while its rotor was turned; keeps the proof.

    Parameters
    ----------
    bench : BindingBench
        Which head.
    still, turned : pair of Samples
        What `listen_for_binding` gave before, and meanwhile.
    other : str, optional
        The other head, that was listened to at the same time.

    Returns
    -------
    BindingProof
        What came of it; kept whether it holds or not.
    """
    neighbour = None
    if other is not None:
        neighbour = Neighbour(_channels(bench.ledger, other), still[1], turned[1])
    proof = prove(
        _setup(bench).channels,
        still[0],
        turned[0],
        stimulus=Stimulus.TURNED,
        neighbour=neighbour,
    )
    return _keep(bench, proof)


def brief_recipe(head: HeadSpec) -> Recipe:
    """Give a gentle run of a few seconds, dry and empty, for a simulated stand."""
    step = Step(
        name="turn",
        kind=StepKind.DRY,
        duration_s=_BRIEF_S,
        speed_rpm=min(_GENTLE_RPM, head.top_speed_rpm),
        ramp_rpm_per_s=_GENTLE_RAMP,
        timer_basis=TimerBasis.FROM_COMMAND,
        nitrogen=False,
    )
    return Recipe(name="binding", steps=(step,))


def present_binding(
    reading: ShopReading, head: str, channel_map: ChannelMap
) -> BindingProof | None:
    """Give the newest proof of exactly this map; None when nobody made one."""
    digest = map_digest(channel_map)
    proofs = [
        fact.content.proof
        for fact in reading.attestations(unit=head)
        if isinstance(fact.content, BindingStatement) and fact.content.proof.map_sha256 == digest
    ]
    return proofs[-1] if proofs else None


def demand_binding(reading: ShopReading, head: str, address: StandAddress | None) -> None:
    """Refuse a run on a real stand whose channel map has no binding proof that holds.

    Parameters
    ----------
    reading : ShopReading
        The records.
    head : str
        The head that is to run.
    address : StandAddress or None
        The stand; a simulated one needs no proof, for its two heads are one program.

    Raises
    ------
    GateClosedError
        If the map in force has no proof, or its newest proof speaks against it.
    """
    channels = present_setup(reading, head).channels
    proof = present_binding(reading, head, channels)
    if proof is not None and proof.holds:
        return
    if address is not None:
        with ModbusStand(address.host, address.port, channels) as stand:
            if stand.simulated:
                return
    raise GateClosedError(
        "nobody has shown yet that the channels of this map move with this head"
        if proof is None
        else f"the channel map is refused: {proof.words.rstrip('.')}",
        where=f"head {head}, channel map {channels.name}, revision {channels.revision}",
        mend="Prove the map with `spinproof bind`; another map needs another proof.",
    )


def _setup(bench: BindingBench) -> HeadSetup:
    with bench.ledger.reading() as reading:
        return present_setup(reading, bench.head)


def _channels(ledger: Ledger, head: str) -> ChannelMap:
    with ledger.reading() as reading:
        return present_setup(reading, head).channels


def _keep(bench: BindingBench, proof: BindingProof) -> BindingProof:
    with bench.ledger.transaction(bench.by, utc_now()) as records:
        records.state_fact(BindingStatement(proof=proof), unit=bench.head)
    return proof
