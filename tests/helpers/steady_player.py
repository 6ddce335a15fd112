"""Players for tests that need exactness: narrower than any person, each stroke by itself."""

from dataclasses import replace

from playalong.pattern.voices import Limb
from playalong.simulation.human_touch import Touch
from playalong.simulation.skills import Skill

#: The same for every limb: in the middle of the usual dynamics, and close to it.
FIRM = dict.fromkeys(
    Limb,
    Touch(plain_db=-7.2, spread_db=1.0, ghost_db=-24.0, ghost_spread_db=1.8, accent_db=-1.9),
)

#: Limbs lie where those of professionals do (Fujii et al., Synchronization error of drum kit
#: playing with a metronome at different tempi by professional drummers, Music Perception 28(5),
#: 2011: hi-hat hand about 2 ms, snare hand and kick foot about 10 ms ahead); spreads are ours.
STEADY = Skill(
    error_ms={
        Limb.HAT_HAND: (-2.0, 7.0),
        Limb.SNARE_HAND: (-10.0, 8.0),
        Limb.KICK_FOOT: (-10.0, 9.0),
        Limb.HAT_FOOT: (-6.0, 9.0),
    },
    touch=FIRM,
    by_tempo=False,
)

#: On the click to the microsecond.
EXACT = replace(STEADY, error_ms=dict.fromkeys(Limb, (0.0, 0.0)))

#: As far off as strokes are let, in any direction.
WILD = Skill(
    error_ms=dict.fromkeys(Limb, (0.0, 300.0)),
    touch=dict.fromkeys(Limb, Touch(plain_db=-12.0, spread_db=20.0, ghost_spread_db=20.0)),
)
