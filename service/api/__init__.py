"""The HTTP interface: routes, schemas and problem documents."""
