"""Changing the work: one function per use case, one transaction each."""
