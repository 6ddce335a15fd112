"""Results that were changed: by chance, and by somebody who computes the digests anew.

Of changes by chance every one must be found. Of the others every changed figure and mark, and every
changed hit, setting or pattern that alters a figure.
"""

import tempfile
from collections import Counter
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from playalong.app.assessment.verifying import verify
from playalong.support.errors import UserError
from tests.helpers.result_changes import CHANGES, changed_by_chance, forged, result_of
from tests.long.frame import Options, Table, generator

FULL_COUNT, SAMPLE_COUNT = 1000, 40

#: By chance, with what is kept as it was.
BY_CHANCE = "by chance"


def _changed(folder: str, seed: int, case: int) -> tuple[str, bool, bool]:
    """Which kind of change, whether it matters, and whether it is found; and what it was."""
    chance = generator(seed, case)
    results = sorted(Path(folder).glob("*.zip"))
    path = results[case % len(results)]
    kinds = (BY_CHANCE,) * len(CHANGES) + tuple(CHANGES)
    kind = kinds[case % len(kinds)]
    if kind == BY_CHANCE:
        before = path.read_bytes()
        data = changed_by_chance(before, chance)
        matters = data != before
    else:
        data, _, matters = forged(path, CHANGES[kind], chance)
    with tempfile.TemporaryDirectory() as made:
        changed = Path(made) / "changed.zip"
        changed.write_bytes(data)
        try:
            is_found = not verify(changed).fits
        except UserError:
            is_found = True
    return kind, matters, is_found


def tables(options: Options) -> Iterator[Table]:
    """Changes by kind: how many, how many matter, how many of these are found."""
    counted: Counter[tuple[str, bool, bool]] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for seed, skill in enumerate(("beginner", "intermediate", "professional")):
            result_of(Path(folder), f"player {seed}", skill, seed=seed)
        cases = range(2 * options.count)  # half of them by chance, half by the kinds in turn
        counted.update(options.map(partial(_changed, folder, options.seed), cases))
    table = Table("changed results", ("change", "times", "matter", "of these found", "others told"))
    for kind in (BY_CHANCE, *CHANGES):
        own = {key[1:]: count for key, count in counted.items() if key[0] == kind}
        matter = own.get((True, True), 0) + own.get((True, False), 0)
        found = own.get((True, True), 0)
        table.row(
            kind,
            sum(own.values()),
            matter,
            found,
            own.get((False, True), 0),
            holds=found == matter and matter > 0,
        )
    yield table
