"""What a single answer is worth today: its instrument, its limit, and what was changed since."""

from collections.abc import Mapping
from datetime import date

from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.shop_entries import ChangeEntry, MeasurementEntry
from spinproof.model.attestation import AgreedLimit
from spinproof.model.check import Reading
from spinproof.model.instrument import Standing, standing_on, suspect_windows
from spinproof.model.limit import Limit
from spinproof.model.quantity import Quantity


def day_of(instant: str) -> date:
    """Give the day (UTC) of an instant."""
    return date.fromisoformat(instant[:10])


def standing_now(file: HeadFile, measurement: MeasurementEntry) -> Standing | None:
    """Say what an instrument's word is worth by the calibrations known today.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    measurement : MeasurementEntry
        The answer that stands on the instrument.

    Returns
    -------
    Standing or None
        None for an answer that needed no instrument. A reading that no range held when it was
        taken has no uncertainty, and stays outside whatever range is recorded later.
    """
    if measurement.instrument is None:
        return None
    instrument = file.instruments[measurement.instrument]
    asked = file.require_rules().check(measurement.check).reading(measurement.reading)
    reading = None
    if measurement.value is not None and measurement.symbol is not None and not asked.derived:
        reading = Quantity(value=measurement.value, unit=measurement.symbol)
    standing = standing_on(instrument, day_of(measurement.done_at), reading)
    unweighed = reading is not None and measurement.standard_uncertainty is None
    return Standing.OUT_OF_RANGE if unweighed and standing is Standing.VALID else standing


def doubt_about(file: HeadFile, measurement: MeasurementEntry) -> str | None:
    """Say why an answer is suspect: its instrument was later found out of tolerance.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    measurement : MeasurementEntry
        The answer.

    Returns
    -------
    str or None
        A sentence, or None when nothing speaks against it.
    """
    if measurement.instrument is None:
        return None
    on = day_of(measurement.done_at)
    for window in suspect_windows(file.instruments[measurement.instrument]):
        if window.covers(on):
            since = f"since {window.since}" if window.since else "ever"
            return (
                f"{measurement.check}, {measurement.reading}: suspect, for {window.instrument} was "
                f"found out of tolerance on {window.until} ({window.found_by}) and has no good "
                f"check {since}"
            )
    return None


def limit_in_force(file: HeadFile, check: str, reading: Reading, moment: str) -> Limit | None:
    """Give the limit that an answer of some moment is judged by.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    check : str
        Id of the check.
    reading : Reading
        What is asked.
    moment : str
        When it was measured.

    Returns
    -------
    Limit or None
        The one agreed last before that moment, else the one beside the reading; None when there
        is none.
    """
    agreed = [
        fact.limit
        for entry, fact in file.stated(AgreedLimit)
        if (fact.check, fact.reading) == (check, reading.name)
        and entry.unit == file.unit.designation
        and entry.at < moment
    ]
    return agreed[-1] if agreed else reading.limit


def invalidating(file: HeadFile, check: str, tested_at: str) -> ChangeEntry | None:
    """Give the latest change after a test that makes it worthless.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    check : str
        Id of the check.
    tested_at : str
        When it was made.

    Returns
    -------
    ChangeEntry or None
        None when the test still tells about the head as it is.
    """
    for change, retest in zip(reversed(file.changes), reversed(file.retests), strict=False):
        if change.done_at >= tested_at and check in retest.checks:
            return change
    return None


def answers_of(file: HeadFile, check: str) -> Mapping[str, MeasurementEntry]:
    """Give the answers of a check that are in force: the latest of each reading.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    check : str
        Id of the check.

    Returns
    -------
    mapping of str to MeasurementEntry
        By reading; answers older than the last change that the check depends on are left out.
    """
    found: dict[str, MeasurementEntry] = {}
    for measurement in file.measurements:
        if measurement.check == check and measurement.unit == file.unit.designation:
            found[measurement.reading] = measurement
    return {
        reading: answer
        for reading, answer in found.items()
        if not answer.is_withdrawn and invalidating(file, check, answer.done_at) is None
    }
