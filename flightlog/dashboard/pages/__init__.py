"""One module a page, each with ``show()``."""
