"""The kit on the wire: ports, time stamps, note mapping, the simulated player."""
