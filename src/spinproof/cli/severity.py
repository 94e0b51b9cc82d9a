"""``spinproof severity``: how severe the vibration of a recording was."""

from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from spinproof.cli.show import console, say
from spinproof.model.errors import DocumentError
from spinproof.model.vibration import SeverityOfSecond, SeverityReport, VibrationCalibration

_MOST_ROWS = 60
_HEADS = ("from, s", "mm/s rms", "crest factor", "kurtosis", "clipped, %")
_TURNING = ("speed, rpm", "1x mm/s rms")


def severity(
    recording: Annotated[Path, typer.Argument(help="WAV of an accelerometer.")],
    calibration: Annotated[
        Path | None, typer.Option(help="What the full scale means, TOML; demanded.")
    ] = None,
    channel: Annotated[
        int | None, typer.Option(help="Channel of the file, from 1, when there are several.")
    ] = None,
    tach: Annotated[
        Path | None,
        typer.Option(help="Moments of tach pulses from its beginning, in s, CSV."),
    ] = None,
    pulses_per_rev: Annotated[int, typer.Option(help="Tach pulses in a revolution.")] = 1,
    json: Annotated[Path | None, typer.Option(help="Write all of it here, as JSON.")] = None,
) -> None:
    """Work out velocity severity, crest factor and kurtosis of a vibration recording."""
    from spinproof.app.clock import utc_now
    from spinproof.app.documents import read_document
    from spinproof.app.severity import measure_severity, tach_of, write_severity

    if calibration is None:
        raise DocumentError(
            "a recording alone does not say what its full scale means: no severity without it",
            where=str(recording),
            mend="Give --calibration; `spinproof schema vibration-calibration` says what it holds.",
        )
    known = read_document(calibration, VibrationCalibration)
    report = measure_severity(
        recording,
        known,
        today=utc_now().date(),
        channel=channel,
        tach=tach_of(tach, pulses_per_rev) if tach else None,
    )
    _print(report)
    if tach is not None:
        _print_tracked(report)
    if json is not None:
        write_severity(report, json)
        say(f"report: {json}")
    if not report.believed:
        raise typer.Exit(1)


def _print(report: SeverityReport) -> None:
    count, turning = len(report.seconds), report.once_per_turn_mm_s is not None
    shown = report.seconds
    if count > _MOST_ROWS:
        shown = tuple(sorted(shown, key=lambda second: -second.velocity_mm_s)[:_MOST_ROWS])
        say(f"the {_MOST_ROWS} loudest of {count} seconds; --json writes all")
    table = Table(box=None, pad_edge=False, header_style="bold")
    for head in (*_HEADS, *(_TURNING if turning else ())):
        table.add_column(head, justify="right")
    for second in shown:
        cells = _turning_cells(second) if turning else ()
        table.add_row(f"{second.start_s:g}", *_cells(second), *cells)
    console.print(table)
    overall = (
        f"overall: {report.velocity_mm_s:.4g} mm/s rms, u {report.standard_uncertainty_mm_s:.2g}"
        f" mm/s, {report.lowest_hz:g} to {report.highest_hz:g} Hz, {count} s"
    )
    if report.believed:
        say(overall)
    else:
        say(f"NOT BELIEVED, {100 * report.clipped_share:.2g} % of samples clipped: {overall}")
    _, crest, kurtosis, clipped = _cells(report)
    say(f"crest factor {crest}, kurtosis {kurtosis}, clipped {clipped} %")
    known = report.calibration
    ended = "ended on" if report.overdue else "due"
    only = ": an indication only" if report.overdue else ""
    say(f"instrument {known.instrument}, calibration {ended} {known.calibration_due}{only}")
    if report.left_out_s:
        say(f"left out: the last {report.left_out_s:.3f} s, which fill no whole second")


def _cells(values: SeverityOfSecond | SeverityReport) -> tuple[str, str, str, str]:
    return (
        f"{values.velocity_mm_s:.4g}",
        "-" if values.crest_factor is None else f"{values.crest_factor:.2f}",
        "-" if values.kurtosis is None else f"{values.kurtosis:.2f}",
        f"{100 * values.clipped_share:.2g}",
    )


def _turning_cells(second: SeverityOfSecond) -> tuple[str, str]:
    if second.speed_rpm is None or second.once_per_turn_mm_s is None:
        return "-", "-"
    return f"{second.speed_rpm:.1f}", f"{second.once_per_turn_mm_s:.4g}"


def _print_tracked(report: SeverityReport) -> None:
    speeds = [second.speed_rpm for second in report.seconds if second.speed_rpm is not None]
    if not speeds or report.once_per_turn_mm_s is None:
        say("tach: its pulses tell no speed in any second of the recording")
        return
    say(
        f"at the speed of the shaft: {report.once_per_turn_mm_s:.4g} mm/s rms, {min(speeds):.1f} to"
        f" {max(speeds):.1f} rpm, {len(speeds)} of {len(report.seconds)} s"
    )
    if min(speeds) < 60 * report.lowest_hz:
        say(
            f"below {60 * report.lowest_hz:g} rpm the band leaves the speed out; read this value;"
            f" its uncertainty below {report.lowest_hz:g} Hz is not stated by the calibration"
        )
