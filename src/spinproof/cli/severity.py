"""``spinproof severity``: how severe the vibration of a recording was."""

from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from spinproof.cli.show import console, say
from spinproof.model.errors import DocumentError
from spinproof.model.vibration import SeverityOfSecond, SeverityReport, VibrationCalibration

_MOST_ROWS = 60


def severity(
    recording: Annotated[Path, typer.Argument(help="WAV of an accelerometer.")],
    calibration: Annotated[
        Path | None, typer.Option(help="What the full scale means, TOML; demanded.")
    ] = None,
    channel: Annotated[
        int | None, typer.Option(help="Channel of the file, from 1, when there are several.")
    ] = None,
    json: Annotated[Path | None, typer.Option(help="Write all of it here, as JSON.")] = None,
) -> None:
    """Work out velocity severity, crest factor and kurtosis of a vibration recording."""
    from spinproof.app.clock import utc_now
    from spinproof.app.documents import read_document
    from spinproof.app.severity import measure_severity, write_severity

    if calibration is None:
        raise DocumentError(
            "a recording alone does not say what its full scale means: no severity without it",
            where=str(recording),
            mend="Give --calibration; `spinproof schema vibration-calibration` says what it holds.",
        )
    known = read_document(calibration, VibrationCalibration)
    report = measure_severity(recording, known, today=utc_now().date(), channel=channel)
    _print(report)
    if json is not None:
        write_severity(report, json)
        say(f"report: {json}")
    if not report.believed:
        raise typer.Exit(1)


def _print(report: SeverityReport) -> None:
    count = len(report.seconds)
    shown = report.seconds
    if count > _MOST_ROWS:
        shown = tuple(sorted(shown, key=lambda second: -second.velocity_mm_s)[:_MOST_ROWS])
        say(f"the {_MOST_ROWS} loudest of {count} seconds; --json writes all")
    table = Table(box=None, pad_edge=False, header_style="bold")
    for head in ("from, s", "velocity, mm/s rms", "crest factor", "kurtosis", "clipped, %"):
        table.add_column(head, justify="right")
    for second in shown:
        table.add_row(f"{second.start_s:g}", *_cells(second))
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
