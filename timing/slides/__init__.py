"""Slides: which they are, and what pitch and level do meanwhile."""
