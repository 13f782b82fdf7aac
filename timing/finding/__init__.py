"""Where phrases end, found in the music: the melody, the likelihood of an end after each of its notes, and the phrases
that come of it, nested. A draft is made of them; the cautions ask whether the music itself ends something."""
