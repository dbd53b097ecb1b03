"""Farms, blocks and controllers: loaded, changed, retired."""
