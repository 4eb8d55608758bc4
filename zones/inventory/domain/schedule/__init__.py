"""Reading a mechanical schedule: headings, cells, rows, and what differs. Pure."""
