"""Faults that drummers have, put into a take: one at a time, at a size.

A fault is a function of a ``Scene`` and a size. It gives the take with the fault in it and the
codes that a teacher could honestly give it, or None where the pattern has no place for it. With
``scene.level_out`` (takes by drummers) the take's own habit at that place is taken out first.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from playalong.grading.loudness import level_db
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.meter import WrittenSwing
from playalong.pattern.model import Dynamic, Pattern
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER, VOICES, Limb
from playalong.simulation.skills import SKILLS
from tests.helpers.grooves import grooves
from tests.helpers.played import Bools, Floats, Played

GHOST = DYNAMICS.index(Dynamic.GHOST)
NORMAL = DYNAMICS.index(Dynamic.NORMAL)
ACCENT = DYNAMICS.index(Dynamic.ACCENT)

#: How often a place must come for a habit there to be one, and for its voice to be more than it.
REPEATS, PLACES = 8, 3

#: How many strokes a limb must have to have a habit.
MANY = 16

#: Two grooves that have so many of their strokes in common are nearly one: who plays the other has
#: left out the ghost notes, or has one more kick, and a teacher says that.
NEARLY = 0.8

#: The limb of each voice, as a number.
_LIMB = np.array([list(Limb).index(voice.limb) for voice in VOICES])

#: Drums for strokes that land elsewhere.
ELSEWHERE = ("floor-tom", "high-tom", "mid-tom", "crash", "snare", "kick")


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A pattern, what somebody played of it, and the chance by which places are chosen."""

    pattern: Pattern
    played: Played
    chance: np.random.Generator
    level_out: bool = False

    @property
    def targets(self) -> Targets:
        return self.played.targets

    @property
    def group(self) -> NDArray[np.int64]:
        """(n,) a number for each place that comes again: bar of the pattern, position, voice; the
        bar counts only where the pattern goes round at least twice."""
        goes_round = 2 * len(self.pattern.bars) <= self.targets.bars
        keys = [
            (place.bar if goes_round else 0, place.stroke.at, place.stroke.voice)
            for place in self.targets.places
        ]
        numbers = {key: number for number, key in enumerate(sorted(set(keys)))}
        return np.array([numbers[key] for key in keys], np.int64)[self.targets.place]

    def voice(self, *names: str) -> Bools:
        """(n,) the targets of these voices."""
        return np.isin(self.targets.voice, [STAFF_ORDER[name] for name in names])

    def limb(self, limb: Limb) -> Bools:
        """(n,) the targets that a limb usually plays; nobody's hands where sticking is written."""
        if limb in (Limb.HAT_HAND, Limb.SNARE_HAND) and any(
            place.stroke.hand for place in self.targets.places
        ):
            return np.zeros(len(self.targets), np.bool_)
        return np.array([voice.limb is limb for voice in VOICES])[self.targets.voice]

    def dynamic(self, code: int) -> Bools:
        """(n,) the targets of a dynamic."""
        return self.targets.dynamic == code

    def level(self, rows: Bools) -> float:
        """The median level of what was played there, in dB."""
        return float(np.median(level_db(self.played.velocity[rows & self.played.answered])))

    def a_place(self, among: Bools, alone: bool = False) -> Bools | None:
        """A place among these targets that comes ``REPEATS`` times, its voice having ``PLACES``
        places (or more than one, where ``alone``)."""
        group, answered = self.group, self.played.answered
        found = []
        for number in np.unique(group[among & answered]).tolist():
            rows = (group == number) & among
            voice = self.targets.voice == self.targets.voice[rows][0]
            places = len(np.unique(group[voice]))
            if (rows & answered).sum() >= REPEATS and places >= (2 if alone else PLACES):
                found.append(rows)
        return found[int(self.chance.integers(len(found)))] if found else None


@dataclass(frozen=True)
class Faulty:
    """A take with a fault, and what it may be called."""

    played: Played
    codes: frozenset[str]

    @property
    def hits(self) -> Hits:
        return self.played.hits()


Injection = Callable[[Scene, float], Faulty | None]


def _faulty(played: Played, *codes: str) -> Faulty:
    return Faulty(played, frozenset(codes))


def _levelled(scene: Scene, rows: Bools) -> Played:
    """The take without its own habits in time at these strokes: each of their places that comes
    often enough to have one, and the rest together, moved to where the other strokes of their limb
    lie, or those of all limbs where it has none."""
    played = scene.played
    if not scene.level_out:
        return played
    limb = _LIMB[scene.targets.voice]
    others = ~rows & np.isin(limb, limb[rows])
    if (others & played.answered).sum() < REPEATS:
        others = ~rows if (~rows & played.answered).any() else rows
    middle_ms, by_ms = float(np.nanmean(played.error_ms[others])), np.zeros(len(rows))
    there, group = rows & played.answered, scene.group
    often = there & (np.bincount(group[there], minlength=group.max() + 1)[group] >= REPEATS)
    for own in (*(often & (group == each) for each in np.unique(group[often])), there & ~often):
        if own.any():
            by_ms[own] = middle_ms - float(np.mean(played.error_ms[own]))
    return played.moved(by_ms / 1000.0)


def _moved_to(scene: Scene, rows: Bools, by_ms: float) -> Played:
    """These strokes moved, from where the others lie if the take's own habit is taken out."""
    return _levelled(scene, rows).moved(np.where(rows, by_ms / 1000.0, 0.0))


def _evened(scene: Scene, rows: Bools, like: Bools) -> Played:
    """The strokes of a place as loud as their like, where the own habit is taken out."""
    if not scene.level_out or not (like & ~rows & scene.played.answered).any():
        return scene.played
    by_db = scene.level(like & ~rows) - scene.level(rows)
    return scene.played.louder(np.where(rows, by_db, 0.0))


def _on_the_tempo(scene: Scene) -> Played:
    """Without the take's own trend and offset."""
    played = scene.played
    if not scene.level_out:
        return played
    own = played.answered
    slope = np.polynomial.Polynomial.fit(
        played.targets.time_s[own], played.error_ms[own] / 1000.0, 1
    )
    return played.warped(lambda at_s: at_s - slope(at_s))


# Time.


def everything_off(scene: Scene, by_ms: float) -> Faulty | None:
    """A latency that nobody measured, or a player who is ahead altogether."""
    own_ms = float(np.nanmean(scene.played.error_ms)) if scene.level_out else 0.0
    by_s = (by_ms - own_ms) / 1000.0
    played = scene.played.warped(lambda at_s: at_s + by_s)
    return _faulty(played, "all_late" if by_ms > 0 else "all_early")


def another_tempo(scene: Scene, percent: float) -> Faulty | None:
    """Faster (positive) or slower from the start."""
    factor = 1.0 + percent / 100.0
    played = _on_the_tempo(scene).warped(lambda at_s: at_s / factor)
    return _faulty(played, "faster" if percent > 0 else "slower")


def creeping_tempo(scene: Scene, percent: float) -> Faulty | None:
    """From the tempo asked for to one so much faster or slower at the end."""
    rise, end_s = percent / 100.0, scene.targets.end_s

    def course(at_s: Floats) -> Floats:
        creeping = end_s / rise * np.log1p(rise * np.maximum(at_s, 0.0) / end_s)
        return np.asarray(creeping + np.minimum(at_s, 0.0))

    code = "speeding_up" if percent > 0 else "slowing_down"
    return _faulty(_on_the_tempo(scene).warped(course), code)


def wandering_tempo(scene: Scene, most_ms: float) -> Faulty | None:
    """Ahead and behind in turn, so far at the most, every six bars."""
    period_s = 6.0 * scene.targets.end_s / scene.targets.bars
    phase = float(scene.chance.uniform(0.0, 2.0 * np.pi))
    played = _on_the_tempo(scene).warped(
        lambda at_s: at_s + most_ms / 1000.0 * np.sin(2.0 * np.pi * at_s / period_s + phase)
    )
    return _faulty(played, "wandering", "uneven_time")


def stopped_after(scene: Scene, bars: float) -> Faulty | None:
    """Nothing after so many bars; of the whole run where negative."""
    after = bars if bars > 0 else scene.targets.bars + bars
    at_s = float(np.interp(after, np.arange(scene.targets.bars), scene.targets.bar_starts_s))
    gone = scene.targets.time_s >= at_s - 0.01
    kept = scene.played.extra.time_s < at_s
    extra = scene.played.extra
    cut = replace(
        scene.played.without(gone),
        extra=Hits(extra.time_s[kept], extra.voice[kept], extra.velocity[kept]),
    )
    return _faulty(cut, "stopped")


def _bar_s(scene: Scene, bar: float) -> float:
    return float(np.interp(bar, np.arange(scene.targets.bars), scene.targets.bar_starts_s))


def hesitated(scene: Scene, by_s: float) -> Faulty | None:
    """A stop, and on from there, so much later."""
    at_s = _bar_s(scene, float(scene.chance.integers(4, 9)) + 0.5) - 0.01
    played = scene.played.warped(lambda t: np.where(t >= at_s, t + by_s, t))
    # As long as an eighth or a beat it is a place lost as well.
    eighth_s = scene.targets.seconds_per_whole / 8.0
    off = abs(by_s / eighth_s - round(by_s / eighth_s)) * eighth_s
    return _faulty(played, "hesitated", *(["lost_place"] if off < 0.06 else []))


def lost_an_eighth(scene: Scene, bar: float) -> Faulty | None:
    """An eighth left out (or put in) in a bar, and never found back."""
    at_s = _bar_s(scene, bar - 0.5) - 0.01
    eighth_s = scene.targets.seconds_per_whole / 8.0
    if scene.chance.random() < 0.5:
        played = scene.played.warped(lambda t: np.where(t >= at_s, t + eighth_s, t))
        return _faulty(played, "lost_place", "hesitated")
    time_s = scene.targets.time_s
    left_out = (time_s >= at_s) & (time_s < at_s + eighth_s)
    played = scene.played.without(left_out)
    return _faulty(played.warped(lambda t: np.where(t >= at_s, t - eighth_s, t)), "lost_place")


def half_tempo(scene: Scene, _: float) -> Faulty | None:
    """Everything takes twice as long; what no longer fits into the run is not played."""
    end_s = scene.targets.end_s
    played = scene.played.warped(lambda t: 2.0 * t)
    return _faulty(played.without(played.time_s > end_s), "half_tempo")


def double_tempo(scene: Scene, _: float) -> Faulty | None:
    """Everything takes half as long, and is played twice."""
    hits, half_s = scene.played.hits(), scene.targets.end_s / 2.0
    fast_s = hits.time_s / 2.0
    empty = scene.played.without(np.ones(len(scene.targets), np.bool_))
    played = replace(
        empty,
        extra=Hits.sorted(
            np.concatenate([fast_s, fast_s + half_s]),
            np.tile(hits.voice, 2),
            np.tile(hits.velocity, 2),
        ),
    )
    return _faulty(played, "double_tempo")


def limb_off(scene: Scene, by_ms: float) -> Faulty | None:
    """One limb ahead or behind, all the time."""
    limbs = [
        limb
        for limb in (Limb.KICK_FOOT, Limb.HAT_HAND, Limb.SNARE_HAND)
        if (scene.limb(limb) & scene.played.answered).sum() >= MANY
        and (~scene.limb(limb) & scene.played.answered).sum() >= MANY
    ]
    if not limbs:
        return None
    limb = limbs[int(scene.chance.integers(len(limbs)))]
    rows = scene.limb(limb)
    code = "late" if by_ms > 0 else "early"
    one_place = len(np.unique(scene.group[rows])) == 1
    names = [f"limb_{code}"] + ([f"stroke_{code}"] if one_place else [])
    playing = [one for one in Limb if (scene.limb(one) & scene.played.answered).sum() >= REPEATS]
    if len(playing) == 2:
        # Of two limbs either may be heard as the one that is off.
        names.append("limb_early" if by_ms > 0 else "limb_late")
    return _faulty(_moved_to(scene, rows, by_ms), *names)


def stroke_off(scene: Scene, by_ms: float) -> Faulty | None:
    """The strokes at one place early or late, every time."""
    rows = scene.a_place(scene.limb(Limb.KICK_FOOT)) if scene.chance.random() < 0.5 else None
    rows = scene.a_place(np.ones(len(scene.targets), np.bool_)) if rows is None else rows
    if rows is None:
        return None
    return _faulty(_moved_to(scene, rows, by_ms), "stroke_late" if by_ms > 0 else "stroke_early")


def uneven_time(scene: Scene, sd_ms: float) -> Faulty | None:
    """Every stroke somewhere, so that the whole scatter is this; a place that is off is none."""
    played = _levelled(scene, np.ones(len(scene.targets), np.bool_))
    own_ms = float(np.nanstd(played.error_ms))
    more_ms = np.sqrt(max(sd_ms**2 - own_ms**2, 0.0))
    if more_ms < 0.5 * sd_ms:
        return None
    by_s = more_ms / 1000.0 * scene.chance.standard_normal(len(scene.targets))
    return _faulty(played.moved(by_s), "uneven_time", "unison_apart")


def unison_apart(scene: Scene, sd_ms: float) -> Faulty | None:
    """Where hand and foot belong together, the foot is somewhere around."""
    written = np.round(scene.targets.written, 6)
    foot = scene.limb(Limb.KICK_FOOT)
    rows = foot & np.isin(written, written[~foot]) & scene.played.answered
    if rows.sum() < MANY:
        return None
    by_s = sd_ms / 1000.0 * scene.chance.standard_normal(len(scene.targets))
    return _faulty(scene.played.moved(np.where(rows, by_s, 0.0)), "unison_apart", "uneven_time")


def _swung(scene: Scene, share: float, percent: int, *, code: str) -> Faulty | None:
    """The way to another swing, this share of it."""
    straight = all(parts in (1, 2) for bar in scene.pattern.bars for parts in bar.divisions)
    if scene.level_out or not straight or scene.pattern.meter.written != "4/4":
        return None
    other = lay_out(
        replace(scene.pattern, swing=WrittenSwing(Fraction(percent))),
        scene.targets.tempo_bpm(scene.pattern.meter),
        scene.targets.bars,
    )
    if not np.array_equal(other.voice, scene.targets.voice):  # a variation was played
        return None
    by_s = share * (other.time_s - scene.targets.time_s)
    if (by_s != 0.0).sum() < MANY:
        return None
    return _faulty(scene.played.moved(by_s), code)


def played_straight(scene: Scene, share: float) -> Faulty | None:
    """What is written swung, this share of the way to straight."""
    swings = scene.pattern.swing.percent >= 58
    return _swung(scene, share, 50, code="played_straight") if swings else None


def played_swung(scene: Scene, share: float) -> Faulty | None:
    """What is written straight, this share of the way to triplets."""
    straight = scene.pattern.swing.is_straight
    return _swung(scene, share, 67, code="played_swung") if straight else None


# Strokes.


def missed_stroke(scene: Scene, share: float) -> Faulty | None:
    """A place left out, this share of the times."""
    rows = scene.a_place(~scene.targets.optional)
    if rows is None:
        return None
    return _faulty(scene.played.without(_some(scene, rows, share)), "missed_stroke")


def missed_voice(scene: Scene, _: float) -> Faulty | None:
    """One voice left out altogether."""
    voices = np.unique(scene.targets.voice)
    if len(voices) < 2:
        return None
    rows = scene.targets.voice == scene.chance.choice(voices)
    if (rows & ~scene.targets.optional).sum() < REPEATS:
        return None
    one_place = len(np.unique(scene.group[rows])) == 1
    return _faulty(
        scene.played.without(rows), "missed_voice", *(["missed_stroke"] if one_place else [])
    )


def extra_strokes(scene: Scene, share: float) -> Faulty | None:
    """Strokes of a drum half-way between two that are written, in this share of the bars."""
    targets = scene.targets
    voices = [code for code in np.unique(targets.voice) if (targets.voice == code).sum() >= REPEATS]
    code = int(scene.chance.choice(voices)) if voices else None
    if code is None:
        return None
    own = np.flatnonzero(targets.voice == code)
    gap_s = np.diff(targets.time_s[own], append=targets.end_s)
    wide = np.flatnonzero(gap_s > 0.3)
    if not len(wide):
        return None
    group = scene.group[own]
    place = scene.chance.choice(np.unique(group[wide]))
    rows = wide[group[wide] == place]
    if len(rows) < REPEATS:
        return None
    rows = rows[_picks(scene, len(rows), share)]
    time_s = targets.time_s[own[rows]] + gap_s[rows] / 2.0
    time_s = time_s + 0.015 * scene.chance.standard_normal(len(rows))
    velocity = np.full(len(rows), np.nanmedian(scene.played.velocity[own]))
    voice = np.full(len(rows), code, np.int16)
    return _faulty(scene.played.with_extra(time_s, voice, velocity), "extra")


def double_triggers(scene: Scene, share: float) -> Faulty | None:
    """A pad that answers this share of its strokes twice."""
    targets, played = scene.targets, scene.played
    pads = [STAFF_ORDER[name] for name in ("snare", "kick", "floor-tom", "high-tom")]
    counts = {code: int((played.answered & (targets.voice == code)).sum()) for code in pads}
    codes = [code for code, n in counts.items() if n >= 2 * MANY]
    if not codes:
        return None
    rows = np.flatnonzero(played.answered & (targets.voice == scene.chance.choice(codes)))
    rows = rows[_picks(scene, len(rows), share)]
    return _faulty(
        played.with_extra(
            played.time_s[rows] + scene.chance.uniform(0.015, 0.045, len(rows)),
            played.voice[rows],
            played.velocity[rows] * scene.chance.uniform(0.3, 0.6, len(rows)),
        ),
        "double_trigger",
    )


def wrong_drum(scene: Scene, share: float) -> Faulty | None:
    """A place played on another drum, which the pattern does not have."""
    free = [name for name in ELSEWHERE if name not in scene.targets.voices]
    rows = scene.a_place(~scene.targets.optional & (scene.targets.graces == 0))
    if rows is None or not free:
        return None
    rows = _some(scene, rows, share) & scene.played.answered
    code = STAFF_ORDER[free[int(scene.chance.integers(len(free)))]]
    voice = np.where(rows, code, scene.played.voice).astype(np.int16)
    return _faulty(replace(scene.played, voice=voice), "wrong_drum")


def _some(scene: Scene, rows: Bools, share: float) -> Bools:
    found = np.zeros(len(rows), np.bool_)
    numbers = np.flatnonzero(rows)
    found[numbers[_picks(scene, len(numbers), share)]] = True
    return found


def _picks(scene: Scene, count: int, share: float) -> NDArray[np.int64]:
    """This share of so many, rounded up, by chance, in order."""
    return np.sort(scene.chance.permutation(count)[: int(np.ceil(share * count))])


def _alike(one: Targets, other: Targets) -> float:
    """How many strokes of both have a counterpart in the other, as a share."""
    hits = Hits(other.time_s, other.voice, np.full(len(other), 84.0))
    return 2.0 * len(MatchedRun.of(one, hits, Rules()).target) / (len(one) + len(other))


def another_pattern(scene: Scene, _: float) -> Faulty | None:
    """Another pattern in the same meter is played at the same tempo."""
    meter, voices = scene.pattern.meter.written, set(scene.pattern.voices)
    others = [
        other
        for other in grooves().values()
        if other.meter.written == meter
        and other.name != scene.pattern.name
        and len({*other.voices} ^ voices) >= 1
    ]
    if not others or scene.level_out:
        return None
    tempo_bpm = scene.targets.tempo_bpm(scene.pattern.meter)
    for number in scene.chance.permutation(len(others)).tolist():
        elsewhere = lay_out(others[number], tempo_bpm, scene.targets.bars)
        if _alike(scene.targets, elsewhere) <= NEARLY:
            break
    else:
        return None
    skill = SKILLS["professional"]
    hits = Played.by(elsewhere, skill, int(scene.chance.integers(1 << 30))).hits()
    empty = scene.played.without(np.ones(len(scene.targets), np.bool_))
    return _faulty(replace(empty, extra=hits), "other_pattern")


def nothing_played(scene: Scene, _: float) -> Faulty | None:
    """Nothing at all."""
    empty = scene.played.without(np.ones(len(scene.targets), np.bool_))
    none = Hits.of(())
    return _faulty(replace(empty, extra=none), "nothing_played")


# The hi-hat.


def _hat(scene: Scene, share: float, want_open: bool, *, becomes: str, code: str) -> Faulty | None:
    open_ = np.array([place.stroke.is_open for place in scene.targets.places])[scene.targets.place]
    open_ |= scene.voice("hi-hat-open")
    closed = scene.voice("hi-hat") & ~open_
    if (open_ & scene.played.answered).sum() < REPEATS:
        return None
    rows = _some(scene, open_ if want_open else closed, share)
    voice = np.where(rows, STAFF_ORDER[becomes], scene.played.voice).astype(np.int16)
    return _faulty(replace(scene.played, voice=voice), code)


def hats_closed(scene: Scene, share: float) -> Faulty | None:
    """Closed where open hi-hats are written, this share of the times."""
    return _hat(scene, share, True, becomes="hi-hat", code="not_open")


def hats_open(scene: Scene, share: float) -> Faulty | None:
    """Open where the hi-hat is written closed, this share of the times."""
    return _hat(scene, share, False, becomes="hi-hat-open", code="not_closed")


# Loudness.


def _ghosts(scene: Scene) -> tuple[Bools, Bools] | None:
    """Ghost notes and plain strokes of the voice that has most of both."""
    best, most = None, REPEATS - 1
    for code in np.unique(scene.targets.voice):
        own = (scene.targets.voice == code) & scene.played.answered
        soft, loud = own & scene.dynamic(GHOST), own & ~scene.dynamic(GHOST)
        if min(soft.sum(), loud.sum()) > most:
            best, most = (soft, loud), int(min(soft.sum(), loud.sum()))
    return best


def _raised(scene: Scene, rows: Bools, *, soft: Bools, loud: Bools, share: float) -> Played:
    """Ghost notes raised this share of the way to the others of their voice."""
    played = _evened(scene, rows, soft)
    by_db = share * (scene.level(loud) - scene.level(soft))
    return played.louder(np.where(rows, by_db, 0.0))


def one_ghost_loud(scene: Scene, share: float) -> Faulty | None:
    """The ghost note at one place."""
    found = _ghosts(scene)
    rows = scene.a_place(found[0], alone=True) if found else None
    if found is None or rows is None or len(np.unique(scene.group[found[0]])) < 2:
        return None
    return _faulty(
        _raised(scene, rows, soft=found[0], loud=found[1], share=share),
        "ghost_loud",
        *_over_kick(scene, rows),
    )


def all_ghosts_loud(scene: Scene, share: float) -> Faulty | None:
    """All ghost notes of a voice."""
    found = _ghosts(scene)
    if found is None:
        return None
    played = _raised(scene, found[0], soft=found[0], loud=found[1], share=share)
    return _faulty(played, "ghost_loud", *_over_kick(scene, found[0]))


def _with_kick(scene: Scene) -> Bools:
    """(n,) the targets at an instant of the kick."""
    written = np.round(scene.targets.written, 6)
    kick = scene.voice("kick")
    return ~kick & np.isin(written, written[kick])


def _over_kick(scene: Scene, rows: Bools) -> Iterable[str]:
    return ("ghost_loud_over_kick",) if (_with_kick(scene) & rows).any() else ()


def ghosts_loud_over_kick(scene: Scene, share: float) -> Faulty | None:
    """Ghost notes that fall together with the kick, where there are others as well."""
    found = _ghosts(scene)
    if found is None:
        return None
    over = found[0] & _with_kick(scene)
    if over.sum() < REPEATS or (found[0] & ~over).sum() < REPEATS:
        return None
    return _faulty(
        _raised(scene, over, soft=found[0], loud=found[1], share=share),
        "ghost_loud_over_kick",
        "ghost_loud",
    )


def kick_soft_under_ghosts(scene: Scene, by_db: float) -> Faulty | None:
    """The kick goes softer where a ghost note falls together with it."""
    written = np.round(scene.targets.written, 6)
    kick = scene.voice("kick") & scene.dynamic(NORMAL) & scene.played.answered
    under = kick & np.isin(written, written[scene.dynamic(GHOST) & ~scene.voice("kick")])
    if under.sum() < REPEATS or (kick & ~under).sum() < REPEATS:
        return None
    played = _evened(scene, under, kick).louder(np.where(under, -by_db, 0.0))
    return _faulty(played, "kick_soft_under_ghost", "stroke_soft")


def ghosts_gone(scene: Scene, share: float) -> Faulty | None:
    """Ghost notes too soft for the pad: this share of them does not arrive."""
    found = _ghosts(scene)
    if found is None:
        return None
    gone = _some(scene, found[0] & ~scene.targets.optional, share)
    if gone.sum() < 3:
        return None
    return _faulty(scene.played.without(gone), "ghost_soft", "missed_stroke")


def accents_flat(scene: Scene, left: float) -> Faulty | None:
    """This share of the contrast between accents and the others of their voice is left; none of
    it at 0, and accents softer than the others below."""
    for code in scene.chance.permutation(np.unique(scene.targets.voice)):
        own = (scene.targets.voice == code) & scene.played.answered
        loud, plain = own & scene.dynamic(ACCENT), own & scene.dynamic(NORMAL)
        if min(loud.sum(), plain.sum()) >= REPEATS:
            contrast_db = scene.level(loud) - scene.level(plain)
            played = scene.played.louder(np.where(loud, (left - 1.0) * contrast_db, 0.0))
            return _faulty(played, "accent_flat")
    return None


def _plain_place(scene: Scene, other: int) -> tuple[Bools, Bools, float] | None:
    """A place of plain strokes on a voice that has the other dynamic too: its rows, the plain
    strokes of its voice, and how far the other dynamic lies from them in dB."""
    for code in scene.chance.permutation(np.unique(scene.targets.voice)):
        own = (scene.targets.voice == code) & scene.played.answered
        plain, far = own & scene.dynamic(NORMAL), own & scene.dynamic(other)
        if min(plain.sum(), far.sum()) < REPEATS or len(np.unique(scene.group[plain])) < 2:
            continue
        rows = scene.a_place(plain, alone=True)
        if rows is not None:
            return rows, plain, scene.level(far) - scene.level(plain)
    return None


def stroke_loud(scene: Scene, share: float) -> Faulty | None:
    """A plain place as loud as the accents of its voice, this share of the way."""
    found = _plain_place(scene, ACCENT)
    if found is None:
        return None
    rows, plain, by_db = found
    played = _evened(scene, rows, plain).louder(np.where(rows, share * by_db, 0.0))
    return _faulty(played, "stroke_loud")


def stroke_soft(scene: Scene, share: float) -> Faulty | None:
    """A plain place as soft as the ghost notes of its voice, this share of the way."""
    found = _plain_place(scene, GHOST)
    if found is None:
        return None
    rows, plain, by_db = found
    played = _evened(scene, rows, plain).louder(np.where(rows, share * by_db, 0.0))
    # Where most plain strokes come down to the ghost notes, contrast alone cannot say which of the
    # two is as loud as the other: a teacher would say either.
    most = 2 * rows.sum() > plain.sum()
    return _faulty(played, "stroke_soft", *(["ghost_loud"] if most else []))


def uneven_loudness(scene: Scene, sd_db: float) -> Faulty | None:
    """The plain strokes of snare or kick at any level, this far around their middle."""
    for name in scene.chance.permutation(["snare", "kick"]):
        rows = scene.voice(str(name)) & scene.dynamic(NORMAL) & scene.played.answered
        rows &= scene.targets.graces == 0  # else their grace strokes are too loud as well
        if rows.sum() >= MANY:
            by_db = sd_db * scene.chance.standard_normal(len(rows))
            middle_db = min(scene.level(rows), -1.5 * sd_db) - scene.level(rows)
            played = scene.played.louder(np.where(rows, by_db + middle_db, 0.0))
            return _faulty(played, "uneven_loudness")
    return None


# Grace strokes.


def _graced(scene: Scene, graces: int) -> Bools | None:
    rows = (scene.targets.graces == graces) & scene.played.answered
    rows &= ~np.isnan(scene.played.grace_s[:, graces - 1])
    return rows if rows.sum() >= REPEATS else None


def _gaps(scene: Scene, graces: int, gap_ms: float, *, code: str) -> Faulty | None:
    """Grace strokes at this distance, give or take a fifth."""
    rows = _graced(scene, graces)
    if rows is None:
        return None
    grace_s = scene.played.grace_s.copy()
    gap_s = gap_ms / 1000.0 * (1.0 + 0.2 * scene.chance.standard_normal(grace_s.shape))
    before_s = np.cumsum(np.maximum(gap_s, 0.001), axis=1)
    placed = scene.played.time_s[:, None] - before_s
    there = rows[:, None] & ~np.isnan(grace_s)
    return _faulty(replace(scene.played, grace_s=np.where(there, placed, grace_s)), code)


def flam_at(scene: Scene, gap_ms: float) -> Faulty | None:
    """Flat flams, or wide ones."""
    return _gaps(scene, 1, gap_ms, code="flam_flat" if gap_ms < 25.0 else "flam_wide")


def drag_open(scene: Scene, share: float) -> Faulty | None:
    """Drags played as measured thirty-seconds, this share of the length of one."""
    gap_ms = share * 1000.0 * scene.targets.seconds_per_whole / 32.0
    return _gaps(scene, 2, gap_ms, code="drag_open") if gap_ms >= 60.0 else None


def grace_loud(scene: Scene, over_db: float) -> Faulty | None:
    """Grace strokes so much louder than their main strokes."""
    rows = _graced(scene, 1)
    if rows is None:
        return None
    level = level_db(scene.played.velocity) + over_db + scene.chance.standard_normal(len(rows))
    velocity = np.clip(np.rint(127.0 * 10.0 ** (level / 40.0)), 1.0, 127.0)
    louder = np.where(rows[:, None], velocity[:, None], scene.played.grace_velocity)
    return _faulty(replace(scene.played, grace_velocity=louder), "grace_loud")


def _graces_gone(scene: Scene, graces: int, share: float, *, code: str) -> Faulty | None:
    rows = _graced(scene, graces)
    if rows is None:
        return None
    gone = _some(scene, rows, share)
    grace_s = np.where(gone[:, None], np.nan, scene.played.grace_s)
    return _faulty(replace(scene.played, grace_s=grace_s), code)


def grace_missing(scene: Scene, share: float) -> Faulty | None:
    """Flams without their grace stroke, this share of them."""
    return _graces_gone(scene, 1, share, code="grace_missing")


def drag_missing(scene: Scene, share: float) -> Faulty | None:
    """Drags without their grace strokes, this share of them."""
    return _graces_gone(scene, 2, share, code="drag_missing")
