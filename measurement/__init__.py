"""Floor 2: what a real capture says of a deck and a tape."""
