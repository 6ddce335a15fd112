"""What the player sees: window, pages, chart, gauges, theme."""
