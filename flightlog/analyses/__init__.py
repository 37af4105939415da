"""One question per file: what did the flight do, and how sure is that."""
