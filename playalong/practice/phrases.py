"""What is said along the plan: a teacher's words, short and exact.

The lesson answers with codes and figures (``Said``); every sentence stands here, so that they can
be read as a whole, checked, and some day be in another language.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from playalong.pattern.voices import BY_NAME
from playalong.practice.excerpts import listed
from playalong.practice.plan import Kind, Step
from playalong.practice.variations.texture import Texture
from playalong.support.text import counted

#: With fewer wrong ones than this it is nearly there.
PASSED_OVER = 3


class Code(StrEnum):
    """What may be said, and in brackets the figures that go with it."""

    INTRO = "intro"  # (step)
    FAULTS = "faults"  # (lack, count, of)
    ADVICE = "advice"  # (text), the sentence of a grade's first finding
    CLEAN = "clean"
    RIGHT_SO_FAR = "right so far"  # (done, asked)
    TRY_WHOLE = "try whole"  # (step)
    CHUNK_BY_CHUNK = "chunk by chunk"
    LEARNED = "learned"  # (step, repeated)
    AGAIN = "again"
    FROM_THE_COUNT = "from the count"
    NEXT_ONE = "next one"
    AFRESH = "afresh"
    UNSTEADY = "unsteady"
    NOT_CLEAN = "not clean"  # (times, of, lack)
    NOTHING_ARRIVES = "nothing arrives"
    LOOK_AT_THE_KIT = "look at the kit"
    LISTENING_ON = "listening on"  # (port)
    NO_KNOWN_PAD = "no known pad"
    KIT_GONE = "kit gone"
    KIT_BACK = "kit back"
    STRIKE_TO_BEGIN = "strike to begin"
    NEVER_PLAYED = "never played"  # (names)
    LEAVE_IT = "leave it"  # (minutes)
    LATER = "later"
    SO_FAR_TODAY = "so far today"  # (step, tempo_bpm)
    TOMORROW = "tomorrow"  # (steps)
    WIDER = "wider"
    ONCE_MORE = "once more"  # (tempo_bpm)
    SLOWER = "slower"  # (tempo_bpm)
    SMALLER = "smaller"  # (name), a chunk
    SMALLER_WHERE_FAULTS_ARE = "smaller, where most faults are"  # (name)
    ONE_LIMB = "one limb"  # (limb)
    GUIDED = "guided"
    BACK_UP = "back up"  # (name, tempo_bpm)
    FASTER = "faster"  # (tempo_bpm, at_once)
    GOAL = "goal"  # (tempo_bpm, at_once)
    SKIPPED = "skipped"
    FIRST = "first"
    EASIEST = "easiest"
    FINISHED = "finished"
    OFFER_GOAL = "offer goal"  # (step)
    OFFER_VARIATION = "offer variation"  # (step)
    OFFER_PATTERN = "offer pattern"  # (title, shared, trains, part of its difficulty)
    CHANGED = "changed"
    LOOSE_TOGETHER = "loose together"  # (of, lack)
    NOTHING = "nothing"
    STEPS_LEFT_OUT = "steps left out"  # (steps)
    MANY_LEFT_OUT = "many left out"  # (count)
    REST = "rest"  # (minutes)
    ONE_REPEAT = "one repeat"
    REPEATS = "repeats"  # (count)
    UNREADABLE = "unreadable"
    NO_LONGER_FITS = "no longer fits"  # (names)
    GHOST_OVER_KICK = "ghost over kick"  # (voice, count)
    KICK_UNDER_GHOST = "kick under ghost"  # (voice, count)
    BOTH_HELD = "both held"


@dataclass(frozen=True)
class Said:
    """One thing that is said: its code, and its figures by name."""

    code: Code
    figures: Mapping[str, Any] = field(default_factory=dict)


def said(code: Code, **figures: Any) -> Said:
    """The code with its figures."""
    return Said(code, figures)


#: The sentence of each code; braces take its figures.
_SENTENCES: Mapping[Code, str] = {
    Code.ADVICE: "{text}",
    Code.CLEAN: "Clean.",
    Code.RIGHT_SO_FAR: "Right: {done} of {asked}.",
    Code.CHUNK_BY_CHUNK: "Then in smaller parts.",
    Code.AGAIN: "Again.",
    Code.FROM_THE_COUNT: "Again, from the count.",
    Code.NEXT_ONE: "Again.",
    Code.AFRESH: ("Let us take it afresh: shake out your hands, listen to it once, then play."),
    Code.UNSTEADY: "Clean, but the tempo does not hold: count aloud and stay with the click.",
    Code.NOTHING_ARRIVES: "No stroke arrives from the kit.",
    Code.LOOK_AT_THE_KIT: "Strike a pad: is the module on, the cable in, the right port chosen?",
    Code.LISTENING_ON: 'Listening on "{port}".',
    Code.KIT_GONE: (
        "When it is back, strike any pad, and this is counted in again. Every stroke so far is "
        "kept."
    ),
    Code.KIT_BACK: "The kit is back.",
    Code.STRIKE_TO_BEGIN: "Strike any pad, and it is counted in.",
    Code.ONCE_MORE: "Once more at {tempo_bpm:g} bpm, then on.",
    Code.NO_KNOWN_PAD: "Something arrives, but no known pad: set the kit up with playalong kit.",
    Code.LATER: "Left for today.",
    Code.LEAVE_IT: (
        "{minutes:.0f} minutes at this step: leave it for today? It comes back tomorrow."
    ),
    Code.WIDER: "Judged less strictly for now: the strokes are there, the time will follow.",
    Code.SLOWER: "Slower, at {tempo_bpm:g} bpm, so that there is time for every stroke.",
    Code.SMALLER: "A smaller chunk: {name} alone.",
    Code.SMALLER_WHERE_FAULTS_ARE: "A smaller chunk: {name} alone, where most faults are.",
    Code.ONE_LIMB: "The {limb} alone, where most faults are; the rest is played for you.",
    Code.GUIDED: "It is played with you: listen, and fall in with it.",
    Code.BACK_UP: "That holds. Back to {name} at {tempo_bpm:g} bpm.",
    Code.SKIPPED: "Left out.",
    Code.FIRST: "This is the first step.",
    Code.EASIEST: "It cannot be made easier: listen to it, or go back a step.",
    Code.CHANGED: "The pattern was changed since last time: what is the same in it is kept.",
    Code.FINISHED: "That was the last step: the whole pattern is learned.",
    Code.NOTHING: "There is nothing to play in this pattern.",
    Code.MANY_LEFT_OUT: "Left out: {count} steps. They are there when you want them.",
    Code.REST: (
        "You have played for {minutes:.0f} minutes: take a break. Loosen your wrists, rest your "
        "ears, and stop for today if anything hurts or rings."
    ),
    Code.ONE_REPEAT: (
        "First a short repeat of one step that was not sure yet, then on where you stopped."
    ),
    Code.REPEATS: (
        "First a short repeat of {count} steps that were not sure yet, then on where you stopped."
    ),
    Code.UNREADABLE: "What was kept of this lesson cannot be read; it starts anew.",
    Code.BOTH_HELD: "The ghost note stayed soft and the kick strong.",
}

#: What each kind of step plays. ``name`` is its parts as spoken, ``times`` how often in one go.
_INTRO: Mapping[Kind, str] = {
    Kind.LEARN: "{Name}, alone; then a bar of rest.",
    Kind.JOIN: "Joined: {name}, then a bar of rest.",
    Kind.BAR: "{Name}, then a bar of rest.",
    Kind.GHOST: (
        "Ghost note over the kick, in {name}: these two alone, "
        "the ghost note soft and the kick strong."
    ),
    Kind.LOOP: "{Name}, {times} without a rest.",
    Kind.CLIMB: "{Name} up to tempo, {times} without a rest, on the way to {goal:g} bpm.",
    Kind.ALONE: 'The variation "{variation}": {name}, alone; then a bar of rest.',
    Kind.IN_BAR: 'The variation "{variation}" in {name}, then a bar of rest.',
    Kind.IN_TURN: '{Name} without "{variation}" and with it, in turn, on the way to {goal:g} bpm.',
    Kind.CALLED: "Called variations: each is named one bar ahead.",
    Kind.FREE: "Play the variations freely; afterwards you hear which they were.",
}


def intro(step: Step) -> str:
    """What a step plays, and what should be known of it."""
    rounds = step.times * len(step.rounds)
    words = _INTRO[step.kind].format(
        name=step.name,
        Name=capital(step.name),
        variation=step.variation,
        goal=step.goal_bpm,
        times="once" if rounds == 1 else f"{rounds} times",
    )
    return f"{step.note} {words}" if step.note else words


def subject(step: Step) -> str:
    """A step as the subject of a sentence."""
    words = _SUBJECT_VARIED if step.variation else _SUBJECT
    return words.get(step.kind, words[Kind.LEARN]).format(
        name=step.name, goal=step.goal_bpm, variation=step.variation
    )


_SUBJECT_VARIED: Mapping[Kind, str] = {
    Kind.LEARN: '"{variation}" in {name}',
    Kind.GHOST: '"{variation}", its ghost note over the kick in {name}',
    Kind.IN_TURN: 'with and without "{variation}" at {goal:g} bpm',
}


_SUBJECT: Mapping[Kind, str] = {
    Kind.LEARN: "{name}",
    Kind.JOIN: "{name} joined",
    Kind.BAR: "{name} with a rest",
    Kind.GHOST: "the ghost note over the kick in {name}",
    Kind.LOOP: "{name} without a rest",
    Kind.CLIMB: "{name} at {goal:g} bpm",
    Kind.CALLED: "the called variations",
    Kind.FREE: "the variations, played freely",
}


#: How a step stands, by its state; nothing of one that is open, nor of one that is learned, which
#: its last repetitions say.
STANDS: Mapping[str, str] = {
    "open": "",
    "learned": "",
    "passed by": "passed by",
    "skipped": "left out",
    "left for today": "tomorrow",
}


def capital(text: str) -> str:
    """The text with a capital in front."""
    return text[:1].upper() + text[1:]


def text(*things: Said) -> str:
    """All of it in sentences, one after the other, none of them twice; "" for nothing."""
    return " ".join(dict.fromkeys(_text(thing) for thing in things))


def _text(thing: Said) -> str:
    code, figures = thing.code, thing.figures
    if code is Code.INTRO:
        return intro(figures["step"])
    if code is Code.LEARNED:
        done = "It still holds" if figures["repeated"] else "Learned"
        return f"Clean. {done}: {subject(figures['step'])}."
    if code is Code.TRY_WHOLE:
        return f"Listen, then try {subject(figures['step'])} at once."
    if code in (Code.FASTER, Code.GOAL):
        how = "Clean at once: on" if figures["at_once"] else "On"
        goal = ", the goal" if code is Code.GOAL else ""
        return f"{how} to {figures['tempo_bpm']:g} bpm{goal}."
    if code is Code.FAULTS:
        return _FAULTS[figures["lack"]].format(**figures)
    if code is Code.NOT_CLEAN:
        return _not_clean(figures["times"], figures["of"], figures["lack"])
    if code is Code.LOOSE_TOGETHER:
        return f"Right. Over the last {figures['of']} together {_LACKS[figures['lack']]}."
    if code is Code.OFFER_GOAL:
        step = figures["step"]
        return f"{capital(step.name)} at {step.goal_bpm:g} bpm, the goal."
    if code is Code.OFFER_VARIATION:
        return f"Another variation: {subject(figures['step'])}."
    if code is Code.OFFER_PATTERN:
        return f"The next pattern: {figures['title']}. {_trains(figures)}"
    if code is Code.NEVER_PLAYED:
        return f"Not played yet: {_quoted(figures['names'])}."
    if code is Code.SO_FAR_TODAY:
        tempo = f"{figures['tempo_bpm']:g} bpm"
        return f"Clean. At {tempo} for today: {subject(figures['step'])}."
    if code is Code.TOMORROW:
        steps = listed([subject(step) for step in figures["steps"]])
        return f"That is all for today. Tomorrow it goes on with {steps}."
    if code is Code.STEPS_LEFT_OUT:
        steps = listed([subject(step) for step in figures["steps"]])
        return f"Left out: {steps}. They are there when you want them."
    if code is Code.NO_LONGER_FITS:
        return f"This no longer fits the pattern and starts anew: {listed(figures['names'])}."
    if code in (Code.GHOST_OVER_KICK, Code.KICK_UNDER_GHOST):
        label, count = BY_NAME[figures["voice"]].label, figures["count"]
        where = f"on {count}" if count.isdigit() else f"on the {count}"
        if code is Code.GHOST_OVER_KICK:
            return f"The ghost note of the {label} {where} is too loud over the kick."
        return f"The kick {where} is too soft under the ghost note of the {label}."
    return _SENTENCES[code].format(**figures)


#: What is said of one repetition of which no single cause stands out.
_FAULTS: Mapping[str | None, str] = {
    "played": "{count} of {of} strokes were missing, or too many.",
    "timing": "{count} of {of} strokes were early or late.",
    "loudness": "{count} of {of} strokes were not as loud as written.",
}


#: What is said of repetitions that lack something.
_LACKS: Mapping[str | None, str] = {
    "played": "strokes are missing, or there are too many",
    "timing": "the time is too loose",
    "loudness": "soft and loud are not apart yet",
    "limb": "one limb lies away from the beat",
    "steady": "the tempo does not hold",
    None: "it does not hold yet",
}


#: What a pattern trains, by the part of its difficulty.
_TRAINS: Mapping[str, str] = {
    "density": "It trains many strokes close together.",
    "limbs": "It trains limbs that strike together in turn.",
    "syncopation": "It trains strokes off the beat.",
    "dynamics": "It trains soft strokes beside loud ones.",
    "tempo": "It trains quick strokes of one limb.",
}


def _trains(figures: Mapping[str, Any]) -> str:
    """What a pattern trains, beginning with what it shares with the one before."""
    if figures["shared"]:
        return f"It goes on with {listed(figures['shared'])}."
    return (
        f"It trains {listed(figures['trains'])}." if figures["trains"] else _TRAINS[figures["part"]]
    )


def _not_clean(times: int, of: int, lack: str | None) -> str:
    why = _LACKS[lack]
    if times < PASSED_OVER and of < PASSED_OVER:
        return f"Not clean yet: {why}."
    if times < PASSED_OVER:
        return f"Nearly: over {of} repetitions {why}."
    return f"{times} of {of} were not clean: {why}."


def texture_lines(texture: Texture) -> list[str]:
    """The texture of a freely played run in sentences."""
    lines = [
        f'"{name}" in {_bars(len(bars))}{_spread(texture.spread_ms[name])}.'
        for name, bars in texture.used.items()
        if bars
    ]
    if texture.plain:
        plain = f"{_bars(len(texture.plain))}{_spread(texture.plain_spread_ms)}"
        lines.append(f"The plain groove in {plain}.")
    if texture.never:
        lines.append(f"Never: {_quoted(texture.never)}.")
    if texture.other:
        where = listed([str(bar + 1) for bar in texture.other])
        lines.append(f"None of them: bar{'s' * (len(texture.other) > 1)} {where}.")
    if texture.looser:
        lines.append(f"The groove gets looser under {_quoted(texture.looser)}.")
    return lines


def texture_next(texture: Texture) -> str:
    """What to do next, after a freely played run, in one sentence."""
    if texture.never:
        return f"Next time play {_quoted(texture.never[:2])} as well."
    if texture.other:
        return f"Come back to the groove sooner: bar {texture.other[0] + 1} was none of them."
    if texture.looser:
        first = _quoted(texture.looser[:1])
        return f"Play {first} on its own first: the groove gets looser under it."
    return "All of them were there: now let them come where the music asks for them."


def _quoted(names: Iterable[str]) -> str:
    return listed([f'"{name}"' for name in names])


def _bars(count: int) -> str:
    return counted(count, "bar")


def _spread(spread_ms: float | None) -> str:
    return "" if spread_ms is None else f", the groove {spread_ms:.0f} ms spread"
