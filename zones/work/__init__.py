"""The work of all trades: steps, checkout, punch list, files, labels, plans, progress."""
