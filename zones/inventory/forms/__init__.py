"""What people type into the inventory."""
