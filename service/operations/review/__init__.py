"""Past and present seasons side by side: hindcasts, counties, reference ET."""
