"""The demo program: chimes for an invented village clock tower, as its invented relay controller reads them.

128 bytes at address 0. Everything here is made up for this project: the tower, the controller, the table, the tune.

=========  ==========================================================================================
address    meaning
=========  ==========================================================================================
00 to 04   where the steps begin for: quarter past, half past, quarter to, the hour, one stroke of the
           hour (which the controller repeats as often as the hour asks)
05 to 07   not used, 00
08 to 7E   steps, one byte each, in five runs
7F         makes the sum of all 128 bytes 0 modulo 256
=========  ==========================================================================================

A step's high half is what to do, its low half with what:

====  ==========================================
00    end of the run
1b    hammer of bell b on (1 to 15)
2b    hammer of bell b off
3t    wait t tenths of a second
4s    wait s seconds
====  ==========================================
"""

from __future__ import annotations

from importlib.resources import files

NAME = "chime"


def chime_records() -> bytes:
    """The demo program as the text of an Intel HEX file."""
    return files(__package__).joinpath("chime.hex").read_bytes()
