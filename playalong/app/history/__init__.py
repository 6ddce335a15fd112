"""History: what was practised when, and what came of it; runs opened again, and broken-off ones."""
