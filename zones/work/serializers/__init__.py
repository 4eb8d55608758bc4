"""What the API of the work takes and gives."""
