"""Columns of the work's lists."""
