"""Calibrate the model of a head on its own runs."""

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from spinproof.app.cutting import coast_of, drain_step_of, exhaust_of, warm_up_of
from spinproof.app.documents import read_document, read_text
from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_file
from spinproof.files.durable import write_durably
from spinproof.model.errors import DocumentError
from spinproof.model.head import HeadSpec
from spinproof.model.head_model import CalibrationRun, CannotSay, Fit, HeadModel
from spinproof.model.trace import Trace
from spinproof.model.weighing import WeighingSheet
from spinproof.physics.nitrogen import mass_flow_of
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.predict import knowledge
from spinproof.predict.coast_down import drag_of
from spinproof.predict.drying_fit import (
    HoldUp,
    Surroundings,
    Weighing,
    hold_up_by_exhaust,
    hold_up_by_weighing,
)
from spinproof.predict.rinse_step import mixing_of
from spinproof.predict.warm_up import heater_of
from spinproof.record.trace_file import read_trace

KELVIN = 273.15
Found = tuple[Fit, dict[str, float]]


def prior_model(head: HeadSpec) -> HeadModel:
    """Give what is thought of a head before any run: its specification, and priors.

    Parameters
    ----------
    head : HeadSpec
        The head.

    Returns
    -------
    HeadModel
        Without fits.
    """
    return knowledge.prior_model(head)


def calibrate_head(
    head: HeadSpec, traces: Sequence[Path], weighings: Path | None = None
) -> HeadModel:
    """Calibrate the model of a head on sealed traces, and on weighings where there are any.

    Parameters
    ----------
    head : HeadSpec
        The head as specified.
    traces : sequence of Path
        Sealed traces of its runs.
    weighings : Path, optional
        Sheet of weighings, TOML.

    Returns
    -------
    HeadModel
        It remembers its runs with their hashes, and says what remained prior and why.

    Raises
    ------
    TraceError
        If a file is not a sealed trace, or is damaged.
    DocumentError
        If a trace or a sheet belongs to another head, or the sheet is wrong.
    """
    read = [_own(read_trace(path), head, path) for path in _once(traces)]
    sheet = None if weighings is None else _sheet(weighings, head)
    return calibrated(head, read, sheet, "" if weighings is None else sha256_of_file(weighings))


def calibrated(
    head: HeadSpec, traces: Sequence[Trace], sheet: WeighingSheet | None, sheet_sha256: str
) -> HeadModel:
    """Calibrate the model of a head on traces that are read already.

    Parameters
    ----------
    head : HeadSpec
        The head as specified.
    traces : sequence of Trace
        Its runs.
    sheet : WeighingSheet or None
        Its weighings.
    sheet_sha256 : str
        SHA-256 of the sheet's file, in hex.

    Returns
    -------
    HeadModel
        The calibrated model.
    """
    fits: list[Found] = []
    cannot: list[CannotSay] = []
    drag = drag_of([c for t in traces if (c := coast_of(t)) is not None], head.inertia_kg_m2)
    mixing = mixing_of([s for t in traces if (s := drain_step_of(t)) is not None])
    heater = heater_of([w for t in traces if (w := warm_up_of(t)) is not None], head.heater_w)
    for said in (drag, mixing, heater, _hold_up(head, traces, sheet, sheet_sha256)):
        cannot += said.cannot_say
        if said.fit is not None:
            fits.append((said.fit, said.values))
    cannot.append(
        CannotSay(
            subject="heat capacity and windage of the bowl",
            why="no channel has the temperature of the bowl",
            mend="Put a thermometer to the bowl's wall and record a warm-up and a long fast spin.",
        )
    )
    return knowledge.learnt(knowledge.prior_model(head), fits, cannot)


def write_model(model: HeadModel, path: Path) -> None:
    """Write a model as canonical JSON."""
    write_durably(path, canonical_json(model.to_document()) + b"\n")


def read_model(path: Path) -> HeadModel:
    """Read a model that `write_model` wrote.

    Raises
    ------
    DocumentError
        If the file is missing, or is not a model.
    """
    try:
        return HeadModel.from_document(json.loads(read_text(path)))
    except (ValidationError, ValueError) as error:
        raise DocumentError(
            "the file is not the model of a head",
            where=str(path),
            mend="Give a file that `spinproof calibrate --out` wrote.",
        ) from error


def model_of(model: Path | None, head: Path | None) -> HeadModel:
    """Read a model, or make one of priors from a head spec.

    Raises
    ------
    DocumentError
        If a file is wrong, or not exactly one of the two is given.
    """
    if model is not None and head is None:
        return read_model(model)
    if head is not None and model is None:
        return prior_model(read_document(head, HeadSpec))
    raise DocumentError(
        "one of the two is needed: the model of a head, or its spec",
        where="--model, --head",
        mend="Give --model with a calibrated model, or --head to go by priors alone.",
    )


def _once(paths: Sequence[Path]) -> list[Path]:
    """Leave out what is named twice."""
    return list({path.resolve(): path for path in paths}.values())


def _own(trace: Trace, head: HeadSpec, path: Path) -> Trace:
    if trace.header.head.designation != head.designation:
        raise DocumentError(
            f"the run belongs to head {trace.header.head.designation}, not {head.designation}",
            where=str(path),
            mend="Calibrate a head on its own runs only.",
        )
    return trace


def _sheet(path: Path, head: HeadSpec) -> WeighingSheet:
    sheet = read_document(path, WeighingSheet)
    if sheet.head != head.designation:
        raise DocumentError(
            f"the weighings belong to head {sheet.head}, not {head.designation}",
            where=f"{path}, head",
            mend="Give the weighings of this head.",
        )
    return sheet


def _hold_up(
    head: HeadSpec, traces: Sequence[Trace], sheet: WeighingSheet | None, sha256: str
) -> HoldUp:
    """Ask the exhaust first, then the weighings."""
    prior = knowledge.prior_model(head)
    heat, windage = (prior.parameter(n) for n in ("bowl_heat_capacity_j_k", "windage_w"))
    errors = tuple(float((p.high - p.low) / np.sqrt(24) / p.value) for p in (heat, windage))

    def given(room_c: float) -> Surroundings:
        return Surroundings(heat.value, windage.value, KELVIN + room_c, (errors[0], errors[1]))

    exhausts = [e for t in traces if (e := exhaust_of(t)) is not None]
    if exhausts:
        return hold_up_by_exhaust(exhausts, given(prior.parameter("water_c").value))
    if sheet is None:
        return hold_up_by_weighing((), given(prior.parameter("water_c").value))
    return hold_up_by_weighing(_weighings(sheet, sha256), given(sheet.room_c))


def _weighings(sheet: WeighingSheet, sha256: str) -> list[Weighing]:
    return [
        Weighing(
            run=CalibrationRun(run=each.name, sha256=sha256, simulated=sheet.simulated),
            left_g=each.left_g,
            after_s=each.after_s,
            speed=each.speed_rpm * RAD_PER_S_PER_RPM,
            gas_flow=float(mass_flow_of(each.n2_flow_slm)),
            gas_temperature=KELVIN + each.gas_c,
        )
        for each in sheet.stopped_runs
    ]
