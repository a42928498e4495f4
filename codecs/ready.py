"""The ready stacks: usable wherever a spec is."""

from ..contracts.preset import Preset

PLAIN_CLOCKED = Preset("plain-clocked", "clocked", "Two tracks, clock and data: what relays alone can read. No check.")
CLOCKED_PARITY = Preset(
    "clocked-parity",
    "parity/clocked:group_bits=9",
    "The same with a parity bit a byte: a relay machine stops at the first bad byte.",
)
CLOCKED_VOTED = Preset(
    "clocked-voted",
    "vote/clocked:group_bits=24,clock_track=right",
    "Each byte three times, two of which decide by contacts alone; the clock on the inner track.",
)
RAILS_PLAIN = Preset(
    "rails-plain",
    "dual_rail",
    "A burst on one track is 0, on the other 1: relays that no skew can put out of step. No check.",
)
RAILS_PARITY = Preset(
    "rails-parity",
    "parity/dual_rail:group_bits=9",
    "Rails with a parity bit a byte: a relay machine stops at the first bad byte.",
)
RAILS_COUNTED = Preset(
    "rails-counted",
    "ones_count/dual_rail",
    "Rails with one count of ones after all: a relay machine lights a lamp if it is another.",
)
RAILS_PAIRED = Preset(
    "rails-paired",
    "parity/two_tone_rails:group_bits=9",
    "Rails of two tones, two bits a burst, with a parity bit a byte: a filter a track in a relay machine.",
)
PLAIN_BIPHASE = Preset("plain-biphase", "contents/biphase", "Self-clocking at 1,200 bit/s with one check over all.")
STANDARD_300 = Preset("standard-300", "fsk", "The two-tone standard published in 1976 at 300 baud. No check.")
STURDY = Preset(
    "sturdy",
    "contents/rs:parity_bytes=32/interleave:depth=64/frame:block_bytes=128/biphase:bit_rate_hz=1200",
    "Blocks with Reed-Solomon correction over a self-clocking code.",
)
STEADY_WORN = Preset(
    "steady-worn",
    "contents/rs:parity_bytes=64/interleave:depth=90/frame:block_bytes=128/biphase:bit_rate_hz=4200,tracks=split",
    "Both tracks of a self-clocking code, a quarter of all for correction: for worn tapes and a microcontroller.",
)
STEADY_ATTIC = Preset(
    "steady-attic",
    "contents/rs:parity_bytes=96/interleave:depth=104/frame:block_bytes=64/biphase:bit_rate_hz=2000,tracks=split",
    "The same at half the speed, with more correction in shorter blocks: for tapes from the attic.",
)
DENSE_PLAYED = Preset(
    "dense-played",
    "contents/rs:parity_bytes=16/convolutional:rate=3of4/scatter/"
    "multicarrier:bits_per_carrier=6,crest_db=13,tilt_db=-10",
    "Hundreds of carriers of 64 points, a quarter of all bits for correction: for tapes in good order.",
)
DENSE_WORN = Preset(
    "dense-worn",
    "contents/rs:parity_bytes=16/convolutional:rate=3of4/scatter/multicarrier:bits_per_carrier=4,crest_db=11",
    "Hundreds of carriers of 16 points, a quarter of all bits for correction: for worn tapes.",
)
DENSE_ATTIC = Preset(
    "dense-attic",
    "contents/rs:parity_bytes=16/convolutional:rate=2of3/scatter/"
    "multicarrier:bits_per_carrier=2,crest_db=10,tilt_db=-4",
    "Hundreds of carriers of 4 points, a third of all bits for correction: for tapes from the attic.",
)
DENSE_PORTABLE = Preset(
    "dense-portable",
    "contents/rs:parity_bytes=16/convolutional:rate=1of2/scatter/"
    "multicarrier:bits_per_carrier=2,high_hz=8000,time_base_hz=3445,crest_db=11",
    "Carriers of 4 points up to 8 kHz and a low time-base tone: for portable recorders and other heads.",
)
