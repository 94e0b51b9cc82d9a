"""Traces that were recorded elsewhere."""

import csv

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.demo_files import LOWER_CHANNELS, UPPER
from tests.record.raw_run import demo_header, make_block, write_journal

from spinproof.model.channel import CountType, Role
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import SpinproofError, StorageError, TraceError, UnitError
from spinproof.model.run import Ending, IncidentKind
from spinproof.record.imports import import_table
from spinproof.record.trace_file import read_trace, seal_journal

NAMES = ["tach", "DI flow", "drain resistivity"]
HEADER = "time [s],tach [1],DI flow [L/min],drain resistivity [MOhm.cm]"


@pytest.fixture
def header():
    """Give a run whose map has a counter, a reading and a slower reading."""
    chosen = tuple(c for c in LOWER_CHANNELS.channels if c.name in NAMES)
    channel_map = ChannelMap(name="logger", head="QM-207-L", unit_id=1, channels=chosen)
    return demo_header().model_copy(
        update={"channel_map": channel_map, "source": "csv", "simulated": False}
    )


@pytest.fixture
def write(tmp_path):
    def writing(*lines, data=None):
        path = tmp_path / "table.csv"
        path.write_bytes(data or ("\n".join(lines) + "\n").encode())
        return path

    return writing


def rows(count=20, start=0.0):
    """Rows at 20 Hz; the drain is read at 4 Hz."""
    return [
        f"{start + i / 20:.2f},{6 * i},{15 + i % 3 / 10},{i / 10 if i % 5 == 0 else ''}"
        for i in range(count)
    ]


def refused(path, header, traces, kind=TraceError):
    with pytest.raises(kind) as caught:
        import_table(path, header, traces)
    assert not list(traces.iterdir())
    return caught.value


def test_a_table_becomes_a_sealed_trace_in_engineering_units(write, header, traces):
    trace = import_table(write(HEADER, *rows(start=100)), header, traces)

    flow, drain, tach = (trace.signals[name] for name in ("DI flow", "drain resistivity", "tach"))
    assert flow.values.tolist() == [15 + i % 3 / 10 for i in range(20)]
    assert (flow.channel.type, flow.channel.scale) == (CountType.F64, 1.0)
    assert flow.time_s == pytest.approx(np.arange(20) / 20)
    assert drain.values.tolist() == [0.0, 0.5, 1.0, 1.5]
    assert drain.time_s == pytest.approx([0, 0.25, 0.5, 0.75])
    assert tach.counts.dtype == np.uint16
    assert tach.counts.tolist() == [6 * i for i in range(20)]
    assert (trace.ending, trace.incidents) == (Ending.IMPORTED, ())
    assert read_trace(next(traces.iterdir())).header == trace.header


def test_the_order_of_columns_and_further_columns_do_not_matter(write, header, traces):
    plain = import_table(write(HEADER, *rows()), header, traces)
    cells = [line.split(",") for line in [HEADER, *rows()]]
    turned = [",".join([*row[::-1], f"note {i}"]) for i, row in enumerate(cells)]

    assert import_table(write(*turned), header, traces).sha256 == plain.sha256


HABITS = {
    "byte order mark": lambda text: b"\xef\xbb\xbf" + text,
    "carriage returns": lambda text: text.replace(b"\n", b"\r\n"),
    "empty lines at the end": lambda text: text + b"\n\n",
    "spaces": lambda text: text.replace(b",", b", "),
    "no space before the unit": lambda text: text.replace(b" [", b"["),
    "no end of the last line": lambda text: text.rstrip(b"\n"),
}


@pytest.mark.parametrize("change", HABITS.values(), ids=HABITS)
def test_harmless_habits_of_exports_change_nothing(write, header, traces, change):
    plain = import_table(write(HEADER, *rows()), header, traces)
    text = "\n".join([HEADER, *rows()]).encode() + b"\n"

    assert import_table(write(data=change(text)), header, traces).sha256 == plain.sha256


def test_missing_readings_are_kept_as_such_and_counted(write, header, traces):
    lines = rows()
    lines[3] = "0.15,,nan,"
    lines[4] = "0.20,24,,"
    lines[5] = "0.25,30,inf,NaN"
    trace = import_table(write(HEADER, *lines), header, traces)

    flow = trace.signals["DI flow"]
    assert np.flatnonzero(np.isnan(flow.values)).tolist() == [3, 4, 5]
    assert trace.signals["tach"].counts.size == 19
    assert {(i.kind, i.channel, i.size, i.time_s) for i in trace.incidents} == {
        (IncidentKind.MISSING, "DI flow", 3, 0.15),
        (IncidentKind.MISSING, "tach", 1, 0.15),
        (IncidentKind.MISSING, "drain resistivity", 1, 0.25),
    }


def test_a_gap_in_the_time_is_counted_in_samples(write, header, traces):
    lines = rows()
    trace = import_table(write(HEADER, *lines[:7], *lines[10:]), header, traces)

    (gap,) = trace.incidents
    assert (gap.kind, gap.size, gap.time_s) == (IncidentKind.GAP, 3, 0.35)


def test_a_counter_that_rolls_over_is_judged_like_a_recorded_one(write, header, traces):
    lines = [f"{i / 20:.2f},{(65_500 + 6 * i) % 65_536},15.0,1.0" for i in range(20)]
    trace = import_table(write(HEADER, *lines), header, traces)

    assert [(i.kind, i.channel) for i in trace.incidents] == [(IncidentKind.ROLL_OVER, "tach")]


@pytest.mark.parametrize(
    ("cell", "unit"),
    [("DI flow [L/s]", 'is in "L/s"'), ("DI flow", "states no unit"), ("DI flow []", 'is in ""')],
)
def test_a_unit_that_is_missing_or_another_is_named_with_the_expected_one(
    write, header, traces, cell, unit
):
    path = write(HEADER.replace("DI flow [L/min]", cell), *rows())
    error = refused(path, header, traces, UnitError)

    assert f'the column "DI flow" {unit}' in error.what
    assert 'reads it in "L/min"' in error.what
    assert '"DI flow [L/min]"' in error.mend


def test_two_units_for_one_quantity_are_refused(write, header, traces):
    lines = [f"{line},1.0" for line in rows()]
    error = refused(write(HEADER + ",DI flow [L/s]", *lines), header, traces, UnitError)

    assert 'is in "L/s"' in error.what


def test_time_in_milliseconds_is_refused(write, header, traces):
    refused(write(HEADER.replace("[s]", "[ms]"), *rows()), header, traces, UnitError)


def test_missing_columns_are_named_as_they_should_stand(write, header, traces):
    lines = [line.rsplit(",", 2)[0] for line in [HEADER, *rows()]]
    error = refused(write(*lines), header, traces)

    assert '"DI flow [L/min]", "drain resistivity [MOhm.cm]"' in error.what


WRONG = {
    "empty": ((), "no header line", "table.csv"),
    "header alone": ((HEADER,), "fewer than two rows", "table.csv"),
    "one row": ((HEADER, *rows(1)), "fewer than two rows", "table.csv"),
    "semicolons": (
        (HEADER.replace(",", ";"), *(r.replace(",", ";") for r in rows())),
        "not separated by commas",
        "line 1",
    ),
    "tabs": ((HEADER.replace(",", "\t"), "0\t1\t2\t3"), "not separated by commas", "line 1"),
    "decimal comma": ((HEADER, *rows(3), '0.15,18,"15,2",'), '"15,2" is no number', "line 5"),
    "ragged": ((HEADER, *rows(3), "0.15,18,15"), "has 3 cells, the header 4", "line 5"),
    "comma inside": ((HEADER, "0,05,6,15,1", *rows(3)), "has 5 cells", "line 2"),
    "words": ((HEADER, *rows(3), "0.15,18,off,"), '"off" is no number', "line 5"),
    "underscore": ((HEADER, *rows(3), "0.15,1_8,15,"), '"1_8" is no number', "line 5"),
    "other digits": ((HEADER, *rows(3), "0.15,18,١٥,"), "is no number", "line 5"),
    "date": ((HEADER, "03/04/2030,1,2,3", *rows(3)), '"03/04/2030" is no number', "line 2"),
    "same name twice": ((HEADER + ",tach [1]", "0,1,2,3,4"), "two columns are called", "line 1"),
    "time goes back": ((HEADER, *rows(4), "0.10,0,0,"), "does not rise: 0.1 s follows", "line 6"),
    "time stands": ((HEADER, *rows(4), "0.15,0,0,"), "does not rise", "line 6"),
    "time missing": ((HEADER, *rows(4), ",0,0,"), "the time is missing", "line 6"),
    "time nan": ((HEADER, *rows(4), "nan,0,0,"), "the time is missing", "line 6"),
    "half a count": ((HEADER, *rows(4), "0.2,24.5,15,"), "tach is 24.5", "at 0.2 s"),
    "count below zero": ((HEADER, *rows(4), "0.2,-6,15,"), "from 0 to 65535", "at 0.2 s"),
    "count too large": ((HEADER, *rows(4), "0.2,65536,15,"), "from 0 to 65535", "at 0.2 s"),
    "other rate": ((HEADER, "0,0,1,1", "0.1,6,1,1", "0.2,12,1,1"), "0.1 s apart", "table.csv"),
    "open quote": ((HEADER, *rows(3), '"0.15,18,15,'), "cannot be split", "line"),
    "zero byte": ((HEADER, *rows(3), "0.15,18,\0,"), "zero bytes", "line 5"),
}


@pytest.mark.parametrize(("lines", "what", "where"), WRONG.values(), ids=WRONG)
def test_a_wrong_table_is_refused_with_its_place(write, header, traces, lines, what, where):
    error = refused(write(*lines), header, traces)

    assert what in error.what
    assert where in error.where
    assert error.mend.endswith(".")


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1"])
def test_other_encodings_are_named(write, header, traces, encoding):
    text = "\n".join([HEADER + ",Größe", *(f"{row},1" for row in rows())])
    error = refused(write(data=text.encode(encoding)), header, traces)

    assert "UTF-8" in error.what


@given(data=st.binary(max_size=400))
def test_no_bytes_bring_the_import_down(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("fuzz")
    (folder / "table").write_bytes(data)
    with pytest.raises(SpinproofError):
        import_table(folder / "table", demo_header(), folder)


def test_a_missing_file_is_a_storage_error(tmp_path, header, traces):
    refused(tmp_path / "missing.csv", header, traces, StorageError)


def parquet(path, lines, **types):
    table = list(csv.reader(lines))
    columns = {}
    for name, *cells in zip(*table, strict=True):
        values = [float(cell) if cell else None for cell in cells]
        columns[name] = pa.array(values, types.get(name, pa.float64()))
    pq.write_table(pa.table(columns), path)
    return path


def test_a_parquet_table_gives_the_same_trace_as_its_csv(tmp_path, write, header, traces):
    table = parquet(tmp_path / "table.parquet", [HEADER, *rows()])

    first = import_table(write(HEADER, *rows()), header, traces)
    assert import_table(table, header, traces).sha256 == first.sha256


def test_parquet_columns_are_held_to_the_same_rules(tmp_path, header, traces):
    lines = [HEADER, *rows(4), "0.1,24,15,"]
    error = refused(parquet(tmp_path / "table.parquet", lines), header, traces)

    assert "does not rise" in error.what
    assert "row 5" in error.where


def test_a_parquet_column_of_text_is_refused(tmp_path, header, traces):
    table = {name: ["a", "b"] for name in HEADER.split(",")}
    pq.write_table(pa.table(table), tmp_path / "table.parquet")
    error = refused(tmp_path / "table.parquet", header, traces)

    assert "holds string, not numbers" in error.what


def test_a_truncated_parquet_file_is_refused(tmp_path, header, traces):
    path = parquet(tmp_path / "table.parquet", [HEADER, *rows()])
    path.write_bytes(path.read_bytes()[:-7])

    assert "cannot be read" in refused(path, header, traces).what


@pytest.fixture
def sealed(tmp_path):
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    blocks = [make_block(n) for n in range(8)]
    trace = seal_journal(write_journal(tmp_path / "a", demo_header(), blocks), folder)
    path = folder / "a trace from a colleague.parquet"
    (folder / f"{trace.sha256}.parquet").rename(path)
    return path


def test_a_sealed_trace_is_taken_in_as_it_is(sealed, traces):
    trace = import_table(sealed, demo_header(), traces)

    assert (trace.ending, trace.header.simulated) == (Ending.COMPLETE, True)
    assert (traces / f"{trace.sha256}.parquet").read_bytes() == sealed.read_bytes()
    assert trace.role(Role.TACH_COUNT).counts.size == 40


def test_a_sealed_trace_of_another_head_or_recipe_is_refused(sealed, traces):
    other_head = demo_header().model_copy(update={"head": UPPER})
    assert "head QM-207-L, not for QM-207-U" in refused(sealed, other_head, traces).what

    recipe = demo_header().recipe.model_copy(update={"revision": 2})
    other_recipe = demo_header().model_copy(update={"recipe": recipe})
    assert "CR-1 revision 1, not for CR-1 revision 2" in refused(sealed, other_recipe, traces).what


def test_a_damaged_sealed_trace_is_refused(sealed, traces):
    data = sealed.read_bytes()
    sealed.write_bytes(data.replace(b"QA-1041-L-017", b"QA-1041-L-018", 1))

    assert "damaged" in refused(sealed, demo_header(), traces).what
