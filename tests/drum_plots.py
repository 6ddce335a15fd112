"""The pictures in playalong/sound/README.md: python -m tests.drum_plots

For each voice the waveform of a ghost note, a normal stroke and an accent, on one scale, and the
spectra of the three in the same inks; then the same for the clicks. Needs matplotlib.
"""

from io import BytesIO
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray
from PIL import Image

from playalong.pattern.model import Dynamic
from playalong.pattern.voices import BY_NAME
from playalong.screen.base.theme import LIGHT
from playalong.sound.synth.click import Kind, sample
from playalong.sound.synth.drums import stroke
from playalong.sound.synth.notes import VELOCITIES
from playalong.sound.timeline import RATE
from playalong.support.resources import folder

Sound = NDArray[np.float32]

#: Each picture: the voices in it, and how much of their waveform is shown, in seconds.
PICTURES = {
    "skins": (("kick", "snare", "rim-shot", "cross-stick"), 0.25),
    "toms": (("high-tom", "mid-tom", "floor-tom"), 0.6),
    "hi-hats": (("hi-hat", "hi-hat-half", "hi-hat-open", "hi-hat-pedal", "foot-splash"), 0.5),
    "cymbals": (("ride", "ride-bell", "crash", "splash", "china"), 1.0),
    "others": (("cowbell", "tambourine"), 0.25),
}

COLOURS = {Dynamic.GHOST: LIGHT.rule, Dynamic.NORMAL: LIGHT.ahead_edge, Dynamic.ACCENT: LIGHT.ink}

#: Clicks that sound alike but for their level are shown once.
CLICKS = (Kind.COUNT_ONE, Kind.ONE, Kind.BEAT, Kind.BETWEEN)
CLICK_S = 0.03

#: Columns of a waveform; every length shown divides into them.
COLUMNS = 480

#: The spectra: in bands of a sixth of an octave, from 30 Hz.
EDGES_HZ = 30.0 * 2.0 ** (np.arange(57) / 6.0)
LOWEST_DB = -72.0


def bands_db(sound: Sound) -> NDArray[np.float64]:
    """The energy in each band between ``EDGES_HZ``, in dB."""
    power = np.abs(np.fft.rfft(sound.astype(float), 4 * RATE)) ** 2 / (2 * RATE)
    total = np.append(0.0, np.cumsum(power))
    line = np.interp(EDGES_HZ, np.fft.rfftfreq(4 * RATE, 1 / RATE), np.arange(len(power)))
    energy = np.diff(np.interp(line, np.arange(len(total)), total))
    return np.asarray(10.0 * np.log10(energy + 1e-12))


def drums(voices: tuple[str, ...], shown_s: float) -> Figure:
    """A row for each voice: three waveforms, and the three spectra."""
    figure = paper(len(voices))
    axes = figure.subplots(len(voices), 4, squeeze=False, width_ratios=(1, 1, 1, 1.6))
    for row, voice in zip(axes, voices, strict=True):
        strokes = {dynamic: stroke(voice, VELOCITIES[dynamic], RATE) for dynamic in Dynamic}
        peak = float(np.abs(strokes[Dynamic.ACCENT]).max())
        for one, (dynamic, sound) in zip(row, strokes.items(), strict=False):
            waveform(one, sound, shown_s, peak=peak, colour=ink(COLOURS[dynamic]))
        row[0].set_ylabel(BY_NAME[voice].label)
        top_db = float(bands_db(strokes[Dynamic.ACCENT]).max())
        for dynamic, sound in strokes.items():
            spectrum(row[3], sound, top_db, colour=ink(COLOURS[dynamic]))
    for one, dynamic in zip(axes[0], Dynamic, strict=False):
        title = f"{dynamic.value}, velocity {VELOCITIES[dynamic]:.0f}"
        one.set_title(title, color=ink(COLOURS[dynamic]), fontweight="bold")
    axes[0][3].set_title("energy, dB under the accent's strongest band")
    label(axes)
    return figure


def all_clicks() -> Figure:
    """A row for each kind: its waveform and its spectrum."""
    figure = paper(len(CLICKS))
    axes = figure.subplots(len(CLICKS), 2, squeeze=False, width_ratios=(1.6, 1))
    top_db = max(float(bands_db(sample(kind, RATE)).max()) for kind in CLICKS)
    for (wave, spectra), kind in zip(axes, CLICKS, strict=True):
        waveform(wave, sample(kind, RATE), CLICK_S, peak=1.0, colour=ink(LIGHT.ink))
        spectrum(spectra, sample(kind, RATE), top_db, colour=ink(LIGHT.ink))
        wave.set_ylabel(kind.value)
    axes[0][1].set_title("energy, dB")
    label(axes)
    return figure


def paper(rows: int) -> Figure:
    """An empty sheet for so many rows."""
    return Figure(figsize=(11, 0.7 + 1.25 * rows), layout="constrained", facecolor=ink(LIGHT.paper))


def waveform(axes: Axes, sound: Sound, shown_s: float, *, peak: float, colour: str) -> None:
    """The first ``shown_s`` of a sound, between its highest and lowest in each column."""
    frames = round(shown_s * RATE)
    cut = np.pad(sound[:frames], (0, max(0, frames - len(sound)))).reshape(COLUMNS, -1)
    time_ms = (np.arange(COLUMNS) + 0.5) * shown_s * 1000.0 / COLUMNS
    axes.fill_between(time_ms, cut.min(axis=1), cut.max(axis=1), color=colour, linewidth=0.6)
    axes.set_ylim(-1.05 * peak, 1.05 * peak)
    axes.set_xlim(0, shown_s * 1000.0)
    axes.set_yticks([])


def spectrum(axes: Axes, sound: Sound, top_db: float, *, colour: str) -> None:
    """The bands of a sound, under ``top_db``."""
    centre_hz = np.sqrt(EDGES_HZ[1:] * EDGES_HZ[:-1])
    axes.semilogx(centre_hz, bands_db(sound) - top_db, color=colour, linewidth=1.2)
    axes.set_ylim(LOWEST_DB, 4)
    axes.set_xlim(30, 20_000)
    axes.set_xticks([50, 200, 1000, 4000, 16_000], ["50", "200", "1k", "4k", "16k"])
    axes.minorticks_off()
    axes.grid(color=ink(LIGHT.line), linewidth=0.6)


def label(axes: NDArray[Any]) -> None:
    """Words along the bottom, and quiet frames."""
    for one in axes.flat:
        one.set_facecolor(ink(LIGHT.paper))
        one.tick_params(length=2)
        for edge in one.spines.values():
            edge.set_color(ink(LIGHT.line))
    for one in axes[-1][:-1]:
        one.set_xlabel("ms")
    axes[-1][-1].set_xlabel("Hz")


def ink(colour: tuple[int, int, int]) -> str:
    """A colour of the sheet as matplotlib reads it."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def main() -> None:
    """Draw all pictures into assets/drums."""
    mpl.rcParams.update(
        {
            "font.size": 8,
            "axes.titlesize": 8,
            "text.color": ink(LIGHT.ink),
            "axes.labelcolor": ink(LIGHT.ink),
            "xtick.color": ink(LIGHT.quiet),
            "ytick.color": ink(LIGHT.quiet),
        }
    )
    place = folder("assets") / "drums"
    place.mkdir(exist_ok=True)
    for name, (voices, shown_s) in PICTURES.items():
        keep(drums(voices, shown_s), place / f"{name}.png")
    keep(all_clicks(), place / "clicks.png")


def keep(figure: Figure, path: Path) -> None:
    """Save a picture in few colours, so that it is small."""
    drawn = BytesIO()
    figure.savefig(drawn, dpi=100)
    Image.open(drawn).convert("RGB").quantize(32).save(path, optimize=True)
    print(f"{path}: {path.stat().st_size // 1000} kB")


if __name__ == "__main__":
    main()
