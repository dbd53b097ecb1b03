"""The record of changes: reading it, and noting what concerns several farms."""
