"""The inventory over the API."""
