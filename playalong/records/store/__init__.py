"""The store: one SQLite file in which everything is kept that a player leaves.

``schema`` says what is in it, ``database`` opens it and says plainly what is wrong with it; the
other modules each keep one kind of thing. Times are seconds of the take; dates are ISO 8601 with
their offset from universal time.
"""
