"""The sentences of findings: all of them stand here.

A teacher's words: short, kind, exact. First what is heard, with its figure, then what to do. A
constant offset is ahead or behind; only a tempo that creeps rushes or drags.
"""

from playalong.grading.findings.candidate import Candidate
from playalong.grading.grade import Code, Grade, Spot
from playalong.pattern.voices import BY_NAME, Limb

#: So far from the click everything is where a latency was not measured, sooner than by playing.
_A_LATENCY_MS = 20.0

#: Further than any latency leads: a click over radio comes up to 0.3 s late (common practice).
_NO_LATENCY_MS = 350.0

#: Ghost notes that lie further under the others in the middle are told apart, most of them, in dB.
_APART_DB = 12.0

#: Nobody mistakes a drum for another so often who plays the rest.
_NEARLY_ALL = 0.9

#: Voices that a foot plays.
_FEET = (Limb.KICK_FOOT, Limb.HAT_FOOT)


def sentence(found: Candidate) -> str:
    """What a teacher says of it."""
    words = _SAY[found.code](found)
    return words[0].upper() + words[1:]


def leads_to_latency(grade: Grade) -> bool:
    """Whether the advice on a run is to measure the latency."""
    first = grade.findings[0]
    everything = first.code in (Code.ALL_EARLY, Code.ALL_LATE)
    return everything and _A_LATENCY_MS <= abs(first.value or 0.0) < _NO_LATENCY_MS


def _voice(found: Candidate) -> str:
    return BY_NAME[found.voice or "snare"].label


def _by_foot(found: Candidate) -> bool:
    return found.voice is not None and BY_NAME[found.voice].limb in _FEET


def _ms(found: Candidate) -> str:
    return f"{abs(found.value or 0.0):.0f} ms"


def _db(found: Candidate) -> str:
    return f"{max(abs(found.value or 0.0), 1.0):.0f} dB"


def _at(spot: Spot) -> str:
    """ "on the e of 3", "on 2", "5/8 into beat 4"."""
    if " into " in spot.count:
        return spot.count
    return f"on {spot.count}" if spot.count.isdigit() else f"on the {spot.count}"


def _where(found: Candidate) -> str:
    """Where it shows, "" for everywhere: "on the e of 3", "on 2 and on 4 of bar 2"."""
    places = found.places
    if not places or len(places) > 3:
        return ""
    counts = [_at(spot) for spot in places]
    if found.bars == 1:
        return _and(counts)
    if len({spot.bar for spot in places}) == 1:
        return f"{_and(counts)} of bar {places[0].bar}"
    return _and([f"{at} of bar {spot.bar}" for at, spot in zip(counts, places, strict=True)])


def _and(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _often(found: Candidate) -> str:
    """ ", 7 of 8 times"; nothing of a single stroke."""
    if found.of <= 1:
        return ""
    return ", every time" if found.n >= found.of else f", {found.n} of {found.of} times"


def _stroke(found: Candidate, kind: str = "") -> str:
    """ "the kick on the a of 2", "the ghost note on the e of 3"."""
    voice = _voice(found)
    name = {"ghost": "ghost note", "accent": "accent"}.get(kind, voice)
    if kind and found.voice != "snare":
        name = f"{name} of the {voice}"
    where = _where(found)
    return f"the {name} {where}" if where else f"the {name}"


def _clean(found: Candidate) -> str:
    if found.value is None:
        return "nothing stands out. Play a little more, and then try it faster."
    if found.n < found.of:
        gone = found.of - found.n
        missed = "one stroke was" if gone == 1 else f"{gone} strokes were"
        return (
            f"nothing comes back often enough to be a habit: {missed} missed, the others spread by "
            f"{found.value:.0f} ms. Play it once more, and longer."
        )
    return f"clean: {found.value:.0f} ms spread, and nothing stands out. Try it a little faster."


def _nothing(_: Candidate) -> str:
    return "nothing was heard that answers the pattern: listen to the count-in, and start on the 1."


def _other(found: Candidate) -> str:
    return (
        f"this is another pattern: only {found.n} of {found.of} strokes are where they are "
        "written. Is it the right one?"
    )


def _all(found: Candidate) -> str:
    late = (found.value or 0.0) > 0
    side = "behind" if late else "ahead of"
    if abs(found.value or 0.0) >= _NO_LATENCY_MS:
        return (
            f"everything is {abs(found.value or 0.0) / 1000.0:.1f} s {side} the click, evenly: you "
            f"came in {'late' if late else 'early'}. Listen to the count-in, and start on the 1."
        )
    if abs(found.value or 0.0) >= _A_LATENCY_MS:
        return (
            f"everything is {_ms(found)} {side} the click, evenly: measure the latency, "
            f"playalong kit does it. If that is done, play it all a little "
            f"{'sooner' if late else 'later'}."
        )
    then = "a little sooner" if late else "a little later"
    return f"everything is {_ms(found)} {side} the click, evenly: play it all {then}."


def _tempo(found: Candidate) -> str:
    percent = abs(found.value or 0.0)
    faster = (found.value or 0.0) > 0
    figure = f"{percent:.1f} %" if percent < 9.95 else f"{percent:.0f} %"
    return (
        f"you play {figure} {'faster' if faster else 'slower'} than the click, from the start: "
        "listen to it between your strokes."
    )


def _creeping(found: Candidate) -> str:
    up = (found.value or 0.0) > 0
    return (
        f"you {'rush' if up else 'drag'}: the tempo creeps {'up' if up else 'down'} by "
        f"{abs(found.value or 0.0):.1f} %. Count aloud, and let the click carry you."
    )


def _wandering(found: Candidate) -> str:
    return (
        f"the time wanders ahead and behind by {_ms(found)}, for bars at a time: "
        "count aloud and come back to the click on every 1."
    )


def _stopped(found: Candidate) -> str:
    bar = found.places[0].bar if found.places else 1
    where = (
        f"in bar {bar}" if found.places and found.places[0].count != "1" else f"after bar {bar - 1}"
    )
    return f"nothing more is heard {where}: play it slower, and to the end."


def _hesitated(found: Candidate) -> str:
    where = f" in bar {found.places[0].bar}" if found.places else ""
    return (
        f"you stop for {abs(found.value or 0.0):.1f} s{where}, and go on late: "
        "when it slips, jump back in with the click."
    )


def _lost(found: Candidate) -> str:
    where = f" in bar {found.places[0].bar}" if found.places else ""
    late = (found.value or 0.0) > 0
    return (
        f"you lose your place{where}, and stay {abs(found.value or 0.0):.2f} s "
        f"{'behind' if late else 'ahead'}: count aloud through that bar."
    )


def _half(found: Candidate) -> str:
    tempo = f"{found.value or 0.0:.0f} bpm"
    return f"you play at half the tempo, about {tempo}: two clicks are one of your beats."


def _double(found: Candidate) -> str:
    tempo = f"{found.value or 0.0:.0f} bpm"
    return f"you play at twice the tempo, about {tempo}: one click is two of your beats."


def _limb(found: Candidate) -> str:
    late = (found.value or 0.0) > 0
    side = "behind" if late else "ahead of"
    then = "let it start a little sooner" if late else "let it wait for them"
    return f"the {found.limb} is {_ms(found)} {side} the others: {then}."


def _stroke_time(found: Candidate) -> str:
    late = (found.value or 0.0) > 0
    then = "prepare it sooner" if late else "wait for it"
    side = "later" if late else "earlier"
    return (
        f"{_stroke(found)} comes {_ms(found)} {side} than the strokes around it{_often(found)}: "
        f"{then}."
    )


def _uneven_time(found: Candidate) -> str:
    return (
        f"your strokes fall unevenly, {_ms(found)} around the beat: "
        "slower, and every stroke with the count."
    )


def _swing(found: Candidate) -> str:
    played = found.value or 50.0
    if found.code is Code.PLAYED_STRAIGHT:
        return (
            f"the swing comes out too straight, {played:.0f} %: let the short note wait, "
            "long-short, long-short."
        )
    return (
        f"it is written straight, and you swing it, {played:.0f} %: "
        "even eighths, one like the other."
    )


def _missed_stroke(found: Candidate) -> str:
    return f"{_stroke(found)} is not heard{_often(found)}: play that beat slowly, alone."


def _missed_voice(found: Candidate) -> str:
    voice = _voice(found)
    if found.n >= found.of:
        return (
            f"the {voice} is not heard at all: if its pad sounds when you strike it, play it "
            "alone, then add the others one by one."
        )
    if found.n >= 0.8 * found.of:
        return (
            f"the {voice} is hardly heard, {found.n} of {found.of} strokes are missing: play it "
            "alone, then add the others one by one."
        )
    return f"the {voice} loses {found.n} of {found.of} strokes: slower, until none is missing."


def _extra(found: Candidate) -> str:
    where = _where(found)
    most = f", most of them {where}" if where else ""
    return (
        f"{found.n} strokes too many on the {_voice(found)}{most}: leave out what is not written."
    )


def _double_trigger(found: Candidate) -> str:
    return (
        f"the {_voice(found)} pad sounds twice at {found.n} of {found.of} strokes. That is the "
        "pad, not you: playalong kit shows how to set it."
    )


def _wrong_drum(found: Candidate) -> str:
    if found.voice is None:
        return (
            f"{found.n} strokes land on another drum, now here and now there: "
            "slower, and look where the next stroke goes."
        )
    if not found.places and found.n >= _NEARLY_ALL * found.of:
        return (
            f"{found.n} of {found.of} strokes of the {_voice(found)} are on another drum. If that "
            f"is your {_voice(found)}, tell which pad it is: playalong kit does it."
        )
    if not found.places:
        return (
            f"{found.n} of {found.of} strokes of the {_voice(found)} land on another drum: "
            "slower, and look where the next stroke goes."
        )
    return f"{_stroke(found)} lands on another drum{_often(found)}: play that beat slowly, alone."


def _not_open(found: Candidate) -> str:
    where = _where(found) or "where it should open"
    return f"the hi-hat stays closed {where}{_often(found)}: lift the foot with the stroke."


def _not_closed(found: Candidate) -> str:
    return f"the hi-hat is open where it should be closed{_often(found)}: press the foot down."


def _ghost_loud(found: Candidate) -> str:
    if not found.places:
        over = f"{_db(found)} under" if (found.value or 0.0) < -1.0 else "as loud as"
        which = "ghost notes" if found.voice == "snare" else f"ghost notes of the {_voice(found)}"
        if (found.value or 0.0) < -_APART_DB:
            return f"some {which} are as loud as the other strokes: {_softly(found, 's')}"
        return (
            f"the {which} are {over} the other strokes, too near to tell them apart: "
            f"{_softly(found, 's')}"
        )
    return f"{_stroke(found, 'ghost')} is too loud{_often(found)}: {_softly(found)}"


def _softly(found: Candidate, many: str = "") -> str:
    if _by_foot(found):
        return "lighter with the foot there."
    return "let the stick start lower for them." if many else "let that stick start lower."


def _ghost_soft(found: Candidate) -> str:
    return (
        f"{found.n} of {found.of} ghost notes do not arrive: not played, or too soft for the pad. "
        "A little more of the stick."
    )


def _accent_flat(found: Candidate) -> str:
    voice = _voice(found)
    if (found.value or 0.0) < -1.0:
        return (
            f"the accents of the {voice} are softer than its other strokes: accents high, taps low."
        )
    return f"the accents of the {voice} hardly stand out, {_db(found)}: accents high, taps low."


def _stroke_loud(found: Candidate) -> str:
    then = "lighter with the foot there" if _by_foot(found) else "a tap there, from low"
    return f"{_stroke(found)} comes out as an accent{_often(found)}: {then}."


def _stroke_soft(found: Candidate) -> str:
    then = "more of the foot there" if _by_foot(found) else "a full stroke there"
    return f"{_stroke(found)} is too soft{_often(found)}: {then}."


def _uneven_loudness(found: Candidate) -> str:
    then = "the same way of the foot" if _by_foot(found) else "the same height of the stick"
    return (
        f"the {_voice(found)} is uneven in loudness, {_db(found)} around its middle: "
        f"{then} each time."
    )


def _over_kick(found: Candidate) -> str:
    return (
        f"the ghost notes get {_db(found)} louder where the kick falls with them: "
        "the foot strong, the stick low."
    )


def _under_ghost(found: Candidate) -> str:
    return (
        f"the kick goes {_db(found)} softer where a ghost note falls with it: "
        "keep the foot strong, the stick low."
    )


def _flam_flat(found: Candidate) -> str:
    return (
        f"the flams are flat, {_ms(found)}: let the soft stick fall first, and open them a little."
    )


def _flam_wide(found: Candidate) -> str:
    return f"the flams are wide, {_ms(found)}: bring the two sticks closer together."


def _grace_loud(found: Candidate) -> str:
    return (
        "the grace strokes of the flams are as loud as the main strokes: "
        "let the first stick start low."
    )


def _grace_missing(found: Candidate) -> str:
    return (
        f"in {found.n} of {found.of} flams no grace stroke is heard: let the low stick fall just "
        "before the main stroke."
    )


def _drag_open(found: Candidate) -> str:
    return (
        f"the drags are open, {_ms(found)} from stroke to stroke, like measured notes: "
        "let the stick bounce, close to the main stroke."
    )


def _drag_missing(found: Candidate) -> str:
    return (
        f"in {found.n} of {found.of} drags a grace stroke is not heard: let the stick bounce twice."
    )


def _roll(found: Candidate) -> str:
    label = BY_NAME[found.voice].label if found.voice else "drum"
    of = f"{found.n} of {found.of} rolls on the {label}"
    return {
        Code.ROLL_SHORT: f"{of} end too soon: let the hands go on up to the next beat.",
        Code.ROLL_LONG: f"{of} go on too long: know where they end before you begin.",
        Code.ROLL_BROKEN: f"{of} have gaps: let each stick bounce until the next one falls.",
        Code.ROLL_UNEVEN: f"{of} are uneven: two strokes to each hand, the second as good as the "
        "first, and none squeezed in.",
    }[found.code]


def _unison_apart(found: Candidate) -> str:
    return (
        f"hand and foot do not fall together, {_ms(found)} apart now and then: "
        "play them slowly, until two strokes sound as one."
    )


_SAY = {
    Code.CLEAN: _clean,
    Code.NOTHING_PLAYED: _nothing,
    Code.OTHER_PATTERN: _other,
    Code.ALL_EARLY: _all,
    Code.ALL_LATE: _all,
    Code.FASTER: _tempo,
    Code.SLOWER: _tempo,
    Code.SPEEDING_UP: _creeping,
    Code.SLOWING_DOWN: _creeping,
    Code.WANDERING: _wandering,
    Code.STOPPED: _stopped,
    Code.HESITATED: _hesitated,
    Code.LOST_PLACE: _lost,
    Code.HALF_TEMPO: _half,
    Code.DOUBLE_TEMPO: _double,
    Code.LIMB_EARLY: _limb,
    Code.LIMB_LATE: _limb,
    Code.STROKE_EARLY: _stroke_time,
    Code.STROKE_LATE: _stroke_time,
    Code.UNEVEN_TIME: _uneven_time,
    Code.PLAYED_STRAIGHT: _swing,
    Code.PLAYED_SWUNG: _swing,
    Code.MISSED_STROKE: _missed_stroke,
    Code.MISSED_VOICE: _missed_voice,
    Code.EXTRA: _extra,
    Code.DOUBLE_TRIGGER: _double_trigger,
    Code.WRONG_DRUM: _wrong_drum,
    Code.NOT_OPEN: _not_open,
    Code.NOT_CLOSED: _not_closed,
    Code.GHOST_LOUD: _ghost_loud,
    Code.GHOST_SOFT: _ghost_soft,
    Code.ACCENT_FLAT: _accent_flat,
    Code.STROKE_LOUD: _stroke_loud,
    Code.STROKE_SOFT: _stroke_soft,
    Code.UNEVEN_LOUDNESS: _uneven_loudness,
    Code.GHOST_LOUD_OVER_KICK: _over_kick,
    Code.KICK_SOFT_UNDER_GHOST: _under_ghost,
    Code.FLAM_FLAT: _flam_flat,
    Code.FLAM_WIDE: _flam_wide,
    Code.GRACE_LOUD: _grace_loud,
    Code.GRACE_MISSING: _grace_missing,
    Code.DRAG_OPEN: _drag_open,
    Code.DRAG_MISSING: _drag_missing,
    Code.ROLL_SHORT: _roll,
    Code.ROLL_LONG: _roll,
    Code.ROLL_BROKEN: _roll,
    Code.ROLL_UNEVEN: _roll,
    Code.UNISON_APART: _unison_apart,
}
