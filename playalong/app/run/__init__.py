"""One run in real time: the loop, what it hears, and what interrupts it."""
