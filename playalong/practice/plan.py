"""The plan: every step from the first chunk to free playing, computed from the pattern.

For each bar its chunks are learned, each new one joined to those before it, then the bar is
played with a rest and looped without one. Ghost notes over the kick have a step of their
own. Several bars are joined the same way. Then the whole climbs to the goal, the variations come
in one at a time, and at last they are mixed. What is the same as something learned before, or as
the step just before, is not asked again.

Tolerance and loudness are wider while something is learned and narrower at the end: how much, and
what is made easier when it does not go, stands in ``MANNERS`` and nowhere else. The figures there
are this project's own choice.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, replace
from enum import StrEnum
from fractions import Fraction
from zlib import crc32

from playalong.grading.loudness import Band, Bands
from playalong.grading.verdicts import Rules
from playalong.pattern.meter import Tempo
from playalong.pattern.model import Dynamic, Pattern, Practice
from playalong.pattern.voices import BY_NAME
from playalong.practice.excerpts import (
    LANDING,
    PLAIN,
    Names,
    Part,
    beats,
    cut,
    excerpt,
    is_empty,
    same_as,
    spoken,
    strokes_in,
    whole_bars,
)

#: Where the pattern says nothing: start at this share of its tempo, which is the goal.
START = 2 / 3

#: So many seconds of silence before the bar line are rest enough after a chunk.
SILENT_S = 2.0

_KICK = "kick"


class Kind(StrEnum):
    """The kinds of step, in the order in which they come."""

    LEARN = "learn"
    JOIN = "join"
    BAR = "bar with a rest"
    GHOST = "ghost note over the kick"
    LOOP = "loop"
    CLIMB = "climb"
    ALONE = "variation alone"
    IN_BAR = "variation in the bar"
    IN_TURN = "with and without"
    CALLED = "called variations"
    FREE = "variations played freely"


class Easing(StrEnum):
    """What can be made easier."""

    SLOWER = "slower"
    SMALLER = "a smaller chunk"
    LIMB = "one limb"
    WIDER = "a wider level"
    GUIDED = "played with you"


_SLOWER, _SMALLER, _LIMB, _WIDER, _GUIDED = Easing


@dataclass(frozen=True, slots=True)
class Manner:
    """How a kind of step is held.

    ``tolerance`` times the player's own tolerance, ``wider_db`` to both sides of each loudness
    band; ``steady`` asks that the tempo holds too, once the step's goal is reached; ``easings``
    are what is made easier, one after the other, each on top of those before. The last of them
    is always possible, so there is always a way on.
    """

    tolerance: float
    wider_db: float
    _: KW_ONLY
    steady: bool
    easings: tuple[Easing, ...]


MANNERS: Mapping[Kind, Manner] = {
    Kind.LEARN: Manner(1.5, 3.0, steady=False, easings=(_SLOWER, _LIMB, _WIDER, _GUIDED)),
    Kind.JOIN: Manner(1.35, 2.0, steady=False, easings=(_SLOWER, _SMALLER, _LIMB, _WIDER, _GUIDED)),
    Kind.BAR: Manner(1.25, 1.0, steady=False, easings=(_SLOWER, _SMALLER, _LIMB, _WIDER, _GUIDED)),
    # The loudness is what this one is for.
    Kind.GHOST: Manner(1.25, 0.0, steady=False, easings=(_SLOWER, _SMALLER, _WIDER, _GUIDED)),
    Kind.LOOP: Manner(1.15, 1.0, steady=False, easings=(_SLOWER, _SMALLER, _LIMB, _WIDER, _GUIDED)),
    Kind.CLIMB: Manner(1.0, 0.0, steady=True, easings=(_SMALLER, _LIMB, _SLOWER, _WIDER, _GUIDED)),
    Kind.ALONE: Manner(1.5, 3.0, steady=False, easings=(_SLOWER, _LIMB, _WIDER, _GUIDED)),
    Kind.IN_BAR: Manner(
        1.35, 2.0, steady=False, easings=(_SLOWER, _SMALLER, _LIMB, _WIDER, _GUIDED)
    ),
    Kind.IN_TURN: Manner(
        1.15, 1.0, steady=True, easings=(_SMALLER, _LIMB, _SLOWER, _WIDER, _GUIDED)
    ),
    Kind.CALLED: Manner(1.0, 0.0, steady=False, easings=(_SLOWER, _WIDER, _SLOWER, _GUIDED)),
    Kind.FREE: Manner(1.0, 0.0, steady=True, easings=(_SLOWER, _WIDER, _SLOWER, _GUIDED)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a plan.

    ``name`` is the parts as they are spoken; ``variation`` the one that it is about, "" for none.
    One repetition is ``rounds`` (the variations in place each time through ``parts``) played
    ``times`` over, of ``voices`` only (None for all), with a bar of rest where ``with_rest``; in
    called variations ``rounds`` come in an order by chance.
    The last ``clean`` repetitions are judged together at ``tempo_bpm``, and from there up to
    ``goal_bpm``. ``landing`` is the downbeat on which a chunk ends, None where it ends in silence.
    ``note`` says what the player should be told beside it. ``key`` tells it from the other steps
    of its plan, and ``mark`` changes with what it asks; earlier versions had ``former_mark``.
    """

    kind: Kind
    name: str
    parts: tuple[Part, ...]
    tempo_bpm: float
    goal_bpm: float
    clean: int
    rounds: tuple[Names, ...] = PLAIN
    times: int = 1
    with_rest: bool = True
    voices: tuple[str, ...] | None = None
    variation: str = ""
    landing: Part | None = None
    note: str = ""
    mark: str = ""
    former_mark: str = ""

    @property
    def key(self) -> str:
        """A name for files."""
        places = (f"{part.bar + 1}:{part.start}-{part.end}" for part in self.parts)
        return " ".join([self.kind, *filter(None, [self.variation]), *places])

    @property
    def manner(self) -> Manner:
        """How it is held."""
        return MANNERS[self.kind]


def loosened(rules: Rules, manner: Manner) -> Rules:
    """The player's own rules as a step holds them."""
    factor = 10.0 ** (manner.wider_db / 40.0)  # the velocity curve of ``grading.loudness``

    def wider(band: Band) -> Band:
        return Band(max(1.0, band.low / factor), min(127.0, band.high * factor))

    bands = rules.bands
    return replace(
        rules,
        tolerance_ms=rules.tolerance_ms * manner.tolerance,
        bands=Bands(
            {dynamic: wider(band) for dynamic, band in bands.default.items()},
            {place: wider(band) for place, band in bands.by_voice.items()},
            bands.source,
        ),
    )


def practice_of(pattern: Pattern) -> Practice:
    """The tempi and repetitions asked: as the pattern says, or from its tempo."""
    start = max(1.0, min(pattern.tempo, round(pattern.tempo * START)))
    return pattern.practice or Practice(start_tempo=start, goal_tempo=pattern.tempo)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """Steps that are passed by when the step ``plays`` goes right at once.

    All are numbers in the plan; ``covers`` are in order, and ``plays`` is one of them.
    """

    plays: int
    covers: tuple[int, ...]


def trials(steps: Sequence[Step]) -> tuple[Trial, ...]:
    """What may be tried whole before it is cut up: the larger first.

    The whole pattern before its bars, each bar before its chunks, and each variation in turn with
    the groove before it is taken alone.
    """
    found = []
    loops = [n for n, step in enumerate(steps) if step.kind is Kind.LOOP]
    if loops and any(step.kind is Kind.BAR for step in steps[: loops[-1]]):
        # Whoever plays the whole with a rest loops it at the first tempo of the climb.
        plays = max(n for n in range(loops[-1]) if steps[n].kind is Kind.BAR)
        found.append(Trial(plays=plays, covers=tuple(range(loops[-1] + 1))))
    first = 0
    for number in loops[:-1]:
        own = [n for n in range(first, number + 1) if len({p.bar for p in steps[n].parts}) == 1]
        bar = [n for n in own if steps[n].parts[0].bar == steps[number].parts[0].bar]
        tried = next((n for n in bar if steps[n].kind is Kind.BAR), None)
        if tried is not None and len(bar) > 2:
            found.append(Trial(plays=tried, covers=tuple(n for n in bar if n < number)))
        first = number + 1
    for number, step in enumerate(steps):
        if step.kind is Kind.IN_TURN:
            own = [n for n in range(number + 1) if steps[n].variation == step.variation]
            found.append(Trial(plays=number, covers=tuple(own)))
    return tuple(found)


def plan(pattern: Pattern) -> tuple[Step, ...]:
    """All steps, in order. Where nothing is to be played there are none."""
    maker = _Maker(pattern)
    steps = [*maker.bars(), *maker.together()]
    for name in pattern.variations:
        steps += maker.variation(name)
    steps += maker.mixing()
    return tuple(_marked(pattern, step) for step in steps)


class _Maker:
    def __init__(self, pattern: Pattern) -> None:
        self.pattern = pattern
        self.practice = practice_of(pattern)
        self.whole = whole_bars(pattern)
        self.played = [bar for bar in self.whole if not is_empty(pattern, bar)]

    def step(self, kind: Kind, parts: tuple[Part, ...], note: str = "") -> Step:
        """A step at the start tempo, with a rest."""
        practice = self.practice
        name, start = spoken(self.pattern, parts), practice.start_tempo
        return Step(
            kind=kind,
            name=name,
            parts=parts,
            tempo_bpm=start,
            goal_bpm=start,
            clean=practice.clean,
            note=note,
        )

    def landed(self, step: Step) -> Step:
        """The step with the downbeat that its last part leads to, if one is struck there.

        Where what is left of the bar is rest enough, no bar of rest follows.
        """
        last = step.parts[-1]
        meter = self.pattern.bars[last.bar].meter
        landing = None
        if last.end < meter.length:
            count = meter.count(last.end)
            landing = Part(
                name=f"the {count}", bar=last.bar, start=last.end, end=last.end + LANDING
            )
        if landing is not None and is_empty(self.pattern, landing):
            landing = None
        parts = step.parts if landing is None else (*step.parts, landing)
        struck = [stroke.at for bar, stroke in strokes_in(self.pattern, parts) if bar == last.bar]
        tempo = Tempo(step.tempo_bpm, self.pattern.meter.unit)
        silent_s = tempo.seconds(meter.length - max(struck)) if struck else 0.0
        return replace(step, landing=landing, with_rest=silent_s < SILENT_S)

    def round_and_round(self, step: Step, rounds: tuple[Names, ...] = PLAIN) -> Step:
        """The step without a rest: the repetitions asked are played in one go."""
        times = -(-step.clean // len(rounds))
        return replace(step, rounds=rounds, times=times, clean=1, with_rest=False)

    def to_goal(self, step: Step) -> Step:
        """The step, and from its tempo up to the goal."""
        return replace(step, goal_bpm=self.practice.goal_tempo)

    def bars(self) -> Iterator[Step]:
        """Each bar from its chunks, and joined to the bars before it."""
        chunks = cut(self.pattern)
        known_chunks = {chunks[n]: chunks[m] for n, m in same_as(chunks, self.pattern).items()}
        known_bars = {
            self.whole[n]: self.whole[m] for n, m in same_as(self.whole, self.pattern).items()
        }
        for number, bar in enumerate(self.played):
            note = ""
            if bar in known_bars:
                note = _same(bar, known_bars[bar])
            else:
                own = [part for part in chunks if part.bar == bar.bar]
                yield from self.bar(bar, own, known_chunks)
            joined = tuple(self.played[: number + 1])
            if number > 0 and joined != self.whole:
                yield self.step(Kind.JOIN, joined, note)
        if len(self.played) > 1:
            yield self.step(Kind.BAR, self.whole, note)

    def bar(self, bar: Part, chunks: list[Part], known: Mapping[Part, Part]) -> Iterator[Step]:
        """One bar: its chunks, joined one by one, the whole with a rest, and looped."""
        everything = strokes_in(self.pattern, [bar])
        joined: tuple[Part, ...] = ()
        notes: list[str] = []
        for part in chunks:
            if is_empty(self.pattern, part):
                continue
            joined = (*joined, part)
            if part in known:
                notes.append(_same(part, known[part]))
            elif strokes_in(self.pattern, [part]) != everything:
                yield self.landed(self.step(Kind.LEARN, (part,)))
            if len(joined) > 1 and strokes_in(self.pattern, joined) != everything:
                yield self.landed(self.step(Kind.JOIN, joined, " ".join(notes)))
                notes = []
        yield self.step(Kind.BAR, (bar,), " ".join(notes))
        yield from self.ghosts(bar, ())
        if len(self.whole) > 1:
            yield self.round_and_round(self.step(Kind.LOOP, (bar,)))

    def ghosts(self, bar: Part, variations: Names, known: Names | None = None) -> Iterator[Step]:
        """The beats of a bar with ghost notes over the kick, those two voices alone.

        Left out are the places that are there with the variations ``known``.
        """
        places = _over_kick(self.pattern, bar, variations)
        if known is not None:
            places -= _over_kick(self.pattern, bar, known)
        parts = tuple(
            beat
            for beat in beats(self.pattern, bar.bar)
            if any(beat.holds(bar.bar, at) for at, _ in places)
        )
        if parts:
            voices = tuple(voice for voice in BY_NAME if voice in {_KICK, *(v for _, v in places)})
            yield replace(
                self.step(Kind.GHOST, parts),
                voices=voices,
                rounds=(variations,),
                variation=" ".join(variations),
            )

    def together(self) -> Iterator[Step]:
        """The whole pattern looped, and up to the goal."""
        if self.played:
            yield self.round_and_round(self.step(Kind.LOOP, self.whole))
            yield self.to_goal(self.round_and_round(self.step(Kind.CLIMB, self.whole)))

    def variation(self, name: str) -> Iterator[Step]:
        """One variation: what it changes alone, in the bar, and with and without it in turn."""
        changed = self.pattern.with_variations([name])
        bars = tuple(
            bar
            for bar in self.whole
            if changed[bar.bar].strokes != self.pattern.bars[bar.bar].strokes
        )
        if not bars:
            return

        def of(kind: Kind, parts: tuple[Part, ...]) -> Step:
            return replace(self.step(kind, parts), rounds=((name,),), variation=name)

        places = [part for bar in bars for part in self.changed_beats(bar, name)]
        same = same_as(places, self.pattern, (name,))
        steps = [
            of(Kind.ALONE, (part,))
            for number, part in enumerate(places)
            if number not in same and not is_empty(self.pattern, part, (name,))
        ]
        for bar in bars:
            steps += self.ghosts(bar, (name,), known=())
        steps.append(of(Kind.IN_BAR, bars))
        in_turn = replace(self.step(Kind.IN_TURN, self.whole), variation=name)
        steps.append(self.to_goal(self.round_and_round(in_turn, ((), (name,)))))
        about = self.pattern.variations[name].about
        yield replace(steps[0], note=_sentence(about))
        yield from steps[1:]

    def changed_beats(self, bar: Part, name: str) -> list[Part]:
        """The beats of a bar that a variation changes, unless it changes them all."""
        every = beats(self.pattern, bar.bar)
        parts = [
            beat
            for beat in every
            if strokes_in(self.pattern, [beat]) != strokes_in(self.pattern, [beat], (name,))
        ]
        return parts if len(parts) < len(every) else []

    def mixing(self) -> Iterator[Step]:
        """Variations called, and played freely, at the goal."""
        names = tuple((name,) for name in self.pattern.variations)
        if not names:
            return
        goal, bars = self.practice.goal_tempo, len(self.whole)
        # A time through the pattern for each variation, and one without.
        room = max(self.practice.free_bars, (len(names) + 1) * bars)
        for kind, rounds, bars_each in ((Kind.CALLED, ((), *names), 1), (Kind.FREE, PLAIN, room)):
            yield replace(
                self.step(kind, self.whole),
                tempo_bpm=goal,
                goal_bpm=goal,
                clean=1,
                rounds=rounds,
                times=-(-bars_each // (bars * len(rounds))),
                with_rest=False,
            )


def _same(part: Part, earlier: Part) -> str:
    return f"{part.name[0].upper()}{part.name[1:]} is the same as {earlier.name}: you know it."


def _sentence(text: str) -> str:
    ended = not text or text.endswith((".", "!", "?"))
    return text[:1].upper() + text[1:] + ("" if ended else ".")


def _over_kick(pattern: Pattern, bar: Part, variations: Names) -> set[tuple[Fraction, str]]:
    strokes = [stroke for _, stroke in strokes_in(pattern, [bar], variations)]
    kicks = {
        stroke.at
        for stroke in strokes
        if stroke.voice == _KICK and stroke.dynamic is not Dynamic.GHOST
    }
    return {
        (stroke.at, stroke.voice)
        for stroke in strokes
        if stroke.dynamic is Dynamic.GHOST and stroke.at in kicks and stroke.voice != _KICK
    }


def _marked(pattern: Pattern, step: Step) -> Step:
    """The step with its mark. Who plays freely is asked for every variation."""
    former = _mark(pattern, step)
    free = ((), *((name,) for name in pattern.variations))
    mark = _mark(pattern, replace(step, rounds=free)) if step.kind is Kind.FREE else former
    return replace(step, mark=mark, former_mark=former)


def _mark(pattern: Pattern, step: Step) -> str:
    """A few letters that change with what a step asks: its strokes, in their bars, and its goal."""
    part = excerpt(pattern, step.parts, step.rounds, voices=step.voices)
    lines = [f"{step.goal_bpm:g} {pattern.swing}"]
    for number, bar in enumerate(part.bars):
        lines += [
            f"{number} {s.at} {s.voice} {s.dynamic} {s.optional} {s.graces} {s.is_open} {s.hand}"
            + (f" {s.roll}" if s.roll else "")
            for s in bar.strokes
        ]
    return f"{crc32(' '.join(lines).encode()):08x}"
