"""Schedule files: read, propose, preview. Storing is for ``operations``."""
