"""Shared settings. Test files have unique names: pytest imports them by base name (see DEVELOPERS.md)."""

import os

from hypothesis import settings

settings.register_profile("ci", deadline=None, derandomize=True, max_examples=50, print_blob=True)
settings.register_profile("desk", deadline=None, max_examples=100)
settings.load_profile("desk" if os.environ.get("TAPEWRIGHT_HYPOTHESIS") == "desk" else "ci")
