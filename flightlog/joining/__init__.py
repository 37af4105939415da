"""Several recordings: which are of one flight, which are copies, and one recording of them."""
