"""Advice: the one thing to work on next, in a teacher's words, with its figure and place.

Every fault costs points (see ``score``). The costs are added for each cause: a kind of fault at
one stroke of the pattern, the same kind at all strokes of a voice, and hits that answer nothing.
The dearest cause is told: the one stroke where it has more than ``ONE_PLACE`` of its voice's
cost, else the voice. A drift beyond chance is told instead of early and late strokes, since it
makes them. Where nothing costs anything, a habit is told, or that all is well.
"""

from enum import IntEnum

import numpy as np

from playalong.grading.grade import PlaceGrade, Steadiness, Timing, Unison
from playalong.grading.loudness import LOUDNESSES, Loudness, level_db
from playalong.grading.matching.matched_run import Floats, Ints, MatchedRun
from playalong.grading.measures.score import Credits
from playalong.grading.measures.steadiness import STEADY
from playalong.grading.verdicts import Verdict
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import BY_NAME, VOICES

#: The share of a voice's cost above which one stroke is the cause, and not the voice.
ONE_PLACE = 0.5

#: A change of level where strokes fall together that is worth a word, in dB: half of what lies
#: between the middle of two neighbouring default bands.
TOGETHER_DB = 4.0


class Fault(IntEnum):
    """The kinds of fault that advice tells apart; the number is a row of the tables here."""

    MISSED = 0
    WRONG_DRUM = 1
    EARLY = 2
    LATE = 3
    TOO_SOFT = 4
    TOO_LOUD = 5
    NO_GRACE = 6


def advice(
    run: MatchedRun,
    credits: Credits,
    places: tuple[PlaceGrade, ...],
    timing: Timing,
    steadiness: Steadiness,
    unison: Unison,
) -> str:
    """One sentence on what to work on next."""
    if not len(run.target):
        return "No hit answers the pattern yet: listen to the count-in and start on the 1."
    times, cost, figure = _causes(run, credits)
    drift = _drift(steadiness)
    off_time = float(cost[[Fault.EARLY, Fault.LATE]].sum())
    if drift and off_time > 0.0:
        cost[[Fault.EARLY, Fault.LATE]] = 0.0

    voice_of = np.array([place.stroke.voice for place in run.targets.places])
    voices = np.unique(voice_of)
    by_voice = np.stack([cost[:, voice_of == voice].sum(axis=1) for voice in voices], axis=1)
    row, column = divmod(int(by_voice.argmax()), len(voices))
    fault, dearest = Fault(row), float(by_voice.max())
    extras = run.hits.voice[run.verdicts.hit[run.told[Verdict.EXTRA]]]

    if drift and off_time >= max(dearest, len(extras)):
        return drift
    if len(extras) > dearest:
        code = int(np.bincount(extras).argmax())
        return _too_many(int(np.sum(extras == code)), VOICES[code].label)
    if dearest <= 0.0:
        return drift or _together(unison) or _clean(timing)

    own = np.flatnonzero(voice_of == voices[column])
    worst = int(own[cost[fault, own].argmax()])
    if len(own) == 1 or cost[fault, worst] > ONE_PLACE * dearest:
        n = int(times[fault, worst])
        return _at_place(fault, places[worst], n, figure[fault, worst] / n)
    n = int(times[fault, own].sum())
    mean = float(figure[fault, own].sum()) / n
    return _of_voice(fault, BY_NAME[str(voices[column])].label, n, mean)


def _causes(run: MatchedRun, credits: Credits) -> tuple[Ints, Floats, Floats]:
    """How often, at what cost, and with what sum of figures: (faults, places) each."""
    on_time, loud, grace = credits.timing, credits.loudness, credits.ornament
    excess, late = _beyond_db(run), run.error_ms > 0
    place, count = run.targets.place, len(run.targets.places)
    times = np.zeros((len(Fault), count), np.int64)
    cost, figure = np.zeros(times.shape), np.zeros(times.shape)
    for fault, verdict in ((Fault.MISSED, Verdict.MISSED), (Fault.WRONG_DRUM, Verdict.WRONG_DRUM)):
        gone = place[run.verdicts.target[run.told[verdict]]]
        times[fault] = cost[fault] = np.bincount(gone, minlength=count)
    for fault, wrong, credit, figures in (
        (Fault.EARLY, (on_time < 1) & ~late, on_time, run.error_ms),
        (Fault.LATE, (on_time < 1) & late, on_time, run.error_ms),
        (Fault.TOO_SOFT, excess < 0, loud, excess),
        (Fault.TOO_LOUD, excess > 0, loud, excess),
        (Fault.NO_GRACE, grace < 1, grace, grace),
    ):
        where = run.place[wrong]
        times[fault] = np.bincount(where, minlength=count)
        cost[fault] = np.bincount(where, 1.0 - credit[wrong], count)
        figure[fault] = np.bincount(where, figures[wrong], count)
    return times, cost, figure


def _beyond_db(run: MatchedRun) -> Floats:
    """How far answered strokes are beyond what fits, in dB, positive is too loud; (k,)."""
    fits = run.verdicts.loudness[run.answered]
    low, high = (
        level_db(np.clip(edge[run.voice, run.dynamic], 1.0, 127.0))
        for edge in (run.borders.low, run.borders.high)
    )
    beyond = np.zeros(len(fits))
    soft, loud = (
        fits == LOUDNESSES.index(Loudness.TOO_SOFT),
        fits == LOUDNESSES.index(Loudness.TOO_LOUD),
    )
    beyond[soft] = np.minimum((run.level_db - low)[soft], -1.0)
    beyond[loud] = np.maximum((run.level_db - high)[loud], 1.0)
    return beyond


def _drift(steadiness: Steadiness) -> str | None:
    first, last = steadiness.first_bpm, steadiness.last_bpm
    if steadiness.trend == STEADY or first is None or last is None:
        return None
    return (
        f"You are {steadiness.trend}, from {first:.1f} to {last:.1f} bpm: "
        "count aloud and keep to one tempo."
    )


def _stroke(place: PlaceGrade) -> str:
    label = BY_NAME[place.voice].label
    kind = {Dynamic.GHOST: f"ghost note of the {label}", Dynamic.ACCENT: f"accent of the {label}"}
    where = "on" if place.count.isdigit() else "on the"
    return f"the {kind.get(place.dynamic, label)} {where} {place.count}"


def _often(n: int, place: PlaceGrade) -> str:
    if n == place.targets:
        return ", every time" if n > 1 else ""
    return f", {n} of {place.targets} times"


_AT_PLACE = {
    Fault.MISSED: "{Stroke} is missed{often}: play the beat slowly, alone.",
    Fault.WRONG_DRUM: "{Stroke} lands on another drum{often}: play the beat slowly, alone.",
    Fault.EARLY: "{Stroke} comes {ms:.0f} ms early{often}: wait for it.",
    Fault.LATE: "{Stroke} comes {ms:.0f} ms late{often}: prepare it sooner.",
    Fault.TOO_SOFT: "{Stroke} is {db:.0f} dB too soft{often}: give it more weight.",
    Fault.TOO_LOUD: "{Stroke} is {db:.0f} dB too loud{often}: keep the stick low.",
    Fault.NO_GRACE: "{Stroke} lacks its grace stroke{often}: let the low stick fall just before.",
}

_OF_VOICE = {
    Fault.MISSED: "{n} strokes of the {label} are missed: play it alone, then add the others.",
    Fault.WRONG_DRUM: "{n} strokes of the {label} land on another drum: play them slowly.",
    Fault.EARLY: "The {label} rushes, {ms:.0f} ms early {times}: lay it back onto the click.",
    Fault.LATE: "The {label} drags, {ms:.0f} ms late {times}: lead with it.",
    Fault.TOO_SOFT: "The {label} is {db:.0f} dB too soft {times}: give it more weight.",
    Fault.TOO_LOUD: "The {label} is {db:.0f} dB too loud {times}: play it lower.",
    Fault.NO_GRACE: "{n} grace strokes of the {label} are missing: practise them slowly, alone.",
}


def _at_place(fault: Fault, place: PlaceGrade, n: int, figure: float) -> str:
    stroke = _stroke(place)
    return _AT_PLACE[fault].format(
        Stroke=stroke[0].upper() + stroke[1:],
        often=_often(n, place),
        ms=abs(figure),
        db=max(abs(figure), 1.0),
    )


def _of_voice(fault: Fault, label: str, n: int, figure: float) -> str:
    times = "once" if n == 1 else f"{n} times"
    return _OF_VOICE[fault].format(
        label=label, n=n, times=times, ms=abs(figure), db=max(abs(figure), 1.0)
    )


def _too_many(n: int, label: str) -> str:
    hits = "1 hit" if n == 1 else f"{n} hits"
    return f"{hits} too many on the {label}: leave out what is not written."


def _together(unison: Unison) -> str | None:
    """A change of level where strokes fall together, the greatest that is worth a word."""
    told = [
        (abs(item.change_db), item)
        for item in unison.together
        if (item.dynamic is Dynamic.GHOST and not item.other_ghost and item.change_db > TOGETHER_DB)
        or (
            item.dynamic is not Dynamic.GHOST and item.other_ghost and item.change_db < -TOGETHER_DB
        )
    ]
    if not told:
        return None
    item = max(told, key=lambda pair: pair[0])[1]
    label, other = BY_NAME[item.voice].label, BY_NAME[item.other].label
    if item.dynamic is Dynamic.GHOST:
        return (
            f"The ghost note of the {label} gets {item.change_db:.0f} dB louder with the {other}: "
            "keep the stick low there."
        )
    return (
        f"The {label} goes {-item.change_db:.0f} dB softer under the ghost note of the {other}: "
        "keep it strong there."
    )


def _clean(timing: Timing) -> str:
    """Nothing to mend: tell the limb that leads, or the spread, and go on."""
    if timing.leads is not None and timing.mean_ms is not None:
        lead = timing.by_limb[timing.leads].mean_ms
        late = max(s.mean_ms for s in timing.by_limb.values() if s.mean_ms is not None)
        if lead is not None and late - lead >= 5.0:
            return f"All clean; the {timing.leads} leads by {late - lead:.0f} ms. Try it faster."
    return f"All clean, {timing.sd_ms or 0.0:.0f} ms spread. Try it a little faster."
