"""A performance as a MIDI file."""
