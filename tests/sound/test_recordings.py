"""Recordings of every kind, whole and broken, made here with libsndfile."""

import os
import subprocess
import sys
import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly

from playalong.sound.recordings import decoder
from playalong.sound.recordings.decoder import source_of
from playalong.sound.recordings.decoding import Recording, RecordingError, Reel
from playalong.sound.timeline import RATE, Frames
from tests.fuzz.damage import CORPUS

#: What 16 bit tell apart, where full scale is 2, and a little.
_STEP = 1.01 * 2.0 / 32767


def music(rate: int, length_s: float = 4.0, channels: int = 2) -> Frames:
    """A few tones under half the lowest rate, a click at second 1, and silence at the ends."""
    at_s = np.arange(round(length_s * rate)) / rate
    tones = sum(0.1 * np.sin(2 * np.pi * hz * at_s + hz) for hz in (220.0, 1_000.0, 2_900.0))
    tones *= np.clip(20 * np.minimum(at_s, length_s - at_s), 0.0, 1.0)
    tones[rate] = 0.9
    return np.repeat(tones[:, None], channels, axis=1).astype(np.float32)


def kept(path: Path, rate: int = 44_100, channels: int = 2, *, subtype: str | None = None) -> Path:
    soundfile.write(path, music(rate, channels=channels), rate, subtype=subtype)
    return path


def heard(recording: Recording) -> Frames:
    return recording.read(0, recording.frames)


# Kinds and rates.


@pytest.mark.parametrize("kind", ["wav", "flac", "mp3", "ogg"])
def test_every_kind_is_read_in_its_place(tmp_path: Path, kind: str) -> None:
    recording = Recording.open(kept(tmp_path / f"a.{kind}"))
    assert recording.notice == ""
    assert recording.length_s == pytest.approx(4.0, abs=0.001)
    assert np.abs(heard(recording)[:, 0]).argmax() == RATE  # nothing comes late


@pytest.mark.parametrize("kind", ["wav", "flac", "mp3", "ogg"])
def test_a_kind_is_known_by_what_it_holds(tmp_path: Path, kind: str) -> None:
    path = kept(tmp_path / f"a.{kind}")
    assert Recording.open(path.rename(tmp_path / "no kind told")).length_s == pytest.approx(
        4.0, abs=0.001
    )


@pytest.mark.parametrize(
    ("rate", "channels", "subtype"),
    [
        (8_000, 1, "PCM_16"),
        (22_050, 2, "PCM_16"),
        (44_100, 2, "PCM_24"),
        (44_100, 1, "PCM_U8"),
        (48_000, 2, "PCM_16"),
        (96_000, 2, "FLOAT"),
        (192_000, 2, "PCM_24"),
    ],
)
def test_every_rate_is_heard_right(tmp_path: Path, rate: int, channels: int, subtype: str) -> None:
    """Source: scipy.signal.resample_poly."""
    recording = Recording.open(kept(tmp_path / "a.wav", rate, channels, subtype=subtype))
    common = np.gcd(rate, RATE)
    whole = music(rate, channels=1)[:, 0].astype(np.float64)
    whole[rate] = 0.0  # a click holds what no lower rate can
    expected = resample_poly(whole, RATE // common, rate // common)
    found = heard(recording)
    assert len(found) == len(expected)
    away = np.abs(np.arange(len(found)) - RATE) > RATE // 20
    coarse = 0.02 if subtype == "PCM_U8" else 0.003
    assert np.abs(found[away, 0] - expected[away]).max() < coarse
    assert np.array_equal(found[:, 0], found[:, 1])


def test_what_is_above_half_the_rate_is_not_folded_down(tmp_path: Path) -> None:
    at_s = np.arange(2 * 96_000) / 96_000
    soundfile.write(tmp_path / "a.wav", 0.5 * np.sin(2 * np.pi * 30_000.0 * at_s), 96_000)
    found = heard(Recording.open(tmp_path / "a.wav"))
    assert np.abs(found[RATE // 2 : -RATE // 2]).max() < 0.001


def test_left_and_right_stay_apart(tmp_path: Path) -> None:
    sound = music(44_100)
    sound[:, 1] = 0.0
    soundfile.write(tmp_path / "a.flac", sound, 44_100)
    found = heard(Recording.open(tmp_path / "a.flac"))
    assert np.abs(found[:, 0]).max() > 0.5
    assert not found[:, 1].any()


def test_the_file_is_only_read(tmp_path: Path) -> None:
    path = kept(tmp_path / "a.flac")
    before = path.read_bytes(), path.stat().st_mtime_ns
    path.chmod(0o400)
    Recording.open(path).close()
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert list(tmp_path.iterdir()) == [path]


# Reading.


def test_any_part_can_be_read(tmp_path: Path) -> None:
    recording = Recording.open(kept(tmp_path / "a.wav", RATE))
    whole = heard(recording)
    assert recording.read(1_000, 50).tolist() == whole[1_000:1_050].tolist()
    before = recording.read(-30, 50)
    assert not before[:30].any()
    assert before[30:].tolist() == whole[:20].tolist()
    assert recording.read(recording.frames - 10, 50).tolist() == whole[-10:].tolist()
    assert recording.read(recording.frames + 10, 50).shape == (0, 2)
    assert recording.read(-90, 50).tolist() == [[0.0, 0.0]] * 50


def test_a_long_reel_goes_to_the_disk_and_reads_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("playalong.sound.recordings.decoding.IN_MEMORY_BYTES", 1_000)
    noise = np.random.default_rng(4).uniform(-1.0, 1.0, (5_000, 2)).astype(np.float32)
    reel = Reel()
    for start in range(0, 5_000, 700):
        reel.append(noise[start : start + 700])
        reel.read(start // 2, 10)  # reading between must not disturb
    assert reel.read(0, 5_000) == pytest.approx(noise, abs=_STEP)
    reel.close()


def test_progress_is_told_up_to_all_and_can_break_off(tmp_path: Path) -> None:
    shares: list[float] = []
    Recording.open(kept(tmp_path / "a.mp3"), shares.append)
    assert shares == sorted(shares)
    assert len(shares) > 2
    assert shares[-1] == 1.0

    def no_more(share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        Recording.open(tmp_path / "a.mp3", no_more)


@pytest.mark.parametrize(
    ("begin_s", "end_s", "columns"),
    [(0.0, 4.0, 100), (0.0, 4.0, 7), (1.0, 1.1, 400), (-1.0, 6.0, 50), (0.99, 1.02, 13)],
)
def test_the_overview_shows_the_least_and_greatest(
    tmp_path: Path, begin_s: float, end_s: float, columns: int
) -> None:
    recording = Recording.open(kept(tmp_path / "a.wav", RATE))
    found = recording.overview(begin_s, end_s, columns)
    assert found.shape == (columns, 2)
    mono = heard(recording).mean(axis=1)
    edges = np.round(np.linspace(begin_s, end_s, columns + 1) * RATE).astype(int)
    # A column's edges may lie by two columns of what is kept beside what was asked.
    slack = max(8, int(2 * (end_s - begin_s) * RATE / columns))
    for low, high, (least, most) in zip(edges[:-1], edges[1:], found, strict=True):
        inside = mono[max(0, low) : max(0, high)]
        around = mono[max(0, low - slack) : max(0, high + slack)]
        assert least >= around.min(initial=0.0) - _STEP
        assert most <= around.max(initial=0.0) + _STEP
        middle = inside[len(inside) // 4 : len(inside) - len(inside) // 4]
        if (high - low) > 2_048 and len(inside) == high - low:
            assert least <= middle.min() + _STEP
            assert most >= middle.max() - _STEP


# What is wrong with a file.


@pytest.mark.parametrize("kind", ["wav", "flac", "mp3"])
def test_of_a_cut_off_file_what_is_there_is_played(tmp_path: Path, kind: str) -> None:
    whole = kept(tmp_path / f"whole.{kind}").read_bytes()
    path = tmp_path / f"cut.{kind}"
    path.write_bytes(whole[: len(whole) // 2])
    recording = Recording.open(path)
    assert 1.0 < recording.length_s < 3.0
    assert np.abs(heard(recording)[:, 0]).argmax() == RATE
    assert recording.notice == (
        f"cut.{kind} is cut off: {recording.length_s:.1f} of its 4.0 s are there, and are played."
    )


def test_of_a_cut_off_ogg_file_the_whole_length_is_not_known(tmp_path: Path) -> None:
    whole = kept(tmp_path / "whole.ogg").read_bytes()
    path = tmp_path / "cut.ogg"
    path.write_bytes(whole[: len(whole) * 2 // 3])
    recording = Recording.open(path)
    assert recording.notice == (
        f"cut.ogg is cut off: {recording.length_s:.1f} s are there, and are played."
    )


def test_silence_is_told(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", np.zeros((RATE, 2)), RATE)
    told = Recording.open(tmp_path / "a.wav").notice
    assert told == "a.wav is silent from beginning to end: nothing will be heard of it."


@pytest.mark.parametrize("name", ["a.txt", "a.wav", "a.mp3", "a.ogg", "a.flac", "a"])
@pytest.mark.parametrize(
    "content", [b"Dear diary, " * 999, bytes(20_000), os.urandom(1) * 9_000, b"OggS" * 40]
)
def test_what_is_no_recording_is_told(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(RecordingError, match=f"^{name} is no recording .* wav, flac, mp3 or ogg"):
        Recording.open(tmp_path / name)


def test_an_empty_file_a_folder_and_nothing_are_told(tmp_path: Path) -> None:
    (tmp_path / "a.wav").touch()
    with pytest.raises(RecordingError, match=r"a\.wav is empty"):
        Recording.open(tmp_path / "a.wav")
    with pytest.raises(RecordingError, match="is a folder: choose"):
        Recording.open(tmp_path)
    with pytest.raises(RecordingError, match=r"There is no file .*b\.wav: check the name"):
        Recording.open(tmp_path / "b.wav")


def test_a_wave_file_without_a_frame_is_told(tmp_path: Path) -> None:
    with wave.open(str(tmp_path / "a.wav"), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE)
    with pytest.raises(RecordingError, match=r"a\.wav (holds no sound|is no recording)"):
        Recording.open(tmp_path / "a.wav")


@pytest.mark.parametrize("kind", ["wav", "flac", "mp3", "ogg"])
@pytest.mark.parametrize("seed", range(4))
def test_a_damaged_file_is_played_or_told(tmp_path: Path, kind: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    content = bytearray(kept(tmp_path / f"a.{kind}").read_bytes())
    for at in rng.integers(0, len(content), 40).tolist():
        content[at] = int(rng.integers(0, 256))
    (tmp_path / f"b.{kind}").write_bytes(content)
    try:
        recording = Recording.open(tmp_path / f"b.{kind}")
    except RecordingError:
        return  # told: anything else would fail the test
    assert recording.frames > 0
    assert np.isfinite(heard(recording)).all()


def test_the_decoder_starts_without_what_it_has_no_use_for(tmp_path: Path) -> None:
    code = (
        "import io, pathlib, sys\n"
        "from playalong.sound.recordings import decoder\n"
        "decoder.main(pathlib.Path(sys.argv[1]), io.BytesIO())\n"
        "print(sorted({'numpy._core', 'http.client', 'ssl', 'email'} & set(sys.modules)))"
    )
    path = kept(tmp_path / "a.wav")
    done = subprocess.run([sys.executable, "-c", code, path], capture_output=True, check=True)
    assert done.stdout.split() == [b"[]"]


# What a broken file can do to the decoder, it does to that alone.


def decoder_that(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, does: str) -> None:
    """In the place of the decoder's interpreter, a script."""
    script = tmp_path / "decoder"
    script.write_text(f"#!/bin/sh\n{does}\n")
    script.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(script))


@pytest.mark.parametrize(
    "does",
    [
        "kill -SEGV $$",
        'echo \'{"rate": 44100, "frames": 9}\'; head -c 800 /dev/zero; kill -SEGV $$',
        'echo \'{"rate": 44100, "frames": 9}\'; exec sleep 60',
        "echo nonsense; exit 0",
    ],
    ids=["crashes at once", "crashes on the way", "never ends", "says nothing that means anything"],
)
def test_a_decoder_that_fails_is_told_and_takes_nothing_with_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, does: str
) -> None:
    path = kept(tmp_path / "a.wav")
    decoder_that(tmp_path, monkeypatch, does)
    monkeypatch.setattr(decoder, "SILENT_S", 1.0)
    with pytest.raises(RecordingError, match=r"a\.wav is broken: .* copy it again"):
        Recording.open(path)


def test_a_wave_file_of_one_hertz_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(1)
        file.writeframes(bytes(2000))
    with pytest.raises(RecordingError, match="sampled at 1 Hz"):
        Recording.open(path)


@pytest.mark.parametrize("name", ["song.m4a", "song.opus", "song.AAC"])
def test_a_file_of_another_kind_is_told_with_how_to_convert_it(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(b"\x00\x00\x00\x20ftypM4A \x00\x00\x00\x00")
    with pytest.raises(RecordingError, match='convert it first: ffmpeg -i "song'):
        Recording.open(path)


#: A short Ogg Vorbis file, and where its comments begin to be counted: one, of 18 bytes.
OGG = (CORPUS / "recordings" / "short.ogg").read_bytes()
COUNTED = b"\x01\x00\x00\x00\x12\x00\x00\x00ENCODER"


@pytest.mark.parametrize(
    "said",
    [
        b"\x00\x00\x00\x06\x12\x00\x00\x00ENCODER",  # a hundred million comments
        b"\x01\x00\x00\x00\x12\x00\xc5\x16ENCODER",  # one of 382 MB
        b"\x02\x00\x00\x00\x12\x00\x00\x00ENCODER=libsndfile\xff\xff\xff\x7f",  # the second
    ],
)
def test_comments_that_say_too_much_of_themselves_are_not_believed(said: bytes, tmp_path: Path):
    """The decoder would count to what they say, which takes ten seconds and more."""
    assert OGG.count(COUNTED) == 1
    path = tmp_path / "evening.ogg"
    path.write_bytes(OGG.replace(COUNTED + b"=libsndfile", said, 1))
    with pytest.raises(RecordingError, match="is broken"):
        source_of(path)
    path.write_bytes(OGG)
    assert source_of(path).rate == 8000


def test_a_name_of_the_encoder_that_is_cut_is_told_at_once(tmp_path: Path):
    path = tmp_path / "evening.ogg"
    path.write_bytes(OGG.replace(b"Xiph.Org libVorbis I 20200704", b"", 1))
    with pytest.raises(RecordingError, match="is broken"):
        source_of(path)
