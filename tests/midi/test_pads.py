"""What a kit's messages mean, and guards that swallow nothing that a pattern asks for."""

import json
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.grading.loudness import DEFAULT_BANDS
from playalong.midi.mapping import Mapper
from playalong.midi.pads import LONGEST_MASK_MS, Guard, Pads, Pedal, pad_of
from playalong.pattern.model import Dynamic
from playalong.pattern.reader import read
from playalong.pattern.targets import DYNAMICS, GRACE_S, Targets, lay_out
from playalong.pattern.voices import BY_NAME, BY_NOTE, VOICES, folded, note_of
from playalong.simulation.player import perform
from tests.helpers import letters
from tests.helpers.steady_player import STEADY

NAMES = [voice.name for voice in VOICES]
MASKS = st.floats(0.0, LONGEST_MASK_MS)
GUARDS = st.builds(Guard, MASKS, st.floats(0.0, 127.0))


@st.composite
def pedals(draw: st.DrawFn) -> Pedal:
    ends = draw(st.lists(st.integers(0, 127), min_size=2, max_size=2, unique=True))
    return Pedal(*ends)


PADS = st.builds(
    Pads,
    st.dictionaries(st.integers(0, 127), st.sampled_from(NAMES), max_size=8),
    pedals(),
    st.dictionaries(st.sampled_from(NAMES), GUARDS, max_size=4),
)

#: Lines of a beat, from one stroke to eight, with flams, drags, ghost notes and accents.
BEATS = st.sampled_from([1, 2, 3, 4, 6, 8]).flatmap(
    lambda size: st.text("-xxXgfFd", min_size=size, max_size=size)
)
LINES = st.lists(BEATS, min_size=2, max_size=2).map(" ".join)
ON_PADS = ("snare", "rim-shot", "cross-stick", "hi-hat", "hi-hat-open", "crash", "china", "kick")


@st.composite
def runs(draw: st.DrawFn) -> Targets:
    lines = draw(st.dictionaries(st.sampled_from(ON_PADS), LINES, min_size=1, max_size=4))
    if not any(set(line) - set("- ") for line in lines.values()):
        lines["snare"] = "x x"
    rows = "".join(f'{voice} = "{line}"\n' for voice, line in lines.items())
    pattern = read(f'title = "T"\nmeter = "2/4"\ntempo = 60\n[[bar]]\n{rows}', "t")
    return lay_out(pattern, draw(st.floats(30.0, 300.0)), 2)


def run(lines: str, tempo_bpm: float = 60.0) -> Targets:
    head = 'title = "T"\nmeter = "2/4"\ntempo = 60\n[[bar]]\n'
    return lay_out(read(head + lines, "t"), tempo_bpm, 2)


@cache
def family(voice: str) -> str:
    return folded(voice, ())


def room_s(targets: Targets, number: int) -> tuple[float, float]:
    """The time from the stroke before, on any pad that may be struck for it, to a stroke's first
    sound, and from the stroke to the first sound of the next."""
    first_s, time_s = targets.time_s - targets.graces * GRACE_S, targets.time_s.tolist()
    before, after, at_s = 10.0, 10.0, time_s[number]
    own = targets.names[number]
    for other, (name, other_s) in enumerate(zip(targets.names, time_s, strict=True)):
        if other == number or family(name) != family(own):
            continue
        if other_s < at_s:
            before = min(before, max(0.0, float(first_s[number]) - other_s))
        elif other_s > at_s:
            after = min(after, max(0.0, float(first_s[other]) - at_s))
        elif pad_of(name) == pad_of(own):
            before = after = 0.0
    return before, after


# Strategies are made once: making and checking one costs more than drawing from it.
@cache
def speeds(low: int) -> st.SearchStrategy[int]:
    """Velocities; the same again and again, since only a louder hit is safe from any mask."""
    return st.just(low) | st.integers(low, 127)


OFF = st.sampled_from([-0.3999, 0.3999]) | st.floats(-0.3999, 0.3999)


@cache
def pads_of(voice: str, voices: tuple[str, ...]) -> list[str]:
    """The voices that count as ``voice`` in a pattern with these ``voices``."""
    return [own.name for own in VOICES if folded(own.name, voices) == voice]


@cache
def one_of_pads(voice: str, voices: tuple[str, ...]) -> st.SearchStrategy[str]:
    """One of them."""
    return st.sampled_from(pads_of(voice, voices))


@st.composite
def played(draw: st.DrawFn, targets: Targets) -> list[tuple[float, int, int]]:
    """(seconds, note, velocity) of a player who is within two fifths of the way to the strokes
    beside, and whose grace strokes are within two fifths of where they lie."""
    softest = {Dynamic.GHOST: 10, Dynamic.NORMAL: 24, Dynamic.ACCENT: 24}
    rows = []
    for number, voice in enumerate(targets.names):
        before, after = room_s(targets, number)
        share = draw(OFF)
        at_s = targets.time_s[number] + share * (after if share > 0 else before)
        pads = pads_of(voice, targets.voices)
        note = note_of(draw(one_of_pads(voice, targets.voices)))
        if Pads().voice(note) not in pads:  # a half-open hi-hat has no note of its own
            note = note_of(voice)
        low = softest[DYNAMICS[targets.dynamic[number]]]
        graces = int(targets.graces[number])
        apart_s = GRACE_S * (1.0 - abs(draw(OFF)))
        rows += [(at_s - apart_s * place, note, draw(speeds(10))) for place in range(graces, 0, -1)]
        rows.append((at_s, note, draw(speeds(low))))
    return sorted(rows, key=lambda row: row[0])


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_no_guard_swallows_a_stroke_that_the_pattern_asks_for(data):
    targets = data.draw(runs())
    closest = dict.fromkeys(NAMES, Guard(LONGEST_MASK_MS, 127.0))
    guards = data.draw(st.just(closest) | st.dictionaries(st.sampled_from(NAMES), GUARDS))
    mapper = Mapper(Pads(guards=guards).for_targets(targets))
    rows = data.draw(played(targets))
    hits = [mapper.hit(at_s, bytes((0x99, note, velocity))) for at_s, note, velocity in rows]
    assert [hit and hit.velocity for hit in hits] == [velocity for _, _, velocity in rows]


@pytest.mark.parametrize("tempo_bpm", [60.0, 120.0, 200.0])
@pytest.mark.parametrize("seed", range(3))
def test_no_guard_swallows_a_stroke_of_the_simulated_player(tempo_bpm, seed):
    targets = run('hi-hat = "xxxx xxxx"\nsnare = "gggg Xgdg"\nkick = "x-xx f-xx"\n', tempo_bpm)
    pads = Pads(guards=dict.fromkeys(NAMES, Guard(LONGEST_MASK_MS, 10.0))).for_targets(targets)
    mapper = Mapper(pads)
    sent = [
        (at_s, data) for at_s, data in perform(targets, STEADY, seed).messages if data[0] == 0x99
    ]
    assert all(mapper.hit(at_s, data) for at_s, data in sent)


@settings(max_examples=100, deadline=None)
@given(runs(), st.dictionaries(st.sampled_from(NAMES), GUARDS, max_size=6))
def test_guards_are_lowered_and_never_raised(targets, guards):
    pads = Pads({99: "kick"}, Pedal(3, 90), guards)
    lowered = pads.for_targets(targets)
    assert (lowered.notes, lowered.pedal) == (pads.notes, pads.pedal)
    assert list(lowered.guards) == list(guards)
    for voice, guard in lowered.guards.items():
        assert guard.mask_ms <= guards[voice].mask_ms
        assert guard.threshold <= guards[voice].threshold
        asked = targets.time_s[[family(name) == family(voice) for name in targets.names]]
        gaps_ms = np.diff(np.unique(asked)) * 1000.0
        assert len(gaps_ms) == 0 or guard.mask_ms <= gaps_ms.min() / 2
    assert lowered.for_targets(targets) == lowered


def test_what_is_not_asked_of_a_pad_leaves_its_guard_alone():
    guards = {"snare": Guard(40.0, 60.0), "high-tom": Guard(180.0, 60.0)}
    lowered = Pads(guards=guards).for_targets(run('kick = "x x"\n'))
    assert lowered.guards == guards


@pytest.mark.parametrize(
    ("line", "mask_ms"),
    [
        ("x x", 200.0),  # a second apart: a fifth of it
        ("xx xx", 100.0),
        ("xxxx xxxx", 50.0),
        ("f f", 15.0),  # a grace stroke 30 ms before: half of it
        ("d d", 15.0),
        ("xxxxxxxx xxxxxxxf", 15.0),
    ],
)
def test_a_mask_is_a_fifth_of_the_shortest_gap_or_half_a_grace_stroke(line, mask_ms):
    lowered = Pads(guards={"snare": Guard(200.0)}).for_targets(run(f'snare = "{line}"\n'))
    assert lowered.guards["snare"].mask_ms == pytest.approx(mask_ms)


@pytest.mark.parametrize("voice", ["snare", "rim-shot", "cross-stick"])
def test_a_rim_is_on_its_drums_pad(voice):
    """The rim may have to answer what is written for the head, and lies beside what is."""
    both = run('snare = "x- x-"\nrim-shot = "-x -x"\n')
    lowered = Pads(guards={voice: Guard(200.0)}).for_targets(both)
    assert lowered.guards[voice].mask_ms == pytest.approx(100.0)


def test_strokes_at_one_moment_leave_no_mask_on_one_pad_but_on_two():
    at_once = run('crash = "x x"\nchina = "x x"\nsnare = "x x"\nrim-shot = "x x"\n')
    guards = dict.fromkeys(("crash", "china", "snare", "rim-shot"), Guard(150.0))
    lowered = Pads(guards=guards).for_targets(at_once).guards
    assert lowered["crash"].mask_ms == lowered["china"].mask_ms == 150.0
    assert lowered["snare"].mask_ms == lowered["rim-shot"].mask_ms == 0.0


@pytest.mark.parametrize(("line", "at_most"), [("x X", 24.0), ("x g", 10.0), ("f x", 10.0)])
def test_a_threshold_stays_under_what_is_asked(line, at_most):
    """Under half of where the default bands begin, and under any ghost note that can be heard."""
    lowered = Pads(guards={"snare": Guard(0.0, 100.0)}).for_targets(run(f'snare = "{line}"\n'))
    assert lowered.guards["snare"].threshold == at_most
    assert at_most <= DEFAULT_BANDS.of("snare", Dynamic.NORMAL).low / 2.0


@given(st.integers(0, 127))
def test_without_a_profile_notes_are_those_of_the_table(note):
    assert Pads().voice(note) == (BY_NOTE[note].name if note in BY_NOTE else None)


def test_a_rim_may_be_a_voice_of_its_own_or_its_drum():
    assert Pads().voice(40) == "rim-shot"
    assert Pads({40: "snare"}).voice(40) == "snare"
    assert Pads({40: "snare"}).voice(37) == "cross-stick"


@pytest.mark.parametrize("voice", VOICES, ids=lambda voice: voice.name)
def test_a_pad_is_known_by_a_voice_that_it_folds_into(voice):
    pad = pad_of(voice.name)
    assert pad_of(pad) == pad
    assert folded(voice.name, {pad}) == pad


def test_cymbals_on_their_own_stands_have_their_own_pads():
    assert {pad_of(name) for name in ("crash", "china", "splash")} == {"crash", "china", "splash"}
    assert pad_of("hi-hat-half") == pad_of("hi-hat-open") == "hi-hat"
    assert pad_of("foot-splash") == "hi-hat-pedal"


def test_a_zone_without_a_guard_has_that_of_its_drum():
    pads = Pads(guards={"snare": Guard(30.0), "rim-shot": Guard(10.0)})
    assert pads.guard("rim-shot") == Guard(10.0)
    assert pads.guard("cross-stick") == pads.guard("snare") == Guard(30.0)
    assert pads.guard("kick") == Guard()


@pytest.mark.parametrize(
    ("pedal", "value", "voice"),
    [
        (Pedal(), 0, "hi-hat-open"),
        (Pedal(), 31, "hi-hat-open"),
        (Pedal(), 32, "hi-hat-half"),
        (Pedal(), 82, "hi-hat-half"),
        (Pedal(), 83, "hi-hat"),
        (Pedal(), 127, "hi-hat"),
        (Pedal(127, 0), 0, "hi-hat"),
        (Pedal(127, 0), 127, "hi-hat-open"),
        (Pedal(40, 90), 0, "hi-hat-open"),  # further than it was learned
        (Pedal(40, 90), 65, "hi-hat-half"),
        (Pedal(40, 90), 127, "hi-hat"),
    ],
)
def test_the_pedal_tells_open_half_open_and_closed(pedal, value, voice):
    assert pedal.voice(value) == voice


@given(pedals())
def test_pressing_further_never_opens_the_hi_hat(pedal):
    way = ["hi-hat-open", "hi-hat-half", "hi-hat"]
    step = 1 if pedal.closed > pedal.open else -1
    stages = [way.index(pedal.voice(at)) for at in range(pedal.open, pedal.closed + step, step)]
    assert stages == sorted(stages)
    assert (stages[0], stages[-1]) == (0, 2)


@given(PADS)
def test_pads_come_back_from_a_file(pads):
    assert Pads.from_plain(json.loads(json.dumps(pads.as_plain()))) == pads


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(letters.ANY, max_size=4),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(letters.ANY, max_size=4), inner)
    ),
)
PARTS = st.fixed_dictionaries(
    {},
    optional={
        "notes": st.dictionaries(st.sampled_from(["38", "400", "x"]), JSON, max_size=2) | JSON,
        "pedal": st.fixed_dictionaries({}, optional={"open": JSON, "closed": JSON}) | JSON,
        "guards": st.dictionaries(st.sampled_from(["snare", "x"]), JSON, max_size=2) | JSON,
    },
)


@given(PARTS | JSON)
def test_what_makes_no_sense_is_no_pads(plain):
    pads = Pads.from_plain(plain)
    assert all(name in BY_NAME for name in (*pads.notes.values(), *pads.guards))
    assert all(0 <= note <= 127 for note in pads.notes)
    if not isinstance(plain, dict) or set(plain) != {"notes", "pedal", "guards"}:
        assert pads == Pads()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Pads({128: "snare"}), "from 0 to 127, not 128"),
        (lambda: Pads({-1: "snare"}), "from 0 to 127, not -1"),
        (lambda: Pads({38: "gong"}), "no voice 'gong'"),
        (lambda: Pads(guards={"gong": Guard()}), "no voice 'gong'"),
        (lambda: Guard(-1.0), "mask time"),
        (lambda: Guard(float("nan")), "mask time"),
        (lambda: Guard(0.0, 128.0), "threshold"),
        (lambda: Pedal(64, 64), "must differ"),
        (lambda: Pedal(0, 128), "from 0 to 127"),
    ],
)
def test_what_cannot_be_is_told(make, words):
    with pytest.raises(ValueError, match=words):
        make()
