"""The routes, one file per thing asked for."""
