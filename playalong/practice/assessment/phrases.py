"""What is said of an assessment: short, and exact. All its sentences stand here."""

from collections.abc import Mapping

from playalong.grading.grade import Code
from playalong.practice.assessment.machine import Interruption, Loss, Sitting, State
from playalong.practice.assessment.measures import MEASURES
from playalong.practice.assessment.model import Assessment, Counts, Item, Requirement
from playalong.support.text import counted

#: What was found, by its code, as a teacher names it in a list.
FOUND: Mapping[Code, str] = {
    Code.CLEAN: "nothing to mend",
    Code.NOTHING_PLAYED: "nothing played",
    Code.OTHER_PATTERN: "another pattern",
    Code.ALL_EARLY: "all of it early",
    Code.ALL_LATE: "all of it late",
    Code.FASTER: "faster than asked",
    Code.SLOWER: "slower than asked",
    Code.SPEEDING_UP: "speeding up",
    Code.SLOWING_DOWN: "slowing down",
    Code.WANDERING: "a tempo that wanders",
    Code.STOPPED: "stopped on the way",
    Code.HESITATED: "hesitated",
    Code.LOST_PLACE: "lost the place",
    Code.HALF_TEMPO: "half the tempo",
    Code.DOUBLE_TEMPO: "twice the tempo",
    Code.LIMB_EARLY: "one limb early",
    Code.LIMB_LATE: "one limb late",
    Code.STROKE_EARLY: "a stroke that comes early",
    Code.STROKE_LATE: "a stroke that comes late",
    Code.UNEVEN_TIME: "uneven in time",
    Code.PLAYED_STRAIGHT: "straight in place of swung",
    Code.PLAYED_SWUNG: "swung in place of straight",
    Code.MISSED_STROKE: "a stroke left out",
    Code.MISSED_VOICE: "a drum left out",
    Code.EXTRA: "strokes too many",
    Code.DOUBLE_TRIGGER: "a pad that triggers twice",
    Code.WRONG_DRUM: "strokes on another drum",
    Code.NOT_OPEN: "hi-hat not open",
    Code.NOT_CLOSED: "hi-hat not closed",
    Code.GHOST_LOUD: "ghost notes too loud",
    Code.GHOST_SOFT: "ghost notes too soft",
    Code.ACCENT_FLAT: "accents that do not stand out",
    Code.STROKE_LOUD: "a stroke too loud",
    Code.STROKE_SOFT: "a stroke too soft",
    Code.UNEVEN_LOUDNESS: "uneven in loudness",
    Code.GHOST_LOUD_OVER_KICK: "ghost notes too loud over the kick",
    Code.KICK_SOFT_UNDER_GHOST: "a kick too soft under ghost notes",
    Code.FLAM_FLAT: "flams too flat",
    Code.FLAM_WIDE: "flams too wide",
    Code.GRACE_LOUD: "grace notes too loud",
    Code.GRACE_MISSING: "grace notes left out",
    Code.ROLL_SHORT: "rolls that end too soon",
    Code.ROLL_LONG: "rolls that go on too long",
    Code.ROLL_BROKEN: "rolls with gaps",
    Code.ROLL_UNEVEN: "uneven rolls",
    Code.DRAG_OPEN: "drags too open",
    Code.DRAG_MISSING: "drags left out",
    Code.UNISON_APART: "unisons that fall apart",
}


def finding(code: str) -> str:
    """What was found, by the code that a grade has; a code of another version as it is written."""
    known = {one.value: words for one, words in FOUND.items()}
    return known.get(code, code.replace("_", " "))


def overview(assessment: Assessment) -> str:
    """What it is, in one line: "3 items in 15 minutes, after 3 minutes to warm up"."""
    items = counted(len(assessment.items), "item")
    if assessment.is_homework:
        return f"homework, {items} in {counted(assessment.days, 'day')}"
    line = f"{items} in {minutes(assessment.total_s)}"
    if assessment.warm_up_s:
        line += f", after {minutes(assessment.warm_up_s)} to warm up"
    return line


def minutes(seconds: float) -> str:
    """A length as it is said: "12 minutes", "1 1/2 minutes"."""
    whole, rest = divmod(round(seconds), 60)
    if not rest:
        return counted(whole, "minute")
    return f"{seconds / 60.0:.1f} minutes" if whole else counted(rest, "second")


def clock(seconds: float) -> str:
    """Time that is left: "11:40"."""
    whole = max(0, int(seconds))
    return f"{whole // 60}:{whole % 60:02}"


def how(assessment: Assessment, item: Item) -> str:
    """How an item is played: "8 bars at 84 bpm, 2 attempts, the best counts"."""
    parts = [f"{counted(item.bars, 'bar')} at {item.tempo_bpm:g} bpm"]
    if item.recording:
        parts = [f"{counted(item.bars, 'bar')} along with {item.recording}"]
    parts += item.variations
    if item.gap is not None:
        sounding, silent, _ = item.gap
        parts.append(f"{counted(sounding, 'bar')} with the click and {silent} without")
    elif item.click.value != "beats":
        parts.append("no click" if item.click.value == "none" else f"click on {item.click.value}")
    if item.sight_s is not None:
        parts.append(f"at sight, after {counted(round(item.sight_s), 'second')} with the sheet")
    if assessment.is_homework:
        parts.append("as many runs as you like, the best counts")
        return ", ".join(parts)
    if item.rehearsals:
        parts.append(f"{counted(item.rehearsals, 'rehearsal')} first")
    tries = counted(item.attempts, "attempt")
    words = {Counts.BEST: "the best counts", Counts.LAST: "the last counts"}
    which = words.get(item.counts, "their mean counts")
    parts.append(f"{tries}, {which}" if item.attempts > 1 else tries)
    return ", ".join(parts)


def requirements(assessment: Assessment, item: Item) -> list[str]:
    """What is asked of an item, a line each: "score: at least 75 points"."""
    lines = [limits(one) for one in item.requirements]
    lines += [f"without: {FOUND[code]}" for code in item.without]
    if item.by_eye:
        lines.append(f"your teacher looks at {', '.join(item.by_eye)}")
    return lines


def limits(one: Requirement) -> str:
    """What is asked of one figure: "spread: at most 30 ms", "score: good 80, pass 65 points"."""
    measure = MEASURES[one.measure]
    if len(one.limits) == 1:
        return f"{measure.label}: {measure.limit(one.limits[0].value)}"
    marks = ", ".join(f"{limit.name} {limit.value:g}" for limit in one.limits)
    return f"{measure.label}: {marks} {measure.unit}".rstrip()


#: What a page says in each state, large; what is agreed is told in a table below.
STANDS = {
    State.AGREEING: "This is what counts. When it is right, go on.",
    State.WARMING_UP: "Warm up: loosen wrists and ankles, start quiet. Nothing counts yet.",
    State.PAUSED: "The clock stands. Breathe out, and go on when you are ready.",
    State.STOPPED: "The time stands still. Check cable and kit, and go on when you are ready.",
    State.CLOSED: "That is all. Thank you for playing.",
}

#: In place of the sheet, before it is shown.
COVERED = "This one is at sight: the sheet is shown, then it is counted in."

#: Before a sitting is ended early.
SURE = "End here? What you have played counts; what is left stays open."

#: With a sheet at sight.
LOOKING = "Look it through: it starts when the time is over."


def which_run(sitting: Sitting) -> str:
    """The run that is next: "attempt 2 of 3", "rehearsal 1 of 1, does not count"."""
    item = sitting.current_item
    if sitting.assessment.is_homework:
        return f"run {sitting.attempts + 1} today"
    if sitting.is_rehearsal:
        return f"rehearsal {sitting.rehearsals + 1} of {item.rehearsals}, does not count"
    return f"attempt {sitting.attempts + 1} of {item.attempts}"


def which_item(sitting: Sitting) -> str:
    """The item that is on: "item 2 of 4"."""
    return f"item {sitting.item + 1} of {len(sitting.assessment.items)}"


def left(sitting: Sitting) -> str:
    """The time that is left, empty for homework."""
    if sitting.assessment.is_homework:
        return ""
    if sitting.state is State.WARMING_UP:
        return f"{clock(sitting.warm_up_s)} to warm up"
    if sitting.state is State.LOOKING:
        return f"{clock(sitting.look_s)} to look"
    return f"{clock(sitting.left_s)} left"


def lost(one: Interruption) -> str:
    """What an interruption was, for the result: "item 2, the kit was lost while playing"."""
    what = "the kit was lost" if one.loss is Loss.KIT else "the program ended"
    return f"item {one.item + 1}: {what} while {one.state.value}, with {clock(one.left_s)} left"
