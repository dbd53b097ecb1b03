"""The pipes and the water: pure functions on laterals, flow, uniformity and water quality."""
