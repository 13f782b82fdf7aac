"""The commands: one module for each, and what they share."""
