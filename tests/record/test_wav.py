"""WAV recordings, against the writer of SciPy."""

import struct
import wave

import numpy as np
import pytest
from scipy.io import wavfile

from spinproof.model.errors import StorageError, TraceError
from spinproof.record.wav import read_wav_header

SAMPLES = np.array([[0, 5], [1000, -5], [-32768, 7], [32767, 9], [-1, 11]], dtype=np.int16)
WRITTEN = {
    "8 bit": ((SAMPLES >> 8) + 128).astype(np.uint8),
    "16 bit": SAMPLES,
    "32 bit": SAMPLES.astype(np.int32) << 16,
    "float": (SAMPLES / 32768).astype(np.float32),
    "double": SAMPLES / 32768,
}


def all_of(path, channel=1, length=2):
    blocks = list(read_wav_header(path).blocks(channel, length))
    assert max(block.size for block in blocks) <= length
    return np.concatenate(blocks)


@pytest.mark.parametrize("samples", WRITTEN.values(), ids=WRITTEN)
def test_every_width_reads_as_scipy_wrote_it_block_by_block(tmp_path, samples):
    wavfile.write(tmp_path / "r.wav", 8000, samples)
    header = read_wav_header(tmp_path / "r.wav")

    lowered = 128 if samples.dtype == np.uint8 else 0
    for channel in (1, 2):
        expected = samples[:, channel - 1].astype(float) - lowered
        assert all_of(tmp_path / "r.wav", channel).tolist() == expected.tolist()
    assert (header.rate_hz, header.channels, header.frames) == (8000, 2, 5)
    assert header.full_scale == (1 if samples.dtype.kind == "f" else 2 ** (header.width - 1))


def test_24_bits_read_as_the_standard_library_wrote_them(tmp_path):
    values = [0, 1, -1, 8_388_607, -8_388_608, 123_456]
    with wave.open(str(tmp_path / "r.wav"), "wb") as file:
        file.setparams((1, 3, 8000, 0, "NONE", ""))
        file.writeframes(b"".join(v.to_bytes(3, "little", signed=True) for v in values))

    assert all_of(tmp_path / "r.wav").tolist() == values
    assert read_wav_header(tmp_path / "r.wav").highest == 8_388_607


def extensible(valid, form=1):
    head = struct.pack("<HHIIHH", 0xFFFE, 1, 8000, 32000, 4, 32)
    sub = struct.pack("<HHIH", 22, valid, 0, form) + bytes(14)
    data = np.array([0, 256, -256], np.int32).tobytes()
    chunks = b"LIST\x03\0\0\0abc\0" + b"fmt " + struct.pack("<I", 40) + head + sub
    body = b"WAVE" + chunks + b"data" + struct.pack("<I", len(data)) + data
    return b"RIFF" + struct.pack("<I", len(body)) + body


def test_24_bits_in_32_know_their_own_resolution_and_range(tmp_path):
    (tmp_path / "r.wav").write_bytes(extensible(24))
    header = read_wav_header(tmp_path / "r.wav")

    assert (header.resolution, header.highest) == (256, 2**31 - 256)
    assert all_of(tmp_path / "r.wav").tolist() == [0, 256, -256]


REFUSED = {
    "empty": (b"", "no WAV"),
    "something else": (b"time [s],tach [1]\n0,1\n" * 9, "no WAV"),
    "header alone": (b"RIFF\0\0\0\0WAVE", "cut off"),
    "beyond 4 GB": (b"RF64\xff\xff\xff\xffWAVE", "RF64"),
    "compressed": (extensible(32, form=2), "format 2 with 32 bits"),
    "more valid bits than bits": (extensible(33), "contradicts itself"),
    "cut": (extensible(32)[:-1], "cut off"),
    "float not finite": (extensible(32, form=3)[:-4] + b"\0\0\x80\x7f", "not finite"),
}


@pytest.mark.parametrize(("data", "what"), REFUSED.values(), ids=REFUSED)
def test_what_is_no_whole_recording_is_refused(tmp_path, data, what):
    (tmp_path / "r.wav").write_bytes(data)
    with pytest.raises(TraceError, match=what) as caught:
        all_of(tmp_path / "r.wav")

    assert str(tmp_path / "r.wav") in caught.value.where


def test_a_recording_cut_anywhere_is_refused(tmp_path):
    wavfile.write(tmp_path / "r.wav", 8000, SAMPLES)
    data = (tmp_path / "r.wav").read_bytes()
    for size in range(len(data)):
        (tmp_path / "r.wav").write_bytes(data[:size])
        with pytest.raises(TraceError):
            read_wav_header(tmp_path / "r.wav")


def test_a_missing_file_is_a_storage_error(tmp_path):
    with pytest.raises(StorageError):
        read_wav_header(tmp_path / "r.wav")
