"""Units, coordinate systems, seeded generators, intervals: used everywhere, know no roads."""
