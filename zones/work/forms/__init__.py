"""Forms of the work's pages."""
