"""A profile in words: for the lines of the overview, and as a whole for a terminal."""

from collections.abc import Iterable

from playalong.grading.loudness import DEFAULT_BANDS, Bands
from playalong.midi.pads import Guard, Pads, Pedal
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import BY_NAME
from playalong.profile.latency import Latency
from playalong.profile.pad_commands import Command
from playalong.profile.profile import Profile
from playalong.screen.base.page import Outcome
from playalong.screen.kit_pages.overview import PAGES, KitLine
from playalong.support.text import counted

#: What each command is called; START and AGAIN are on one pad, and on no page together.
COMMANDS: dict[Command, str] = {
    Command.START: "start",
    Command.AGAIN: "again",
    Command.NEXT: "next",
    Command.BACK: "back",
    Command.SLOWER: "slower",
    Command.FASTER: "faster",
    Command.LEAVE: "leave",
    Command.SOUND: "sound",
}


def lines(profile: Profile) -> list[KitLine]:
    """How things stand with each page of the kit."""
    pads, strokes = profile.pads, profile.strokes
    pads_are_known = bool(profile.has or pads.notes) or pads.pedal != Pedal()
    said = {
        Outcome.PADS: (_learned(profile), pads_are_known),
        Outcome.LOUDNESS: (_calibrated(profile), bool(strokes)),
        Outcome.TRIGGERS: (_guarded(pads), bool(pads.guards)),
        Outcome.LATENCY: (latency(profile.latency), profile.latency is not None),
        Outcome.PAD_COMMANDS: (_called(profile), bool(profile.calls.pads)),
        Outcome.MESSAGES: ("every message as it comes, and what becomes of it", True),
    }
    return [KitLine(page.outcome, *said[page.outcome]) for page in PAGES]


def latency(known: Latency | None) -> str:
    """A latency, and how it is known."""
    if known is None:
        return "not measured: nothing is taken off"
    spread = "" if known.plus_minus_ms is None else f" ± {known.plus_minus_ms:.0f}"
    # What was measured is no surer than a millisecond; what was typed in stands as it was.
    ms = f"{known.ms:g}" if known.plus_minus_ms is None else f"{known.ms:.0f}"
    return f"{ms} ms{spread}, {known.how}".replace("-", "−")


def loudness(bands: Bands | None, voice: str, velocity: float) -> str:
    """The dynamics whose band a velocity of ``voice`` fits."""
    known = bands or DEFAULT_BANDS
    fitting = [
        dynamic.value
        for dynamic in Dynamic
        if (band := known.of(voice, dynamic)).low <= velocity <= band.high
    ]
    return " or ".join(fitting)


def shown(profile: Profile, more: Iterable[str] = ()) -> list[str]:
    """All that is known of a kit, a line for each thing; ``more`` comes last."""
    pads, calls = profile.pads, profile.calls
    found = [f"{profile.kit}, played by {profile.player}"]
    found.append(f"port: {profile.port or 'none yet'}")
    found.append(f"pads: {_learned(profile)}")
    found += [f"  note {note:3}  {_label(voice)}" for note, voice in sorted(pads.notes.items())]
    found.append(f"pedal: {pads.pedal.open} when let go, {pads.pedal.closed} when pressed")
    found.append(f"double triggers and crosstalk: {_guarded(pads)}")
    found += [f"  {_label(voice)}: {_guard(guard)}" for voice, guard in pads.guards.items()]
    found.append(f"loudness: {_calibrated(profile)}")
    bands = profile.bands
    if bands is not None:
        measured = dict.fromkeys(voice for voice, _ in bands.by_voice)
        found += [f"  {_label(voice)}: {_bands(bands, voice)}" for voice in measured]
    found.append(f"latency: {latency(profile.latency)}")
    found.append(f"sticks in hand: {calls.words()}")
    found += [
        f"  {_label(voice)}: {COMMANDS[command]}" for command, voice in calls.pads.items() if voice
    ]
    return [*found, *more]


def _label(voice: str) -> str:
    return BY_NAME[voice].label


def _learned(profile: Profile) -> str:
    notes = _notes(profile.pads)
    return f"{_pads(len(profile.has))} learned: {notes}" if profile.has else notes


def _notes(pads: Pads) -> str:
    count = len(pads.notes)
    if not count:
        return "the usual note numbers"
    return f"{count} {'note differs' if count == 1 else 'notes differ'} from the usual numbers"


def _calibrated(profile: Profile) -> str:
    voices = list(profile.strokes)
    if not voices:
        return "not calibrated: heard against your own strokes"
    whole = [voice for voice in voices if all(profile.strokes[voice].get(d) for d in Dynamic)]
    if not whole:
        return f"first strokes on {', '.join(_label(voice) for voice in voices)}"
    names = ", ".join(_label(voice) for voice in whole)
    return f"{_pads(len(whole))} calibrated: {names}"


def _guarded(pads: Pads) -> str:
    if not pads.guards:
        return "no guards"
    names = ", ".join(_label(voice) for voice in pads.guards)
    return f"guards on {_pads(len(pads.guards))}: {names}"


def _guard(guard: Guard) -> str:
    said = []
    if guard.mask_ms:
        said.append(f"mask time {guard.mask_ms:g} ms")
    if guard.threshold:
        said.append(f"threshold {guard.threshold:g}")
    return ", ".join(said) or "nothing is kept out"


def _bands(bands: Bands, voice: str) -> str:
    pairs = ((dynamic.value, bands.by_voice.get((voice, dynamic))) for dynamic in Dynamic)
    return ", ".join(f"{name} {band.low:.0f} to {band.high:.0f}" for name, band in pairs if band)


def _called(profile: Profile) -> str:
    calls = profile.calls
    if not calls.pads:
        return "no pad works the program"
    return f"the {_label(calls.call)} twice, then a pad twice"


def _pads(count: int) -> str:
    return counted(count, "pad")
