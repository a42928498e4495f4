"""The sample rate of the captures that tests share."""

LOW_RATE_HZ = 32_000
"""The lowest that a test recording has: captures are quickest to make and to measure."""
