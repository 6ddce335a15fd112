"""What a take is held against: the pattern as it was asked when the take was played.

A take keeps the text of its pattern. Where the pattern has changed since, the take is graded as it
was asked, since that is what was played; who has corrected a mistake in a pattern may ask for the
pattern as it is now. A take of another pattern is graded all the same, by what holds for any
pattern: somebody may have copied a pattern, or given a take another name.
"""

from dataclasses import dataclass, replace
from pathlib import PurePath

from playalong.app.grade.checks import check_variations
from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.library.catalogue import key_of
from playalong.pattern.model import Bar, Pattern
from playalong.pattern.old_brackets import read_stored
from playalong.pattern.reader import FASTEST_BPM, SLOWEST_BPM, PatternError
from playalong.practice.excerpts import Excerpt
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Take
from playalong.support.errors import UserError
from playalong.support.text import printable, quoted, sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """``pattern`` is graded with ``variations`` in place, and was cut out of ``whole``; ``said`` is
    what of the take's own words holds for it; ``notices`` what a person should know.
    """

    pattern: Pattern
    whole: Pattern
    said: TakeInfo
    notices: tuple[str, ...] = ()
    variations: tuple[str, ...] = ()

    @property
    def bars(self) -> tuple[Bar, ...]:
        """The bars of ``pattern`` as they were asked."""
        return self.pattern.with_variations(self.variations)


def expected_of(
    pattern: Pattern,
    said: TakeInfo,
    variations: tuple[str, ...] | None = None,
    *,
    current: bool = False,
) -> Expected:
    """What a take that says ``said`` is held against, when ``pattern`` is named.

    ``variations`` are put in the place of those in the take; ``current`` asks for the pattern as it
    is now. UserError where the pattern has no such variation, or no such part as the take is of.
    """
    known = _known(pattern, said, current)
    check_variations(known.whole, known.said.variations if variations is None else variations)
    part = known.said.excerpt
    if part is None or known.said.free:
        return known
    try:
        excerpt = Excerpt.from_plain(part, known.whole)
    except ValueError as error:
        raise UserError(
            f"The take is of a part of {quoted(known.whole.title)} that cannot be found. "
            f"{sentence(error)}"
        ) from None
    if variations is not None:
        excerpt = replace(excerpt, rounds=(variations,) * len(excerpt.rounds))
    return replace(known, pattern=excerpt.of(known.whole))


def own_pattern(said: TakeInfo) -> Pattern | None:
    """The pattern whose text a take keeps, None where there is none."""
    if not said.pattern_text:
        return None
    try:
        return read_stored(said.pattern_text, said.pattern)
    except PatternError:
        return None


def stored_pattern(name: str, take: Take) -> Pattern | None:
    """What ``take`` keeps of the pattern called ``name`` (or in a file of that name), if it does.

    Capitals, spaces and hyphens do not matter, as in ``Library.get``.
    """
    said = TakeInfo.from_plain(take.info)
    return own_pattern(said) if key_of(PurePath(name).stem) == key_of(said.pattern) else None


def _known(pattern: Pattern, said: TakeInfo, current: bool) -> Expected:
    if not said.pattern:
        return Expected(pattern=pattern, whole=pattern, said=said)
    same = (
        said.pattern_id == pattern_id(pattern) if said.pattern_id else said.pattern == pattern.name
    )
    if same:
        return Expected(pattern=pattern, whole=pattern, said=said)
    if said.pattern == pattern.name:
        return _changed(pattern, said, current)
    return _other(pattern, said)


def _changed(pattern: Pattern, said: TakeInfo, current: bool) -> Expected:
    was = f"{quoted(pattern.title)} has changed since this take was played"
    own = None if current else own_pattern(said)
    if own is None:
        return Expected(
            pattern=pattern,
            whole=pattern,
            said=said,
            notices=(f"{was}: it is graded as the pattern is now.",),
        )
    now = "With --current it is graded as the pattern is now."
    return Expected(
        pattern=own,
        whole=own,
        said=said,
        notices=(f"{was}: it is graded as the pattern was then. {now}",),
    )


def _other(pattern: Pattern, said: TakeInfo) -> Expected:
    chunk = said.pattern.removeprefix(f"{pattern.title}: ")
    if chunk != said.pattern and not said.pattern_id:
        notice = (
            f"The take is of a part, {printable(chunk)}, practised with an earlier version of the "
            "program, which did not keep more of it: it is graded as the whole pattern."
        )
    else:
        notice = (
            f"The take says that it is of another pattern, {quoted(said.pattern)}: here it is "
            f"held against {quoted(pattern.name)}."
        )
    kit = replace(said.of_the_kit(), tempo_bpm=_click_bpm(pattern, said))
    return Expected(pattern=pattern, whole=pattern, said=kit, notices=(notice,))


def _click_bpm(pattern: Pattern, said: TakeInfo) -> float | None:
    """The click of a take of another pattern, in beats of ``pattern``; None if it cannot be."""
    own = own_pattern(said)
    if own is None or said.tempo_bpm is None or said.along is not None:
        return None
    tempo_bpm = said.tempo_bpm * float(own.meter.unit / pattern.meter.unit)
    return tempo_bpm if SLOWEST_BPM <= tempo_bpm <= FASTEST_BPM else None
