"""``spinproof virtual-head``, ``record``, ``import`` and ``recover``: from a stand to a trace."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spinproof.cli.show import console, print_trace, say
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import StandError
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.program import Fault, FaultKind, Program
from spinproof.model.recipe import Recipe
from spinproof.model.registers import Status
from spinproof.model.run import Ending, Purpose

if TYPE_CHECKING:
    from spinproof.app.recording import Progress, RunOrder, StandAddress

HeadFile = Annotated[Path, typer.Option("--head", help="Head spec, TOML.")]
ChannelsFile = Annotated[Path, typer.Option("--channels", help="Channel map, TOML.")]
RecipeFile = Annotated[Path, typer.Option("--recipe", help="Recipe, TOML.")]
LoadFile = Annotated[Path | None, typer.Option("--load", help="Load, TOML; empty without it.")]
Out = Annotated[Path, typer.Option(help="Folder of the sealed trace.")]
RunName = Annotated[str, typer.Option("--run", help="Name of the run.")]
Stand = Annotated[str, typer.Option(help="Address of the stand, host:port.")]
EMPTY = Load(name="no wafers")


def virtual_head(
    upper: Annotated[Path, typer.Option(help="Spec of the upper head (unit id 1), TOML.")],
    lower: Annotated[Path, typer.Option(help="Spec of the lower head (unit id 2), TOML.")],
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port to listen on; 0 takes a free one.")] = 5020,
    speed_up: Annotated[
        float, typer.Option(help="Times real time; 0 goes as fast as its reader.")
    ] = 1.0,
) -> None:
    """Serve a SIMULATED two-head stand over Modbus TCP, until Ctrl-C."""
    from spinproof.app.documents import read_document
    from spinproof.app.stand import serve_virtual_stand

    specs = read_document(upper, HeadSpec), read_document(lower, HeadSpec)

    def ready(real_port: int) -> None:
        for unit, spec in enumerate(specs, start=1):
            say(f"unit {unit}: {spec.designation}, SIMULATED, at {host}:{real_port}")

    serve_virtual_stand(*specs, host, port, speed_up=speed_up or None, on_ready=ready)


def record(
    head: HeadFile,
    channels: ChannelsFile,
    recipe: RecipeFile,
    stand: Annotated[
        str | None, typer.Option(help="Address of the stand; none when the map has streams alone.")
    ] = None,
    load: LoadFile = None,
    out: Out = Path("traces"),
    run: RunName = "trial",
    *,
    start: Annotated[
        bool, typer.Option("--start", help="Start the run; a SIMULATED stand alone accepts it.")
    ] = False,
    fault: Annotated[
        list[str] | None, typer.Option(help="What a simulated head does wrong: kind=size.")
    ] = None,
    seed: Annotated[int, typer.Option(help="Seed of a simulated head.")] = 0,
    patience: Annotated[
        float, typer.Option(help="Seconds to wait for a stand that went away.")
    ] = 60.0,
) -> None:
    """Record one run: a journal while it goes, a sealed trace at its end."""
    from spinproof.app.recording import patient
    from spinproof.app.recording import record as record_run
    from spinproof.app.recording import recover as recover_journals

    order = _order(run, head, channels, recipe, load)
    journals = out / "journals"
    journals.mkdir(parents=True, exist_ok=True)
    for recovery in recover_journals(journals, out):
        _say_recovery(recovery.journal.stem, recovery.trace, recovery.problem)
    program = None
    if start:
        program = Program(
            run_number=1 + seed % 60000,
            seed=seed,
            recipe=order.recipe,
            load=order.load,
            faults=tuple(_fault(text) for text in fault or ()),
        )
    with console.status("waiting for the run to begin") as status:
        trace = record_run(
            order,
            None if stand is None else address(stand),
            journals,
            out,
            program=program,
            on_progress=lambda progress: status.update(live_line(order.recipe, progress)),
            pace=patient(patience),
        )
    print_trace(trace, out)
    if trace.ending is not Ending.COMPLETE:
        raise StandError(
            f"the run did not come to its end ({trace.ending}) and does not count",
            where=f"{trace.duration_s:.1f} s of run {trace.header.run}, "
            + (trace.header.source if stand is None else f"stand {stand}"),
            mend="What was recorded is sealed. Check stand and network, then make the run again.",
        )


def import_trace(
    table: Annotated[Path, typer.Argument(help="CSV, Parquet, TDMS or MDF 4, recorded elsewhere.")],
    head: HeadFile,
    channels: ChannelsFile,
    recipe: RecipeFile,
    load: LoadFile = None,
    out: Out = Path("traces"),
    run: RunName = "imported",
) -> None:
    """Take in a trace that was recorded elsewhere, through the same channel map."""
    from spinproof.app.recording import take_in_table

    out.mkdir(parents=True, exist_ok=True)
    print_trace(take_in_table(table, _order(run, head, channels, recipe, load), out), out)


def recover(
    home: Annotated[Path, typer.Option(help="Home folder.")],
) -> None:
    """Seal what a crash left behind, and end its runs as aborted."""
    from spinproof.app.home import open_home
    from spinproof.app.intake import open_shop_ledger
    from spinproof.app.recovery import recover_home

    folders = open_home(home)
    ledger = open_shop_ledger(folders)
    try:
        found = recover_home(folders, ledger)
    finally:
        ledger.close()
    for sentence in found or ("nothing was left behind",):
        say(sentence)


def address(text: str) -> "StandAddress":
    """Read an address of the form host:port."""
    from spinproof.app.recording import StandAddress

    host, _, port = text.rpartition(":")
    if not host or not port.isdecimal() or not 0 < int(port) < 65536:
        raise StandError(
            f'"{text}" is not the address of a stand',
            where="--stand",
            mend="Give host and port, for example localhost:5020.",
        )
    return StandAddress(host, int(port))


def live_line(recipe: Recipe | None, progress: "Progress") -> str:
    """Say in one line what a run is doing."""
    step = progress.step or 0
    if recipe and 1 <= step <= len(recipe.steps):
        name = f"step {step} {recipe.steps[step - 1].name}"
    else:
        name = "stopping" if step else "idle"
    speed = "" if progress.speed_rpm is None else f"  {progress.speed_rpm:5.0f} rpm displayed"
    status = progress.status or Status(0)
    bits = (
        (Status.DI_VALVE, "water"),
        (Status.N2_VALVE, "N2"),
        (Status.HEATER, "heat"),
        (Status.HOME_SENSOR, "indexed"),
        (Status.FAULT, "FAULT"),
    )
    on = " ".join(word for bit, word in bits if bit in status)
    lost = f"  {progress.lost_blocks} blocks lost" if progress.lost_blocks else ""
    return f"{progress.seconds:6.1f} s  {name:16}{speed}  {on}{lost}"


def _order(run: str, head: Path, channels: Path, recipe: Path, load: Path | None) -> "RunOrder":
    from spinproof.app.documents import read_document
    from spinproof.app.recording import RunOrder

    return RunOrder(
        run=run,
        purpose=Purpose.TRIAL,
        recipe=read_document(recipe, Recipe),
        head=read_document(head, HeadSpec),
        load=read_document(load, Load) if load else EMPTY,
        channels=read_document(channels, ChannelMap),
    )


def _fault(text: str) -> Fault:
    kind, _, size = text.partition("=")
    try:
        return Fault(kind=FaultKind(kind), size=float(size or 0))
    except ValueError as error:
        raise typer.BadParameter(
            f"{text}: give kind=size, with one of {', '.join(FaultKind)}"
        ) from error


def _say_recovery(name: str, trace: object, problem: object) -> None:
    if problem is not None:
        say(f"{name}: {problem}")
    elif trace is not None:
        say(f"{name} had been interrupted; it is sealed now, and does not count")
