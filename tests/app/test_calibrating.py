"""A head's model from sealed traces of its virtual twin, and from weighings."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from tests.demo_files import LOWER, PARTIAL_LOAD, UPPER
from tests.virtualhead.runs import SHORT
from tests.virtualhead_judged.simulated import run_trace

from spinproof.app.calibrating import (
    calibrate_head,
    calibrated,
    model_of,
    prior_model,
    read_model,
    write_model,
)
from spinproof.app.cutting import (
    EXHAUST,
    SUBLIMATION_K,
    coast_of,
    drain_step_of,
    exhaust_of,
    warm_up_of,
)
from spinproof.judge.readings import Readings
from spinproof.model.channel import CountType, Role
from spinproof.model.errors import DocumentError
from spinproof.model.head_model import HeadModel, Origin
from spinproof.model.trace import Signal, Trace
from spinproof.physics.evaporation import saturation_humidity
from spinproof.physics.nitrogen import mass_flow_of
from spinproof.record.trace_file import Summary, write_trace
from spinproof.virtualhead.head import VirtualHead
from spinproof.virtualhead.process import HoldUp

SHEET = """
head = "QM-207-L"
cassette = "25 slots, 13 wafers"
room_c = 21.0
simulated = true
"""
ROW = """
[[stopped_runs]]
name = "W-{i}"
after_s = {after}
left_g = {left}
speed_rpm = 1000.0
n2_flow_slm = 170.0
gas_c = 60.0
"""


@pytest.fixture(scope="module")
def traces() -> list[Trace]:
    """Three short runs of the lower head."""
    head = VirtualHead(LOWER)
    return [run_trace(recipe=SHORT, head=head, run_number=i) for i in (1, 2, 3)]


@pytest.fixture(scope="module")
def model(traces: list[Trace]) -> HeadModel:
    return calibrated(LOWER, traces, None, "")


def sheet(path: Path, rows: list[tuple[float, float]]) -> Path:
    text = SHEET + "".join(ROW.format(i=i, after=a, left=g) for i, (a, g) in enumerate(rows))
    path.write_text(text)
    return path


def test_a_virtual_heads_own_numbers_come_out_of_its_traces(model: HeadModel):
    """As built, the head differs from its specification by some tenths of a percent."""
    for name, true, within in (
        ("coulomb_torque_n_m", LOWER.coulomb_torque_n_m, 0.02),
        ("quadratic_drag_n_m_s2", LOWER.quadratic_drag_n_m_s2, 0.06),
        ("bowl_volume_l", LOWER.bowl_hold_up_l, 0.02),
        ("heater_heat_capacity_j_k", 230.0, 0.02),
    ):
        found = model.parameter(name)
        assert found.origin is Origin.CALIBRATED
        assert found.value == pytest.approx(true, rel=within), name


def test_the_model_remembers_its_runs_and_that_they_were_simulated(
    model: HeadModel, traces: list[Trace]
):
    assert model.simulated
    assert [run.sha256 for run in model.fits[0].runs] == [trace.sha256 for trace in traces]
    assert model.software.startswith("spinproof ")


def test_it_says_what_these_runs_cannot_tell(model: HeadModel):
    said = {each.subject for each in model.cannot_say}

    assert said == {
        "inertia, apart from drag",
        "hold-up and conductance",
        "heat capacity and windage of the bowl",
    }


def test_a_model_is_written_and_read_as_it_was(model: HeadModel, tmp_path: Path):
    path = tmp_path / "model.json"
    write_model(model, path)

    assert read_model(path) == model


@pytest.mark.parametrize("text", ["", "{}", '{"head": 1}', "[1, 2", "\x00"])
def test_a_file_that_is_no_model_is_refused(text: str, tmp_path: Path):
    path = tmp_path / "model.json"
    path.write_text(text)

    with pytest.raises(DocumentError, match="not the model of a head"):
        read_model(path)


def test_weighings_calibrate_the_hold_up(tmp_path: Path):
    rows = [(0.0, 5.0), (0.0, 5.1), (20.0, 4.4), (40.0, 3.75), (60.0, 3.0), (90.0, 1.8)]

    model = calibrate_head(LOWER, [], sheet(tmp_path / "w.toml", rows))

    assert model.parameter("hold_up_g").value == pytest.approx(5.05, abs=0.2)
    assert model.fits[0].runs[0].sha256 != ""
    assert model.simulated


def test_weighings_of_another_head_are_refused(tmp_path: Path):
    with pytest.raises(DocumentError, match="belong to head QM-207-L"):
        calibrate_head(UPPER, [], sheet(tmp_path / "w.toml", [(0.0, 5.0)]))


def test_a_run_of_another_head_is_refused_and_one_named_twice_counts_once(
    traces: list[Trace], tmp_path: Path
):
    summary = Summary(header=traces[0].header, incidents=(), ending=traces[0].ending)
    kept = write_trace(summary, traces[0].signals, tmp_path)
    path = tmp_path / f"{kept.sha256}.parquet"

    with pytest.raises(DocumentError, match="belongs to head QM-207-L"):
        calibrate_head(UPPER, [path])
    model = calibrate_head(LOWER, [path, path])
    assert "1 usable coast-downs, 3 are needed" in model.cannot_say[0].why


def test_a_trace_without_the_channels_is_cut_to_nothing(traces: list[Trace]):
    bare = Trace(traces[0].header, {}, (), traces[0].ending, "0" * 64)

    assert (coast_of(bare), drain_step_of(bare), warm_up_of(bare), exhaust_of(bare)) == (None,) * 4


def test_a_trace_without_a_tach_still_tells_of_bowl_and_heater(traces: list[Trace]):
    blind = Trace(
        traces[0].header,
        {
            name: s
            for name, s in traces[0].signals.items()
            if s.channel.role not in {Role.TACH_COUNT, Role.OPTICAL_COUNT}
        },
        (),
        traces[0].ending,
        "0" * 64,
    )

    assert coast_of(blind) is None
    assert drain_step_of(blind) is not None
    assert warm_up_of(blind) is not None


def test_the_wafers_of_a_run_add_their_inertia(traces: list[Trace]):
    coast = coast_of(traces[0])

    mass, diameter = 1e-3 * PARTIAL_LOAD.wafer_mass_g, 1e-3 * LOWER.wafer_diameter_mm
    assert coast.added_inertia == pytest.approx(13 * mass * diameter**2 / 8)


def test_a_model_or_a_spec_is_needed_and_not_both(tmp_path: Path):
    for given in ((None, None), (tmp_path / "a", tmp_path / "b")):
        with pytest.raises(DocumentError, match="one of the two is needed"):
            model_of(*given)


def test_a_prior_model_calls_nothing_calibrated():
    assert not any(p.origin is Origin.CALIBRATED for p in prior_model(LOWER).parameters)


def watched(trace: Trace, first_g: float) -> Trace:
    """Add the dew point of the exhaust to a trace, by the virtual head's own hold-up."""
    flow, warm = (trace.role(role) for role in (Role.N2_FLOW, Role.N2_TEMPERATURE))
    speed, rinse = Readings(trace).reference, trace.role(Role.DI_FLOW)
    gas_c = np.interp(flow.time_s, warm.time_s, warm.values)
    rpm = np.interp(flow.time_s, speed.time_s, speed.rpm)
    last_water = rinse.time_s[rinse.values > 0.01][-1]
    table = np.arange(0.0, 60.0, 0.01)
    held = saturation_humidity(273.15 + table)
    water, dew = HoldUp(), np.full(flow.time_s.size, -60.0)
    water.FIRST_G = first_g
    water.wet()
    for i in np.flatnonzero(flow.time_s[1:] > last_water) + 1:
        h, slm = flow.time_s[i] - flow.time_s[i - 1], flow.values[i]
        before = water.mass_g
        water.advance(h, slm, gas_c[i], rpm[i])
        carried = 1e-3 * (before - water.mass_g) / (h * float(mass_flow_of(max(slm, 1.0))))
        if carried > held[0]:
            dew[i] = np.interp(carried, held, table)
        elif carried > 0:
            dew[i] = 1 / (1 / 273.15 - np.log(carried / held[0]) / SUBLIMATION_K) - 273.15
    channel = flow.channel.model_copy(
        update={
            "name": EXHAUST, "role": Role.OTHER, "type": CountType.F64, "unit": "degC",
            "scale": 1.0, "offset": 0.0, "missing": None,
        }
    )  # fmt: skip
    signal = Signal(channel, flow.time_s, dew)
    return dataclasses.replace(trace, signals={**trace.signals, EXHAUST: signal})


def test_a_dew_point_in_the_exhaust_tells_hold_up_and_conductance(traces: list[Trace]):
    seen = [watched(trace, first_g) for trace, first_g in zip(traces, (0.9, 1.0, 1.1), strict=True)]

    model = calibrated(LOWER, seen, None, "")

    assert model.parameter("hold_up_g").value == pytest.approx(1.0, rel=0.1)
    assert model.parameter("conductance_m3_s").value == pytest.approx(0.01, rel=0.15)
    assert model.parameter("conductance_m3_s").basis == "exhaust, 3 runs"
