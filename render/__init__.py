"""What is heard and seen: MIDI, sound, tables, and the command line."""
