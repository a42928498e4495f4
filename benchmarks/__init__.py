"""Floor 3: studies, trials, statistics, and what follows from them."""
