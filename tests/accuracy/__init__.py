"""Scripts that measure how good the numbers are. Run by hand; see DEVELOPERS.md."""
