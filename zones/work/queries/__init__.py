"""Reading the work: board, checkouts, punch list, files, plans, progress."""
