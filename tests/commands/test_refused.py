"""What a command cannot use, or cannot do together, is refused in one line, and nothing is written.

Nothing that is typed is passed over in silence.
"""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from playalong.commands import play
from playalong.commands.main import main
from playalong.midi.port import Port
from playalong.profile.profile import Profile
from tests.commands.test_sound_options import song_of_ten_bars

#: What is typed, and what is said of it.
REFUSED = [
    # Said in vain: nothing is heard, seen, asked or written there.
    ("hear p --out x.wav --dark", "--dark does not go with --out"),
    ("hear p --out x.wav --click-to kit", "--click-to does not go with --out"),
    ("hear p --take t.mid --out x.wav --large", "--large does not go with --out"),
    ("hear p --no-click --click-to kit", "--click-to says nothing with --no-click"),
    ("hear p --no-click --count-in 2", "--count-in says nothing with --no-click"),
    ("beats r.wav --tempo 90 --port kit", "--port says nothing"),
    ("beats r.wav --find --sound desk", "--sound says nothing"),
    ("beats r.wav --out x.wav --buffer-ms 20", "--buffer-ms says nothing"),
    ("practice p --plan --seed 3", "--seed says nothing with --plan"),
    ("practice p --plan --fast", "--fast says nothing with --plan"),
    ("practice p --plan --sound-pads", "--sound-pads says nothing with --plan"),
    ("practice p --plan --dark", "--dark says nothing with --plan"),
    ("practice p --plan --capture-ms 80", "--capture-ms says nothing with --plan"),
    ("practice p --plan --strokes s.toml", "--strokes says nothing with --plan"),
    ("practice p --plan --left-handed", "--left-handed says nothing with --plan"),
    ("practice p --plan --player beginner --who Ana", "--who says nothing of a simulated player"),
    ("practice p --player professional --port kit", "--port says nothing of a simulated"),
    ("practice p --player beginner --sound-pads", "--sound-pads says nothing of a simulated"),
    ("practice p --seed 7", "--seed goes with --player"),
    ("practice p --fast --sound desk", "--sound says nothing with --fast"),
    ("practice p --fast --gap 2+2", "--gap says nothing with --fast"),
    ("practice p --fast --click eighths", "--click says nothing with --fast"),
    ("practice p --fast --eighths", "--eighths says nothing with --fast"),
    ("practice p --fast --dark", "--dark says nothing with --fast"),
    ("warmup --list --level beginner", "--level says nothing with --list"),
    ("warmup --list --strokes s.toml", "--strokes says nothing with --list"),
    ("warmup --list --out new", "--out says nothing with --list"),
    ("warmup --list --sound-pads", "--sound-pads says nothing with --list"),
    ("warmup --list --large", "--large says nothing with --list"),
    ("warmup --player beginner --sound-pads", "--sound-pads says nothing of a simulated"),
    ("warmup --fast --dark", "--dark says nothing with --fast"),
    ("warmup --fast --file own.toml --then wide-stairs", "asks for no music"),
    ("assess --list --fast", "--fast says nothing with --list"),
    ("assess first-lessons --list", '"first-lessons" says nothing with --list'),
    ("assess --list --out new", "--out says nothing with --list"),
    ("assess --list --who Ana", "--who says nothing with --list"),
    ("assess first-lessons --fast --large", "--large says nothing with --fast"),
    ("assess first-lessons --player beginner --sound-pads", "--sound-pads says nothing of"),
    ("kit --player professional --who Ana", "--who says nothing of a simulated"),
    ("kit --player professional --watch", "--watch says nothing of a simulated"),
    ("kit --fast --show", "--show says nothing of a simulated"),
    ("kit --fast --latency-ms 4", "--latency-ms says nothing of a simulated"),
    ("kit --fast --click-to kit", "--click-to says nothing with --fast"),
    ("kit --fast --dark", "--dark says nothing with --fast"),
    ("kit --seed 3", "--seed goes with --player"),
    ("kit --save new.toml --seed 3", "--seed does not go with --profile or --save"),
    ("kit --watch --dark", "--dark does not go with --watch"),
    ("kit --watch --show", "--show does not go with --watch"),
    ("kit pads --show", '"pads" does not go with --watch'),
    ("kit latency --latency-ms 4", '"latency" does not go with --watch'),
    ("demo --fast --stay 3", "--stay says nothing with --fast"),
    ("demo --fast --sound-pads", "--sound-pads says nothing with --fast"),
    ("demo --fast --buffer-ms 20", "--buffer-ms says nothing with --fast"),
    ("demo --fast --gap 2+2", "--gap says nothing with --fast"),
    ("demo --fast --click off-beats", "--click says nothing with --fast"),
    ("demo --fast --eighths", "--eighths says nothing with --fast"),
    ("history --yes", "--yes goes with --erase"),
    ("history p --export new", '"p" goes with a list of runs'),
    ("history --limit 3 --broken-off list", "--limit goes with a list of runs"),
    ("history p --erase", '"p" goes with a list of runs'),
    ("history --json --by day", "--by does not go with --json"),
    ("players --simulated --add Ana", "--add says nothing of simulated players"),
    ("players --simulated --choose Ana", "--choose says nothing of simulated players"),
    ("grade late-bus-home t.mid t.mid --hits", "--hits goes with --json"),
    ("grade late-bus-home takes --hits", "--hits goes with --json"),
    ("import t.mid --list --title Verse", "--title says nothing with --list"),
    ("import t.mid --list --bars 1-2", "--bars says nothing with --list"),
    ("import t.mid --list --track 1", "--track says nothing with --list"),
    ("import t.mid --list --out new.toml", "--out says nothing with --list"),
    ("import t.mid --list --force", "--force says nothing with --list"),
    ("import page.tab --channel 10", "--channel is for MIDI files"),
    ("import t.mid --part 1", "--part is for MusicXML"),
    ("export late-bus-home --out new.tab --as-it-sounds", "--as-it-sounds is for MIDI files"),
    ("capture --force", "--force goes with --out"),
    ("report t.mid --weeks 3", "--weeks goes with the weeks of --who"),
    ("remark result.zip --item 2", "--item goes with --eye, --comment or --mark"),
    ("remark result.zip --page", "There is no screen for the page"),
    ("class takes --force", "--force goes with --html or --csv"),
    ("practice strict.toml --plan --tolerance-ms 20", "--tolerance-ms is 50 in this pattern's own"),
    ("practice strict.toml --fast --tolerance-ms 20", "--tolerance-ms is 50 in this pattern's own"),
    # Not to be had together.
    ("demo --click off-beats --eighths", "--click does not go with --eighths"),
    (
        "hear late-bus-home --out x.wav --eighths --click off-beats",
        "--click does not go with --eighths",
    ),
    ("hear late-bus-home --out x.wav --bars 2 --gap 2+2", "--gap begins after 2 bars, and 2 are"),
    ("demo --bars 1 --gap 1+1", "--gap begins after 1 bar, and 1 are played"),
    ("play late-bus-home --with song.wav --bars 11", "has only 10 bars; 11 are asked"),
    ("play late-bus-home --with song.wav --gap 10+2", "--gap begins after 10 bars"),
    ("play p --with song.wav --loop 1-2 --count-in 0 --count-passes", "with --count-in 0"),
    (
        "play late-bus-home --with song.wav --loop 3-6 --bars 8 --faster-after 2",
        "needs 3 passes: choose --bars 12 or more",
    ),
    (
        "play late-bus-home --with song.wav --loop 3-6 --speed 110 --faster-after 2",
        "At a speed of 110 % --faster-after cannot go faster",
    ),
    ("warmup --fast --on pad --then wide-stairs", "cannot be played on one pad"),
    # A file of another kind than its name says, or one that cannot be.
    ("report t.mid --out new.pdf", "call it new.html"),
    ("class takes --html new.csv", "call it new.html"),
    ("class takes --csv new.html", "call it new.csv"),
    ("sheet late-bus-home --out .", "named like another kind of file"),
    ("sheet late-bus-home --out new.doc", "call it new.pdf, new.svg or new.png"),
    ("capture --simulate late-bus-home --seed=-1", '"-1" is no seed'),
]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What is named above and has to be there: a take, a folder of takes, a song, a routine."""
    folder = tmp_path_factory.mktemp("files")
    made = folder / "made"
    assert main(["demo", "--fast", "--bars", "1", "--out", str(made)]) == 0
    (take,) = made.glob("*.mid")
    (folder / "takes").mkdir()
    for copy in (folder / "t.mid", folder / "takes" / "t.mid"):
        shutil.copy(take, copy)
    shutil.rmtree(made)
    song_of_ten_bars(folder)
    practice = "[practice]\nstart = 60\ngoal = 90\ntolerance = 50\n"
    strict = f'title = "S"\nmeter = "4/4"\ntempo = 90\n{practice}[[bar]]\nkick = "x - - -"\n'
    (folder / "strict.toml").write_text(strict)
    (folder / "own.toml").write_text('title = "Feet"\nexercises = ["kick-doubles"]\n')
    return folder


@contextmanager
def nobody_plays(*_: object, **__: object) -> Iterator[tuple[Port | None, Profile]]:
    """A kit that is plugged in."""
    yield None, Profile(kit="", player="")


@pytest.mark.parametrize(("typed", "said"), REFUSED, ids=[typed for typed, _ in REFUSED])
def test_it_is_refused_in_one_line(
    typed: str,
    said: str,
    files: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(files)
    monkeypatch.setattr(play, "playing", nobody_plays)
    before = sorted(files.rglob("*"))
    assert main(typed.split()) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("playalong: ")
    assert err.count("\n") == 1
    assert said in err
    assert sorted(files.rglob("*")) == before
