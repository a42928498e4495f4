"""Shared settings. Test files have unique names: pytest imports them by base name (see DEVELOPERS.md)."""

import os

from hypothesis import HealthCheck, settings

# How long an example takes to draw is a matter of the machine's load, not a law.
SLOW = [HealthCheck.too_slow]
settings.register_profile(
    "ci", deadline=None, suppress_health_check=SLOW, derandomize=True, max_examples=50, print_blob=True
)
settings.register_profile("desk", deadline=None, max_examples=100)
settings.load_profile("desk" if os.environ.get("TAPEWRIGHT_HYPOTHESIS") == "desk" else "ci")
