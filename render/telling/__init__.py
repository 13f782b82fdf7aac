"""What is said, in the terminal and as values, and the words that terminal and page share."""
