"""Relay hardware that listens: front end, coils, contacts, sequencer, loader; and what it takes to build it.

A tone burst goes through ``front_end`` (amplifier, rectifier, reservoir, coil) to contacts, ``sequencer`` counts the
clock contact through a ``table`` of steps, ``loader`` turns that into a memory image with a log and its faults.
``timing`` answers without a tape whether it will work, ``parts`` what it takes. A ``relay_set`` holds the figures.
"""
