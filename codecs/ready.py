"""The ready stacks: usable wherever a spec is."""

from ..contracts.preset import Preset

PLAIN_CLOCKED = Preset("plain-clocked", "clocked", "Two tracks, clock and data: what relays alone can read. No check.")
PLAIN_BIPHASE = Preset("plain-biphase", "contents/biphase", "Self-clocking at 1,200 bit/s with one check over all.")
STANDARD_300 = Preset("standard-300", "fsk", "The two-tone standard published in 1976 at 300 baud. No check.")
STURDY = Preset(
    "sturdy",
    "contents/rs:parity_bytes=32/interleave:depth=64/frame:block_bytes=128/biphase:bit_rate_hz=1200",
    "Blocks with Reed-Solomon correction over a self-clocking code.",
)
