"""Key, wippen and hammer shank as one planar linkage: places, loads, inertia."""
