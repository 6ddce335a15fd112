"""A few hundred damaged files of each kind: told in words, and never a mistake of the program."""

import pytest

from tests.fuzz.damage import samples
from tests.fuzz.kinds import KINDS
from tests.fuzz.trying import tried

#: Where a file takes long, fewer.
COUNTS = {
    "patterns": 200,
    "tabs": 150,
    "scores": 100,
    "midi": 150,
    "profiles": 100,
    "beat maps": 60,
    "store": 40,
}
FEW = 4


@pytest.mark.parametrize("kind", KINDS)
def test_damaged_files_are_told(kind: str, tmp_path, monkeypatch):
    found = tried((kind, COUNTS.get(kind, FEW), 1))
    assert found.failed == []
    assert found.count >= COUNTS.get(kind, FEW)


@pytest.mark.parametrize("kind", KINDS)
def test_every_sample_as_it_is(kind: str):
    sources = KINDS[kind].sources()
    assert sources
    for data in sources:
        KINDS[kind].tries(data)


def test_the_samples_are_read():
    """Else all would be refused at their first byte, and nothing tried."""
    from playalong.pattern.reader import read
    from playalong.records import profiles, takes

    assert len([read(data.decode(), "one") for data in samples("patterns")[:1]]) == 1
    assert [len(takes.from_bytes(data, "one").note) for data in samples("midi")] == [14, 17, 24]
    assert profiles.from_text(samples("profiles")[0].decode(), "one").strokes
