"""Pages of the inventory."""
