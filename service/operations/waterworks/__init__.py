"""The pipes and the water: catch tests, flow, water reports, acid, fertigation, capacity."""
