"""Farms and weather read from files that people write, and checked before anything is stored."""
