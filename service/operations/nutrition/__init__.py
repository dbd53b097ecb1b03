"""Leaf, petiole and soil tests, and the plans that follow from them."""
