"""Which hit answers which target: windows, exact assignment, live and from a file. Pure."""
