"""Long checks, with full counts: python -m tests.long NAME [--count N] [--seed N].

A module here is a check. Its docstring's first line says what it checks, and it has

    FULL_COUNT      how many cases the whole check has
    SAMPLE_COUNT    how many of them ``--sample`` takes, as CI does: a minute at the most
    tables(options) yields one ``Table`` or more, printed as they come

and, if it wants takes by drummers, NEEDS_TAKES = True. A row that does not hold makes the command
end with 1. The same count and seed give the same table, whatever the number of processes:
case i draws from ``generator(options.seed, i)``.
"""
