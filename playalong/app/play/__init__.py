"""Playing a pattern: ready, run, grade, again; and hearing it."""
