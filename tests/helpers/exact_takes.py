"""Takes without a fault, hit by hit as written, and how laws about takes are tried."""

import numpy as np
from hypothesis import HealthCheck, settings

from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, GRACE_S, Targets

#: A velocity in the middle of each default band.
FITTING = {Dynamic.GHOST: 30.0, Dynamic.NORMAL: 84.0, Dynamic.ACCENT: 112.0}
_VELOCITY = np.array([FITTING[dynamic] for dynamic in DYNAMICS])


def law(examples: int) -> settings:
    """Hypothesis without a clock: a busy machine must not make a test fail."""
    return settings(
        max_examples=examples,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    )


def faultless(targets: Targets) -> Hits:
    """Each main stroke on its target at a fitting velocity; grace strokes left out."""
    return Hits.sorted(targets.time_s, targets.voice, _VELOCITY[targets.dynamic])


def with_graces(targets: Targets, hits: Hits) -> Hits:
    """``hits``, one for each target in their order, and the grace strokes that belong to them."""
    main = np.repeat(np.arange(len(targets)), targets.graces)
    ahead = np.concatenate([np.arange(n, 0, -1) for n in targets.graces.tolist()])
    return Hits.sorted(
        np.append(hits.time_s, hits.time_s[main] - GRACE_S * ahead),
        np.append(hits.voice, hits.voice[main]),
        np.append(hits.velocity, hits.velocity[main] / 2.0),
    )


def as_list(hits: Hits) -> list[Hit]:
    """The hits one by one."""
    return [hits[number] for number in range(len(hits))]
