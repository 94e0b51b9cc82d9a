"""``spinproof sources`` and ``bind``: what a source offers, whether a map fits it, and the head."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from spinproof.cli.show import console, say
from spinproof.cli.stand import address as stand_address
from spinproof.model.binding import BindingProof
from spinproof.model.channel import CountType
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import DocumentError
from spinproof.model.head import HeadSpec
from spinproof.model.stream import RegisterKind, WordOrder

if TYPE_CHECKING:
    from spinproof.app.binding_record import BindingBench
    from spinproof.app.sources import Offer, OfferKind

sources = typer.Typer(no_args_is_help=True, help="What a source offers, and whether a map fits it.")

HomeFolder = Annotated[
    Path | None, typer.Option(help="Home folder; holds our own certificate for OPC UA.")
]
_PAIRED = {CountType.F32, CountType.U32, CountType.I32}


@sources.command("look")
def look_at(
    kind: Annotated[
        str, typer.Argument(help="stand, modbus-tcp, modbus-rtu-over-tcp, opc-ua or mqtt.")
    ],
    address: Annotated[str, typer.Argument(help="host:port; for OPC UA the endpoint's URL.")],
    topic: Annotated[str, typer.Option(help="MQTT: topic; # is all of them.")] = "#",
    unit: Annotated[int, typer.Option(help="Modbus, stand: unit id.")] = 1,
    registers: Annotated[RegisterKind, typer.Option(help="Modbus: which.")] = RegisterKind.INPUT,
    first: Annotated[int, typer.Option(help="Modbus: first register.")] = 0,
    count: Annotated[int, typer.Option(help="Modbus: how many.")] = 40,
    messages: Annotated[int, typer.Option(help="MQTT: messages to wait for.")] = 20,
    seconds: Annotated[float, typer.Option(help="MQTT: how long at most.")] = 10.0,
    trust: Annotated[
        str | None, typer.Option(help="OPC UA: SHA-256 of the server's certificate.")
    ] = None,
    home: HomeFolder = None,
    *,
    known: Annotated[
        float | None, typer.Option(help="Modbus: a value that the device shows just now.")
    ] = None,
    head: Annotated[str | None, typer.Option(help="Draft a channel map for this head.")] = None,
    take: Annotated[
        CountType | None, typer.Option(help="Modbus: what the draft takes registers for.")
    ] = None,
    order: Annotated[
        WordOrder, typer.Option(help="Modbus: order of words and bytes in the draft.")
    ] = WordOrder.BIG,
    out: Annotated[Path | None, typer.Option(help="Write the draft here.")] = None,
) -> None:
    """List what a source offers, with live values; --head drafts a channel map from it."""
    from spinproof.app.sources import Place, look

    place = Place(
        kind=_kind(kind),
        address=address,
        topic=topic,
        unit_id=unit,
        registers=registers,
        first=first,
        count=count,
        messages=messages,
        seconds=seconds,
        pinned=trust,
        keys=home / "keys" if home else None,
    )
    offer = look(place)
    _print(offer, take if take in _PAIRED else CountType.F32)
    if known is not None:
        _print_matches(offer, known)
    if head is not None:
        _draft(offer, head, take, order, out)


@sources.command("check")
def check(
    channels: Annotated[Path, typer.Argument(help="Channel map, TOML.")],
    seconds: Annotated[
        float, typer.Option(help="How long to listen to its sources; 0 asks none.")
    ] = 5.0,
    head: Annotated[
        Path | None, typer.Option(help="Head spec, TOML: its fastest speed checks the counters.")
    ] = None,
    home: HomeFolder = None,
) -> None:
    """Check a channel map by itself and against its sources; ends with 1 when it is refused."""
    from spinproof.app.documents import read_document
    from spinproof.app.sources_check import TOP_SPEED_RPM, check_map
    from spinproof.app.sources_listen import listen_to_map

    channel_map = read_document(channels, ChannelMap)
    top = read_document(head, HeadSpec).top_speed_rpm if head else TOP_SPEED_RPM
    findings = check_map(channel_map, top_speed_rpm=top)
    if seconds > 0:
        findings += listen_to_map(
            channel_map, seconds=seconds, keys=home / "keys" if home else None
        )
    for finding in findings:
        say(f"{'✗ refused' if finding.refuses else '! look at'}: {finding.text}.")
    count = len(channel_map.all_channels)
    if any(finding.refuses for finding in findings):
        say(f"{channel_map.name}: {count} channels; the map must not be used like this")
        raise typer.Exit(1)
    asked = "fits its sources" if seconds > 0 and channel_map.streams else "holds together"
    say(f"✓ {channel_map.name}: {count} channels; the map {asked}")


def _kind(text: str) -> "OfferKind":
    from spinproof.app.sources import OfferKind

    try:
        return OfferKind(text)
    except ValueError as error:
        raise DocumentError(
            f'there is no kind of source "{text}"',
            where="spinproof sources look",
            mend=f"Choose one of: {', '.join(OfferKind)}.",
        ) from error


def _print(offer: "Offer", kind: CountType) -> None:
    rate = f", {offer.rate_hz:.4g} samples a second" if offer.rate_hz else ""
    say(f"{offer.kind} at {offer.address}: {offer.identity or f'{len(offer.items)} items'}{rate}")
    if offer.server_sha256:
        say(f"its certificate: {offer.server_sha256}")
    for remark in offer.remarks:
        say(f"! {remark}")
    if any(item.pairs for item in offer.items):
        console.print(_register_table(offer, kind))
        say("· marks a size that no quantity at a bench has. Compare with a known value: a wrong")
        say("order lands among the likely ones by chance now and then.")
    else:
        console.print(_item_table(offer))


def _print_matches(offer: "Offer", known: float) -> None:
    from spinproof.app.sources import that_read

    found = that_read(offer, known)
    for match in found:
        pair = match.pair
        say(f"register {match.item.key} as {pair.type} {pair.order} reads {pair.value:.6g}")
    if not found:
        say(f"no pair of these registers reads {known:g} in any order")


def _item_table(offer: "Offer") -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in ("key", "name", "type", "value", "unit", ""):
        table.add_column(name, justify="right" if name == "value" else "left", overflow="fold")
    for item in offer.items:
        value = "–" if item.value is None else f"{item.value:.6g}"
        name = "" if item.name == item.key else item.name
        table.add_row(item.key, name, item.type.value, value, item.unit or "", item.remark)
    return table


def _register_table(offer: "Offer", kind: CountType) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in ("register", "u16", "i16", *(f"{kind} {order}" for order in WordOrder)):
        table.add_column(name, justify="right")
    for item in offer.items:
        word = int(item.value or 0)
        pairs = [pair for pair in item.pairs if pair.type is kind]
        read = [f"{pair.value:.6g}" if pair.is_likely else "·" for pair in pairs]
        table.add_row(item.key, str(word), str(word - 65536 if word > 32767 else word), *read)
    return table


def _draft(
    offer: "Offer", head: str, take: CountType | None, order: WordOrder, out: Path | None
) -> None:
    from spinproof.app.sources import propose
    from spinproof.app.sources_text import map_text, write_draft

    text = map_text(propose(offer, head, take=take, order=order))
    if out is None:
        say(text)
        return
    write_draft(out, text)
    say(f"draft: {out}. Give each channel its role, unit and instrument; leave out the rest.")


def bind(
    head: Annotated[str, typer.Argument(help="Designation of the head that is moved.")],
    home: Annotated[Path, typer.Option(help="Home folder.")],
    by: Annotated[str, typer.Option(help="Who does it.")],
    stand: Annotated[
        str | None, typer.Option(help="By a brief run on this stand, host:port; else by hand.")
    ] = None,
    other: Annotated[
        str | None, typer.Option(help="By hand: the other head, watched at the same time.")
    ] = None,
    seconds: Annotated[float, typer.Option(help="By hand: how long to listen each time.")] = 10.0,
    *,
    start: Annotated[
        bool, typer.Option("--start", help="Start the run; a SIMULATED stand alone accepts it.")
    ] = False,
) -> None:
    """Move one head, see which channels move, and keep the proof that a map is this head's."""
    from spinproof.app.binding_record import CAUTION, BindingBench, bind_by_run
    from spinproof.app.home import open_home
    from spinproof.app.intake import open_shop_ledger

    folders = open_home(home)
    ledger = open_shop_ledger(folders)
    try:
        bench = BindingBench(folders, ledger, head, by)
        say(CAUTION)
        if stand is None:
            proof = _by_hand(bench, seconds, other)
        else:
            say(f"waiting for {head} to be run briefly, alone, from standstill")
            proof = bind_by_run(bench, stand_address(stand), start=start)
    finally:
        ledger.close()
    _print_proof(proof)
    if not proof.holds:
        raise typer.Exit(1)


def _by_hand(bench: "BindingBench", seconds: float, other: str | None) -> BindingProof:
    from spinproof.app.binding_record import bind_by_hand, listen_for_binding

    typer.prompt("Let all heads stand still, then press Enter", default="", show_default=False)
    still = listen_for_binding(bench, seconds=seconds, other=other)
    text = f"Now turn the rotor of {bench.head} for {seconds:g} s, beginning with Enter"
    typer.prompt(text, default="", show_default=False)
    turned = listen_for_binding(bench, seconds=seconds, other=other)
    return bind_by_hand(bench, still, turned, other=other)


def _print_proof(proof: BindingProof) -> None:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in ("channel", "it", "counts before", "counts meanwhile", "must move"):
        table.add_column(name, justify="right" if name.startswith("counts") else "left")
    for each in proof.channels:
        numbers = (
            "–" if count is None else f"{count:g}"
            for count in (each.change_before, each.change_during)
        )
        table.add_row(each.channel, each.response, *numbers, "yes" if each.is_expected else "")
    console.print(table)
    say(f"{'✓ proven' if proof.holds else '✗ refused'}: {proof.words}")
    say(f"map {proof.map_sha256}")
