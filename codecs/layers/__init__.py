"""Bits to bits and back."""
