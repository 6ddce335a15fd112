"""The first page and its rooms: Back leads back, and the program ends only when asked.

A room takes the window, shows its pages, and gives the window back; what goes wrong in it is told
on the first page. The table of rooms says which there are: a room that is not there has no card.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from playalong.app.home.key_port import WORDS as KEYS_ARE_PADS
from playalong.app.home.kit_at_hand import SEEK_S, KitAtHand, ports
from playalong.app.home.looks import click_of, is_due, settings_of, size_of
from playalong.app.home.pattern_filter import chosen, wanted
from playalong.app.home.pattern_list import OWN, PatternList, pattern_list
from playalong.app.home.remembered import Remembered, remembered
from playalong.app.home.waiting import beginning, going_on
from playalong.app.memory import Memory
from playalong.app.open_devices import Look, counting_of, themed
from playalong.app.run.context import RunContext, SilentPort
from playalong.app.run.frame_loop import hold
from playalong.app.stored_runs import NOBODY
from playalong.app.user_folders import UserFolders
from playalong.grading.verdicts import Rules
from playalong.midi.port import Port
from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.library.search import Search
from playalong.pattern.model import Pattern
from playalong.profile.profile import Profile
from playalong.records.take_info import Simulated
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import Choice, Rows
from playalong.screen.base.widgets import LEAVE, Buttons
from playalong.screen.home_pages.first import Card, FirstPage
from playalong.screen.home_pages.patterns import PatternsPage
from playalong.screen.home_pages.settings import CHOOSING, SettingsPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.sound.synth.click import Clicking, Counting
from playalong.support.errors import UserError
from playalong.support.text import counted, printable

# The rooms' own imports stand in the methods that enter them: the first page waits for none.
if TYPE_CHECKING:
    from playalong.app.assessment.entry import Taken
    from playalong.app.capture.played_in import Known
    from playalong.app.lesson.lesson_session import LessonSummary
    from playalong.app.own_patterns.opened import Opened
    from playalong.app.own_patterns.room import OwnPatterns
    from playalong.app.play.play_session import SavedRun
    from playalong.app.run.task import Task
    from playalong.app.warm_up.entry import Wish
    from playalong.app.warm_up.warm_up_session import WarmUpResult
    from playalong.pattern.beat_map import BeatMap
    from playalong.records.assessments.files import AssessmentFile

#: Shown on the first page, where there is little room.
SHORT_CAUTION = "Start quiet, loosen up first, rest between runs."

#: How people are greeted until which hour.
_DAY = ((5, "Good night"), (11, "Good morning"), (17, "Good afternoon"), (23, "Good evening"))

#: The pattern that a simulated player shows, and how.
SHOWN = "late-bus-home"
_SHOWS = Simulated("intermediate", 1)

#: Rows of pages that open another page.
_ANOTHER, _PLAYER = "somebody new", "player"
_NAME, _OWN_FOLDER, _YOUR_DATA = "name", "patterns of your own", "your data"

#: The row of the sound device, and what it says where none was chosen.
_SOUND, _SYSTEMS_OWN = "sound device", "the system's own"


class HomeSession:
    """One window, from the first page to the last."""

    def __init__(
        self,
        opened: RunContext,
        look: Look,
        home: UserFolders,
        *,
        kit: KitAtHand | None = None,
        folder: Path | None = None,
        on_saved: "Callable[[SavedRun], None]" = lambda _: None,
    ) -> None:
        """``kit`` is the one at hand, None to look for it; takes and the store are in ``folder``.

        ``on_saved`` hears of every run that was saved.
        """
        self._opened, self._look, self._home = opened, look, home
        self._memory, self._on_saved = Memory(folder=folder or home.data), on_saved
        self._folder = folder or home.data / "takes"
        self._kit = kit or KitAtHand.find(opened, home)
        self._trouble: tuple[str, ...] = ()
        self._chosen = 0
        self._patterns: PatternList | None = None
        self._remembered = Remembered()
        self._rooms: dict[Outcome, Callable[[], object]] = {
            Outcome.GO_ON: self._go_on,
            Outcome.PATTERNS: self._choose_pattern,
            Outcome.KIT: self.set_up_kit,
            Outcome.SETTINGS: self._change_settings,
            Outcome.WATCH: self._watch,
            Outcome.ASSESSMENT: self._take_assessment,
            Outcome.LOOK_BACK: self.look_back,
            Outcome.WARM_UP: self.warm_up,
            Outcome.WRITE: lambda: self._own.go(),
            Outcome.OPEN_FILE: lambda: self._own.open_dropped(),
        }

    @property
    def context(self) -> RunContext:
        """Everything around the player: the window, and the kit at hand."""
        said = (self._kit.port.name, *((KEYS_ARE_PADS,) if self._kit.is_keys else ()))
        opened = replace(self._opened, memory=self._memory, notices=said)
        return self._kit.context(opened, self._look)

    @property
    def player(self) -> str:
        """Who plays."""
        return self._kit.profile.player or NOBODY

    def go(self) -> None:
        """Show the first page until the program is asked to end."""
        try:
            if is_due(self._home):
                self._first_start()
            self._offer_broken_off()
            while not self._opened.window.is_closed:
                if self._opened.window.dropped:  # somewhere else, where none is opened
                    self.enter(self._rooms[Outcome.OPEN_FILE])
                    continue
                outcome = self._first_page()
                room = self._rooms.get(outcome)
                if room is None:
                    return
                self.enter(room)
        finally:
            self._kit.close()

    def _offer_broken_off(self) -> None:
        """Ask what becomes of runs that were broken off, where there are any."""
        if self._memory.broken_off():
            from playalong.app import broken_off

            broken_off.offer(self.context, self._memory)

    def enter(self, room: Callable[[], object]) -> None:
        """Go into a room; what goes wrong there is told on the first page."""
        self._trouble = ()
        try:
            room()
        except UserError as error:
            self._trouble = tuple(error.lines)
        self._opened.output.clear()

    # The first page.

    def _first_page(self) -> Outcome:
        while True:
            self._remembered = remembered(self._home, self._home.settings().player)
            page = self._page()
            until_s = self._opened.clock.now() + SEEK_S if self._kit.is_keys else None
            outcome = None
            while outcome is None:
                outcome = hold(self.context, page, 0.0, until_s=until_s)
                if outcome is None and self._kit.seek(self._opened, self._home):
                    break
                until_s = self._opened.clock.now() + SEEK_S
            self._chosen = page.chosen
            if outcome is not None:
                return outcome

    def _page(self) -> FirstPage:
        context, remembered = self.context, self._remembered
        last = remembered.last
        going = going_on(last) if last is not None else beginning(self._all_patterns.easiest)
        pad_commands = context.pad_commands
        name = "" if self.player == NOBODY else f", {self.player}"
        kit = KEYS_ARE_PADS if self._kit.is_keys else self._kit.port.name
        return FirstPage(
            theme=context.theme,
            title=f"{_greeting(datetime.now().hour)}{name}",
            subtitle=kit,
            going_on=going,
            cards=self._cards(),
            week=remembered.week(datetime.now().date()),
            notices=[*self._trouble, *self._home.notices],
            caution=SHORT_CAUTION,
            pads=pad_commands.pads if pad_commands else {},
            call=pad_commands.call if pad_commands else "",
            chosen=self._chosen,
        )

    def _cards(self) -> Sequence[Card]:
        cards = (
            Card(outcome=Outcome.PATTERNS, title="Patterns", words="by what they train", key="P"),
            Card(outcome=Outcome.WATCH, title="Watch", words="a player shows it", key="W"),
            Card(outcome=Outcome.WARM_UP, title="Warm up", words="five minutes", key="U"),
            Card(outcome=Outcome.ASSESSMENT, title="Assessment", words="what was set", key="A"),
            Card(outcome=Outcome.WRITE, title="Write", words="your own patterns", key="T"),
            Card(outcome=Outcome.LOOK_BACK, title="Look back", words=self._looked_back(), key="L"),
            Card(outcome=Outcome.KIT, title="Kit", words=self._kit_words(), key="K"),
            Card(outcome=Outcome.SETTINGS, title="Settings", words="player and window", key="S"),
        )
        shown = [card for card in cards if card.outcome in self._rooms]
        # Who has played knows what there is to see.
        known = self._remembered.last is not None and not self._kit.is_keys
        return [card for card in shown if not (known and card.outcome is Outcome.WATCH)]

    def _kit_words(self) -> str:
        if self._kit.is_keys:
            return "none plugged in"
        profile = self._kit.profile
        if profile.latency is None:
            return "latency not measured"
        return "all well" if profile.is_loudness_known else "loudness not measured"

    def _looked_back(self) -> str:
        played = sum(day.minutes > 0 for day in self._remembered.week(datetime.now().date()))
        return f"{counted(played, 'day')} this week"

    # Rooms.

    def warm_up(self, wish: "Wish | None" = None, rules: Rules | None = None) -> "WarmUpResult":
        """Loosen up, with what is being learned at the end, or as is wished."""
        from playalong.app.warm_up.entry import Wish, in_window

        if wish is None:
            last = self._remembered.last
            is_lesson = last is not None and last.kind == "lesson"
            wish = Wish(lesson=last.pattern if last is not None and is_lesson else None)
        result = in_window(
            wish,
            rules or self._rules(),
            self.context,
            by=self._kit.port,
            home=self._home,
            takes=self._folder,
        )
        if result.to_lesson and wish.lesson is not None:
            self.practise(wish.lesson)
        return result

    @property
    def _all_patterns(self) -> PatternList:
        if self._patterns is None:
            stored = self._home.settings_of(None).get("pattern_folders")
            folders = [Path(one) for one in stored] if isinstance(stored, list) else []
            self._patterns = pattern_list([self._home.data / OWN, *folders])
        return self._patterns

    def _go_on(self) -> None:
        last = self._remembered.last
        if last is None:
            self.play(self.task(self._all_patterns.easiest))
        elif last.kind == "lesson":
            self.practise(last.pattern)
        else:
            self.play(self.task(last.pattern, last.tempo_bpm, last.bars))

    def task(
        self, pattern: Pattern, tempo_bpm: float | None = None, bars: int | None = None
    ) -> "Task":
        """A run of ``pattern`` as the player is judged."""
        from playalong.app.play.tasks import task_of

        clicking = Clicking(click_of(self._home.settings_of(None)))
        return task_of(pattern, self._rules(), tempo_bpm=tempo_bpm, bars=bars, clicking=clicking)

    def _rules(self) -> Rules:
        from playalong.app.grade.checks import checked_rules

        return checked_rules(
            level=self._home.level(self.player),
            bands=self._kit.profile.bands,
            left_handed=self._home.is_left_handed(self.player),
        )

    def play(self, task: "Task") -> None:
        """Play ``task`` as often as the player asks, or learn its pattern."""
        from playalong.app.home.going_along import Choosing
        from playalong.app.play.play_session import PlaySession

        session = PlaySession(
            task,
            self.context,
            self._kit.port,
            folder=self._folder,
            level_chosen=lambda level: self._home.remember_level(self.player, level),
            counting_chosen=self._count_by,
            can_practise=True,
            best=self._remembered.bests.get(pattern_id(task.pattern)),
            measure=self._measured_latency,
            print_sheet=self._own.print,
            go_along=Choosing(self._home, None if self._kit.is_keys else self._kit.port).chosen,
        )
        for saved in session.runs():
            self._trouble = saved.trouble
            self._on_saved(saved)
        if session.wants_change:
            changed = self._own.change(task.pattern)
            self.play(task if changed is None else self.task(changed))
        if session.wants_practice:
            self.practise(task.pattern)

    def _count_by(self, counting: Counting) -> None:
        """From now on that counts in."""
        self._home.remember_for(None, counting=str(counting))
        self._look = replace(self._look, counting=None)
        self._opened = replace(self._opened, counting=counting)

    def practise(
        self, pattern: Pattern, rules: Rules | None = None, clicking: Clicking | None = None
    ) -> "LessonSummary":
        """Learn ``pattern`` step by step, from where it was left off."""
        from playalong.app.lesson.lesson_session import LessonSession

        kit = self._kit
        lesson = LessonSession(
            pattern=pattern,
            rules=rules or self._rules(),
            context=self.context,
            connect=lambda targets, number, start_s: kit.port,
            lesson_folder=self._home.data,
            takes_folder=self._folder,
            clicking=clicking or Clicking(click_of(self._home.settings_of(None))),
        )
        summary = lesson.go()
        self._trouble = summary.trouble
        if summary.goes_on is not None:
            return self.practise(summary.goes_on, rules, clicking)
        return summary

    def take(self, file: "AssessmentFile") -> "Taken":
        """Take an assessment."""
        from playalong.app.assessment.choosing import take_and_tell

        kit = self._kit
        taken = take_and_tell(file, self.context, kit.port, profile=kit.profile, home=self._home)
        self._trouble = taken.trouble
        return taken

    def hear(self, task: "Task", click: bool = True) -> None:
        """Let the program play ``task``."""
        from playalong.app.play.play_session import to_hear
        from playalong.app.run.run import Run

        Run(task=to_hear(task, click), context=self.context, connect=lambda _: SilentPort()).play()
        self._opened.output.clear()

    def play_in(self, known: "Known | None" = None, out: Path | None = None) -> Path | None:
        """Make a pattern of a groove that is played, in ``out`` or among one's own; where it is
        kept, None for nowhere."""
        from playalong.app.capture.played_in import Known
        from playalong.app.capture.session import CaptureSession
        from playalong.app.own_patterns.own_files import OwnFiles

        saved = CaptureSession(
            self.context,
            self._kit.port,
            known or Known(),
            save=lambda pattern: OwnFiles(self._home).save(pattern, out),
            hear=lambda pattern: self.hear(self.task(pattern)),
            has_kit=not self._kit.is_keys,
        ).go()
        self._patterns = None
        return None if saved is None else saved[1]

    def tell_beats(self, path: Path, per_bar: int | None) -> "BeatMap | None":
        """Have the beats of the recording at ``path`` tapped; None where none are kept."""
        from playalong.app.recording.entry import tapped

        port = None if self._kit.is_keys else self._kit.port
        return tapped(self.context, path, port=port, home=self._home, per_bar=per_bar)

    @property
    def _own(self) -> "OwnPatterns":
        """The room of patterns of one's own."""
        from playalong.app.own_patterns.room import Hands, OwnPatterns

        def look_again() -> None:
            self._patterns = None

        hands = Hands(
            play=lambda pattern: self.play(self.task(pattern)),
            hear=lambda pattern: self.hear(self.task(pattern)),
            look_at_take=self._look_at_take,
            play_in=self.play_in,
        )
        return OwnPatterns(
            self.context,
            self._home,
            hands,
            changed=look_again,
            left_handed=self._home.is_left_handed(self.player),
            has_kit=not self._kit.is_keys,
        )

    def _look_at_take(self, path: Path, opened: "Opened") -> None:
        """The grade of a take that was opened, of its own pattern as it was then."""
        from playalong.app.grade.expected import own_pattern
        from playalong.app.grade.take_grading import Options, grade_take
        from playalong.app.play.play_session import grade_page
        from playalong.records.takes import read

        pattern = None if opened.take is None else own_pattern(opened.take)
        if pattern is None:
            raise UserError("The take does not keep its pattern: grade it with: playalong grade")
        graded = grade_take(pattern, read(path), Options())
        task = replace(
            self.task(graded.expected.pattern, graded.grade.tempo_bpm, graded.grade.bars),
            rules=graded.run.rules,
        )
        hold(self.context, grade_page(task, graded, self.context, offered=[LEAVE]), 0.0)

    def _take_assessment(self) -> None:
        """What a teacher has set, against the clock or as homework."""
        from playalong.app.assessment.choosing import take_in_window

        profile = self._kit.profile
        self._trouble = take_in_window(self.context, self._kit.port, profile, home=self._home)

    def _watch(self) -> None:
        """A simulated player plays: a ghost note is too loud, a stroke is missed."""
        from playalong.app.play.play_session import result_page, save_run
        from playalong.app.run.run import Run
        from playalong.simulation.player import SimulatedPort, perform
        from playalong.simulation.skills import SKILLS

        task = replace(self.task(self._all_patterns.patterns[SHOWN]), simulated=_SHOWS)
        clock = self._opened.clock
        performance = perform(task.targets(), SKILLS[_SHOWS.skill], _SHOWS.seed)
        memory = Memory(folder=self._home.data, simulated=True)
        context = replace(self._opened, memory=memory, notices=("a simulated player plays",))
        ended = Run(
            task=task,
            context=context,
            connect=lambda start_s: SimulatedPort(performance, start_s, clock.now),
        ).play()
        context.output.clear()
        if ended.outcome is None:
            saved = save_run(task, ended, self._folder, memory=memory)
            hold(self.context, result_page(task, saved, self.context), 0.0)

    def look_back(self, pattern: str | None = None, number: int | None = None) -> None:
        """What was practised: of ``pattern`` first, and the run ``number`` opened at once.

        Whoever erases their data there is nobody any more.
        """
        from playalong.app.history.session import look_back

        who = self.player
        look_back(self.context, self._home, who, pattern=pattern, number=number)
        if self._home.player(who) is None:
            kit = self._kit.profile
            self._kit.profile = Profile(kit=kit.kit, player=NOBODY, port=kit.port)

    def _choose_pattern(self) -> None:
        page = PatternsPage(theme=self.context.theme, lines=[], level=self.context.level())
        search = Search()
        while not self._opened.window.is_closed:
            patterns = self._all_patterns
            self._remembered = remembered(self._home, self._home.settings().player)
            found = patterns.found(search)
            page.lines, page.notices = found.lines(self._remembered.bests), patterns.notices
            page.of, page.wanted = len(patterns.patterns), wanted(search)
            outcome = hold(self.context, page, 0.0)
            if outcome is Outcome.SLOWER:
                search, page.chosen = chosen(self.context, patterns, search), 0
                continue
            line = page.line
            if outcome is Outcome.LEAVE or line is None:
                return
            if outcome is Outcome.HEAR:
                self.hear(self.task(patterns.patterns[line.name]))
            elif outcome is Outcome.START:
                self.play(self.task(patterns.patterns[line.name]))

    def set_up_kit(self, page: str | None = None) -> Profile:
        """The kit's own pages, from its overview or from ``page``; where there are several kits, or
        none, which one first.
        """
        listed = ports()
        if self._kit.is_keys or len(listed) > 1:
            chosen = self._choose_kit(listed)
            if chosen is None:
                return self._kit.profile
            if chosen != self._kit.port.name:
                self._kit.close()
                self._kit = KitAtHand.find(self._opened, self._home, part=chosen)
        return self._kit.profile if self._kit.is_keys else self.learn_kit(page)

    def learn_kit(self, page: str | None = None) -> Profile:
        """The pages of the kit at hand, from its overview or from ``page``."""
        from playalong.app.kit_setup.entry import keeping
        from playalong.app.kit_setup.kit_session import KitSession, click_on_kit

        session = KitSession(
            self.context,
            self._kit.port,
            self._kit.profile,
            keep=keeping(self._home),
            to_kit=click_on_kit,
        )
        self._kit.profile = session.go(page)
        return self._kit.profile

    def _measured_latency(self, context: RunContext, port: Port) -> Profile:
        """Measure the latency of the kit at hand; its profile as it is then."""
        from playalong.app.kit_setup.entry import measured_latency

        self._kit.profile = measured_latency(context, port, home=self._home)
        return self._kit.profile

    def _choose_kit(self, listed: Sequence[str]) -> str | None:
        """The name of the port that is to be played, None where none is chosen."""
        rows = Rows([Choice(name=name, value="", fixed=True) for name in listed])
        if not listed:
            about = "Plug the kit in by USB or MIDI, switch it on, and come back to this page."
            rows = Rows([Choice(name="no kit is plugged in", value="", fixed=True, about=about)])
        page = SettingsPage(
            theme=self.context.theme,
            title="Kit",
            subtitle="which one?",
            rows=rows,
            buttons=Buttons(CHOOSING),
        )
        outcome = hold(self.context, page, 0.0)
        return listed[rows.chosen] if outcome is Outcome.START and listed else None

    def _choose_player(self) -> None:
        """Who plays; somebody new has to be given a name."""
        names = [player.name for player in self._home.players()]
        rows = Rows([*(Choice(name=name, value="", fixed=True) for name in names), _NEW])
        if self.player in names:
            rows.chosen = names.index(self.player)
        page = SettingsPage(
            theme=self.context.theme,
            title="Player",
            subtitle="who plays?",
            rows=rows,
            buttons=Buttons(CHOOSING),
        )
        if hold(self.context, page, 0.0) is not Outcome.START:
            return
        name = names[rows.chosen] if rows.chosen < len(names) else self._typed_name()
        if name is not None:
            self.player_is(name)

    def player_is(self, name: str) -> None:
        """From now on this is who plays."""
        self._home.choose_player(name)
        self._kit.profile = self._home.profile(self._kit.profile.kit, name)

    def _typed_name(self) -> str | None:
        page = TypedPage(
            theme=self.context.theme, title="Player", prompt="What is your name?", longest=40
        )
        while hold(self.context, page, 0.0) is Outcome.ACCEPT:
            try:
                return self._home.add_player(page.typed).name
            except UserError as error:
                page.notice, page.is_off = str(error), True
        return None

    def _change_name(self) -> None:
        page = TypedPage(
            theme=self.context.theme,
            title="Name",
            prompt="What is your name?",
            typed=self.player,
            longest=40,
        )
        while hold(self.context, page, 0.0) is Outcome.ACCEPT:
            try:
                self.player_is(self._home.rename_player(self.player, page.typed))
                return
            except UserError as error:
                page.notice, page.is_off = str(error), True

    def _change_settings(self) -> None:
        chosen = 0
        while not self._opened.window.is_closed:
            rows = settings_of(self._home, self.player)
            others = (
                Choice(
                    name=_SOUND,
                    value=self._home.settings().sound_device or _SYSTEMS_OWN,
                    about=f"Where it sounds. {self._opened.output.notice}".rstrip(),
                ),
                Choice(name=_PLAYER, value=self.player, about="Who plays, or somebody new."),
                Choice(
                    name=_NAME, value="change it", about="Another name; all that is kept stays."
                ),
                Choice(
                    name=_OWN_FOLDER,
                    value="add a folder",
                    about=f"Files in {printable(str(self._home.data / OWN))} are always there.",
                ),
                Choice(
                    name=_YOUR_DATA,
                    value="look at it",
                    about="Export all of it as files, or erase it.",
                ),
            )
            page = SettingsPage(
                theme=self.context.theme,
                title="Settings",
                subtitle=self.player,
                rows=Rows([*(row.choice() for row in rows), *others], chosen),
                notices=self._home.notices,
                level=self.context.level(),
            )
            outcome = hold(self.context, page, 0.0)
            chosen = page.rows.chosen
            if outcome not in (Outcome.LESS, Outcome.MORE):
                return
            if chosen < len(rows):
                rows[chosen].step(1 if outcome is Outcome.MORE else -1)
                self._look_again()
            elif page.rows.choice.name == _SOUND:
                self._change_device(1 if outcome is Outcome.MORE else -1)
            elif page.rows.choice.name == _PLAYER:
                self._choose_player()
            elif page.rows.choice.name == _NAME:
                self._change_name()
            elif page.rows.choice.name == _OWN_FOLDER:
                self._add_folder()
            elif self._memory.path.exists():
                self._look_at_data()

    def _change_device(self, step: int) -> None:
        """The next of the sound devices, or the one before; the system's own is the first."""
        from playalong.sound.device.devices import device_names
        from playalong.sound.device.output import DeviceOutput

        names = ["", *device_names()]
        before = self._home.settings().sound_device
        at = names.index(before) if before in names else 0
        name = names[(at + step) % len(names)]
        self._home.remember(sound_device=name)
        output = self._opened.output
        if isinstance(output, DeviceOutput):
            output.choose(name or None)

    def _look_at_data(self) -> None:
        """What is kept: exported, or erased; who erases it is nobody any more."""
        from playalong.app.history.session import your_data

        if your_data(self.context, self._home, self.player):
            kit = self._kit.profile
            self._kit.profile = Profile(kit=kit.kit, player=NOBODY, port=kit.port)

    def _add_folder(self) -> None:
        page = TypedPage(
            theme=self.context.theme,
            title="Patterns of your own",
            prompt="Which folder are they in?",
            typed=str(Path.home()),
        )
        while hold(self.context, page, 0.0) is Outcome.ACCEPT:
            folder = Path(page.typed).expanduser()
            if folder.is_dir():
                stored = self._home.settings_of(None).get("pattern_folders")
                before = stored if isinstance(stored, list) else []
                if str(folder) not in before:
                    self._home.remember_for(None, pattern_folders=[*before, str(folder)])
                self._patterns = None
                return
            page.notice, page.is_off = f"There is no folder {printable(page.typed)}.", True

    def _look_again(self) -> None:
        """The window as the settings have it now."""
        stored = self._home.settings_of(None)
        look = self._look
        self._opened = replace(
            self._opened, theme=themed(look, stored), counting=counting_of(look, stored)
        )
        self._look = replace(self._look, echo=bool(stored.get("echo")))
        window = self._opened.window
        window.full_screen(bool(stored.get("full_screen")))
        if not stored.get("full_screen"):
            window.resize(size_of(stored))

    def _first_start(self) -> None:
        from playalong.app.home.first_start import FirstStart

        start = FirstStart(self._home, self._kit, lambda: self.context)
        start.go()
        self._kit.profile = start.profile


_NEW = Choice(
    name=_ANOTHER, value="", fixed=True, about="Each player has levels and a history of their own."
)


def _greeting(hour: int) -> str:
    return next((words for until, words in _DAY if hour < until), _DAY[0][1])
