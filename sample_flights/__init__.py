"""Sample flights with known truth, and the generator that made them."""
