"""Farms and weather read from files that people write, checked before anything is stored."""
