"""Sound files: everything readable comes out as mono 16 kHz, everything else as one clear SoundError.

The reference is outside the reader: tones whose frequency and level are known, counted by Fourier transform or by
the mean square, and files written by libsndfile or byte by byte after the RIFF/WAVE layout (Microsoft and IBM,
Multimedia Programming Interface and Data Specifications 1.0, 1991).
"""

from __future__ import annotations

import os
import struct
import tracemalloc

import numpy as np
import pytest
import soundfile

from fieldaid.errors import SoundError
from fieldaid.hearing.sound import RATE, Recording, Sound, read


def tone(rate: int, seconds: float = 1.0, hz: float = 440.0, level: float = 0.5) -> np.ndarray:
    return level * np.sin(2 * np.pi * hz * np.arange(int(rate * seconds)) / rate)


def loudest_hz(samples: np.ndarray) -> float:
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return spectrum.argmax() * RATE / len(samples)


def raw_wav(
    data: bytes,
    rate: int = RATE,
    channels: int = 1,
    bits: int = 16,
    kind: int = 1,
    size: int | None = None,
) -> bytes:
    """A WAV file byte by byte; `size` is what its data chunk claims."""
    block = channels * bits // 8
    head = struct.pack("<4sIHHIIHH", b"fmt ", 16, kind, channels, rate, rate * block % 2**32, block, bits)
    claimed = len(data) if size is None else size
    body = b"WAVE" + head + struct.pack("<4sI", b"data", claimed) + data
    return b"RIFF" + struct.pack("<I", min(0xFFFF_FFFF, 4 + len(head) + 8 + claimed)) + body


SHAPES = [("WAV", subtype) for subtype in ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE", "ULAW")]
SHAPES += [("WAVEX", "PCM_24"), ("FLAC", "PCM_16"), ("FLAC", "PCM_24")]


@pytest.mark.parametrize(("kind", "subtype"), SHAPES)
def test_every_width_keeps_pitch_length_and_level(tmp_path, kind, subtype):
    path = tmp_path / "tone.snd"
    soundfile.write(path, tone(44_100), 44_100, format=kind, subtype=subtype)
    sound = read(path)
    assert sound.samples.dtype == np.float32 and sound.samples.ndim == 1 and sound.rate == RATE
    assert sound.seconds == pytest.approx(1.0, abs=0.002)
    assert loudest_hz(sound.samples) == pytest.approx(440, abs=1.5)
    assert np.sqrt(np.mean(sound.samples[800:-800] ** 2)) == pytest.approx(0.5 / np.sqrt(2), rel=0.02)
    assert sound.notes == ()


@pytest.mark.parametrize("rate", [8_000, 11_025, 16_000, 22_050, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_every_rate_and_number_of_channels(tmp_path, rate, channels):
    path = tmp_path / "tone.wav"
    soundfile.write(path, np.tile(tone(rate)[:, None], channels), rate)
    sound = read(path)
    assert sound.seconds == pytest.approx(1.0, abs=0.002)
    assert loudest_hz(sound.samples) == pytest.approx(440, abs=1.5)
    assert np.abs(sound.samples).max() == pytest.approx(0.5, abs=0.03)


def test_channels_that_cancel_each_other_are_not_averaged_away(tmp_path):
    path = tmp_path / "opposed.wav"
    soundfile.write(path, np.column_stack([tone(RATE), -tone(RATE)]), RATE)
    assert np.abs(read(path).samples).max() == pytest.approx(0.5, abs=0.01)


def test_blocks_put_together_are_the_whole(tmp_path):
    path = tmp_path / "long.wav"
    soundfile.write(path, tone(44_100, 35.0), 44_100)
    recording = Recording(path)
    blocks = list(recording.blocks())
    assert len(blocks) >= 4
    assert np.array_equal(np.concatenate(blocks), read(path).samples)
    # A resampled tone is still one tone: a click at a block's edge would spread over the spectrum.
    middle = np.concatenate(blocks)[RATE * 5 : RATE * 30]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle)))) ** 2
    near = spectrum[int(430 * 25) : int(450 * 25)].sum()
    assert near / spectrum.sum() > 0.999_99


def test_a_long_recording_is_read_without_holding_it(tmp_path):
    path = tmp_path / "twenty_minutes.flac"
    with soundfile.SoundFile(path, "w", RATE, 1) as file:
        for _ in range(20):
            file.write(tone(RATE, 60.0))
    tracemalloc.start()
    seconds = sum(len(block) for block in Recording(path).blocks()) / RATE
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert seconds == pytest.approx(1200.0)
    assert peak < 20e6, "twenty minutes are 77 MB as float32"


def assert_clear(error: SoundError, path) -> None:
    """What, where, why and what to do next, and no word of Python."""
    assert str(path) in error.where and error.what and error.why and error.next_step
    text = str(error)
    assert "\n" not in text and "Traceback" not in text and "Error(" not in text and "<" not in text


BAD = {
    "empty": b"",
    "one byte": b"R",
    "text": b"this is not sound\n" * 50,
    "png": b"\x89PNG\r\n\x1a\n" + bytes(200),
    "header only": raw_wav(b"")[:30],
    "no samples": raw_wav(b""),
    "zero channels": raw_wav(bytes(320), channels=0),
    "rate 0": raw_wav(bytes(320), rate=0),
    "rate 1": raw_wav(bytes(320), rate=1),
    "rate 4 GHz": raw_wav(bytes(320), rate=4_000_000_000),
    "200 channels": raw_wav(bytes(2000), channels=200),
    "unknown code": raw_wav(bytes(320), kind=0x1234),
    "flac without frames": b"fLaC" + bytes(60),
    "all NaN": raw_wav(np.full(1600, np.nan, "<f4").tobytes(), bits=32, kind=3),
}


@pytest.mark.parametrize("name", BAD)
@pytest.mark.parametrize("ending", [".wav", ".flac", ".raw", ""])
def test_what_is_not_usable_gets_one_clear_error(tmp_path, name, ending):
    path = tmp_path / f"given{ending}"
    path.write_bytes(BAD[name])
    with pytest.raises(SoundError) as caught:
        read(path)
    assert_clear(caught.value, path)


def test_missing_folder_pipe_and_odd_names(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (tmp_path / "none.wav", tmp_path, pipe, tmp_path / "a" / "b.wav", tmp_path / ("x" * 300)):
        with pytest.raises(SoundError) as caught:
            read(path)
        assert_clear(caught.value, path)
    with pytest.raises(SoundError):
        read("a\0b.wav")


def test_no_permission(tmp_path, monkeypatch):
    path = tmp_path / "closed.wav"
    soundfile.write(path, tone(RATE), RATE)
    if os.geteuid() == 0:  # root may read everything, so the refusal is made by hand

        def refuse(*args, **kwargs):
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(type(path), "open", refuse)
    else:
        path.chmod(0)
    with pytest.raises(SoundError, match="may not be read") as caught:
        read(path)
    assert_clear(caught.value, path)


def test_hours_long_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "day.wav"
    path.write_bytes(raw_wav(b"", rate=8000, bits=8))
    with path.open("r+b") as file:  # a sparse file: twelve hours of header, nothing on the disk
        seconds = 12 * 3600
        file.seek(40)
        file.write(struct.pack("<I", 8000 * seconds))
        file.truncate(44 + 8000 * seconds)
    with pytest.raises(SoundError, match="12.0 hours") as caught:
        read(path)
    assert_clear(caught.value, path)


@pytest.mark.parametrize("kind", ["WAV", "FLAC"])
def test_a_truncated_file_is_heard_as_far_as_it_goes_and_says_so(tmp_path, kind):
    path = tmp_path / "cut.snd"
    rng = np.random.default_rng(1)
    soundfile.write(path, tone(RATE, 30.0) + 0.01 * rng.standard_normal(30 * RATE), RATE, format=kind)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    sound = read(path)
    assert 5.0 < sound.seconds < 16.0
    assert len(sound.notes) == 1 and "ends early" in sound.notes[0] and "of 30.0 seconds" in sound.notes[0]
    assert loudest_hz(sound.samples) == pytest.approx(440, abs=1.5)


@pytest.mark.parametrize("cut", range(0, 200, 7))
def test_cut_anywhere_near_the_start_never_crashes(tmp_path, cut):
    path = tmp_path / "cut.flac"
    soundfile.write(path, tone(RATE), RATE)
    path.write_bytes(path.read_bytes()[:cut])
    try:
        assert isinstance(read(path), Sound)
    except SoundError as error:
        assert_clear(error, path)


def test_damaged_bytes_never_crash(tmp_path):
    rng = np.random.default_rng(2)
    for kind in ("WAV", "FLAC"):
        path = tmp_path / "damaged.snd"
        soundfile.write(path, tone(RATE, 0.5), RATE, format=kind)
        good = bytearray(path.read_bytes())
        for _ in range(60):
            bad = bytearray(good)
            for place in rng.integers(0, min(len(bad), 400), 6):
                bad[place] = rng.integers(0, 256)
            path.write_bytes(bad)
            try:
                sound = read(path)
            except SoundError as error:
                assert_clear(error, path)
            else:
                assert np.isfinite(sound.samples).all() and np.abs(sound.samples).max(initial=0) <= 1.0


def test_recorded_into_a_pipe_has_no_length_and_is_heard_whole(tmp_path):
    path = tmp_path / "piped.wav"
    data = (tone(RATE) * 32767).astype("<i2").tobytes()
    path.write_bytes(raw_wav(data, size=0xFFFF_FFFF))
    sound = read(path)
    assert sound.seconds == pytest.approx(1.0, abs=0.01) and sound.notes == ()


def test_some_nan_become_silence_and_are_counted(tmp_path):
    samples = tone(RATE).astype("<f4")
    samples[100:110] = np.nan
    samples[200] = np.inf
    path = tmp_path / "nan.wav"
    path.write_bytes(raw_wav(samples.tobytes(), bits=32, kind=3))
    sound = read(path)
    assert np.isfinite(sound.samples).all() and not sound.samples[100:110].any()
    assert len(sound.notes) == 1 and "11 samples are not numbers" in sound.notes[0]


def test_float_beyond_full_scale_is_turned_down_not_clipped(tmp_path):
    path = tmp_path / "loud.wav"
    soundfile.write(path, tone(RATE) * 60_000, RATE, subtype="FLOAT")
    sound = read(path)
    assert np.abs(sound.samples).max() == pytest.approx(1.0, abs=1e-3)
    assert np.sqrt(np.mean(sound.samples**2)) == pytest.approx(1 / np.sqrt(2), rel=0.01), "still a sine"
    assert len(sound.notes) == 1 and "full scale" in sound.notes[0]


def test_silence_and_clipping_are_noted(tmp_path):
    for name, samples, words in (
        ("silence", np.zeros(RATE), "silence"),
        ("clipping", np.clip(tone(RATE, level=4.0), -1, 1), "too loud"),
    ):
        path = tmp_path / f"{name}.wav"
        soundfile.write(path, samples, RATE)
        notes = read(path).notes
        assert len(notes) == 1 and words in notes[0] and f"{name}.wav" in notes[0]
