"""The pages of a kit, filled as they are when much is to be told."""

from collections.abc import Callable, Mapping
from random import Random

from playalong.app.run.pad_commands import ALSO, MEANT
from playalong.grading.loudness import Band
from playalong.pattern.model import Dynamic
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import Choice, Rows
from playalong.screen.base.theme import Theme
from playalong.screen.base.widgets import Level
from playalong.screen.kit_pages.kit_drawing import USUAL, KitDrawing, Link, Spot
from playalong.screen.kit_pages.latency import LatencyPage
from playalong.screen.kit_pages.loudness import LoudnessPage, PadLine
from playalong.screen.kit_pages.messages import MessageRow, MessagesPage
from playalong.screen.kit_pages.overview import PAGES, KitLine, KitPage
from playalong.screen.kit_pages.pad_commands import PadCommandsPage
from playalong.screen.kit_pages.pads import PadsPage
from playalong.screen.kit_pages.triggers import PadTriggers, TriggersPage
from playalong.screen.pages.ready import ReadyPage

from .screen_samples import RULES, crowded_bar, groove_bar

KIT = "A kit in the cellar"

#: The pads of every command, and what is struck first.
CALL = "Kick twice, then:"
CALLED = {
    Outcome.START: "snare",
    Outcome.AGAIN: "snare",
    Outcome.NEXT: "ride",
    Outcome.BACK: "floor-tom",
    Outcome.SLOWER: "mid-tom",
    Outcome.FASTER: "high-tom",
    Outcome.LEAVE: "crash",
}

EVERY_PIECE = (*USUAL, "china", "splash", "cowbell", "tambourine")

STATES = (
    "13 pads learned, 4 differ from the usual numbers; rims and edges are voices of their own",
    "7 of 9 pads calibrated; the high tom cannot tell soft from normal",
    "guards on 3 pads",
    "12 ms ± 3, played along",
    "kick twice, then a pad",
    "a live view of every message",
)


def ready_page(theme: Theme) -> ReadyPage:
    bars = [crowded_bar(), groove_bar(), groove_bar()]
    return ReadyPage(
        theme=theme,
        title="A Rather Long Name for a Groove of Three Bars",
        tempo_bpm=84.0,
        run_bars=16,
        bars=bars,
        voices=("crash", "hi-hat", "ride", "high-tom", "mid-tom", "snare", "floor-tom", "kick"),
        facts=[
            ("kit", "Some Module With a Long Name MIDI 1"),
            ("latency", "12 ms ± 3, played along"),
            ("sound", "Built-in Audio Analogue Stereo"),
            ("click", "count-in of 1 bar, on the beat"),
        ],
        rows=Rows(
            [
                Choice(name="tempo", value="84 bpm"),
                Choice(name="bars", value="16"),
                Choice(name="variation", value="push and no-whispers"),
                Choice(name="level", value="intermediate, 45 ms"),
                Choice(name="click", value="beats and eighths"),
                Choice(name="silent bars", value="2 on, 1 off, then 1 more"),
            ],
            2,
        ),
        rules=RULES,
        notices=["The sound device went away: another one is used."],
        caution="Keep the volume low, rest between runs, and stop on pain or ringing. "
        "Ask a physician or an audiologist if it stays.",
        level=Level(-18.0),
    )


def kit_page(theme: Theme) -> KitPage:
    lines = [
        KitLine(page.outcome, words, place % 2 == 0)
        for place, (page, words) in enumerate(zip(PAGES, STATES, strict=True))
    ]
    port = "Some Module With a Long Name MIDI 1: not there, check its cable"
    drawing = KitDrawing(EVERY_PIECE)
    drawing.strike("ride", 101, 1.9)
    drawing.strike("snare", 40, 1.9)
    return KitPage(
        theme=theme,
        kit=KIT,
        player="somebody",
        port=port,
        there=False,
        lines=lines,
        drawing=drawing,
        notices=["Saved."],
    )


def pads_page(theme: Theme) -> PadsPage:
    page = PadsPage(
        theme=theme,
        kit=KIT,
        prompt="Strike the rim of the snare.",
        done=4,
        of=19,
        notice="The kit cannot tell this one from the head: it counts as the snare. "
        "If your kit has no rim, go on with S.",
        heard="note 40 on channel 10, velocity 96",
        drawing=KitDrawing(EVERY_PIECE),
    )
    page.drawing.lit = Spot("rim-shot")
    return page


def loudness_page(theme: Theme) -> LoudnessPage:
    random = Random(3)
    strokes = {
        Dynamic.GHOST: [random.gauss(30, 6) for _ in range(8)],
        Dynamic.NORMAL: [random.gauss(75, 8) for _ in range(8)],
        Dynamic.ACCENT: [random.gauss(116, 5) for _ in range(3)],
    }
    bands = {
        Dynamic.GHOST: Band(1, 50),
        Dynamic.NORMAL: Band(50, 98),
        Dynamic.ACCENT: Band(98, 127),
    }
    words = [
        "This pad cannot tell normal from accent: 5 of 16 strokes are on the wrong side.",
        "Lower its sensitivity on the module, or choose a straighter velocity curve.",
    ]
    pads = [
        PadLine(voice="kick", words="soft, normal and accent are well apart", done=True),
        PadLine(voice="snare", words="0 of 24 strokes", done=False),
        PadLine(
            voice="high-tom",
            words="nearly the same velocity whatever the stroke",
            done=True,
            is_off=True,
        ),
        *(
            PadLine(voice=voice, words="", done=False)
            for voice in ("hi-hat", "ride", "crash", "floor-tom", "china")
        ),
    ]
    return LoudnessPage(
        theme=theme,
        kit=KIT,
        voice="snare",
        dynamic=Dynamic.ACCENT,
        strokes=strokes,
        bands=bands,
        of=8,
        words=words,
        is_off=True,
        pads=pads,
    )


def triggers_page(theme: Theme, count: int = 9) -> TriggersPage:
    random = Random(5)
    pads = [
        PadTriggers(
            voice=voice,
            seconds=[(random.uniform(8, 45), random.uniform(-30, -4)) for _ in range(12 + place)],
            mask_ms=30.0 if place % 3 else 0.0,
            threshold_db=-26.0 if place % 2 else None,
            words=f"{12 + place} of 96 strokes sounded twice, up to 28 ms later and at least 8 dB "
            "softer: a mask time of 30 ms.",
            stands=(None, True, False)[place % 3],
        )
        for place, voice in enumerate(EVERY_PIECE[:count])
    ]
    page = TriggersPage(
        theme=theme,
        kit=KIT,
        pads=pads,
        words="Crosstalk: the kick sounds on the floor tom in 12 % of its strokes. Raise crosstalk "
        "cancellation on the module, or set the pads further apart.",
    )
    page.drawing.links = [
        Link(start="kick", end="floor-tom", words="12 %", share=0.12),
        Link(start="snare", end="high-tom", words="31 %", share=0.31),
        Link(start="ride", end="crash", words="4 %", share=0.04),
    ]
    return page


def latency_page(theme: Theme) -> LatencyPage:
    random = Random(7)
    errors = [None if n in (3, 11) else random.gauss(14, 9) for n in range(16)]
    return LatencyPage(
        theme=theme,
        kit=KIT,
        now="12 ms ± 3, played along",
        errors_ms=errors,
        median_ms=14.0,
        interval_ms=(9.0, 19.5),
        words=[
            "14 ms, give or take 5.",
            "People come a little early to a click, by some tens of milliseconds, musicians by "
            "less: the true latency is probably a little larger. If you have measured it another "
            "way, type the figure in; or let the kit sound the click itself.",
        ],
    )


def messages_page(theme: Theme) -> MessagesPage:
    page = MessagesPage(
        theme=theme, kit=KIT, port="Some Module MIDI 1", drawing=KitDrawing(EVERY_PIECE)
    )
    for number in range(80):
        page.heard(
            (
                MessageRow(
                    time_s=number * 0.13,
                    words="note 38 on, velocity 96",
                    voice="snare",
                    velocity=96,
                    loudness="normal",
                ),
                MessageRow(time_s=number * 0.13, words="hi-hat pedal (controller 4) at 127"),
                MessageRow(
                    time_s=number * 0.13,
                    words="note 26 on",
                    voice="hi-hat-open",
                    velocity=12,
                    loudness="",
                    dropped="double trigger",
                ),
                MessageRow(
                    time_s=number * 0.13,
                    words="note 99 on, velocity 3",
                    voice=None,
                    velocity=3,
                    loudness="",
                    dropped="unknown pad",
                ),
            )[number % 4]
        )
    page.drawing.strike("snare", 96, 1.9)
    return page


def pad_commands_page(theme: Theme) -> PadCommandsPage:
    calls = [
        ("start, again", "snare"),
        ("next", "ride"),
        ("back", "floor tom"),
        ("slower", "mid tom"),
        ("faster", "high tom"),
        ("leave", ""),
    ]
    return PadCommandsPage(
        theme=theme,
        kit=KIT,
        call="A second of silence, kick twice, then the pad.",
        calls=calls,
        notice="The crash asks for something else already.",
        chosen=2,
    )


PAGES_OF_A_KIT: dict[str, Callable[[Theme], object]] = {
    "kit": kit_page,
    "pads": pads_page,
    "loudness": loudness_page,
    "triggers": triggers_page,
    "latency": latency_page,
    "messages": messages_page,
    "pad-commands": pad_commands_page,
    "ready": ready_page,
}


def also(pads: Mapping[Outcome, str]) -> dict[Outcome, str]:
    """``pads`` with what they mean on a page that offers nothing else of theirs."""
    more = {
        outcome: pads[MEANT[command][0]]
        for command, outcomes in ALSO.items()
        for outcome in outcomes
        if MEANT[command][0] in pads
    }
    return {**pads, **more}
