"""The sheet that scrolls, and the gauges under it."""
