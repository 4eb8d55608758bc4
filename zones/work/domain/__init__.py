"""Pure types, formulas and rules of the work."""
