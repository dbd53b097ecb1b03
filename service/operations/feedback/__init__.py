"""What people and devices report back: runs, soil readings, pauses."""
