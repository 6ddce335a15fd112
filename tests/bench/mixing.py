"""What finding the variations of a bar costs: python -m tests.bench.mixing

A bar in which twelve variations of one or two strokes each are allowed, 4096 combinations, played
by the simulated player with a combination by chance. Prints the processor time of a bar.
"""

import time

import numpy as np

from playalong.grading.hits import Hit, Hits
from playalong.kit.player import SKILLS, perform
from playalong.pattern.targets import lay_out
from playalong.pattern.text import read
from playalong.practice.calling import mixed
from playalong.practice.mixing import Explainer

BARS = 200

PATTERN = read(
    """
title = "Twelve Ways"
meter = "4/4"
tempo = 92
[[bar]]
hi-hat = "x-x- x-x- x-x- x-x-"
snare  = "---- X--- ---- X---"
kick   = "x--- ---- x-x- ----"
"""
    + "".join(
        f'[variation.v{number}]\n{voice} = "{line}"\n'
        for number, (voice, line) in enumerate(
            [
                ("kick", "-x-- ---- ---- ----"),
                ("kick", "--x- ---- ---- ----"),
                ("kick", "---x ---- ---- ----"),
                ("kick", "---- --x- ---- ----"),
                ("kick", "---- ---x ---- ----"),
                ("kick", "---- ---- -x-x ----"),
                ("kick", "---- ---- ---- --xx"),
                ("snare", "--g- ---- ---- ----"),
                ("snare", "---- -g-g ---- ----"),
                ("snare", "---- ---- g--- ----"),
                ("snare", "---- ---- ---g -g--"),
                ("hi-hat", "---- ---- ---- ---x"),
            ]
        )
    ),
    "twelve-ways",
)


def bar_times_ms() -> list[float]:
    """The processor time of each bar, in milliseconds."""
    chance = np.random.default_rng(1)
    names = list(PATTERN.variations)
    explainer = Explainer(PATTERN, PATTERN.tempo)
    times_ms = []
    for seed in range(BARS):
        chosen = tuple(name for name in names if chance.random() < 0.5)
        targets = lay_out(mixed(PATTERN, [chosen]), PATTERN.tempo)
        hits = played(perform(targets, SKILLS["steady"], seed).messages)
        before_s = time.process_time()
        explainer.explain(hits)
        times_ms.append((time.process_time() - before_s) * 1000.0)
    return times_ms


def played(messages: tuple[tuple[float, bytes], ...]) -> list[Hit]:
    """The hits behind the messages of a simulated player."""
    rows = [(at_s, data[1], data[2]) for at_s, data in messages if data[0] == 0x99]
    time_s, note, velocity = (np.array(column) for column in zip(*rows, strict=True))
    hits, _ = Hits.of_notes(time_s.astype(float), note, velocity.astype(float))
    return [hits[number] for number in range(len(hits))]


def main() -> None:
    """Print the figures."""
    times_ms = bar_times_ms()
    print(
        f"{2 ** len(PATTERN.variations)} combinations: {np.median(times_ms):.1f} ms a bar, "
        f"slowest {max(times_ms):.1f} ms"
    )


if __name__ == "__main__":
    main()
