"""What is seen of a reading: the engraved score, the curves over it, and the sheet that carries both."""
