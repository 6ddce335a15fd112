"""How loud the click is over each stroke: python -m tests.bench.mix

A-weighted levels of the first 50 ms (IEC 61672-1), as they are by themselves and in what is heard.
"""

from playalong.pattern.model import Dynamic
from playalong.sound.mix import SOFT_CLICK_DB
from playalong.sound.synth.click import Kind, sample
from playalong.sound.synth.drums import stroke
from playalong.sound.synth.notes import VELOCITIES
from playalong.sound.timeline import RATE
from tests.sound.a_weighting import level_db


def main() -> None:
    """Print a line for each voice and dynamic."""
    clicks = {kind: level_db(sample(kind, RATE), RATE) for kind in (Kind.ONE, Kind.BEAT)}
    print("click over stroke in dB(A): on 1 and on other beats, by itself and in what is heard")
    for voice in ("hi-hat", "snare", "kick", "ride", "hi-hat-open", "floor-tom"):
        for dynamic in Dynamic:
            own = level_db(stroke(voice, VELOCITIES[dynamic], RATE), RATE)
            over = [click - own for click in clicks.values()]
            soft = [one + SOFT_CLICK_DB for one in over]
            print(
                f"{voice:12} {dynamic:7} by itself {over[0]:5.1f} {over[1]:5.1f}"
                f"   heard {soft[0]:5.1f} {soft[1]:5.1f}"
            )


if __name__ == "__main__":
    main()
