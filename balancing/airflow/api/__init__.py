"""Flow tests and instruments over the API."""
