"""How long a test waits for a thread, a process or a server before it gives up."""

PATIENCE_S = 300.0
"""Waited out only by a test that fails: what is waited for takes a second or two, and must be given
its time on a machine that is ten times slower and has other work besides."""
