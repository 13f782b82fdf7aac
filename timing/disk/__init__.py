"""Files beside the music: links that lead in a circle, unfinished files, and the user's cache."""
