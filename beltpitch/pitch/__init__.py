"""Plucks to frequency."""
