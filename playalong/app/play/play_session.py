"""A sitting with one pattern: ready, a run, its grade, and again, as the player asks.

Nothing that was played is lost: a take that cannot be written where it should be is written
where it can be, and a run that loses its kit for good is graded up to there.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from playalong.app.grade.checks import FASTEST_BPM, SLOWEST_BPM, checked_rules
from playalong.app.grade.take_grading import Graded, Options, grade_take
from playalong.app.listen_back import Playback, listen_back
from playalong.app.memory import Memory, write_take
from playalong.app.mistakes import described, keep_mistake, mishap_lines
from playalong.app.play.loop_session import LoopSession, most_won
from playalong.app.recording.background import LeftError, work_on_page
from playalong.app.run.along import Cut
from playalong.app.run.context import RunContext, SilentPort
from playalong.app.run.frame_loop import hold
from playalong.app.run.run import Run, RunResult
from playalong.app.run.task import MOST_CLEAN, Passes, Task
from playalong.grading.findings.text import leads_to_latency
from playalong.grading.levels import Level
from playalong.grading.text import figures
from playalong.midi.port import Port
from playalong.pattern.beat_map import FASTEST_PERCENT, SLOWEST_PERCENT
from playalong.pattern.model import Pattern
from playalong.practice.excerpts import Excerpt, whole_bars
from playalong.profile.profile import Profile
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import Choice, Rows
from playalong.screen.base.widgets import (
    AGAIN,
    AGAIN_BESIDE,
    BACK,
    FASTER,
    LEAVE,
    LISTEN,
    MEASURE,
    NEXT,
    PRACTISE_BAR,
    SLOWER,
    Button,
    Buttons,
)
from playalong.screen.pages.passes import PassesPage
from playalong.screen.pages.ready import PRACTISE, READY, READY_OWN, ReadyPage
from playalong.screen.pages.result import ResultPage
from playalong.screen.sheet.recording_strip import RecordingStrip
from playalong.sound.device.output import STEP_DB
from playalong.sound.mix import Part
from playalong.sound.synth.click import Counting, Gap, Places
from playalong.support.cautions import CAUTION
from playalong.support.errors import UserError
from playalong.support.text import counted

#: How much one step slower or faster is, in beats a minute.
STEP_BPM = 4.0

#: The same with a recording, in per cent of its speed.
STEP_PERCENT = 5

#: What a buffer of 5 ms, the shortest, comes to.
SOON_MS = 14.0

#: So many bars can be chosen before a run; a command may ask for more.
_MOST_BARS = 64

AS_WRITTEN = "as written"

#: After passes: to the page on which the bars are chosen.
OTHER_BARS = Button(("b", "B"), "B", "other bars", outcome=Outcome.BACK)

#: What can be asked for after a run; and where a bar of it is weak, which is played on its own so
#: often, at this part of the tempo.
AFTER = (AGAIN, MEASURE, LISTEN, SLOWER, FASTER, NEXT, BACK, LEAVE)
AFTER_WEAK = (PRACTISE_BAR, AGAIN_BESIDE, MEASURE, LISTEN, SLOWER, FASTER, NEXT, LEAVE)
_TIMES, _EASIER = 8, 0.9

#: What is wrong in no bar of its own.
_ELSEWHERE = ("nothing_played", "other_pattern")

#: Measures the latency of the kit on a port, on pages of its own; the profile as it is then.
Measure = Callable[[RunContext, Port], Profile]

#: Chooses what a task goes along with, on pages of its own.
GoAlong = Callable[[RunContext, Task], Task]

_MEASURED = "The latency that was measured counts from the next run on."


@dataclass(frozen=True, kw_only=True)
class SavedRun:
    """What a run left: where its take is, its grade, and what went wrong on the way.

    ``is_broken_off``: the program was asked to end in the middle of it.
    """

    path: Path
    graded: Graded
    trouble: tuple[str, ...]
    is_broken_off: bool = False


class PlaySession:
    """Plays ``task`` as often as the player asks."""

    def __init__(
        self,
        task: Task,
        context: RunContext,
        port: Port,
        *,
        folder: Path,
        level_chosen: Callable[[Level], None] | None = None,
        counting_chosen: Callable[[Counting], None] | None = None,
        can_practise: bool = False,
        best: float | None = None,
        measure: Measure | None = None,
        print_sheet: Callable[[Pattern], str] | None = None,
        go_along: GoAlong | None = None,
    ) -> None:
        """Takes are kept in ``folder``. ``level_chosen`` is told of another level, and
        ``counting_chosen`` of what counts in from now on.

        With ``can_practise`` the ready page offers to learn the pattern step by step, which ends
        the sitting: ``wants_practice`` then says so. ``best`` is the player's best score so far.
        ``measure`` is offered after a run in which everything was early or late; ``go_along``
        chooses a recording. ``print_sheet`` writes the pattern's sheet and says where it is; with
        it the pattern may be changed too, which ends the sitting: ``wants_change`` then says so.
        """
        self._task, self._context, self._port, self._folder = task, context, port, folder
        self._choices = _choices(task)
        self._level_chosen, self._can_practise, self._best = level_chosen, can_practise, best
        self._counting_chosen = counting_chosen
        self._measure, self._go_along = measure, go_along
        #: The bars of the pattern that are played again and again, the first and the last.
        self._part = (0, len(task.pattern.bars) - 1)
        #: The row of the ready page that is chosen.
        self._row: str = _Row.TEMPO
        self._print_sheet, self._printed = print_sheet, ""
        self.wants_practice = self.wants_change = False
        #: The bars that were played again and again last, and what its runs left.
        self._looped: LoopSession | None = None
        self._saved: list[SavedRun] = []
        self._is_interrupted = False

    def runs(self) -> Iterator[SavedRun]:
        """What each run left."""
        context = self._context
        if context.window.offscreen:  # nobody is there to say when
            if self._task.passes is not None:
                yield from self._loop(self._task.passes.most or 1)
            else:
                yield self._run()[0]
            return
        if self._task.excerpt is None and self._ready() is Outcome.LEAVE:
            return
        while True:
            if self._task.passes is not None:
                yield from self._loop(self._task.passes.most)
                if self._again_after_passes() is Outcome.LEAVE:
                    return
                continue
            saved, ended = self._run()
            yield saved
            if ended.is_interrupted:
                return
            if ended.outcome is Outcome.LEAVE and not ended.hits:
                return
            if self._result(saved, ended) is Outcome.LEAVE:
                return

    def _run(self) -> tuple[SavedRun, RunResult]:
        ended = Run(task=self._task, context=self._context, connect=lambda _: self._port).play()
        self._context.output.clear()
        memory = self._context.memory
        return save_run(self._task, ended, self._folder, memory=memory), ended

    def _loop(self, most: int | None) -> Iterator[SavedRun]:
        """Bars again and again; what each run of it left."""
        task, memory = _part_of(self._task, self._part), self._context.memory
        if task.passes is not None:
            task = replace(task, passes=replace(task.passes, most=most))
        self._looped, self._saved = LoopSession(task, self._context, lambda *_: self._port), []
        for part, ended in self._looped.runs():
            saved = save_run(part, ended, self._folder, memory=memory)
            self._saved.append(saved)
            self._is_interrupted = ended.is_interrupted
            yield saved

    def _again_after_passes(self) -> Outcome:
        """The page of all passes, until AGAIN or LEAVE."""
        loop = self._looped
        if self._is_interrupted or loop is None or not loop.passes:
            return Outcome.LEAVE
        while True:
            page = self._passes_page(loop)
            outcome = hold(self._context, page, 0.0, until_s=None)
            played = loop.playback()
            if outcome is Outcome.LISTEN and loop.page is not None and played is not None:
                listen_back(self._context, loop.page, played)
            elif outcome in (Outcome.AGAIN, Outcome.LEAVE):
                return outcome
            elif outcome in (Outcome.SLOWER, Outcome.FASTER):
                self._set(_Row.TEMPO, 1 if outcome is Outcome.FASTER else -1)
                return Outcome.LEAVE if self._ready() is Outcome.LEAVE else Outcome.AGAIN
            elif outcome is Outcome.BACK:
                return Outcome.LEAVE if self._ready() is Outcome.LEAVE else Outcome.AGAIN

    def _passes_page(self, loop: LoopSession) -> PassesPage:
        grades = [saved.graded.grade for saved in self._saved]
        said = most_won(grades)
        paths = dict.fromkeys(str(saved.path.parent) for saved in self._saved)
        trouble = dict.fromkeys(word for saved in self._saved for word in saved.trouble)
        context = self._context
        return PassesPage(
            theme=context.theme,
            title=self._task.pattern.title,
            bars=loop.words,
            passes=loop.marks(),
            advice=said[0],
            also=said[1:],
            notices=[*trouble, f"The takes are kept in {', '.join(paths)}", CAUTION],
            level=context.level(),
            buttons=_with_pads(context, [AGAIN, LISTEN, SLOWER, FASTER, OTHER_BARS, LEAVE]),
        )

    def _ready(self) -> Outcome:
        """The page before a run, until START or LEAVE."""
        while True:
            page = self._ready_page()
            outcome = hold(self._context, page, 0.0, until_s=None)
            self._row = page.rows.choice.name
            if outcome is Outcome.PRACTISE:
                self.wants_practice = True
                return Outcome.LEAVE
            if outcome is Outcome.EDIT:
                self.wants_change = True
                return Outcome.LEAVE
            if outcome is Outcome.PRINT and self._print_sheet is not None:
                self._printed = self._sheet_notice(self._print_sheet)
                continue
            if outcome in (Outcome.START, Outcome.LEAVE):
                return outcome
            if outcome in (Outcome.LESS, Outcome.MORE):
                self._set(_Row(page.rows.choice.name), 1 if outcome is Outcome.MORE else -1)
            else:
                self._change(outcome)

    def _sheet_notice(self, print_sheet: Callable[[Pattern], str]) -> str:
        """Where the sheet is, or why there is none."""
        try:
            return print_sheet(self._task.pattern)
        except UserError as error:
            return " ".join(error.lines)

    def _result(self, saved: SavedRun, ended: RunResult) -> Outcome:
        """The page after a run, until AGAIN or LEAVE."""
        self._best = max(saved.graded.grade.score.total, self._best or 0.0)
        may_measure = self._measure is not None and leads_to_latency(saved.graded.grade)
        while True:
            offered = [
                button
                for button in (AFTER_WEAK if self._is_weak(saved) else AFTER)
                if self._may(button) and (may_measure or button is not MEASURE)
            ]
            page = result_page(self._task, saved, self._context, offered=offered, best=self._best)
            outcome = hold(self._context, page, 0.0, until_s=None)
            if outcome is Outcome.LISTEN:
                take, pads = ended.recording.take(), self._context.profile.pads
                clicks = [tick for tick in self._task.ticks() if tick.time_s >= 0.0]
                played = Playback.of(
                    take, pads, saved.graded.run, pauses=ended.pauses, clicks=clicks
                )
                listen_back(self._context, ended.page, played)
            elif outcome is Outcome.START:
                self._practise_bar(page.bar)
            elif outcome is Outcome.LATENCY and self._measure is not None:
                before = self._context.profile
                profile = self._measure(self._context, self._port)
                if profile.latency != before.latency:
                    self._context = replace(self._context, profile=profile)
                    saved = replace(saved, trouble=(*saved.trouble, _MEASURED))
                    may_measure = False
            elif outcome in (Outcome.AGAIN, Outcome.LEAVE):
                return outcome
            elif outcome in (Outcome.SLOWER, Outcome.FASTER, Outcome.NEXT, Outcome.BACK):
                self._change(outcome)
                return Outcome.LEAVE if self._ready() is Outcome.LEAVE else Outcome.AGAIN

    def _is_weak(self, saved: SavedRun) -> bool:
        """Whether what is to be worked on lies in a bar, which can be played on its own."""
        finding = next(iter(saved.graded.grade.findings), None)
        if finding is None or self._task.excerpt is not None or self._task.along is not None:
            return False
        return bool(finding.places) and finding.code not in _ELSEWHERE

    def _practise_bar(self, bar: int) -> None:
        """One bar of the pattern over and over, a little slower, as often as the player asks."""
        task = self._task
        excerpt = Excerpt(parts=(whole_bars(task.pattern)[bar],), rounds=(task.variations,))
        alone = replace(
            task,
            pattern=excerpt.of(task.pattern),
            whole=task.pattern,
            excerpt=excerpt,
            variations=(),
            bars=_TIMES,
            tempo_bpm=max(SLOWEST_BPM, round(_EASIER * task.tempo_bpm)),
            about=excerpt.parts[0].name,
            kind="bar",
        )
        session = PlaySession(alone, self._context, self._port, folder=self._folder)
        for _ in session.runs():
            pass

    def _set(self, row: "_Row", step: int) -> None:
        """One step more or less of what a row of the ready page stands for."""
        task = self._task
        if row is _Row.TEMPO:
            self._task = self._at_other_tempo(step)
        elif row is _Row.ALONG and self._go_along is not None:
            self._task = self._go_along(self._context, task)
        elif row in (_Row.FROM, _Row.TO) and task.along is None:
            self._part = _moved(self._part, row, step, bars=len(task.pattern.bars))
        elif row in (_Row.FROM, _Row.TO):
            self._task = self._at_other_bars(row, step)
        elif row is _Row.AGAIN:
            self._task = replace(task, passes=None if task.passes else Passes())
        elif row is _Row.COUNTED and task.passes is not None:
            counted = not task.passes.counted
            self._task = replace(task, passes=replace(task.passes, counted=counted))
        elif row is _Row.FASTER and task.passes is not None:
            after = (task.passes.faster_after + step) % (MOST_CLEAN + 1)
            self._task = replace(task, passes=replace(task.passes, faster_after=after))
        elif row is _Row.BARS:
            whole = len(task.pattern.bars)
            most = max(whole, _MOST_BARS - _MOST_BARS % whole)
            bars = (task.bars // whole + step) * whole
            self._task = replace(task, bars=min(max(bars, whole), most))
        elif row is _Row.VARIATION:
            at = self._choices.index(task.variations) + step
            self._task = replace(task, variations=self._choices[at % len(self._choices)])
        elif row is _Row.LEVEL:
            level = _stepped(list(Level), task.rules.level, step)
            rules = checked_rules(
                level=level,
                capture_ms=task.rules.capture_ms,
                bands=task.rules.bands,
                left_handed=task.rules.left_handed,
            )
            self._task = replace(task, rules=rules)
            if self._level_chosen is not None:
                self._level_chosen(level)
        elif row is _Row.CLICK:
            places = _stepped(list(Places), task.clicking.places, step)
            self._task = replace(task, clicking=replace(task.clicking, places=places))
        elif row is _Row.COUNTING:
            counting = _stepped(list(Counting), self._context.counting, step)
            self._context = replace(self._context, counting=counting)
            if self._counting_chosen is not None:
                self._counting_chosen(counting)
        elif row in _LEVELS:
            output = self._context.output
            output.mix = output.mix.moved(_LEVELS[row], step * STEP_DB)
        elif row is _Row.GAP:
            gap = _stepped(_GAPS, task.clicking.gap, step)
            self._task = replace(task, clicking=replace(task.clicking, gap=gap))

    def _rows(self) -> Rows:
        """The choices of the ready page, as they stand."""
        task = self._task
        tempo = f"{task.tempo_bpm:g} bpm"
        if task.along is not None:
            tempo = f"{task.along.cut.percent} % of the recording"
        gap = task.clicking.gap
        rows = [
            Choice(name=_Row.TEMPO, value=tempo),
            *self._along_row(),
            *_bars_rows(task, self._part),
            Choice(
                name=_Row.VARIATION, value=_named(task.variations), fixed=len(self._choices) < 2
            ),
            Choice(name=_Row.LEVEL, value=f"{task.rules.level}, {task.rules.tolerance_ms:g} ms"),
            Choice(name=_Row.CLICK, value=task.clicking.places),
            Choice(name=_Row.GAP, value="none" if gap is None else _gap_words(gap)),
            Choice(name=_Row.COUNTING, value=self._context.counting),
            *(
                Choice(name=row, value=f"{self._context.output.mix.of(part):+.0f} dB")
                for row, part in _LEVELS.items()
                if part is not Part.RECORDING or task.along is not None
            ),
        ]
        names = [row.name for row in rows]
        return Rows(rows, names.index(self._row) if self._row in names else 0)

    def _along_row(self) -> list[Choice]:
        """What is played along with, where that can be chosen."""
        along = self._task.along
        if self._go_along is None:
            return []
        return [Choice(name=_Row.ALONG, value="the click" if along is None else along.name)]

    def _change(self, outcome: Outcome | None) -> None:
        """Another tempo or another way of playing; or hear it first."""
        task = self._task
        if outcome in (Outcome.SLOWER, Outcome.FASTER):
            self._set(_Row.TEMPO, 1 if outcome is Outcome.FASTER else -1)
        elif outcome in (Outcome.NEXT, Outcome.BACK):
            self._set(_Row.VARIATION, 1 if outcome is Outcome.NEXT else -1)
        elif outcome is Outcome.HEAR:
            Run(task=to_hear(task), context=self._context, connect=lambda _: SilentPort()).play()
            self._context.output.clear()

    def _at_other_tempo(self, steps: int) -> Task:
        """The task so many steps faster; a recording with it, its pitch unchanged."""
        task, along = self._task, self._task.along
        if along is None:
            tempo_bpm = task.tempo_bpm + steps * STEP_BPM
            return replace(task, tempo_bpm=min(max(tempo_bpm, SLOWEST_BPM), FASTEST_BPM))
        percent = along.cut.percent + steps * STEP_PERCENT
        percent = round(min(max(percent, SLOWEST_PERCENT), FASTEST_PERCENT))
        words = f"Making it {'faster' if steps > 0 else 'slower'}"
        return self._cut_anew(replace(along.cut, percent=percent), words)

    def _at_other_bars(self, row: "_Row", step: int) -> Task:
        """The task with the first or the last of its bars so many bars later."""
        along = self._task.along
        if along is None or along.song is None:
            return self._task
        bars = (along.cut.first_bar, along.cut.last_bar)
        first, last = _moved(bars, row, step, bars=along.song.beats.bars)
        cut = replace(along.cut, first_bar=first, last_bar=last)
        return self._cut_anew(cut, "Cutting out the bars")

    def _cut_anew(self, cut: Cut, words: str) -> Task:
        """The task along with another cut of its recording, where there can be one."""
        task, along = self._task, self._task.along
        if along is None or along.again is None or cut == along.cut:
            return task
        again = along.again
        try:
            other = work_on_page(
                self._context, along.name, words, work=lambda progress: again(cut, progress)
            )
        except LeftError:
            return task
        return replace(task, bars=cut.bars * cut.rounds).going_along(other)

    def _ready_page(self) -> ReadyPage:
        task, context = _part_of(self._task, self._part), self._context
        may_change = self._print_sheet is not None and task.along is None
        buttons = READY_OWN if may_change else READY
        offered = [one for one in buttons if self._can_practise or one is not PRACTISE]
        return ReadyPage(
            theme=context.theme,
            title=task.pattern.title,
            tempo_bpm=task.tempo_bpm,
            run_bars=task.bars,
            bars=task.written(),
            voices=task.pattern.voices,
            facts=_facts(task, context, self._port),
            rows=self._rows(),
            rules=task.rules,
            notices=[
                word
                for word in (self._printed, *context.notices[1:], context.output.notice)
                if word
            ],
            caution=CAUTION,
            level=context.level(),
            buttons=_with_pads(context, offered),
            recording=_shown(task),
        )

    def _may(self, button: Button) -> bool:
        return len(self._choices) > 1 or button.outcome not in (Outcome.NEXT, Outcome.BACK)


def _with_pads(context: RunContext, offered: list[Button]) -> Buttons:
    if context.pad_commands is None:
        return Buttons(offered)
    return Buttons(offered, context.pad_commands.pads, context.pad_commands.call)


class _Row(StrEnum):
    """What can be chosen before a run."""

    TEMPO = "tempo"
    BARS = "bars"
    FROM = "from bar"
    TO = "to bar"
    AGAIN = "these bars"
    COUNTED = "count-in"
    FASTER = "5 % faster after"
    VARIATION = "variation"
    LEVEL = "level"
    CLICK = "click"
    GAP = "silent bars"
    COUNTING = "counted in by"
    CLICK_LEVEL = "level of the click"
    DRUMS_LEVEL = "level of the drums"
    RECORDING_LEVEL = "level of the recording"
    ALONG = "along with"


#: Levels that are set by rows as well, and so by strokes.
_LEVELS = {
    _Row.CLICK_LEVEL: Part.CLICK,
    _Row.DRUMS_LEVEL: Part.DRUMS,
    _Row.RECORDING_LEVEL: Part.RECORDING,
}


#: The gaps that the ready page offers; a command may ask for others.
_GAPS = (None, Gap(2, 1), Gap(2, 2), Gap(4, 4), Gap(2, 1, 1))


def _moved(part: tuple[int, int], row: _Row, step: int, *, bars: int) -> tuple[int, int]:
    """The first and the last of the bars, one of them moved within so many ``bars``."""
    first, last = part
    if row is _Row.FROM:
        first = min(max(first + step, 0), bars - 1)
    else:
        last = min(max(last + step, 0), bars - 1)
    return min(first, last), max(first, last)


def _part_of(task: Task, part: tuple[int, int]) -> Task:
    """The task with the bars of its pattern that are played again and again, if any are."""
    if task.passes is None or task.along is not None or task.excerpt is not None:
        return task
    first, last = part
    cut = Cut(first_bar=first, last_bar=last)
    if cut.bars == len(task.pattern.bars):
        return replace(task, bars=cut.bars, about=cut.words)
    excerpt = Excerpt(parts=whole_bars(task.pattern)[first : last + 1], rounds=(task.variations,))
    return replace(
        task,
        pattern=excerpt.of(task.pattern),
        whole=task.pattern,
        excerpt=excerpt,
        variations=(),
        bars=cut.bars,
        about=cut.words,
        kind="bar",
    )


def _bars_rows(task: Task, part: tuple[int, int]) -> list[Choice]:
    """Which bars, and how often."""
    along, passes = task.along, task.passes
    cut = along.cut if along is not None else Cut(first_bar=part[0], last_bar=part[1])
    rows = [
        Choice(name=_Row.FROM, value=str(cut.first_bar + 1)),
        Choice(name=_Row.TO, value=str(cut.last_bar + 1)),
    ]
    if along is None and passes is None:
        rows = [Choice(name=_Row.BARS, value=str(task.bars))]
    elif along is None and len(task.pattern.bars) == 1:
        rows = []
    rows.append(Choice(name=_Row.AGAIN, value="once" if passes is None else "again and again"))
    if passes is not None:
        after = passes.faster_after
        clean = "1 clean pass" if after == 1 else f"{after} clean passes in a row"
        rows += [
            Choice(name=_Row.COUNTED, value="before each pass" if passes.counted else "once"),
            Choice(name=_Row.FASTER, value=clean if after else "never"),
        ]
    return rows


def _shown(task: Task) -> RecordingStrip | None:
    """The recording with the bars that are played, to be seen."""
    along = task.along
    if along is None or along.song is None:
        return None
    return RecordingStrip(
        beats=along.song.beats,
        length_s=along.song.length_s,
        overview=along.song.overview,
        bars=(along.cut.first_bar, along.cut.last_bar),
    )


def _gap_words(gap: Gap) -> str:
    words = f"{gap.sounding} on, {gap.silent} off"
    return f"{words}, then {gap.widening} more" if gap.widening else words


_Item = TypeVar("_Item")


def _stepped(items: Sequence[_Item], item: _Item, step: int) -> _Item:
    """The one so many steps from ``item``, which goes before the first where it is none of them."""
    if item not in items:
        return items[0]
    return items[(items.index(item) + step) % len(items)]


def _choices(task: Task) -> list[tuple[str, ...]]:
    """The ways in which a pattern can be played: as written, and with each variation."""
    ways: list[tuple[str, ...]] = [(), *((name,) for name in task.pattern.variations)]
    return ways if task.variations in ways else [task.variations, *ways]


def _named(variations: tuple[str, ...]) -> str:
    return " and ".join(variations) or AS_WRITTEN


def _facts(task: Task, context: RunContext, port: Port) -> list[tuple[str, str]]:
    profile = context.profile
    facts = [("kit", port.name), ("player", profile.player), ("latency", _late(profile))]
    facts.append(
        (
            "loudness",
            "your own strokes" if profile.is_loudness_known else "heard against your own strokes",
        )
    )
    if task.along is not None:
        facts.append(
            ("recording", f"{task.along.name}, at {task.along.cut.percent} % of its speed")
        )
    if context.echo:
        late_ms = context.output.answer_s * 1000.0
        shorter = "; --buffer-ms 5 is sooner" if late_ms > SOON_MS else ""
        facts.append(("your pads sound here", f"{late_ms:.0f} ms after each stroke{shorter}"))
    return facts


def _late(profile: Profile) -> str:
    latency = profile.latency
    if latency is None:
        return "not measured yet: 2 minutes on the kit's page"
    spread = "" if latency.plus_minus_ms is None else f" ± {latency.plus_minus_ms:.0f}"
    return f"{latency.ms:.0f}{spread} ms taken off, {latency.how}"


def to_hear(task: Task, clicked: bool = True) -> Task:
    """The task as the program plays it: the pattern with its variations written out."""
    written = replace(task.pattern, bars=task.written(), variations={})
    return replace(
        task, pattern=written, variations=(), company=written, judged=False, clicked=clicked
    )


def save_run(
    task: Task, ended: RunResult, folder: Path, *, memory: Memory | None = None
) -> SavedRun:
    """Write the take of a run and grade it, and keep both in ``memory``."""
    trouble = []
    if ended.lost_port is not None:
        trouble.append(
            f'The MIDI port "{ended.lost_port}" went away: check its cable. '
            "What was played until then is graded."
        )
    name = f"{task.pattern.name}-{datetime.now():%Y-%m-%d-%H%M%S}"
    path, moved = write_take(ended.recording, folder, name)
    if moved:
        trouble.append(moved)
    trouble += mishap_lines(ended.mishaps)
    try:
        graded = grade_take(task.whole or task.pattern, ended.recording.take(), Options())
    except UserError:
        raise
    except Exception as error:
        where = f"The take is kept: {path}. The program made a mistake in grading it"
        raise UserError(f"{where} ({described(error)}). {keep_mistake(error)}".rstrip()) from error
    if memory is not None and ended.log is not None:
        memory.keep(ended.log, ended.recording, graded, file=path)
        trouble += memory.trouble
    return SavedRun(
        path=path, graded=graded, trouble=tuple(trouble), is_broken_off=ended.is_interrupted
    )


def result_page(
    task: Task,
    saved: SavedRun,
    context: RunContext,
    *,
    offered: Sequence[Button] = (AGAIN, LEAVE),
    best: float | None = None,
) -> ResultPage:
    """The page of a run that was kept."""
    notices = [*saved.trouble, f"The take is kept: {saved.path}"]
    return grade_page(task, saved.graded, context, offered=offered, notices=notices, best=best)


def grade_page(
    task: Task,
    graded: Graded,
    context: RunContext,
    *,
    offered: Sequence[Button],
    notices: Sequence[str] = (),
    best: float | None = None,
) -> ResultPage:
    """The page of a grade; ``best`` is the best score so far."""
    grade = graded.grade
    bars = counted(grade.bars, "bar")
    if task.excerpt is not None:
        bars = f"{task.about}, {counted(grade.bars, 'time')}"
    pad_commands = context.pad_commands
    pads = dict(pad_commands.pads) if pad_commands else {}
    if AGAIN_BESIDE in offered and Outcome.BACK in pads:
        pads[Outcome.AGAIN] = pads[Outcome.BACK]
    return ResultPage(
        context.theme,
        title=task.pattern.title,
        subtitle=f"{bars} at {grade.tempo_bpm:g} bpm  ·  {task.rules.level}",
        total=grade.score.total,
        advice=grade.advice,
        also=[each.text for each in grade.findings[1:]],
        figures=figures(grade),
        places=grade.places,
        bars=task.written(),
        voices=graded.run.targets.voices,
        notices=notices,
        caution=CAUTION,
        rules=task.rules,
        offered=offered,
        pads=pads,
        call=pad_commands.call if pad_commands else "",
        level=context.level() if context.pad_commands is not None else None,
        course=grade.steadiness.course,
        requested_bpm=grade.tempo_bpm,
        best=best,
    )
