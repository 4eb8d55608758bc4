"""Changing the inventory: one function per use case, one transaction each."""
