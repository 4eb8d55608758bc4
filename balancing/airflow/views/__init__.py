"""Pages of flow tests and instruments."""
