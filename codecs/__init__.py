"""Floor 2: plug-ins that turn programs into sound and back: line codes, layers, and the ready stacks."""
