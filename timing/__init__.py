"""What the music does in time: score and plan become a performance. No MIDI, no audio, no files written."""
