"""Telling other systems: who wants to be told of what, noticing it, and sending it."""
