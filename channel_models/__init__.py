"""Floor 2: plug-ins, one physical effect a file, and the grades that stack them."""
