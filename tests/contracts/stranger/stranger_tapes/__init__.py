"""Somebody else's plug-ins: one of each kind, written against the public contracts alone."""
