"""The first page, and the pages that lead from it into a run: patterns, settings, first start."""
