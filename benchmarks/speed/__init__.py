"""The performance suite."""
