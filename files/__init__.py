"""Floor 2: program files and recordings, in and out."""
