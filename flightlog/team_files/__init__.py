"""Reading the files that the team edits: strict, and with errors that say where and what to do."""
