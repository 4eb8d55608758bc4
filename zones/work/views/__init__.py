"""Pages of the work."""
