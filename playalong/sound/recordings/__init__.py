"""Recordings that the player owns: decoded, searched for beats, stretched."""
