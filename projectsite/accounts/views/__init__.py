"""Pages of people and projects."""
