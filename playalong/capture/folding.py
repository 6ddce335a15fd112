"""Bars that come again: how long the pattern is, which strokes are of it, what varies.

A pattern of one to eight bars is the one that tells all that was played in the fewest words:
each stroke of the pattern costs ``STROKE``, a bar like another of it little, and what a played bar
has otherwise costs more than in the pattern, stroke by stroke as chance (``CHANCE``) or, where much
is otherwise, as a bar of its own (``OTHERWISE`` and ``EACH``).

Of the rounds through the pattern a stroke that comes in most is of it, in some is optional, and
seldom is a stray. A bar that is otherwise on purpose is a variation.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import log

#: A stroke: where it stands in the bar, and its voice by number.
Key = tuple[Fraction, int]
#: What was played in one bar: the numbers of the strokes at each place.
Bar = Mapping[Key, Sequence[int]]

STROKE, SAME_BAR, UNLIKE_BAR = 4.0, 1.5, 4.0
CHANCE, OTHERWISE, EACH = 6.0, 8.0, 3.0

#: Of so few bars each is played with care: what is otherwise there is more seldom chance, and bars
#: that are unlike cost less; the last of them least, where grooves turn round (common practice).
FEW_BARS, CHANCE_OF_FEW, UNLIKE_OF_FEW, TURNED = 4, 7.5, 3.0, 1.0

#: One bar before the last that is as all others are but for one stroke that it lacks is seldom
#: written: likelier that stroke was missed twice.
LACKING = 3.0

#: In a pattern of more bars than ``LONG``, which most likely came once, what is otherwise in a bar
#: may be chance as well, if it is little.
LONG, OTHER_BAR, OTHER_EACH = 4, 12.0, 2.0

#: Bars that are all unlike are told by the places that any of them has, and by which of these each
#: has: one of two, in nats.
CHOSEN = log(2.0)

#: The lengths that a pattern may have, in bars, and what those cost that are seldom (common
#: practice).
LENGTHS = {1: 0.0, 2: 0.0, 3: 8.0, 4: 0.0, 6: 16.0, 8: 12.0}

#: From which share of the rounds on a stroke is of the pattern; and optional, of few rounds and of
#: many, which show it better.
MOST, SOME, HALF = 0.75, 0.34, 0.45
_MANY_ROUNDS = 8

#: As near a stroke of its voice may lie to a place of the pattern that has none, in beats of a
#: quarter (whole notes: a quarter of that), and be meant for it.
_NEAR = Fraction(1, 20)


@dataclass(frozen=True, kw_only=True)
class Seen:
    """A stroke of the pattern: in how many of how many rounds it came, the strokes that were it."""

    bar: int
    at: Fraction
    voice: int
    came: int
    rounds: int
    played: tuple[int, ...]

    @property
    def optional(self) -> bool:
        """Whether it comes in some rounds only."""
        return self.rounds > 2 and self.came < MOST * self.rounds


@dataclass(frozen=True, kw_only=True)
class Otherwise:
    """A bar that was played otherwise on purpose: the bar of the pattern, the bars played, what is
    added and what is left out."""

    bar: int
    bars: tuple[int, ...]
    added: tuple[tuple[Key, tuple[int, ...]], ...]
    taken: tuple[Key, ...]


@dataclass(frozen=True, kw_only=True)
class Folded:
    """``bars`` the length; the strokes; the variations; the played bars that are understood, and
    the numbers of all strokes played that are of the pattern or of its variations."""

    bars: int
    strokes: tuple[Seen, ...]
    variations: tuple[Otherwise, ...]
    understood: tuple[int, ...]
    members: frozenset[int]


def folded(
    bars: Sequence[Bar],
    *,
    length: int | None = None,
    kinds: Mapping[int, int] | None = None,
    rolled: Collection[int] = (),
) -> Folded:
    """The pattern in the bars played; ``length`` where it is told.

    ``kinds`` gives strokes by number a kind of loudness, where their voice has several; ``rolled``
    are the numbers of those that begin rolls.
    """
    kinds = kinds or {}
    lengths = [length] if length else [n for n in LENGTHS if _may_be(bars, n)]
    best = min(lengths, key=lambda n: LENGTHS.get(n, 0.0) + _cost(bars, n, kinds))
    return _fold(bars, best, rolled)


def _may_be(bars: Sequence[Bar], n: int) -> bool:
    """Whether so much was played that a pattern may have ``n`` bars: each, where few patterns have
    so many."""
    return n <= len(bars) and (LENGTHS[n] == 0.0 or all(bars[:n]))


def _template(bars: Sequence[Bar], n: int) -> list[dict[Key, int]]:
    """Of each bar of the pattern, in how many rounds each place was struck, if in most."""
    found = []
    voices = Counter(key[1] for bar in bars for key in bar)
    for residue in range(n):
        own = bars[residue::n]
        came = Counter(key for bar in own for key in bar)
        least = 1 if len(own) <= 2 else len(own) / 2.0
        common = {key: many for key, many in came.items() if many >= least}
        if len(own) == 2:  # once of twice: of a voice that has more to play
            common = {k: m for k, m in common.items() if m == 2 or voices[k[1]] >= 3}
        found.append(common)
    return found


def _kind(bar: Bar, key: Key, kinds: Mapping[int, int]) -> int | None:
    return next((kinds[one] for one in bar.get(key, ()) if one in kinds), None)


def _unlike(
    bar: Bar,
    template: Mapping[Key, int],
    common: Mapping[Key, int | None],
    *,
    kinds: Mapping[int, int],
) -> float:
    """How many strokes are otherwise; one of another loudness counts half."""
    otherwise = float(len(set(bar) ^ set(template)))
    for key in set(bar) & set(template):
        own = _kind(bar, key, kinds)
        otherwise += 0.5 * (own is not None and common.get(key) is not None and own != common[key])
    return otherwise


def _cost(bars: Sequence[Bar], n: int, kinds: Mapping[int, int]) -> float:
    """What the bars cost, told by a pattern of ``n`` bars."""
    few = len(bars) <= FEW_BARS
    chance = CHANCE_OF_FEW if few else CHANCE
    templates = _template(bars, n)
    common: list[dict[Key, int | None]] = []
    for residue, template in enumerate(templates):
        of: dict[Key, int | None] = {}
        for key in template:
            found = Counter(_kind(bar, key, kinds) for bar in bars[residue::n] if key in bar)
            of[key] = found.most_common(1)[0][0] if found else None
        common.append(of)
    total = STROKE * len(templates[0])
    lacking = None if few else _lacking(common)
    if lacking is not None:
        total += LACKING + STROKE * (lacking == 0)
    for residue in range(1, n):
        like = min(_between(common[residue], common[other]) for other in range(residue))
        unlike = UNLIKE_BAR
        if few:
            unlike = TURNED if residue == FEW_BARS - 1 else UNLIKE_OF_FEW
        again = SAME_BAR if like == 0 else unlike + EACH * like
        if like and n > LONG:
            again = min(unlike + CHANCE * like, OTHER_BAR + OTHER_EACH * like)
        total += min(STROKE * len(templates[residue]), again)
    places = len({key for template in templates for key in template})
    total = min(total, (STROKE + n * CHOSEN) * places)
    for number, bar in enumerate(bars):
        away = _unlike(bar, templates[number % n], common[number % n], kinds=kinds)
        total += min(chance * away, OTHERWISE + EACH * away)
    return total


def _lacking(bars: Sequence[Collection[Key]]) -> int | None:
    """The bar that lacks one stroke of all others, which are alike; None where there is none before
    the last."""
    usual = set(bars[-1])
    others = [number for number, bar in enumerate(bars) if set(bar) != usual]
    if len(bars) < 3 or len(others) != 1:
        return None
    own = set(bars[others[0]])
    return others[0] if len(usual - own) == len(usual ^ own) == 1 else None


def _between(one: Mapping[Key, int | None], other: Mapping[Key, int | None]) -> float:
    unlike = float(len(set(one) ^ set(other)))
    both = set(one) & set(other)
    return unlike + 0.5 * sum(
        one[key] is not None and other[key] is not None and one[key] != other[key] for key in both
    )


def _fold(bars: Sequence[Bar], n: int, rolled: Collection[int]) -> Folded:
    templates = _template(bars, n)
    moved = [_snapped(bar, templates[number % n]) for number, bar in enumerate(bars)]
    rolls = _other_rolls(moved, n, rolled)
    purposes = [
        _on_purpose(bar, templates[number % n], rolls[number]) for number, bar in enumerate(moved)
    ]
    strokes: list[Seen] = []
    for residue in range(n):
        rounds = list(range(residue, len(bars), n))
        plain = [number for number in rounds if not purposes[number]] or rounds
        came: dict[Key, list[int]] = defaultdict(list)
        for number in plain:
            for key in moved[number]:
                came[key].append(number)
        for key, there in came.items():
            share = len(there) / len(plain)
            least = SOME if len(plain) < _MANY_ROUNDS else HALF
            belongs = key in templates[residue] if len(plain) <= 2 else share >= least
            if belongs:
                played = tuple(one for number in there for one in moved[number][key])
                strokes.append(
                    Seen(
                        bar=residue,
                        at=key[0],
                        voice=key[1],
                        came=len(there),
                        rounds=len(plain),
                        played=played,
                    )
                )
    strokes.sort(key=lambda one: (one.bar, one.at, one.voice))
    sets = [{(one.at, one.voice) for one in strokes if one.bar == residue} for residue in range(n)]
    required = [
        {(one.at, one.voice) for one in strokes if one.bar == residue and not one.optional}
        for residue in range(n)
    ]
    variations = _variations(moved, purposes, sets, required=required, rolls=rolls)
    varied = {number for one in variations for number in one.bars}
    understood = tuple(
        number
        for number, bar in enumerate(moved)
        if number in varied or _is_understood(bar, sets[number % n], required[number % n])
    )
    added = (played for one in variations for _, played in one.added)
    own = (
        played
        for number, bar in enumerate(moved)
        for key, played in bar.items()
        if key in sets[number % n]
    )
    return Folded(
        bars=n,
        strokes=tuple(strokes),
        variations=variations,
        understood=understood,
        members=frozenset(row for played in (*own, *added) for row in played),
    )


#: A bar is understood if so much of what was played is of the pattern, and of the pattern played.
_UNDERSTOOD = 0.72

#: A variation keeps so much of its bar: another bar altogether is none.
_SHARED = 0.4

#: The most variations that are written.
_MOST_VARIATIONS = 6


def _is_understood(bar: Bar, strokes: set[Key], required: set[Key]) -> bool:
    if not bar:
        return False
    of_it = sum(key in strokes for key in bar)
    played = sum(key in bar for key in required)
    return of_it >= _UNDERSTOOD * len(bar) and played >= _UNDERSTOOD * len(required)


#: A roll where there is else none is otherwise by so many strokes besides.
_ROLL = 2


def _other_rolls(bars: Sequence[Bar], n: int, rolled: Collection[int]) -> list[set[Key]]:
    """Of each bar the places that are rolled where the most of their rounds have one stroke, or the
    other way round."""
    own = [{key for key, played in bar.items() if set(played) & set(rolled)} for bar in bars]
    found = []
    for number, bar in enumerate(bars):
        rounds = range(number % n, len(bars), n)
        found.append(
            {
                key
                for key in bar
                if 2 * sum((key in own[one]) != (key in own[number]) for one in rounds)
                > sum(key in bars[one] for one in rounds)
            }
        )
    return found


def _on_purpose(bar: Bar, template: Mapping[Key, int], rolls: Collection[Key]) -> bool:
    unlike = len(set(bar) ^ set(template)) + _ROLL * len(rolls)
    return CHANCE * unlike > OTHERWISE + EACH * unlike


def _variations(
    bars: Sequence[Bar],
    purposes: Sequence[bool],
    sets: Sequence[set[Key]],
    *,
    required: Sequence[set[Key]],
    rolls: Sequence[set[Key]],
) -> tuple[Otherwise, ...]:
    """What the bars played otherwise change; those that do the same together, the commonest first.

    Of what is otherwise once only, the first few; of bars that keep too little, none.
    """
    groups: dict[tuple[int, frozenset[Key], frozenset[Key]], list[int]] = {}
    n = len(sets)
    for number, bar in enumerate(bars):
        if not purposes[number] or not bar:
            continue
        own = set(bar)
        residue = number % n
        added = (own - sets[residue]) | rolls[number]
        taken = required[residue] - own
        if len(own & sets[residue]) < _SHARED * len(own) or len(added) + len(taken) < 2:
            continue
        groups.setdefault((residue, frozenset(added), frozenset(taken)), []).append(number)
    found = []
    for (residue, more, less), numbers in groups.items():
        found.append(
            Otherwise(
                bar=residue,
                bars=tuple(numbers),
                added=tuple(
                    (key, tuple(one for number in numbers for one in bars[number][key]))
                    for key in sorted(more)
                ),
                taken=tuple(sorted(less)),
            )
        )
    found.sort(key=lambda one: (-len(one.bars), one.bars))
    return tuple(found[:_MOST_VARIATIONS])


def _snapped(bar: Bar, template: Mapping[Key, int]) -> dict[Key, list[int]]:
    """A bar with strokes just beside a place of the pattern that was not struck moved there."""
    found: dict[Key, list[int]] = {}
    for key, played in bar.items():
        at, voice = key
        if key not in template:
            near = [
                other
                for other in template
                if other[1] == voice and other not in bar and abs(other[0] - at) <= _NEAR
            ]
            if near:
                key = min(near, key=lambda other: abs(other[0] - at))
        found.setdefault(key, []).extend(played)
    return found
