"""`playalong grade`: what scripts may rely on, and how a take is held against its pattern."""

import json
from pathlib import Path

import mido
import numpy as np
import pytest

from playalong.commands.main import main

PATTERN = """
title = "A Test"
meter = "4/4"
tempo = 120
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- Xg -- X-"
kick   = "x- -- x- --"
[variation.more]
kick = "-- -x -- --"
"""
NOTE = {"hi-hat": 42, "snare": 38, "kick": 36}
BAR_S = 2.0
#: (beats, voice, velocity) of a bar as it should be.
BAR = [
    *[(eighth / 2, "hi-hat", 84) for eighth in range(8)],
    (1.0, "snare", 114),
    (1.5, "snare", 30),
    (3.0, "snare", 114),
    (0.0, "kick", 90),
    (2.0, "kick", 90),
]


@pytest.fixture
def pattern(tmp_path: Path) -> Path:
    path = tmp_path / "a-test.toml"
    path.write_text(PATTERN)
    return path


def save(path: Path, hits: list[tuple[float, int, float]], channel: int = 9) -> Path:
    """A file of notes (seconds, note, velocity) as a sequencer writes it, to 1/20 ms."""
    file = mido.MidiFile(ticks_per_beat=10_000)
    track = mido.MidiTrack()
    last = 0
    for second, note, velocity in sorted(hits):
        tick = round(second * 20_000)
        track.append(
            mido.Message(
                "note_on", channel=channel, note=note, velocity=round(velocity), time=tick - last
            )
        )
        last = tick
    file.tracks.append(track)
    file.save(path)
    return path


def bars(count: int, late_s: float = 0.0, stretch: float = 1.0) -> list[tuple[float, int, float]]:
    return [
        (late_s + stretch * (bar * BAR_S + beat * 0.5), NOTE[voice], velocity)
        for bar in range(count)
        for beat, voice, velocity in BAR
    ]


def grade(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict:
    assert main(["grade", *map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_keys_that_scripts_rely_on(pattern, tmp_path, capsys):
    told = grade(capsys, pattern, save(tmp_path / "t.mid", bars(2)), "--hits")
    assert set(told["counts"]) == {
        *("targets", "matched", "on_time", "early", "late", "missed", "extra"),
        *("wrong_drum", "too_loud", "too_soft", "not_open", "not_closed"),
        *("flam_flat", "flam_wide", "drag_open", "grace_loud", "grace_missing"),
        *("roll_short", "roll_long", "roll_broken", "roll_uneven"),
    }
    assert {"mean_ms", "sd_ms", "median_ms", "by_voice"} <= set(told["timing"])
    assert set(told["timing"]["by_voice"]) == {"hi-hat", "snare", "kick"}
    assert set(told["timing"]["by_voice"]["kick"]) == {"n", "mean_ms", "sd_ms"}
    assert {"tempo_bpm", "drift_percent", "residual_sd_ms"} <= set(told["steadiness"])
    assert set(told["dynamics"]["ghost_contrast_db"]) == {"snare"}
    assert {"n", "median_ms", "p90_ms"} <= set(told["unison"])
    assert told["score"]["total"] == 100
    assert told["pattern"] == "a-test"
    assert told["tempo_bpm"] == 120
    assert told["bars"] == 2
    assert isinstance(told["advice"], str)
    assert set(told["hits"][0]) >= {
        *("time_s", "voice", "velocity", "target", "error_ms", "verdict", "loudness"),
    }
    assert len(told["hits"]) == 2 * len(BAR)
    assert "hits" not in grade(capsys, pattern, tmp_path / "t.mid")


def test_a_faultless_take(pattern, tmp_path, capsys):
    told = grade(capsys, pattern, save(tmp_path / "t.mid", bars(4)))
    right = dict.fromkeys(("targets", "matched", "on_time"), 52)
    assert told["counts"] == dict.fromkeys(told["counts"], 0) | right
    assert told["score"]["total"] == 100
    assert told["level"] == "intermediate"
    assert told["timing"]["mean_ms"] == 0
    # Levels by the Downloadable Sounds curve: 40 * log10(30 / 114).
    assert told["dynamics"]["ghost_contrast_db"]["snare"] == pytest.approx(
        40 * np.log10(30 / 114), abs=1e-6
    )


def test_each_fault_is_counted_once(pattern, tmp_path, capsys):
    hits = bars(2)
    hits.remove((0.5, 42, 84))  # missed
    hits.remove((1.0, 36, 90))
    hits.append((1.01, 43, 90))  # the kick, on the floor tom
    hits.append((0.25, 38, 60))  # extra
    hits.remove((3.5, 42, 84))
    hits.append((3.55, 42, 84))  # late
    hits.remove((2.75, 38, 30))
    hits.append((2.75, 38, 100))  # a loud ghost note
    counts = grade(capsys, pattern, save(tmp_path / "t.mid", hits))["counts"]
    assert counts["missed"] == 1
    assert counts["wrong_drum"] == 1
    assert counts["extra"] == 1
    assert counts["late"] == 1
    assert counts["too_loud"] == 1
    assert counts["matched"] == counts["targets"] - 2 == 24


def test_the_one_after_the_last_bar_belongs_to_no_bar(pattern, tmp_path, capsys):
    for ending_s in (3.96, 4.0, 4.05):
        take = save(tmp_path / "t.mid", [*bars(2), (ending_s, 49, 110), (ending_s, 36, 100)])
        told = grade(capsys, pattern, take)
        assert told["bars"] == 2
        assert told["score"]["total"] == 100


def test_start_and_bars(pattern, tmp_path, capsys):
    take = save(tmp_path / "t.mid", bars(4, late_s=1.25))
    told = grade(capsys, pattern, take, "--start", "1.25", "--bars", "3")
    assert told["counts"]["targets"] == told["counts"]["on_time"] == 39
    assert told["counts"]["extra"] == 0


def test_a_variation_is_added(pattern, tmp_path, capsys):
    take = save(tmp_path / "t.mid", [*bars(1), (0.75, 36, 90)])
    assert grade(capsys, pattern, take)["counts"]["extra"] == 1
    told = grade(capsys, pattern, take, "--variation", "more")
    assert told["counts"]["targets"] == told["counts"]["matched"] == 14


@pytest.mark.parametrize("late_ms", [-25, 0, 12, 30])
def test_shifting_a_take_moves_the_mean(pattern, tmp_path, capsys, late_ms):
    take = save(tmp_path / "t.mid", bars(2, late_s=0.5 + late_ms / 1000))
    told = grade(capsys, pattern, take, "--start", "0.5")
    assert told["timing"]["mean_ms"] == pytest.approx(late_ms, abs=1e-6)
    assert told["counts"]["on_time"] == 26


@pytest.mark.parametrize("faster_percent", [-4.0, 3.0])
def test_a_drift_is_told_and_the_grade_stays_on_the_click(
    pattern, tmp_path, capsys, faster_percent
):
    """Another even tempo over 32 bars: most of it is off the click, and why is told."""
    take = save(tmp_path / "t.mid", bars(32, stretch=1 / (1 + faster_percent / 100)))
    told = grade(capsys, pattern, take, "--bars", "32")
    assert not told["followed"]
    assert told["counts"]["matched"] < 0.7 * told["counts"]["targets"]
    assert told["steadiness"]["drift_percent"] == pytest.approx(faster_percent, abs=0.05)
    assert told["steadiness"]["trend"] == "steady"
    assert main(["grade", str(pattern), str(take)]) == 0
    assert "--start auto and --tempo auto follow you" in capsys.readouterr().out
    asked = grade(capsys, pattern, take, "--tempo", "auto")
    assert asked["followed"]
    assert asked["bars"] == 32
    assert asked["tempo_bpm"] == pytest.approx(120 * (1 + faster_percent / 100), abs=0.1)
    assert asked["counts"]["missed"] == asked["counts"]["extra"] == 0


@pytest.mark.parametrize("after_s", [0.4, 3.7, 400.0])
def test_a_stray_last_note_adds_no_bar(pattern, tmp_path, capsys, after_s):
    take = save(tmp_path / "t.mid", [*bars(4), (4 * BAR_S + after_s, NOTE["snare"], 40)])
    told = grade(capsys, pattern, take)
    assert told["bars"] == 4
    assert told["counts"]["missed"] == 0
    followed = grade(capsys, pattern, take, "--start", "auto", "--tempo", "auto")
    assert followed["bars"] == 4
    assert followed["counts"]["missed"] == 0


def test_start_and_tempo_are_found(pattern, tmp_path, capsys):
    chance = np.random.default_rng(4)
    hits = [
        (second + chance.normal(0, 0.008), note, velocity)
        for second, note, velocity in bars(12, late_s=5.3, stretch=120 / 105)
    ]
    take = save(tmp_path / "t.mid", hits)
    told = grade(capsys, pattern, take, "--start", "auto", "--tempo", "auto")
    assert told["followed"]
    assert told["start_s"] == pytest.approx(5.3, abs=0.02)
    assert told["tempo_bpm"] == pytest.approx(105, abs=0.1)
    assert told["counts"]["matched"] == told["counts"]["targets"] == 12 * 13
    assert told["counts"]["extra"] == 0


def test_a_soft_kit_is_heard_against_itself(pattern, tmp_path, capsys):
    """Ghost notes at 12, strokes at 60."""
    soft = {30: 12, 114: 60}
    hits = [(t, n, soft.get(v, v)) for t, n, v in bars(4)]
    told = grade(capsys, pattern, save(tmp_path / "t.mid", hits))
    assert told["counts"]["too_soft"] == told["counts"]["too_loud"] == 0
    loud = [(t, n, 55 if v == 12 else v) for t, n, v in hits]
    told = grade(capsys, pattern, save(tmp_path / "t.mid", loud))
    assert told["counts"]["too_loud"] == 4  # every ghost note


def test_a_level_says_how_strict(pattern, tmp_path, capsys):
    take = save(tmp_path / "t.mid", bars(2, late_s=0.04))
    for level, on_time in (
        ("beginner", 26), ("intermediate", 26), ("advanced", 0), ("professional", 0),
    ):  # fmt: skip
        told = grade(capsys, pattern, take, "--level", level)
        assert (told["level"], told["counts"]["on_time"]) == (level, on_time)
    told = grade(capsys, pattern, take, "--level", "professional", "--tolerance-ms", "40")
    assert told["counts"]["on_time"] == 26


def test_a_measured_kit_makes_nothing_stricter(pattern, tmp_path, capsys):
    strokes = tmp_path / "strokes.toml"
    strokes.write_text(
        "[snare]\nghost = [90, 100, 112]\nnormal = [113, 114, 115]\naccent = [120, 124, 127]\n"
    )
    told = grade(capsys, pattern, save(tmp_path / "t.mid", bars(4)), "--strokes", strokes)
    assert told["counts"]["too_soft"] == told["counts"]["too_loud"] == 0
    loud = save(tmp_path / "u.mid", [(t, n, 105 if v == 30 else v) for t, n, v in bars(4)])
    assert grade(capsys, pattern, loud)["counts"]["too_loud"] == 4
    told = grade(capsys, pattern, loud, "--strokes", strokes)
    assert told["counts"]["too_loud"] == 0
    assert told["dynamics"]["bands"] == "the player's own strokes"


def test_other_channels_and_unknown_pads(pattern, tmp_path, capsys):
    told = grade(capsys, pattern, save(tmp_path / "a.mid", bars(2), channel=3))
    assert told["counts"]["matched"] == 26
    take = save(tmp_path / "b.mid", [*bars(2), (0.3, 76, 90), (1.3, 76, 90)])
    assert main(["grade", str(pattern), str(take)]) == 0
    assert "2 notes of no known pad were left out: 76." in capsys.readouterr().out


def test_the_table_for_people(pattern, tmp_path, capsys):
    hits = [(t + (0.055 if n == 36 else 0.0), n, v) for t, n, v in bars(4)]
    assert main(["grade", str(pattern), str(save(tmp_path / "t.mid", hits)), "--hits"]) == 0
    out = capsys.readouterr().out
    assert "A Test, 4 bars at 120 bpm" in out
    assert "44 of 52" in out
    assert "The kick" in out
    assert "55 ms" in out
    assert out.count("+55.0 ms  late") == 8
