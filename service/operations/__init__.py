"""What the service can do, one file per operation; each operation owns its transaction."""
