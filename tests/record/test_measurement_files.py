"""TDMS and MDF 4 files, written by the writers of libraries that we did not write."""

import sys

import numpy as np
import pytest
from asammdf import MDF, Signal
from nptdms import ChannelObject, TdmsWriter
from tests.demo_files import LOWER_CHANNELS
from tests.record.raw_run import demo_header

from spinproof.model.channel import CountType
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import SpinproofError, TraceError, UnitError
from spinproof.model.run import IncidentKind
from spinproof.record.imports import import_table

NAMES = ["tach", "DI flow", "drain resistivity"]
UNITS = {"tach": "1", "DI flow": "L/min", "drain resistivity": "MOhm.cm"}
FAST = np.arange(20) / 20
SLOW = FAST[::5]
VALUES = {
    "tach": (6 * np.arange(20)).astype(np.uint16),
    "DI flow": 15 + np.arange(20) % 3 / 10,
    "drain resistivity": np.arange(4) / 2,
}
GROUPS = [
    ("fast", FAST, {name: VALUES[name] for name in NAMES[:2]}),
    ("slow", SLOW, {NAMES[2]: VALUES[NAMES[2]]}),
]


@pytest.fixture
def header():
    chosen = tuple(c for c in LOWER_CHANNELS.channels if c.name in NAMES)
    channel_map = ChannelMap(name="logger", head="QM-207-L", unit_id=1, channels=chosen)
    return demo_header().model_copy(
        update={"channel_map": channel_map, "source": "file", "simulated": False}
    )


def write_tdms(path, groups=GROUPS, units=UNITS):
    """Write each group with a channel of its times."""
    objects = []
    for group, time_s, values in groups:
        objects.append(ChannelObject(group, "time", time_s, {"unit_string": "s"}))
        objects += [
            ChannelObject(group, name, data, {"unit_string": units[name]})
            for name, data in values.items()
        ]
    with TdmsWriter(path) as writer:
        writer.write_segment(objects)
    return path


def write_waveforms(path, groups=GROUPS, starts=None):
    """Write each channel as a waveform, which states start and increment itself."""
    objects = []
    for group, time_s, values in groups:
        wave = {"wf_increment": time_s[1] - time_s[0], "wf_start_offset": 0.0}
        if starts:
            wave["wf_start_time"] = np.datetime64(starts[group])
        objects += [
            ChannelObject(group, f"{name} [{UNITS[name]}]", data, wave)
            for name, data in values.items()
        ]
    with TdmsWriter(path) as writer:
        writer.write_segment(objects)
    return path


def write_mdf(path, groups=GROUPS, units=UNITS):
    with MDF(version="4.10") as file:
        for _, time_s, values in groups:
            file.append(
                [
                    Signal(data, time_s, name=name, unit=units[name], encoding="utf-8")
                    for name, data in values.items()
                ]
            )
        saved = file.save(path.with_suffix(".mf4"), overwrite=True)
    return saved.rename(path)


def write_csv(path):
    cells = [",".join(["time [s]", *(f"{name} [{UNITS[name]}]" for name in NAMES)])]
    for i, time_s in enumerate(FAST):
        drain = VALUES[NAMES[2]][i // 5] if i % 5 == 0 else ""
        cells.append(f"{time_s},{VALUES['tach'][i]},{VALUES['DI flow'][i]},{drain}")
    path.write_text("\n".join(cells))
    return path


WRITERS = {"tdms": write_tdms, "waveforms": write_waveforms, "mdf": write_mdf}
KINDS = {"tdms": write_tdms, "mdf": write_mdf}


@pytest.fixture(params=KINDS.values(), ids=KINDS)
def write(request):
    return request.param


def refused(path, header, traces, kind=TraceError):
    with pytest.raises(kind) as caught:
        import_table(path, header, traces)
    assert not list(traces.iterdir())
    return caught.value


def outcome(path, header, traces):
    """Give the sum of the trace, or where the file was refused; any other error escapes."""
    try:
        return import_table(path, header, traces).sha256
    except SpinproofError as error:
        return error.where


@pytest.mark.parametrize("writer", WRITERS.values(), ids=WRITERS)
def test_two_rates_give_the_same_trace_as_the_csv_whatever_the_name(
    tmp_path, header, traces, writer
):
    trace = import_table(writer(tmp_path / "renamed.csv"), header, traces)

    assert trace.sha256 == import_table(write_csv(tmp_path / "t"), header, traces).sha256
    assert trace.signals["drain resistivity"].time_s == pytest.approx(SLOW)
    assert trace.signals["DI flow"].channel.type == CountType.F64
    assert trace.signals["tach"].counts.tolist() == VALUES["tach"].tolist()
    assert trace.incidents == ()


def test_a_faster_channel_that_the_map_does_not_name_is_left_out(tmp_path, header, traces, write):
    fast = np.arange(2000) / 2000
    groups = [*GROUPS, ("vibration", fast, {"acceleration": np.sin(fast)})]
    path = write(tmp_path / "t", groups, UNITS | {"acceleration": "m/s2"})

    assert set(import_table(path, header, traces).signals) == set(NAMES)


def test_a_gap_of_the_fast_channels_is_counted_and_the_slow_ones_stay(
    tmp_path, header, traces, write
):
    kept = np.r_[:8, 13:20]  # 0.40 s to 0.60 s are lost; the drain was read at 0.50 s
    fast = {name: VALUES[name][kept] for name in NAMES[:2]}
    trace = import_table(
        write(tmp_path / "t", [("fast", FAST[kept], fast), GROUPS[1]]), header, traces
    )

    assert trace.signals["drain resistivity"].time_s == pytest.approx(SLOW)
    assert trace.signals["tach"].counts.tolist() == VALUES["tach"][kept].tolist()
    gaps = [i for i in trace.incidents if i.kind is IncidentKind.GAP]
    assert sum(gap.size for gap in gaps) == 4
    assert {i.channel for i in trace.incidents if i.kind is IncidentKind.MISSING} >= {"DI flow"}


def test_a_sample_between_the_rows_is_refused(tmp_path, header, traces, write):
    groups = [GROUPS[0], ("slow", SLOW + 0.02, GROUPS[1][2])]
    error = refused(write(tmp_path / "t", groups), header, traces)

    assert "0.02 s lies between the rows" in error.what
    assert "sample 1" in error.where


def test_a_wrong_unit_is_named_with_the_expected_one(tmp_path, header, traces, write):
    path = write(tmp_path / "t", units=UNITS | {"DI flow": "L/s"})
    error = refused(path, header, traces, UnitError)

    assert 'is in "L/s"' in error.what
    assert "L/min" in error.what


def test_a_channel_twice_is_refused(tmp_path, header, traces, write):
    groups = [*GROUPS, ("again", FAST, {"tach": VALUES["tach"]})]

    assert "called tach [1]" in refused(write(tmp_path / "t", groups), header, traces).what


def test_missing_channels_and_empty_ones_are_told(tmp_path, header, traces, write):
    error = refused(write(tmp_path / "t", GROUPS[:1]), header, traces)
    assert 'lacks "drain resistivity [MOhm.cm]"' in error.what

    none = [
        (group, time[:0], {n: v[:0] for n, v in values.items()}) for group, time, values in GROUPS
    ]
    error = refused(write(tmp_path / "t", none), header, traces)
    assert "fewer than two rows" in error.what


def test_text_half_counts_and_a_time_that_stands_are_refused(tmp_path, header, traces, write):
    def with_tach(values, time_s=FAST):
        fast = {"tach": values, "DI flow": VALUES["DI flow"]}
        return write(tmp_path / "t", [("fast", time_s, fast), GROUPS[1]])

    text = np.array(["a"] * 20) if write is write_tdms else np.array([b"a"] * 20)
    assert "not numbers" in refused(with_tach(text), header, traces).what
    error = refused(with_tach(VALUES["tach"] + 0.5), header, traces)
    assert "tach is 0.5" in error.what
    standing = np.where(np.arange(20) == 7, FAST[6], FAST)
    error = refused(with_tach(VALUES["tach"], standing), header, traces)
    assert "does not rise" in error.what
    assert "sample 8" in error.where


def test_a_file_cut_anywhere_is_refused_or_read_whole(tmp_path, header, traces, write, capfd):
    path = write(tmp_path / "t")
    data, whole = path.read_bytes(), import_table(path, header, traces).sha256
    for size in np.linspace(0, len(data) - 1, 25).astype(int):
        path.write_bytes(data[:size])
        said = outcome(path, header, traces)
        assert said == whole or str(path) in said
    assert capfd.readouterr().err == ""


def test_flipped_bytes_never_bring_the_import_down(tmp_path, header, traces, write):
    path = write(tmp_path / "t")
    data, rng = path.read_bytes(), np.random.default_rng(5)
    for at in rng.integers(8, len(data), 40):
        path.write_bytes(data[:at] + bytes([data[at] ^ 0xFF]) + data[at + 1 :])
        assert outcome(path, header, traces)


def test_waveforms_are_brought_onto_the_earliest_start(tmp_path, header, traces):
    starts = {"fast": "2031-05-06T07:08:09.000000", "slow": "2031-05-06T07:08:09.100000"}
    trace = import_table(write_waveforms(tmp_path / "t", starts=starts), header, traces)

    assert trace.signals["drain resistivity"].time_s == pytest.approx(SLOW + 0.1)


def test_a_tdms_channel_without_time_is_refused(tmp_path, header, traces):
    with TdmsWriter(tmp_path / "t") as writer:
        writer.write_segment([ChannelObject("g", "tach [1]", VALUES["tach"])])

    assert "states no time" in refused(tmp_path / "t", header, traces).what


def test_values_that_an_mdf_file_calls_invalid_are_missing_readings(tmp_path, header, traces):
    invalid = np.arange(20) == 4
    with MDF(version="4.10") as file:
        file.append(
            [
                Signal(VALUES["tach"], FAST, name="tach", unit="1"),
                Signal(
                    VALUES["DI flow"], FAST, name="DI flow", unit="L/min", invalidation_bits=invalid
                ),
            ]
        )
        file.append([Signal(VALUES[NAMES[2]], SLOW, name=NAMES[2], unit="MOhm.cm")])
        file.save(tmp_path / "t.mf4")
    trace = import_table(tmp_path / "t.mf4", header, traces)

    assert np.flatnonzero(np.isnan(trace.signals["DI flow"].values)).tolist() == [4]
    assert [(i.kind, i.size) for i in trace.incidents] == [(IncidentKind.MISSING, 1)]


def test_another_version_of_mdf_and_an_unfinished_one_are_named(tmp_path, header, traces):
    path = tmp_path / "t.mdf"
    with MDF(version="3.30") as file:
        file.append([Signal(VALUES["tach"], FAST, name="tach", unit="1")])
        file.save(path, overwrite=True)
    assert 'version "3.30", not 4' in refused(path, header, traces).what

    data = write_mdf(tmp_path / "u").read_bytes()
    path.write_bytes(b"UnFinMF " + data[8:])
    assert "not finished" in refused(path, header, traces).what


@pytest.mark.parametrize(("writer", "package"), [(write_tdms, "nptdms"), (write_mdf, "asammdf")])
def test_a_missing_package_is_named_with_how_it_comes_in(
    tmp_path, header, traces, monkeypatch, writer, package
):
    path = writer(tmp_path / "t")
    monkeypatch.setitem(sys.modules, package, None)
    error = refused(path, header, traces)

    assert package in error.what
    assert 'pip install "spinproof[sources]"' in error.mend
