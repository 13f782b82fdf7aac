"""What MIDI and sound share: channels, strokes, presets, levels as velocities and controllers, bends as pitch wheel."""
