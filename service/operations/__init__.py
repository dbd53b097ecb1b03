"""What the service can be asked to do, one file for each thing; each owns its transaction."""
