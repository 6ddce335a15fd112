"""The bar that waits: a pattern's bar with the stroke that was off, for the first page."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from playalong.app.home.remembered import LastRun, Weak
from playalong.grading.grade import PlaceGrade
from playalong.grading.loudness import level_db
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Bar, Dynamic, Pattern
from playalong.pattern.voices import STAFF_ORDER
from playalong.screen.home_pages.first import GoingOn
from playalong.screen.pages.ready import unplayed

#: So many rows are shown on the first page, those with the most strokes.
ROWS = 3

#: How far above a ghost note one that is too loud is drawn where no figure says it, in dB.
_LOUDER_DB = 12.0


def going_on(last: LastRun) -> GoingOn:
    """What the first page shows of the last run."""
    weak, pattern = last.weak, last.pattern
    number = _bar(weak, pattern)
    bar = pattern.bars[number]
    words = weak.text if weak else "Nothing is waiting: play it again, or a little faster."
    return GoingOn(
        title=f"Go on: {pattern.title}",
        words=words,
        bars=[bar],
        voices=shown_voices(bar, weak.voice if weak else None),
        places=_bar_grades(last, bar, number) or _places(bar, weak, number),
    )


def beginning(pattern: Pattern) -> GoingOn:
    """What the first page shows where nothing has been played yet."""
    return GoingOn(
        title=f"Begin: {pattern.title}",
        words=pattern.about,
        bars=pattern.bars[:1],
        voices=shown_voices(pattern.bars[0]),
        places=_places(pattern.bars[0], None, 0),
    )


def shown_voices(bar: Bar, always: str | None = None) -> tuple[str, ...]:
    """The voices of a bar with the most strokes, and ``always`` that one, in staff order."""
    counted = Counter(stroke.voice for stroke in bar.strokes)
    most = [voice for voice, _ in counted.most_common()]
    if always in most:
        most.remove(always)
        most.insert(0, always)
    return tuple(sorted(most[:ROWS], key=STAFF_ORDER.__getitem__))


def _bar_grades(last: LastRun, bar: Bar, number: int) -> Sequence[PlaceGrade]:
    """The grades of the bar's strokes, where the run was of the bar as written."""
    grades = [replace(place, bar=0) for place in last.places if place.bar == number]
    written = [(bar.meter.count(stroke.at), stroke.voice) for stroke in bar.strokes]
    return grades if [(place.count, place.voice) for place in grades] == written else ()


def _bar(weak: Weak | None, pattern: Pattern) -> int:
    """The pattern's bar that is shown, 0 is the first."""
    return (weak.places[0][0] - 1) % len(pattern.bars) if weak and weak.places else 0


def _places(bar: Bar, weak: Weak | None, number: int) -> Sequence[PlaceGrade]:
    counts = set()
    if weak is not None:
        counts = {count for at, count in weak.places if at - 1 == number}
    found = []
    for place, stroke in enumerate(bar.strokes):
        grade = unplayed(0, place, bar)
        is_off = bar.meter.count(stroke.at) in counts and weak is not None
        if is_off and weak is not None and weak.voice in (None, stroke.voice):
            grade = _off(grade, weak)
        found.append(grade)
    return found


def _off(place: PlaceGrade, weak: Weak) -> PlaceGrade:
    """The stroke that was off, as far off as the finding says."""
    grade = replace(place, targets=max(1, weak.of), clean=max(0, weak.of - weak.n))
    middle = level_db(_middle(place.voice, place.dynamic))
    if weak.unit == "ms" and weak.value is not None:
        return replace(grade, mean_ms=weak.value, mean_db=middle)
    if "loud" in weak.code:
        louder = weak.value if weak.unit == "dB" and weak.value else _LOUDER_DB
        level = min(0.0, middle + abs(louder))
        return replace(grade, too_loud=max(1, weak.n), mean_ms=0.0, mean_db=level)
    return replace(grade, missed=max(1, weak.n))


def _middle(voice: str, dynamic: Dynamic) -> float:
    band = Rules().bands.of(voice, dynamic)
    return (band.low + band.high) / 2
