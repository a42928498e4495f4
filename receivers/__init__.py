"""Floor 2: who listens."""
