"""What finding the variations of a bar costs: python -m tests.bench.mixing

A bar in which twelve variations of one or two strokes each are allowed, 4096 combinations, played
by the simulated player with a combination by chance. Prints the processor time of a bar.
"""

import time

import numpy as np

from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.practice.variations.calling import mixed
from playalong.practice.variations.mixing import Explainer
from tests.practice.making import steady_player

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
        hits = steady_player(targets, seed)
        before_s = time.process_time()
        explainer.explain(hits)
        times_ms.append((time.process_time() - before_s) * 1000.0)
    return times_ms


def main() -> None:
    """Print the figures."""
    times_ms = bar_times_ms()
    print(
        f"{2 ** len(PATTERN.variations)} combinations: {np.median(times_ms):.1f} ms a bar, "
        f"slowest {max(times_ms):.1f} ms"
    )


if __name__ == "__main__":
    main()
