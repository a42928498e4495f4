"""Floor 1: compiled inner loops. Arrays in, arrays out, no policy."""
