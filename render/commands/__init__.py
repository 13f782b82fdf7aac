"""The commands, by what they are for, what each does with files and the terminal, and what they share."""
