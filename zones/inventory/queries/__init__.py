"""Reading the inventory: lists, details and the snapshots that other apps judge."""
