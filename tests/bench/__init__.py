"""Benchmarks: figures, most of them as ratios measured in one run. ``python -m tests.bench``."""
