"""Causes in what was played at all: strokes left out, strokes too many, other drums.

One stroke in eight is no habit: a place is told where it fails at least ``OFTEN`` of the times and
``TIMES`` times, for certain more than one in eight, and oftener than who leaves out as much
elsewhere fails at any of so many places by chance; a voice where it loses so much here and there.
"""

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from playalong.grading.findings.candidate import Bools, Candidate, Floats, Ints, Mend
from playalong.grading.findings.certainty import at_least, of_count, of_share
from playalong.grading.findings.look import GHOST, Look
from playalong.grading.grade import Code, Spot
from playalong.grading.matching.lag_path import counted_voices
from playalong.grading.quantiles import median
from playalong.grading.verdicts import Verdict
from playalong.midi.hits import Hits
from playalong.pattern.voices import VOICES

#: How often a place must fail to be a habit, and how many times; and for certain this share of a
#: place, or of a voice that loses strokes here and there.
OFTEN, TIMES, NO_HABIT = 0.25, 3, 0.125

#: How often one place of a whole run may be told by chance: all kinds of causes together may tell
#: one faultless run in twenty.
BY_CHANCE = 0.003

#: A voice is missing where so much of it is.
GONE = 0.8

#: Strokes land elsewhere where for certain so much of a voice does, or of everything, and that in
#: so many of the bars.
ELSEWHERE, ANYWHERE, IN_BARS = 0.08, 0.024, 0.6

#: Ghost notes do not arrive where they are so much of what a voice loses.
_SOFT = 0.8

#: A second hit of a pad so soon after a stroke, and softer, is the pad's, in seconds.
BOUNCE_S, BOUNCE_SOFTER = 0.047, 0.9
#: A pad doubles from this share of its strokes on, and so many of them.
DOUBLES, DOUBLED = 0.06, 3

#: Extra hits of a voice are told where they come again at one place, within so many seconds, as
#: often as is a habit; and anywhere, where they are so many and this share of what is asked.
_SAME_S = 0.045
EXTRA, EXTRA_SHARE = 8, 0.06

#: What a stroke costs that is not there, or too many, as a part of its point: see ``score``.
_MISSED, _EXTRA = 2.0, 0.8


def missing(look: Look) -> Iterator[Candidate]:
    """All causes of this family."""
    yield from missed(look)
    yield from wrong_drums(look)
    yield from extras(look)


def missed(look: Look) -> Iterator[Candidate]:
    """A voice that is missing, and places that are."""
    rows = look.run.verdicts.target[look.run.by_verdict[Verdict.MISSED]]
    if len(rows) < TIMES:
        return
    wrong = look.run.verdicts.target[look.run.by_verdict[Verdict.WRONG_DRUM]]
    groups = len(look.layout.first)
    gone = np.bincount(look.group_of[rows], minlength=groups)
    voice = look.targets.voice[rows]
    for code in np.unique(voice).tolist():
        own = rows[voice == code]
        expected = int(np.sum(look.targets.voice[look.run.target] == code)) + len(own)
        expected += int(np.sum(look.targets.voice[wrong] == code))
        share = of_share(len(own), expected)
        whole = share.value >= GONE
        soft = own[look.targets.dynamic[own] == GHOST]
        ghosts = len(soft) + int(np.sum((look.run.voice == code) & (look.run.dynamic == GHOST)))
        if len(soft) >= TIMES and len(soft) >= max(OFTEN * ghosts, _SOFT * len(own)) and not whole:
            yield _missed(look, Code.GHOST_SOFT, own=soft, expected=ghosts)
        elif len(own) >= TIMES and (whole or share.low >= NO_HABIT):
            yield _missed(look, Code.MISSED_VOICE, own=own, expected=expected)
    for group in np.flatnonzero(gone >= TIMES).tolist():
        expected, lost = int(look.of_group[group]), int(gone[group])
        if lost < OFTEN * expected or of_share(lost, expected).low < NO_HABIT:
            continue
        if _by_chance(look, lost, expected, every=len(rows)) > BY_CHANCE:
            continue
        own = rows[look.group_of[rows] == group]
        yield _missed(look, Code.MISSED_STROKE, own=own, expected=expected, group=group)


def _by_chance(look: Look, n: int, of: int, *, every: int) -> float:
    """How likely any place fails ``n`` of ``of`` times for who fails as often everywhere, which is
    ``every`` times in the whole run."""
    elsewhere = (every - n + 0.5) / (look.expected - of + 1.0)
    return len(look.layout.first) * at_least(n, of, chance=min(elsewhere, 1.0))


def _missed(
    look: Look, code: Code, *, own: Ints, expected: int, group: int | None = None
) -> Candidate:
    share = of_share(len(own), expected)
    name = VOICES[int(look.targets.voice[own[0]])].name
    places = () if group is None else (look.layout.spot(group),)
    # A place that is missed nearly always explains all of it; one that is missed at times as well
    # as its neighbours explains less than its voice.
    return Candidate(
        code=code,
        voice=name,
        places=places,
        mend=Mend(added=_as_played(look, own)),
        points=_MISSED * look.points(len(own)),
        beside=look.points(len(own)) * (share.value if group is not None else 0.5 * share.value),
        n=len(own),
        of=expected,
        value=100.0 * share.value,
        unit="%",
        low=100.0 * share.low,
        high=100.0 * share.high,
    )


def _as_played(look: Look, target: Ints) -> Hits:
    """Hits for targets that were missed: where the kit lies, as loud as their like."""
    targets, run = look.targets, look.run
    kind = targets.voice.astype(np.int64) * 8 + targets.dynamic
    own = kind[run.target]
    velocity = np.empty(len(target))
    for number in np.unique(kind[target]).tolist():
        like = run.hits.velocity[run.hit[own == number]]
        velocity[kind[target] == number] = median(like) if len(like) else _USUAL[number % 8]
    kit_s = float(run.error_ms.mean()) / 1000.0 if len(run.error_ms) else 0.0
    time_s = targets.time_s[target] + float(np.clip(kit_s, -0.03, 0.03))
    return Hits.sorted(time_s, targets.voice[target], velocity)


#: Velocities of a ghost note, a normal stroke and an accent where there is none to be like.
_USUAL = (30.0, 84.0, 112.0)


def wrong_drums(look: Look) -> Iterator[Candidate]:
    """Strokes that land on another drum: at one place, of one voice, or now here and now there."""
    run = look.run
    rows = run.by_verdict[Verdict.WRONG_DRUM]
    if len(rows) < TIMES:
        return
    target, hit = run.verdicts.target[rows], run.verdicts.hit[rows]
    bars = len(np.unique(look.targets.bar[target]))
    if of_share(len(rows), look.expected).low >= ANYWHERE and bars >= IN_BARS * look.targets.bars:
        yield _wrong_drum(look, target, hit, expected=look.expected)
    for code in np.unique(look.targets.voice[target]).tolist():
        own = look.targets.voice[target] == code
        expected = int((look.targets.voice[run.target] == code).sum() + own.sum())
        if own.sum() >= TIMES and of_share(int(own.sum()), expected).low >= ELSEWHERE:
            yield _wrong_drum(
                look, target[own], hit[own], expected=expected, voice=VOICES[code].name, part=0.5
            )
    groups = np.bincount(look.group_of[target], minlength=len(look.layout.first))
    for group in np.flatnonzero(groups >= TIMES).tolist():
        own = look.group_of[target] == group
        expected, n = int(look.of_group[group]), int(own.sum())
        chance = _by_chance(look, n, expected, every=len(rows))
        if n >= OFTEN * expected and of_share(n, expected).low >= NO_HABIT and chance <= BY_CHANCE:
            yield _wrong_drum(
                look,
                target[own],
                hit[own],
                expected=expected,
                voice=look.layout.voice(group),
                places=(look.layout.spot(group),),
                part=1.0,
            )


def _wrong_drum(
    look: Look,
    target: Ints,
    hit: Ints,
    *,
    expected: int,
    voice: str | None = None,
    places: tuple[Spot, ...] = (),
    part: float = 0.25,
) -> Candidate:
    """``part``: how much the share of its strokes says for this name rather than another."""
    becomes = look.run.hits.voice.copy()
    becomes[hit] = look.targets.voice[target]
    share = of_share(len(target), expected)
    return Candidate(
        code=Code.WRONG_DRUM,
        voice=voice,
        places=places,
        mend=Mend(voice=becomes, anew=True),
        points=(_MISSED + _EXTRA) * look.points(len(target)),
        beside=part * look.points(len(target)) * share.value,
        n=len(target),
        of=expected,
        value=100.0 * share.value,
        unit="%",
        low=100.0 * share.low,
        high=100.0 * share.high,
    )


def extras(look: Look) -> Iterator[Candidate]:
    """Hits that answer nothing: a pad that doubles, and strokes that are not written."""
    run = look.run
    extra = run.verdicts.hit[run.by_verdict[Verdict.EXTRA]]
    if len(extra) < TIMES:
        return
    voices = counted_voices(look.targets, run.hits)
    for code in np.unique(voices[extra]).tolist():
        name = VOICES[code].name
        own = extra[voices[extra] == code]
        bounces, explained = _bounces(look, own, np.flatnonzero(voices == code))
        struck = int((voices[run.hit] == code).sum())
        if len(bounces) >= max(DOUBLED, DOUBLES * struck):
            share = of_share(len(bounces), struck)
            yield Candidate(
                code=Code.DOUBLE_TRIGGER,
                voice=name,
                mend=Mend(removed=_only(len(run.hits), bounces), anew=True),
                points=_EXTRA * look.points(len(bounces)),
                beside=0.5 * look.points(len(bounces)),
                n=len(bounces),
                of=struck,
                value=100.0 * share.value,
                unit="%",
                low=100.0 * share.low,
                high=100.0 * share.high,
            )
        once = np.setdiff1d(own, explained)
        recurring, places = _recurring(look, once)
        many = len(once) >= EXTRA and len(once) >= EXTRA_SHARE * look.expected
        if many or len(recurring) >= TIMES:
            reported = once if many else recurring
            found = of_count(len(reported))
            yield Candidate(
                code=Code.EXTRA,
                voice=name,
                places=places if len(recurring) > 0.6 * len(reported) else (),
                mend=Mend(removed=_only(len(run.hits), reported)),
                points=_EXTRA * look.points(len(reported)),
                beside=0.2 * look.points(len(reported)),
                n=len(reported),
                of=struck + len(reported),
                value=found.value,
                unit="hits",
                low=found.low,
                high=found.high,
            )


def _recurring(look: Look, hit: Ints) -> tuple[Ints, tuple[Spot, ...]]:
    """Those of the extra hits that come again at the same place of the bar in so many of the
    bars, and where that is."""
    targets = look.targets
    if len(hit) < TIMES:
        return hit[:0], ()
    time_s = look.run.hits.time_s[hit]
    bar = np.clip(np.searchsorted(targets.bar_starts_s, time_s, side="right") - 1, 0, None)
    ends_s = np.append(targets.bar_starts_s[1:], targets.end_s)
    length_s = ends_s[bar] - targets.bar_starts_s[bar]
    into_s = time_s - targets.bar_starts_s[bar]
    inside, at_s = _gathered(into_s, length_s, bar, least=max(TIMES, OFTEN * targets.bars))
    return hit[inside], (_nearest(look, at_s),) if len(inside) else ()


def _gathered(into_s: Floats, length_s: Floats, bar: Ints, *, least: float) -> tuple[Ints, float]:
    """Which of the times ``into_s`` into their bars lie where so many bars have one, and the middle
    of the place where most have.

    ``length_s`` and ``bar`` are the length and the number of each one's bar, whose end is near the
    beginning of the next.
    """
    n = len(into_s)
    round_s = np.concatenate([into_s, into_s - length_s, into_s + length_s])
    order = np.argsort(round_s, kind="stable")
    sorted_s, own = round_s[order], order % n
    bars = bar[own].tolist()
    low = np.searchsorted(sorted_s, into_s - _SAME_S, side="left")
    high = np.searchsorted(sorted_s, into_s + _SAME_S, side="right")
    found = np.zeros(n, np.int64)
    counts: Counter[int] = Counter()
    begin = end = 0
    for row in np.argsort(into_s, kind="stable").tolist():
        while end < high[row]:
            counts[bars[end]] += 1
            end += 1
        while begin < low[row]:
            counts[bars[begin]] -= 1
            if not counts[bars[begin]]:
                del counts[bars[begin]]
            begin += 1
        found[row] = len(counts)
    core = found >= least
    if not core.any():
        return np.zeros(0, np.int64), 0.0
    edges = np.zeros(len(order) + 1, np.int64)
    np.add.at(edges, low[core], 1)
    np.add.at(edges, high[core], -1)
    inside = np.unique(own[np.cumsum(edges[:-1]) > 0])
    most = int(found.argmax())
    return inside, median(sorted_s[low[most] : high[most]])


def _nearest(look: Look, into_s: float) -> Spot:
    """The eighth or sixteenth of a bar that is nearest."""
    meter = look.layout.meters[0]
    steps = round(into_s / look.targets.seconds_per_whole * 16.0)
    at = Fraction(steps, 16) % meter.length
    return Spot(1, meter.count(at))


def _bounces(look: Look, extra: Ints, own: Ints) -> tuple[Ints, Ints]:
    """Of the hits ``own`` of one pad those that follow a louder one at once, where either of the
    two is ``extra``, and the extra ones that are explained so."""
    run = look.run
    grace = _only(len(run.hits), run.verdicts.hit[run.verdicts.grace])
    own = own[~grace[own]]
    own = own[np.argsort(run.hits.time_s[own], kind="stable")]
    soon = np.diff(run.hits.time_s[own]) <= BOUNCE_S
    velocity = run.hits.velocity[own]
    softer = velocity[1:] <= BOUNCE_SOFTER * velocity[:-1]
    is_extra = _only(len(run.hits), extra)
    spare = is_extra[own]
    twice = np.flatnonzero(soon & softer & (spare[1:] | spare[:-1]))
    both = np.unique(np.concatenate([own[twice], own[twice + 1]]))
    return own[twice + 1], both[is_extra[both]]


def _only(count: int, rows: Ints) -> Bools:
    found = np.zeros(count, np.bool_)
    found[rows] = True
    return found
