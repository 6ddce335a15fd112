"""The voice that counts, made anew: python -m tests.count_voice (Debian: flite; the tests' scipy).

Writes ``assets/voice``: a FLAC file for each word and pace, mono, the beat ``BEAT_S`` after its
beginning. The voice is slt of Flite 2.2, made from the CMU ARCTIC recordings; its licence stands
beside the files. What is done to a word: it is said at a pace (``duration_stretch``), what comes
before its onset is shortened to ``LEAD_S`` (a word that begins with a vowel begins with it), and
its loudest 50 ms are made as loud, A-weighted, as the sticks that count. The onset is the strongest
that the program's own finder hears (``sound.recordings.onsets``).
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import butter, resample_poly, sosfiltfilt

from playalong.sound.recordings.onsets import Onsets
from playalong.sound.synth.click import Kind, sample
from playalong.sound.timeline import RATE
from playalong.sound.voice import BEAT_S, PACES, STEMS, VOICE_RATE
from playalong.support import resources as shipped
from tests.sound.a_weighting import WINDOW_S, level_db
from tests.sound.making_music import Played

Floats = NDArray[np.float64]

#: How the voice is asked for a word: as text, or as its sounds (phones of Flite).
SOUNDS = {"e": "pau iy pau", "a": "pau ah pau", "ta": "pau t ah pau"}

#: How much shorter than the voice has it a word is, at each pace.
STRETCH = {"": 0.68, "-quick": 0.38}

#: The shortest words are said a little longer where there is time.
LONGER = {"e": 1.6, "a": 1.6, "ta": 1.3, "eight": 1.15}

#: Said as quickly as the others this one has two onsets.
LESS_QUICK = {"three": 1.1}

#: The most that comes before the onset; nothing does before a vowel, or what is like one.
LEAD_S = 0.09
VOWELS = ("one", "eight", "eleven", "e", "and", "a", "let", "nine")

#: The burst of a t is so much softer than the voice has it, or it would be an onset of its own.
BURSTS, SOFTER = ("two", "ten", "twelve", "trip", "ta"), 0.35

#: So far below its loudest 10 ms a word begins, and is over; its ends are faded.
BEGUN_DB, OVER_DB = -45.0, {"": -36.0, "-quick": -22.0}
FADE_S, RISE_S = {"": 0.012, "-quick": 0.02}, 0.003


def said(word: str, stretch: float, folder: Path) -> Floats:
    """The word as the voice says it, mono (n,) at ``RATE``, half a second of silence around it."""
    path = folder / "said.wav"
    asked = ["-p", SOUNDS[word]] if word in SOUNDS else ["-t", word]
    subprocess.run(
        ["flite", "-voice", "slt", "--setf", f"duration_stretch={stretch}", *asked, "-o", path],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    sound, rate = soundfile.read(path)
    made = resample_poly(sound, RATE, rate)
    silence = np.zeros(RATE // 2)
    return np.concatenate([silence, made, silence])


def envelope_db(sound: Floats, window_s: float = 0.01) -> Floats:
    """The level of each frame's surroundings, (n,) in dB."""
    width = round(window_s * RATE)
    power = np.convolve(sound**2, np.ones(width) / width, "same")
    return np.asarray(10.0 * np.log10(power + 1e-12))


def voiced(sound: Floats) -> Floats:
    """What of a word lies where vowels are loud, and the burst of a t is not."""
    return np.asarray(sosfiltfilt(butter(2, (150, 900), "band", fs=RATE, output="sos"), sound))


def onset_s(sound: Floats) -> float:
    """The strongest onset of a word, in seconds."""
    times_s, strength = Onsets.of(Played(np.stack([sound, sound], 1).astype(np.float32))).peaks
    return float(times_s[strength.argmax()])


def cut(word: str, sound: Floats, pace: str) -> Floats:
    """The word without what comes long before its onset, and after its end."""
    level = envelope_db(sound)
    loud = np.flatnonzero(level > level.max() + OVER_DB[pace])
    begun = np.flatnonzero(level > level.max() + BEGUN_DB)
    if word in VOWELS:
        # It begins where it has half of its size.
        begin = int(np.flatnonzero(level > level.max() - 6.0)[0])
    else:
        begin = max(int(begun[0]), round((onset_s(sound) - LEAD_S) * RATE))
    end = int(loud[-1]) + round(FADE_S[pace] * RATE)
    kept = sound.copy()
    kept[:begin], kept[end:] = 0.0, 0.0
    if word in BURSTS:
        vowels_db = envelope_db(voiced(sound))
        vowel = int(np.flatnonzero(vowels_db > vowels_db.max() - 9.0)[0])
        kept[:vowel] *= SOFTER
    rise, fall = round(RISE_S * RATE), round(FADE_S[pace] * RATE)
    kept[begin : begin + rise] *= np.linspace(0.0, 1.0, rise)
    kept[end - fall : end] *= np.linspace(1.0, 0.0, fall)
    return kept


def loudest_db(sound: Floats) -> float:
    """The A-weighted level of the loudest 50 ms."""
    width = round(WINDOW_S * RATE)
    starts = range(0, len(sound) - width, width // 10)
    sound = sound + 1e-9 * np.sin(np.arange(len(sound)))  # silence has a level, too
    return max(level_db(sound[at : at + width].astype(np.float32), RATE) for at in starts)


def made(word: str, pace: str, folder: Path) -> Floats:
    """The word as it is kept, (n,) at ``VOICE_RATE``, its beat ``BEAT_S`` after its beginning."""
    stretch = STRETCH[pace] * (LESS_QUICK if pace else LONGER).get(word, 1.0)
    sound = cut(word, said(word, stretch, folder), pace)
    wished_db = level_db(sample(Kind.COUNT, RATE), RATE)
    beat = round(onset_s(sound) * RATE)
    before = round(BEAT_S * RATE)
    sound = sound[beat - before : int(np.flatnonzero(sound)[-1]) + before // 4]
    sound *= 10.0 ** ((wished_db - loudest_db(np.pad(sound, RATE // 10))) / 20.0)
    return np.asarray(resample_poly(sound, VOICE_RATE, RATE))


def main() -> int:
    """Make all words."""
    if shutil.which("flite") is None:
        print("flite is not installed: Debian has it in the package flite", file=sys.stderr)
        return 2
    out = shipped.folder("assets") / "voice"
    out.mkdir(exist_ok=True)
    total = 0
    with tempfile.TemporaryDirectory() as folder:
        for word in STEMS.values():
            for pace in PACES:
                sound, path = made(word, pace, Path(folder)), out / f"{word}{pace}.flac"
                soundfile.write(path, sound, VOICE_RATE, subtype="PCM_16")
                total += path.stat().st_size
                loud = np.flatnonzero(np.abs(sound) > 0.001)
                begin_ms, end_ms = (1000.0 * (at / VOICE_RATE - BEAT_S) for at in loud[[0, -1]])
                peak = np.abs(sound).max()
                print(f"{path.name:20} {begin_ms:6.0f} to {end_ms:4.0f} ms, peak {peak:.2f}")
    print(f"{total / 1000:.0f} kB in all")
    return 0


if __name__ == "__main__":
    sys.exit(main())
