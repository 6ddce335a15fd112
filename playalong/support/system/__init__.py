"""What a program asks of the system that it runs in: signals, processes, standard error."""
