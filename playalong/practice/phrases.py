"""What is said along the plan: a teacher's words, short and exact."""

from collections.abc import Mapping

from playalong.practice.plan import Kind, Step

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

FINISHED = "That was the last step: the whole pattern is learned."
NOTHING = "There is nothing to play in this pattern."
FIRST = "This is the first step."
EASIEST = "It cannot be made easier: listen to it, or go back a step."
AFRESH = "Let us take it afresh: shake out your hands, listen to it once, then play."
UNSTEADY = "Clean, but the tempo does not hold: count aloud and stay with the click."
REST = (
    "You have played for {minutes:.0f} minutes: take a break. Loosen your wrists, rest your ears, "
    "and stop for today if anything hurts or rings."
)
LEFT_OUT = "Left out: {steps}. They are there when you want them."


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


def in_a_row(done: int, asked: int) -> str:
    """How far a row of clean repetitions has come."""
    return f"Clean, {done} of {asked} in a row."


def learned(step: Step, repeated: bool) -> str:
    """A step is done, for the first time or again."""
    return f"Clean. {'It still holds' if repeated else 'Learned'}: {subject(step)}."


def again(failures: int) -> str:
    """Nothing changes yet."""
    return "Again." if failures == 1 else "Again, from the count."


def easier(failures: int, why: str) -> str:
    """Something is made easier, and why."""
    return f"{failures} times it was not clean. {why}" if failures else why


def back_up(name: str, tempo_bpm: float) -> str:
    """What was made easier holds."""
    return f"That holds. Back to {name} at {tempo_bpm:g} bpm."


def faster(tempo_bpm: float, goal_bpm: float, tries: int) -> str:
    """The next tempo, and why so much or so little."""
    told = "at once" if tries == 1 else f"after {tries} tries"
    goal = ", the goal" if tempo_bpm == goal_bpm else ""
    return f"Clean {told}: on to {tempo_bpm:g} bpm{goal}."


def resumed(repeats: int) -> str:
    """What is repeated on another day."""
    steps = "one step" if repeats == 1 else f"{repeats} steps"
    return f"First a short repeat of {steps} that took help last time, then on where you stopped."


def subject(step: Step) -> str:
    """A step as the subject of a sentence."""
    return (
        f'"{step.variation}" in {step.name}'
        if step.variation
        else _SUBJECT.get(step.kind, "{name}").format(name=step.name, goal=step.goal_bpm)
    )


_SUBJECT: Mapping[Kind, str] = {
    Kind.GHOST: "the ghost note over the kick in {name}",
    Kind.LOOP: "{name} without a rest",
    Kind.CLIMB: "{name} at {goal:g} bpm",
    Kind.CALLED: "the called variations",
    Kind.FREE: "the variations, played freely",
}


def capital(text: str) -> str:
    """The text with a capital in front."""
    return text[:1].upper() + text[1:]
