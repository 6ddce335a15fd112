"""A recording slower or faster with its pitch unchanged.

The Signalsmith stretcher (python-stretch) puts what is at t seconds to t / speed. It takes what
it is given for the whole and fades at its ends. So each part goes in with a margin of the
recording on both sides, which is cut off again; parts are long, since at a seam tones start anew.

A lone click comes out where it belongs to within 2 ms at every speed (see tests/sound).
"""

import numpy as np

from playalong.pattern.beat_map import check_speed
from playalong.sound.recordings.decoding import Progress, Reel
from playalong.sound.timeline import RATE, Frames, Stream
from playalong.support.errors import UserError

#: Frames that come out of a part, of its margin, and of the seam between two parts. All are
#: hundreds: so much in whole per cent of them is whole frames that go in.
PART, MARGIN, SEAM = 60 * RATE, RATE // 2, 1_200


def stretched(
    recording: Stream,
    percent: int,
    *,
    begin: int,
    end: int,
    progress: Progress | None = None,
) -> Reel:
    """The frames ``begin`` to ``end`` of ``recording`` at ``percent`` of its speed, 50 to 110.

    Frame i of what comes out is frame ``begin + i * percent / 100`` of the recording. UserError
    for another speed, or where nothing lies between ``begin`` and ``end``.
    """
    try:
        check_speed(percent)
    except ValueError as error:
        raise UserError(str(error)) from None
    if end <= begin:
        raise UserError("There is nothing to play: the end comes before the beginning.")
    total = -(-(end - begin) * 100 // percent)
    reel = Reel()
    rise = (0.5 - 0.5 * np.cos(np.pi * (np.arange(SEAM) + 0.5) / SEAM)).astype(np.float32)[:, None]
    tail = np.zeros((0, 2), np.float32)
    try:
        for start in range(0, total, PART):
            count = min(PART, total - start)
            made = _part(recording, percent, begin + start * percent // 100, count=count)
            if len(tail):
                made[:SEAM] = made[:SEAM] * rise + tail * rise[::-1]
            reel.append(made[:count])
            tail = made[count:]
            if progress is not None:
                progress((start + count) / total)
    except BaseException:
        reel.close()
        raise
    return reel


def _part(recording: Stream, percent: int, begin: int, *, count: int) -> Frames:
    """``count`` frames that come out of what is at ``begin``, and a seam more."""
    from python_stretch import Signalsmith

    out = -(-(count + SEAM + 2 * MARGIN) // 100) * 100
    margin = MARGIN * percent // 100
    given = np.zeros((out // 100 * percent, 2), np.float32)
    there = recording.read(begin - margin, len(given))
    given[: len(there)] = there
    if percent == 100:
        return given[MARGIN : MARGIN + count + SEAM]
    stretch = Signalsmith.Stretch()
    stretch.preset(2, float(RATE))
    stretch.setTimeFactor(percent / 100.0)
    made = np.asarray(stretch.process(np.ascontiguousarray(given.T)), np.float32)
    return np.ascontiguousarray(made.T[MARGIN : MARGIN + count + SEAM])
