"""Bits to audio and back."""
