"""A performance as sound."""
