"""Causes at grace strokes and at the hi-hat's foot.

Experienced drummers have the grace stroke of a flam 42 ms ahead (15 to 77 ms) and 5 dB softer (0.6
to 26 dB): snare strokes less than 80 ms apart in the Groove MIDI Dataset (Gillick et al., ICML
2019). A habit shows in the middle of a player's flams, sooner than a single one is wrong.
"""

from collections.abc import Iterator

import numpy as np

from playalong.grading.findings.candidate import Bools, Candidate, Floats, Ints, Mend
from playalong.grading.findings.certainty import Interval, critical, of_share
from playalong.grading.findings.look import Look
from playalong.grading.graces import ORNAMENTS, Ornament
from playalong.grading.grade import Code
from playalong.grading.quantiles import median
from playalong.grading.verdicts import HI_HATS, HiHat
from playalong.midi.hits import Hits
from playalong.pattern.targets import GRACE_S
from playalong.pattern.voices import STAFF_ORDER, VOICES

#: How often, and how many times, make a habit.
OFTEN, TIMES = 0.25, 3

#: The middle distance at which flams are flat or wide, and drags open, in ms; the share of grace
#: strokes that are for certain as loud as their main stroke.
FLAT_MS, WIDE_MS, LOUD_SHARE = 18.0, 64.0, 0.3

#: As loud: this part of the main stroke's velocity.
_AS_LOUD = 0.95


def ornaments(look: Look) -> Iterator[Candidate]:
    """All causes of this family."""
    yield from _hi_hat(look)
    graced = look.run.graced
    expected = look.targets.graces[look.run.target][graced.row]
    voice = look.run.voice[graced.row]
    for code in np.unique(voice).tolist():
        for drags in (False, True):
            rows = (voice == code) & (expected > 0) & ((expected > 1) == drags)
            if rows.sum() >= TIMES:
                yield from _of_kind(look, rows, VOICES[code].name, drags=drags)


def _of_kind(look: Look, rows: Bools, voice: str, *, drags: bool) -> Iterator[Candidate]:
    graced = look.run.graced
    ornament, count = graced.ornament[rows], int(rows.sum())

    def points(which: Bools) -> float:
        return look.points(float(graced.lost[rows][which].sum()))

    gone = ornament == ORNAMENTS.index(Ornament.GRACE_MISSING)
    if gone.sum() >= TIMES and gone.sum() >= OFTEN * count:
        share = of_share(int(gone.sum()), count)
        yield Candidate(
            code=Code.DRAG_MISSING if drags else Code.GRACE_MISSING,
            voice=voice,
            mend=_with_graces(look, np.flatnonzero(rows)[gone]),
            points=points(gone),
            beside=0.3 * look.points(int(gone.sum())),
            n=int(gone.sum()),
            of=count,
            value=100.0 * share.value,
            unit="%",
            low=100.0 * share.low,
            high=100.0 * share.high,
        )
    there = np.flatnonzero(rows)[~np.isnan(graced.apart_ms[rows])]
    if len(there) < TIMES:
        return
    apart_ms = graced.apart_ms[there]
    middle = _middle(apart_ms)
    lost = look.points(float(graced.lost[there].sum()))
    wide_ms = _open_ms(look) if drags else WIDE_MS
    for code, is_it, wanted in (
        (Code.FLAM_FLAT, not drags and middle.value < FLAT_MS, apart_ms < FLAT_MS),
        (
            Code.DRAG_OPEN if drags else Code.FLAM_WIDE,
            middle.value > wide_ms and middle.low > 0.85 * wide_ms,
            apart_ms > wide_ms,
        ),
    ):
        if is_it:
            yield Candidate(
                code=code,
                voice=voice,
                mend=_at_distance(look, there),
                points=lost,
                beside=0.4 * look.points(len(there)),
                n=int(wanted.sum()),
                of=len(there),
                value=middle.value,
                unit="ms",
                low=middle.low,
                high=middle.high,
            )
    loud = graced.softer[there] >= _AS_LOUD
    if (
        not drags
        and loud.sum() >= TIMES
        # As much more as the level asks for less contrast.
        and of_share(int(loud.sum()), len(there)).low >= LOUD_SHARE / look.contrast
    ):
        level_db = 40.0 * np.log10(np.maximum(graced.softer[there], 1e-3))
        own = _middle(level_db)
        yield Candidate(
            code=Code.GRACE_LOUD,
            voice=voice,
            mend=_softer(look, there),
            points=lost,
            beside=0.4 * look.points(len(there)),
            n=int(loud.sum()),
            of=len(there),
            value=own.value,
            unit="dB",
            low=own.low,
            high=own.high,
        )


def _open_ms(look: Look) -> float:
    """From what middle distance on the strokes of a drag are measured ones."""
    thirty_second_ms = 1000.0 * look.targets.seconds_per_whole / 32.0
    return float(np.clip(0.8 * thirty_second_ms, 55.0, 80.0))


def _middle(values: Floats) -> Interval:
    """The median and about its 95 % interval."""
    middle = median(values)
    spread = 1.2533 * float(values.std(ddof=1)) / np.sqrt(len(values))
    half = critical(len(values) - 1) * float(spread)
    return Interval(middle, middle - half, middle + half)


def _graces(look: Look, there: Ints) -> tuple[Ints, Ints]:
    """The grace strokes of these ornaments: their hits, and those of their main strokes."""
    run = look.run
    rows = np.flatnonzero(run.verdicts.grace)
    main = np.full(len(run.targets), -1, np.int64)
    main[run.target[run.graced.row[there]]] = run.hit[run.graced.row[there]]
    of = main[run.verdicts.target[rows]]
    return run.verdicts.hit[rows[of >= 0]], of[of >= 0]


def _at_distance(look: Look, there: Ints) -> Mend:
    grace, main = _graces(look, there)
    hits = look.run.hits
    later_s = np.zeros(len(hits))
    ahead: dict[int, int] = {}
    for number in np.argsort(-hits.time_s[grace]).tolist():
        one, of = int(grace[number]), int(main[number])
        ahead[of] = ahead.get(of, 0) + 1
        later_s[one] = hits.time_s[of] - ahead[of] * GRACE_S - hits.time_s[one]
    return Mend(later_s=later_s)


def _softer(look: Look, there: Ints) -> Mend:
    grace, main = _graces(look, there)
    velocity = np.full(len(look.run.hits), np.nan)
    velocity[grace] = np.maximum(1.0, 0.7 * look.run.hits.velocity[main])
    return Mend(velocity=velocity)


def _with_graces(look: Look, those: Ints) -> Mend:
    """The grace strokes that are missing, played."""
    run = look.run
    graces = np.flatnonzero(run.verdicts.grace)
    played = np.bincount(run.verdicts.target[graces], minlength=len(run.targets))
    more = []
    for row in run.graced.row[those].tolist():
        target, hit = int(run.target[row]), int(run.hit[row])
        voice = int(run.targets.voice[target])
        for place in range(int(played[target]) + 1, int(run.targets.graces[target]) + 1):
            at_s = float(run.hits.time_s[hit]) - place * GRACE_S
            more.append((at_s, voice, max(1.0, 0.6 * float(run.hits.velocity[hit]))))
    time_s, voices, velocity = (np.array(column) for column in zip(*more, strict=True))
    return Mend(added=Hits.sorted(time_s, voices.astype(np.int16), velocity))


def _hi_hat(look: Look) -> Iterator[Candidate]:
    hat = look.run.hi_hat
    opened = look.targets.is_open[look.run.target]
    for code, verdict, expected in (
        (Code.NOT_OPEN, HiHat.NOT_OPEN, opened & (hat >= 0)),
        (Code.NOT_CLOSED, HiHat.NOT_CLOSED, ~opened & (hat >= 0)),
    ):
        rows = hat == HI_HATS.index(verdict)
        count = int(rows.sum())
        if count < TIMES or count < OFTEN * expected.sum():
            continue
        share = of_share(count, int(expected.sum()))
        groups = np.unique(look.group[rows]).tolist()
        becomes = "hi-hat-open" if code is Code.NOT_OPEN else "hi-hat"
        voice = look.run.hits.voice.copy()
        voice[look.run.hit[rows]] = STAFF_ORDER[becomes]
        yield Candidate(
            code=code,
            voice="hi-hat",
            places=tuple(look.layout.spot(group) for group in groups) if len(groups) <= 8 else (),
            mend=Mend(voice=voice),
            points=look.points(0.5 * count),
            beside=0.2 * look.points(count),
            n=count,
            of=int(expected.sum()),
            value=100.0 * share.value,
            unit="%",
            low=100.0 * share.low,
            high=100.0 * share.high,
        )
