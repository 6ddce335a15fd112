"""Double triggers and crosstalk, found in the player's own strokes, and what would keep them out.

* A *double trigger*: a hit of a pad within ``DOUBLE_MS`` after a stroke on it, at least
  ``DOUBLE_DB`` softer, that nothing asked for. Where more than ``MOST_DOUBLES`` follow one
  another it is a buzz, which the player meant; where single strokes are asked for and a louder one
  follows as closely, they are the grace strokes of a drag.
* *Crosstalk* from one pad to another: a hit of the other within ``CROSSTALK_MS`` of a stroke, at
  least ``CROSSTALK_DB`` softer than it, that nothing asked for.

A hit that may be either is a double trigger: a pad that was just struck rather bounces than hears
a knock. Both are told only where they happen ``OFTEN`` times or more, and after more than the share
``RARE`` of the strokes. All limits are this project's own choice. So two pads struck together on
purpose, at levels that are played, are no crosstalk; and a flam, whose second stroke is the louder
one, a drag and a double stroke are no double triggers.

``proposals`` turns them into guards, which the player may take or leave. A mask time never reaches
to the player's own fastest strokes of that pad (of those that the mask would take: not louder than
the one before), nor to ``MOST_MASK_MS``. A threshold stays under ``SOFT_SHARE`` of the softest
stroke that was asked for. What these bounds leave no room for is told, with what to change on the
module. A pattern with faster strokes lowers a guard further: ``Pads.for_targets``. In long takes
the most extreme hundredth of either side (``RARE``) is left out of account: now and then a false
hit answers a target.

Pads go by the voice of their drum (``pads.pad_of``): a rim and its drum are one pad.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, fields
from math import ceil, floor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from playalong.grading.loudness import level_db
from playalong.grading.matching.live_grader import judge
from playalong.grading.verdicts import VERDICTS, Rules, Verdict
from playalong.midi.hits import Hits
from playalong.midi.pads import Guard, pad_of
from playalong.pattern.targets import Targets
from playalong.pattern.voices import STAFF_ORDER, VOICES

DOUBLE_MS, DOUBLE_DB, MOST_DOUBLES = 60.0, 4.0, 2
CROSSTALK_MS, CROSSTALK_DB = 8.0, 10.0
OFTEN, RARE = 3, 0.01

#: Strokes this close hang together: a drag that a beginner plays, but no sixteenths of most tempi.
_LEADS_MS = 90.0

#: So many strokes of a pad are asked for before anything is said of it. A pad that doubles one
#: stroke in ten shows it at least once in 97 % of so many, and ``OFTEN`` in 63 %: once one was
#: seen, as many more strokes are asked for, which tells 94 % of such pads.
STROKES = 32

#: No mask time that is proposed is longer: no single strokes and no double strokes are played as
#: close as this (common practice: thirty-second notes at 150 bpm are 50 ms apart).
MOST_MASK_MS = 45.0
#: How much longer a mask is than the latest double trigger seen, in milliseconds: the next may be
#: a little later still, and a serial line or a cable moves it against its stroke.
_MASK_MARGIN_MS = 6.0
#: The share of the time between the player's own fastest strokes that a mask may take.
_FAST_SHARE = 0.8

#: The share of the softest stroke's velocity that a threshold may reach.
SOFT_SHARE = 0.8
#: How many times the loudest crosstalk seen a threshold is: the next may be a little louder still.
_THRESHOLD_MARGIN = 1.2

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: The pad of each voice, by index in ``kit.VOICES``; a pad is the index of its drum's voice.
_PADS = np.array([STAFF_ORDER[pad_of(voice.name)] for voice in VOICES], np.int64)


@dataclass(frozen=True)
class Strokes:
    """Hits, and which of them the player is known to have meant: ``expected`` bool (n,).

    ``singly``: they were asked for one by one, so that nobody knows of a drag that is played.
    """

    hits: Hits
    expected: Flags
    singly: bool = False

    @classmethod
    def calibrating(cls, hits: Hits, struck: str) -> "Strokes":
        """Single strokes, not fast, on the pad of the voice ``struck`` and on no other."""
        own = _PADS[hits.voice] == STAFF_ORDER[pad_of(struck)]
        expected = np.zeros(len(hits), np.bool_)
        expected[own] = np.diff(hits.time_s[own], prepend=-np.inf) * 1000.0 > DOUBLE_MS
        return cls(hits, expected, True)

    def left(self, struck: str) -> int:
        """How many more strokes on the pad of ``struck`` it takes to say something of it."""
        code = STAFF_ORDER[pad_of(struck)]
        own = _PADS[self.hits.voice] == code
        strokes = int((self.expected & own).sum())
        second, _ = _seconds(self, own)
        unsure = 0 < len(second) < OFTEN
        return max(0, STROKES * (2 if unsure else 1) - strokes)

    @classmethod
    def of_run(cls, targets: Targets, hits: Hits, rules: Rules) -> "Strokes":
        """A run: asked for is what answers a target or is a grace stroke.

        Hits that are not judged are left out.
        """
        verdicts = judge(targets, hits, rules)
        rows = verdicts.hit >= 0
        expected = np.zeros(len(hits), np.bool_)
        grace, judged = expected.copy(), expected.copy()
        number = verdicts.hit[rows]
        judged[number] = True
        expected[number] = verdicts.target[rows] >= 0
        expected[number] &= verdicts.verdict[rows] != VERDICTS.index(Verdict.WRONG_DRUM)
        grace[number] = verdicts.grace[rows]
        judged_hits = Hits(hits.time_s[judged], hits.voice[judged], hits.velocity[judged])
        return cls(judged_hits, _louder_is_meant(judged_hits, expected[judged], grace[judged]))


@dataclass(frozen=True, kw_only=True)
class Pad:
    """What was played on one pad: ``strokes`` that were asked for, the velocity of the
    ``softest`` of them, and ``fastest_ms``, the shortest time from one of the player's own
    strokes to the next that is not louder (infinite where there are none to compare). Of more
    than a hundred, the hundredth is taken and not the very least.
    """

    voice: str
    strokes: int
    softest: float
    fastest_ms: float


@dataclass(frozen=True, kw_only=True)
class FalseTriggers:
    """Hits of the pad ``voice`` that nobody played, arrays (k,): a point each in a picture of
    delay and level.

    ``strokes`` is how many strokes there were on the pad that made them; ``delay_ms`` after the
    stroke; ``change_db`` the level less that of the stroke, negative; ``velocity`` their own.
    """

    voice: str
    strokes: int
    delay_ms: Floats
    change_db: Floats
    velocity: Floats

    @property
    def share(self) -> float:
        """How many there are for each stroke."""
        return len(self.delay_ms) / self.strokes


class Doubles(FalseTriggers):
    """Double triggers: made by strokes on the pad itself."""


@dataclass(frozen=True, kw_only=True)
class Crosstalk(FalseTriggers):
    """Crosstalk: made by strokes on another pad, ``source``. A delay may be negative: some
    modules send the pad that was not struck first.
    """

    source: str


@dataclass(frozen=True)
class Findings:
    """What was found, each in staff order."""

    pads: tuple[Pad, ...]
    doubles: tuple[Doubles, ...]
    crosstalk: tuple[Crosstalk, ...]


@dataclass(frozen=True)
class Proposal:
    """A guard for the pad of ``voice``, and why, for the player to take or leave.

    The guard has a mask time or threshold of 0 where none may be proposed; ``words`` then say
    what to change on the module.
    """

    voice: str
    guard: Guard
    words: str


def find(playing: Iterable[Strokes]) -> Findings:
    """The double triggers and crosstalk in everything that was played."""
    rows = _Rows.joined([_Rows.of(strokes) for strokes in playing])
    return Findings(_pads(rows), _doubles(rows), _crosstalk(rows))


def proposals(findings: Findings) -> tuple[Proposal, ...]:
    """What would keep them out, for each pad that has any, in staff order."""
    pads = {pad.voice: pad for pad in findings.pads}
    doubles = {found.voice: found for found in findings.doubles}
    found = []
    for code in np.unique(_PADS).tolist():
        voice = VOICES[code].name
        talk = [item for item in findings.crosstalk if item.voice == voice]
        mask_ms, threshold, words = 0.0, 0.0, []
        if voice in doubles:
            mask_ms, said = _mask(doubles[voice], pads[voice])
            words.append(said)
        if talk:
            threshold, said = _threshold(talk, pads.get(voice))
            words.append(said)
        if words:
            found.append(Proposal(voice, Guard(mask_ms, threshold), " ".join(words)))
    return tuple(found)


@dataclass(frozen=True, kw_only=True)
class _Rows:
    """All hits, row by row, and what each was taken for; arrays (n,).

    ``pad`` as in ``_PADS``. ``source`` is the pad of the stroke that made a hit which nobody
    played: for a double trigger its own, for crosstalk another, -1 for all other hits;
    ``delay_ms`` and ``change_db`` are against that stroke. ``gap_ms`` is the time since the
    player's own stroke before on the same pad, infinite where the hit is louder than that or
    nobody played it.
    """

    pad: Ints
    velocity: Floats
    expected: Flags
    source: Ints
    delay_ms: Floats
    change_db: Floats
    gap_ms: Floats

    @classmethod
    def of(cls, strokes: Strokes) -> "_Rows":
        """The rows of one playing."""
        hits, expected = strokes.hits, strokes.expected
        pad = _PADS[hits.voice]
        cause = np.full(len(hits), -1, np.int64)
        for code in np.unique(pad).tolist():
            own = np.flatnonzero(pad == code)
            second, first = _seconds(strokes, own)
            cause[own[second]] = own[first]
        # A pad that was just struck bounces rather than hears a knock: so this comes second.
        heard = np.flatnonzero(~expected & (cause < 0))
        cause[heard] = _made_by_others(hits, pad, expected, heard=heard)
        gap_ms = np.full(len(hits), np.inf)
        for code in np.unique(pad).tolist():
            own = np.flatnonzero((pad == code) & (cause < 0))
            not_louder = np.flatnonzero(np.diff(hits.velocity[own]) <= 0.0)
            gap_ms[own[not_louder + 1]] = np.diff(hits.time_s[own])[not_louder] * 1000.0
        level = level_db(hits.velocity)
        return cls(
            pad=pad,
            velocity=hits.velocity,
            expected=expected,
            source=np.where(cause < 0, -1, pad[cause]) if len(hits) else cause,
            delay_ms=(hits.time_s - hits.time_s[cause]) * 1000.0,
            change_db=level - level[cause],
            gap_ms=gap_ms,
        )

    @classmethod
    def joined(cls, parts: "list[_Rows]") -> "_Rows":
        """The rows of all parts."""
        none = Hits.of(())
        whole = [cls.of(Strokes(none, np.zeros(0, np.bool_))), *parts]
        return cls(
            **{
                column.name: np.concatenate([getattr(part, column.name) for part in whole])
                for column in fields(cls)
            }
        )


def _made_by_others(hits: Hits, pad: Ints, expected: Flags, *, heard: Ints) -> Ints:
    """(m,) for each row of ``heard`` the stroke on another pad that made it, -1 for none.

    Where strokes on several pads may have made it, it is laid to the pad whose strokes, by their
    number, are most often followed so: the others only happened to be struck with it.
    """
    level = level_db(hits.velocity)
    ends_s = hits.time_s[heard, None] + np.array([-1.0, 1.0]) * CROSSTALK_MS / 1000.0
    makers: list[Ints] = []
    times: Counter[tuple[int, int]] = Counter()
    for row, (start, end) in zip(heard, np.searchsorted(hits.time_s, ends_s), strict=True):
        near = np.arange(start, end)
        loud = level[near] >= level[row] + CROSSTALK_DB
        makers.append(near[expected[near] & (pad[near] != pad[row]) & loud])
        times.update((source, int(pad[row])) for source in set(pad[makers[-1]].tolist()))
    strokes = np.bincount(pad[expected], minlength=1)
    made = np.full(len(heard), -1, np.int64)
    for place, (row, rows) in enumerate(zip(heard, makers, strict=True)):
        if len(rows):
            share = [times[int(pad[r]), int(pad[row])] / strokes[pad[r]] for r in rows]
            made[place] = rows[np.lexsort((level[rows], share))[-1]]
    return made


def _seconds(strokes: Strokes, own: Ints | Flags) -> tuple[Ints, Ints]:
    """Of the rows ``own``, all hits of one pad, those that are double triggers, and the strokes
    that made them; both count within ``own``.
    """
    time_s, velocity = strokes.hits.time_s[own], strokes.hits.velocity[own]
    expected, count = strokes.expected[own], len(time_s)
    first = np.maximum.accumulate(np.where(expected, np.arange(count), -1))
    follows = ~expected & (first >= 0)
    follows &= (time_s - time_s[first]) * 1000.0 <= DOUBLE_MS
    follows &= level_db(velocity) <= level_db(velocity[first]) - DOUBLE_DB
    # A buzz goes on and on: every hit so close to the one before belongs to the same chain.
    chain = np.cumsum(np.diff(time_s, prepend=time_s[:1]) * 1000.0 > DOUBLE_MS)
    expected_in, others_in = (
        np.bincount(chain[part], minlength=count + 1) for part in (expected, ~expected)
    )
    buzz = others_in > MOST_DOUBLES * expected_in
    # The grace strokes of a drag lead to a louder stroke, the loudest of all that hang together.
    group = np.cumsum(np.diff(time_s, prepend=time_s[:1]) * 1000.0 > _LEADS_MS)
    loudest = np.zeros(count + 1, np.int64)
    by_level = np.argsort(velocity, kind="stable")
    loudest[group[by_level]] = by_level
    leads = strokes.singly & (np.arange(count) < loudest[group])
    second = np.flatnonzero(follows & ~buzz[chain] & ~leads)
    return second, first[second]


def _louder_is_meant(hits: Hits, expected: Flags, grace: Flags) -> Flags:
    """``expected`` where, of an extra hit and a softer one beside it that answers a target, the
    louder is taken for the stroke: the nearest to the target may well be the double trigger.
    But a grace stroke is softer than what it leads to."""
    meant = expected.copy()
    pad = _PADS[hits.voice]
    for code in np.unique(pad).tolist():
        own = np.flatnonzero(pad == code)
        close = np.diff(hits.time_s[own]) * 1000.0 <= DOUBLE_MS
        for place in np.flatnonzero(close).tolist():
            pair = own[place : place + 2]
            soft, loud = pair[np.argsort(hits.velocity[pair], kind="stable")]
            if meant[soft] and not meant[loud] and not (grace[soft] and soft < loud):
                meant[soft], meant[loud] = False, True
    return meant


def _pads(rows: _Rows) -> tuple[Pad, ...]:
    found = []
    for code in np.unique(rows.pad[rows.expected]).tolist():
        own = rows.pad == code
        softest = float(np.quantile(rows.velocity[own & rows.expected], RARE, method="lower"))
        fastest_ms = float(np.quantile(rows.gap_ms[own], RARE, method="lower"))
        found.append(
            Pad(
                voice=VOICES[code].name,
                strokes=_count(rows, code),
                softest=softest,
                fastest_ms=fastest_ms,
            )
        )
    return tuple(found)


def _doubles(rows: _Rows) -> tuple[Doubles, ...]:
    seen = (_seen(rows, code, code) for code in np.unique(rows.pad).tolist())
    return tuple(Doubles(**figures) for figures in seen if figures)


def _crosstalk(rows: _Rows) -> tuple[Crosstalk, ...]:
    heard = (rows.source >= 0) & (rows.source != rows.pad)
    pairs = sorted(set(zip(rows.source[heard].tolist(), rows.pad[heard].tolist(), strict=True)))
    seen = ((source, _seen(rows, source, code)) for source, code in pairs)
    return tuple(
        Crosstalk(**figures, source=VOICES[source].name) for source, figures in seen if figures
    )


def _seen(rows: _Rows, source: int, code: int) -> dict[str, Any]:
    """What strokes on the pad ``source`` make the pad ``code`` send; nothing where it is rare."""
    own = (rows.pad == code) & (rows.source == source)
    strokes = _count(rows, source)
    if own.sum() < max(OFTEN, RARE * strokes):
        return {}
    return {
        "voice": VOICES[code].name,
        "strokes": strokes,
        "delay_ms": rows.delay_ms[own],
        "change_db": rows.change_db[own],
        "velocity": rows.velocity[own],
    }


def _count(rows: _Rows, pad: int) -> int:
    return int(np.sum(rows.expected & (rows.pad == pad)))


def _label(voice: str) -> str:
    return VOICES[STAFF_ORDER[voice]].label


def _mask(doubles: Doubles, pad: Pad) -> tuple[float, str]:
    """The mask time in milliseconds that keeps the double triggers out, 0 where none may."""
    first_ms = float(np.quantile(doubles.delay_ms, RARE, method="lower"))
    last_ms = float(np.quantile(doubles.delay_ms, 1.0 - RARE, method="higher"))
    said = (
        f"{len(doubles.delay_ms)} of {doubles.strokes} strokes on the {_label(doubles.voice)} "
        f"sounded twice, {_span(first_ms, last_ms)} ms later and "
        f"{-float(np.median(doubles.change_db)):.0f} dB softer."
    )
    bound_ms = min(MOST_MASK_MS, _FAST_SHARE * pad.fastest_ms)
    mask_ms = float(floor(min(last_ms + _MASK_MARGIN_MS, bound_ms)))
    if mask_ms > last_ms:
        return mask_ms, f"{said} A mask time of {mask_ms:.0f} ms keeps the second ones out."
    return 0.0, (
        f"{said} A mask time as long as that would swallow fast strokes too. On the module, raise "
        "the retrigger or scan time of this pad, and see that its head or mesh is tight."
    )


def _threshold(talk: list[Crosstalk], pad: Pad | None) -> tuple[float, str]:
    """The velocity that keeps the crosstalk out, 0 where none may."""
    voice = _label(talk[0].voice)
    said = " ".join(
        f"{len(item.delay_ms)} of {item.strokes} strokes on the {_label(item.source)} sounded the "
        f"{voice} too, {-float(np.median(item.change_db)):.0f} dB softer."
        for item in talk
    )
    if pad is None:
        return 0.0, f"{said} Strike the {voice} as well, softly too, to see what can be kept out."
    heard = np.concatenate([item.velocity for item in talk])
    loudest = float(np.quantile(heard, 1.0 - RARE, method="higher"))
    wished = ceil(_THRESHOLD_MARGIN * loudest + 1.0)
    threshold = float(min(wished, floor(SOFT_SHARE * pad.softest)))
    if threshold > loudest:
        return threshold, f"{said} A threshold of {threshold:.0f} keeps them out."
    return 0.0, (
        f"{said} That is as loud as your soft strokes, so no threshold can part them. On the "
        f"module, raise the crosstalk cancellation of the {voice}, and mount its pad so that no "
        "knock gets through the rack."
    )


def _span(low: float, high: float) -> str:
    return f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
