"""Farms and plans, read for people and programs."""
