"""Copies of the database that are made on their own, and for how long they are kept."""
