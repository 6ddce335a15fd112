"""The caution that goes with playing, wherever it is shown."""

CAUTION = (
    "Start quiet, rest between runs, and stop on pain or ringing in the ears; "
    "if it stays, ask a physician or an audiologist."
)
