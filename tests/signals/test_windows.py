"""Compiled windows against the readable laws that they repeat, and what makes a window unknown."""

import numpy as np
import pytest
from scipy.fft import ifft, rfft

from spinproof.model.errors import OutOfRangeError
from spinproof.signals.severity import clipped_share, crest_factor, kurtosis, velocity_severity
from spinproof.signals.tracked import tracked_velocity
from spinproof.signals.windows import HARMONICS, Converter, WindowMeter, Windows, pulse_edges

RATE, SCALE, SECONDS = 10_000, 1e-3, 11
ORDERS = (3.5848, 5.4152, 0.3983, 4.7135)


def edges_at(rev_per_s: float, seconds: float = SECONDS) -> np.ndarray:
    whole = round(rev_per_s)
    return np.arange(-whole, (seconds + 1) * whole + 1) / rev_per_s + 0.0031


def counts_of(kind: type = np.int16) -> np.ndarray:
    """Give three axes: a rotor at 23.7 rev/s, a hit of an outer race, and noise."""
    rng, t = np.random.default_rng(4), np.arange(SECONDS * RATE) / RATE
    turned = 2 * np.pi * 23.7 * (t - 0.0031)
    hits = (2 + np.cos(ORDERS[0] * turned)) * np.cos(2 * np.pi * 3300 * t)
    values = np.column_stack((1.4 * np.cos(turned - 0.7), 0.5 * hits, 0 * t))
    values += rng.normal([0.3, -0.2, 0.0], 0.2, values.shape)
    return np.rint(values / SCALE).astype(kind)


def measured(counts: np.ndarray, edges: np.ndarray | None = None, **converter: int) -> Windows:
    meter = WindowMeter(RATE, [Converter(SCALE, **converter)] * counts.shape[1], ORDERS)
    return meter.measure(counts, 0.0, edges_at(23.7) if edges is None else edges)


@pytest.mark.parametrize("kind", [np.int16, np.int32])
def test_windows_repeat_severity_crest_factor_and_kurtosis(kind):
    counts = counts_of(kind)
    found = measured(counts)

    for axis in range(3):
        expected = velocity_severity(counts[:, axis] * SCALE, RATE)
        assert found.severity[:, axis] == pytest.approx(expected, rel=2e-6)
        for w in range(SECONDS):
            window = counts[w * RATE : (w + 1) * RATE, axis]
            assert found.crest[w, axis] == pytest.approx(crest_factor(window), rel=1e-9)
            assert found.kurtosis[w, axis] == pytest.approx(kurtosis(window), rel=1e-9)


def test_the_vector_of_the_shaft_is_the_sum_over_the_window():
    counts, edges = counts_of(), edges_at(23.7)
    found = measured(counts)

    t = np.arange(counts.shape[0]) / RATE
    turned = np.exp(-2j * np.pi * np.interp(t, edges, np.arange(edges.size)))
    for w in range(SECONDS):
        part = slice(w * RATE, (w + 1) * RATE)
        values = counts[part] * SCALE
        expected = 2 / RATE * (turned[part] @ (values - values.mean(axis=0)))
        assert found.vector[w] == pytest.approx(expected, rel=1e-5, abs=1e-6)
    assert np.angle(found.vector[:, 0]) == pytest.approx(-0.7, abs=0.02)
    assert found.speed == pytest.approx(23.7, rel=1e-9)


def test_the_tracked_severity_is_that_of_the_readable_law():
    counts, edges = counts_of(), edges_at(23.7)
    expected = tracked_velocity(counts[:RATE, 0] * SCALE, 0.0, RATE, edges, 1)

    assert measured(counts).tracked[0, 0] == pytest.approx(expected.velocity, rel=0.01)


def test_the_envelope_shows_the_line_of_the_defect():
    counts = counts_of()
    found = measured(counts)

    hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(RATE) / RATE)
    line = rfft(counts[:RATE, 1] * SCALE * hann)[2000:4500]
    envelope = np.abs(ifft(line)) * 2 * 2500 / RATE
    narrow = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(2500) / 2500)
    spectrum = 2 * np.abs(rfft(envelope - narrow * envelope.sum() / narrow.sum())) / narrow.sum()
    for order in range(4):
        for harmonic in range(HARMONICS):
            middle = round(ORDERS[order] * (harmonic + 1) * 23.7)
            expected = spectrum[middle - 1 : middle + 2].max()
            assert found.envelope[0, 1, order, harmonic] == pytest.approx(expected, rel=1e-4)
    assert found.envelope[:, 1, 0, 0] == pytest.approx(0.5, rel=0.1)
    assert found.envelope[:, 1, 1, 0].max() < 0.05


def test_a_rotor_that_is_too_slow_shows_no_bearing():
    assert np.isnan(measured(counts_of(), edges_at(4.0)).envelope).all()


def test_clipped_samples_are_counted():
    counts = counts_of()
    counts[::100, 2] = 2000
    found = measured(counts, lowest=-2000, highest=2000)

    assert found.clipped[0, 2] == clipped_share(counts[:RATE, 2], -2000, 2000) == 0.01


def test_a_window_with_a_missing_sample_says_nothing():
    counts = counts_of()
    counts[4 * RATE + 77, 1] = -32768
    found = measured(counts, missing=-32768)

    told = np.isfinite(found.severity)
    assert not told[4, 1]
    assert told.sum() == told.size - 1
    assert np.isnan(found.vector[4, 1])


def test_batches_give_what_the_whole_gives():
    counts = counts_of()
    meter = WindowMeter(RATE, [Converter(SCALE)] * 3, ORDERS)
    parts = [
        meter.measure(counts[a * RATE : b * RATE], a, edges_at(23.7)) for a, b in ((0, 7), (7, 11))
    ]
    joined, whole = Windows.joined(parts), measured(counts)

    assert joined.start_s == pytest.approx(whole.start_s)
    assert joined.severity == pytest.approx(whole.severity, rel=1e-5)
    assert joined.vector == pytest.approx(whole.vector, rel=1e-4, abs=1e-5)


def test_without_pulses_the_shaft_stands_still():
    found = measured(counts_of(), np.empty(0))

    assert (found.speed == 0).all()
    assert np.isnan(found.vector).all()
    assert np.isfinite(found.severity).all()


def test_a_lost_pulse_spoils_its_window_only():
    edges = edges_at(23.7)
    found = measured(counts_of(), np.delete(edges, np.abs(edges - 5.5).argmin()))

    assert np.isnan(found.vector[5]).all()
    assert np.isfinite(np.delete(found.vector, 5, axis=0)).all()


def test_edges_of_a_noisy_level_are_found_between_samples_and_across_batches():
    rng, t = np.random.default_rng(3), np.arange(3 * RATE) / RATE
    phase = np.mod((t - 0.0123456) * 20, 1)
    level = np.clip(phase / 0.01, 0, 1) * (phase < 0.3) * 1000
    counts = np.rint(level + rng.normal(0, 20, t.size)).astype(np.int16)[:, np.newaxis]
    found = pulse_edges((counts[:12_345], counts[12_345:]), (0.0, 1.2345), RATE, 0, 1000)

    expected = 0.0123456 + 0.005 / 20 + np.arange(60) / 20
    assert found == pytest.approx(expected, abs=1e-4)


def test_a_level_that_never_moves_has_no_edges():
    assert pulse_edges([np.zeros((500, 1), dtype=np.int16)], [0.0], RATE, 0, 0).size == 0


def test_a_window_in_which_nothing_moves_has_no_crest_factor():
    found = measured(np.full((RATE, 1), 7, dtype=np.int16))

    assert np.isnan(found.crest[0, 0])
    assert found.severity[0, 0] == 0


def test_a_rate_below_the_band_is_refused():
    with pytest.raises(OutOfRangeError, match="do not carry the band"):
        WindowMeter(2000.0, [Converter(1.0)])
