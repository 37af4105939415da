"""The team's own files, and what the logbook says about the team."""
