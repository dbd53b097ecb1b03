"""Timers: which program is set, and what the next one is."""
