"""A plan rehearsed: a page in the browser, on this machine alone, where it is changed and heard at once."""
