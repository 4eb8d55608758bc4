"""Photos and plan pages. The only package that knows Pillow and pypdfium2."""
