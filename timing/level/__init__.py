"""Level: of every note as it begins, and of those that are held while they sound."""
