"""Where the server begins; a folder of its own, since it becomes a place to import from."""
