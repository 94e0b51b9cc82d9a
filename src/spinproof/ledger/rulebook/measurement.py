"""R23 to R29: what a measurement is worth."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from spinproof.ledger.answers import day_of, doubt_about, standing_now
from spinproof.ledger.entries import RunEntry
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.rule import ALL_CHECKPOINTS, Force, Rule, listed
from spinproof.ledger.shop_entries import Action, Step
from spinproof.ledger.standing import required_checks, standing_of
from spinproof.model.channel import Channel, Role
from spinproof.model.check import Checkpoint
from spinproof.model.instrument import Standing, standing_on
from spinproof.model.judgement import Verdict
from spinproof.model.quantity import UNITS
from spinproof.model.run import Outcome
from spinproof.stats.risk import ENOUGH, uncertainty_ratio

BINDING_PROOF = "W-01"
"""The check that links each channel of the logger to its head."""


def _unit_fits(file: HeadFile, _: Step) -> tuple[str, ...]:
    if file.rules is None:
        return ()
    found = []
    for m in file.measurements:
        if m.value is None:
            continue
        asked = file.rules.check(m.check).reading(m.reading)
        if m.symbol is None or UNITS[m.symbol].dimension is not asked.dimension:
            found.append(f"{m.check}, {m.reading}: {m.value:g} {m.symbol} is no {asked.dimension}.")
    return tuple(found)


def _instruments_valid(file: HeadFile, step: Step) -> tuple[str, ...]:
    found: list[str] = []
    if isinstance(step, Checkpoint):
        for check in required_checks(file, step):
            standing = standing_of(file, check.id)
            if standing.indication_only:
                found += standing.reasons
    if step in {Checkpoint.FINAL_TEST, Checkpoint.SOURCE_INSPECTION}:
        found += indications_of_runs(file)
    return tuple(found)


def indications_of_runs(file: HeadFile) -> list[str]:
    """Say which channels of counted runs were measured with an instrument out of calibration.

    Parameters
    ----------
    file : HeadFile
        Records of the head.

    Returns
    -------
    list of str
        One sentence for each channel and reason; the calibrations known today decide.
    """
    affected: dict[tuple[str, str, str], list[str]] = {}
    for run in file.runs:
        if run.outcome is not Outcome.COUNTED or run.void:
            continue
        for channel in _channels(file, run):
            standing = _standing_of_channel(file, channel, day_of(run.started_at))
            if standing is not None and not standing.supports_a_verdict:
                key = (channel.name, channel.instrument.name, standing.value)
                affected.setdefault(key, []).append(run.name)
    return [
        f"{len(runs)} counted runs: {channel} by {instrument}: {standing} ({listed(runs, 2)})."
        for (channel, instrument, standing), runs in affected.items()
    ]


def _channels(file: HeadFile, run: RunEntry) -> tuple[Channel, ...]:
    document: Mapping[str, Any] = file.configuration_documents.get(run.configuration or "", {})
    channels = document.get("channels", {}).get("channels", [])
    return tuple(Channel.from_document(each) for each in channels)


def _standing_of_channel(file: HeadFile, channel: Channel, on: date) -> Standing | None:
    """Ask the ledger's own record of an instrument, else the channel map's due date."""
    known = file.instruments.get(channel.instrument.name)
    if known is not None:
        return standing_on(known, on)
    due = channel.instrument.calibration_due
    if due is not None and on > date.fromisoformat(due[:10]):
        return Standing.EXPIRED
    return None


def _rule_stated(file: HeadFile, _: Step) -> tuple[str, ...]:
    return tuple(
        f"{m.check}, {m.reading}: {m.verdict}, and no decision rule is stated."
        for m in file.measurements
        if m.verdict is not None and not m.rule
    )


def _risk_printed(file: HeadFile, _: Step) -> tuple[str, ...]:
    found = []
    for m in file.measurements:
        if m.limit is None or m.standard_uncertainty is None or m.symbol is None:
            continue
        factor = UNITS[m.symbol].factor / UNITS[m.limit.unit].factor
        ratio = uncertainty_ratio(m.standard_uncertainty * factor, m.limit.lower, m.limit.upper)
        if ratio is not None and ratio < ENOUGH and m.verdict is Verdict.PASS and not m.note:
            found.append(
                f"{m.check}, {m.reading}: the uncertainty is large beside the tolerance, and the "
                "probability of a false acceptance is not stated."
            )
    return tuple(found)


def _not_suspect(file: HeadFile, step: Step) -> tuple[str, ...]:
    if not isinstance(step, Checkpoint):
        return ()
    return tuple(
        reason
        for check in required_checks(file, step)
        if (standing := standing_of(file, check.id)).suspect
        for reason in standing.reasons
    )


def suspects(file: HeadFile) -> tuple[str, ...]:
    """List every measurement of a head that stands on an instrument found out of tolerance.

    Parameters
    ----------
    file : HeadFile
        Records of the head.

    Returns
    -------
    tuple of str
        A sentence each, whatever became of the check since.
    """
    return tuple(
        f"{doubt}." for m in file.measurements if (doubt := doubt_about(file, m)) is not None
    )


_INDEPENDENT = {Role.TACH_COUNT, Role.OPTICAL_COUNT, Role.SPEED}


def _not_display_alone(file: HeadFile, step: Step) -> tuple[str, ...]:
    found = []
    if isinstance(step, Checkpoint):
        for check in required_checks(file, step):
            for m in file.measurements:
                last = standing_of(file, check.id).result
                if last is None or m.id not in last.measurements or m.limit is None:
                    continue
                if standing_now(file, m) is Standing.OWN_DISPLAY:
                    found.append(
                        f"{m.check}, {m.reading}: read from the machine's own display alone."
                    )
    if step is Checkpoint.FINAL_TEST:
        for run in file.runs:
            roles = {channel.role for channel in _channels(file, run)}
            if run.outcome is Outcome.COUNTED and roles and not roles & _INDEPENDENT:
                found.append(f"Run {run.name}: speed from the machine's own display alone.")
    return tuple(dict.fromkeys(found))


def _channels_bound(file: HeadFile, _: Step) -> tuple[str, ...]:
    return tuple(
        f"No channel is proven to belong to this head: {reason}"
        for reason in standing_of(file, BINDING_PROOF).reasons
    )


MEASUREMENT = (
    Rule(
        "R23",
        "A measured value has a unit of the dimension that its check asks for.",
        Force.ALWAYS,
        "answering a reading",
        _unit_fits,
    ),
    Rule(
        "R24",
        "A reading of an instrument out of calibration or out of range is an indication only, "
        "and supports no pass.",
        Force.GATE,
        "finishing a check; passing the gates; counted runs by the calibrations known today",
        _instruments_valid,
        passing=ALL_CHECKPOINTS,
    ),
    Rule(
        "R25",
        "Every verdict states its decision rule.",
        Force.ALWAYS,
        "answering a reading",
        _rule_stated,
    ),
    Rule(
        "R26",
        "Where the expanded uncertainty is more than a quarter of the tolerance, the probability "
        "of a false acceptance is stated.",
        Force.ALWAYS,
        "answering a reading",
        _risk_printed,
    ),
    Rule(
        "R27",
        "An instrument found out of tolerance puts every measurement since its last good check "
        "in doubt, in every job.",
        Force.GATE,
        "what stands of a check; `suspects` lists them for each head",
        _not_suspect,
        passing=ALL_CHECKPOINTS,
    ),
    Rule(
        "R28",
        "The machine's own display is never the sole evidence of a value.",
        Force.GATE,
        "finishing a check; passing the gates",
        _not_display_alone,
        passing=ALL_CHECKPOINTS,
    ),
    Rule(
        "R29",
        "No trace counts before a binding proof has linked each channel to its head.",
        Force.GATE,
        "starting a run of the burn-in; passing the final test",
        _channels_bound,
        entering=frozenset({Action.COUNT}),
        passing=frozenset({Checkpoint.FINAL_TEST}),
    ),
)
"""The rules of measurements."""
