"""Floor 2: pictures and pages made from plain records."""
