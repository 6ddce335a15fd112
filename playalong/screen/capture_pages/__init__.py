"""The pages on which a groove is played in, and looked at as it was understood."""
