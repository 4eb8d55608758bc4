"""Tables of the inventory: one declaration for the page, workbooks and documents."""
