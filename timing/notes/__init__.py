"""Notes: their voices and lanes, how they begin and end, what their ornaments are, where they leave the clock."""
