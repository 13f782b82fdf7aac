"""Instruments: by name and program, how they are tuned, in which octave they sound, what a plan says of each part."""
