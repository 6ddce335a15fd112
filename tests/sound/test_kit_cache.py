"""The kept sounds of the kit: the same bits as made, or none at all."""

from threading import Thread

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from playalong.sound.synth import drums, kit_cache
from playalong.sound.synth.drums import LAYERS, stroke, warm

RATE = 24_000
LAYERS_MADE = [np.linspace(0, 1, size, dtype=np.float32) for size in (1, 50, 333)]


@pytest.fixture
def cache(tmp_path, monkeypatch):
    """An empty folder, made only when something is written."""
    folder = tmp_path / "cache" / "drums"
    monkeypatch.setattr(kit_cache, "folder", lambda: folder)
    forget()
    yield folder
    forget()


def forget() -> None:
    """As in a new process."""
    for cached in (drums._layer, drums._made_by, drums._cached, drums._hardest):
        cached.cache_clear()


def same(found, expected) -> bool:
    return (
        found is not None
        and len(found) == len(expected)
        and all(
            one.dtype == other.dtype and np.array_equal(one, other)
            for one, other in zip(found, expected, strict=True)
        )
    )


def strokes() -> list[bytes]:
    return [stroke("cowbell", velocity, RATE).tobytes() for velocity in range(1, 128)]


def test_what_was_kept_is_read_and_not_made_and_is_the_same(cache, monkeypatch):
    made = strokes()
    warm(["cowbell"], RATE)
    assert [path.name for path in cache.iterdir()] == [f"cowbell-{RATE}.npz"]
    forget()

    def none(*_):
        raise AssertionError("made again")

    monkeypatch.setattr(drums, "mixed", none)
    assert strokes() == made
    with pytest.raises(AssertionError, match="made again"):
        stroke("cross-stick", 84, RATE)


def test_a_stroke_alone_writes_nothing(cache):
    stroke("cowbell", 84, RATE)
    assert not cache.exists()


def test_warming_again_writes_nothing_anew(cache):
    warm(["cowbell"], RATE)
    (path,) = cache.iterdir()
    before = path.stat().st_mtime_ns, path.stat().st_ino
    forget()
    warm(["cowbell"], RATE)
    assert (path.stat().st_mtime_ns, path.stat().st_ino) == before


def test_other_figures_make_the_voice_anew(cache, monkeypatch):
    warm(["cowbell"], RATE)
    old = strokes()
    changed = {**drums._DRUMS, "cowbell": drums._DRUMS["cross-stick"]}
    monkeypatch.setattr(drums, "_DRUMS", changed)
    forget()
    new = strokes()
    assert new != old
    warm(["cowbell"], RATE)
    forget()
    assert drums._cached("cowbell", RATE) is not None
    assert strokes() == new


def test_a_key_stands_for_the_figures_and_for_every_byte_of_the_sources(tmp_path):
    source = tmp_path / "source.py"
    source.write_text("a = 1\n")
    keys = {kit_cache.key((1.0, 2.0), str(source)), kit_cache.key((1.0, 2.5), str(source))}
    source.write_text("a = 2\n")
    keys.add(kit_cache.key((1.0, 2.0), str(source)))
    keys.add(kit_cache.key((1.0, 2.0)))
    assert len(keys) == 4
    assert kit_cache.key((1.0, 2.0)) in keys


def test_another_key_rate_or_voice_is_not_there(cache):
    kit_cache.write("cowbell", RATE, "a", arrays=LAYERS_MADE)
    assert same(kit_cache.read("cowbell", RATE, "a"), LAYERS_MADE)
    assert kit_cache.read("cowbell", RATE, "b") is None
    assert kit_cache.read("cowbell", 2 * RATE, "a") is None
    assert kit_cache.read("crash", RATE, "a") is None


@given(data=st.data())
@settings(
    deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=200
)
def test_a_damaged_file_is_no_file(cache, data):
    """Cut off anywhere, or with any of its bytes changed: the same bits, or nothing."""
    kit_cache.write("cowbell", RATE, "a", arrays=LAYERS_MADE)
    (path,) = cache.iterdir()
    whole = bytearray(path.read_bytes())
    place = data.draw(st.integers(0, len(whole) - 1))
    if data.draw(st.booleans()):
        whole[place] ^= data.draw(st.integers(1, 255))
    else:
        del whole[place:]
    path.write_bytes(whole)
    found = kit_cache.read("cowbell", RATE, "a")
    assert found is None or same(found, LAYERS_MADE)


def test_a_broken_file_is_mended_by_the_next_to_make_the_voice(cache):
    warm(["cowbell"], RATE)
    made = strokes()
    (path,) = cache.iterdir()
    path.write_bytes(b"no sound")
    forget()
    assert strokes() == made
    warm(["cowbell"], RATE)
    forget()
    assert len(drums._cached("cowbell", RATE)) == 4 * LAYERS
    assert strokes() == made


def test_a_folder_that_cannot_be_had_hurts_nothing(cache):
    cache.parent.mkdir()
    cache.write_text("a file in its place")
    warm(["cowbell"], RATE)
    assert len(strokes()) == 127
    assert cache.read_text() == "a file in its place"


def test_a_file_that_cannot_be_put_in_its_place_leaves_nothing_behind(cache):
    in_the_way = cache / f"cowbell-{RATE}.npz"
    in_the_way.mkdir(parents=True)
    (in_the_way / "kept").touch()
    warm(["cowbell"], RATE)
    assert list(cache.iterdir()) == [in_the_way]


def test_sources_that_cannot_be_read_mean_no_cache(cache, monkeypatch):
    def none(*_):
        raise FileNotFoundError

    monkeypatch.setattr(kit_cache, "key", none)
    warm(["cowbell"], RATE)
    assert not cache.exists()


def test_who_reads_while_another_writes_gets_a_whole_file(cache):
    kit_cache.write("cowbell", RATE, "a", arrays=LAYERS_MADE)
    writer = Thread(
        target=lambda: [
            kit_cache.write("cowbell", RATE, "a", arrays=LAYERS_MADE) for _ in range(50)
        ]
    )
    writer.start()
    found = [kit_cache.read("cowbell", RATE, "a") for _ in range(50)]
    writer.join()
    assert all(same(layers, LAYERS_MADE) for layers in found)
