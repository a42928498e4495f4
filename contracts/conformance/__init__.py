"""The conformance kit: what any plug-in, ours or a stranger's, must pass.

Use it from any test runner; it needs none. With pytest::

    from tapewright.contracts.conformance import checks_for

    @pytest.mark.parametrize("check", checks_for("codec", "contents/my_code:tone_hz=900"), ids=str)
    def test_conforms(check):
        check()

A check raises AssertionError where the law is broken, and ``Exempt`` (which pytest and unittest show as a skip with its
reason) where it cannot apply. A plug-in says so itself in its class attribute ``exemptions``: name to reason. A
plug-in must be installed, so that its name is registered. Compare the checks run with ``EXPECTED``.
"""

from .check import Check, Exempt
from .kit import EXPECTED, checks_for, kinds_of

__all__ = ["EXPECTED", "Check", "Exempt", "checks_for", "kinds_of"]
