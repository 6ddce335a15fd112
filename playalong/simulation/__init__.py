"""Players and kits that are not there: a simulated player, and a kit with faults."""
