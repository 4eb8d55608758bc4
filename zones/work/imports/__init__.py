"""Files taken in: rows to plain values, all complaints with their cells."""
