"""Time: all that makes the pace, brought into one time map."""
