"""Notifying other systems: who wants to hear of what, noticing it, and sending it."""
