"""Lists and tables: materials, cutting stock, sizes in from elsewhere, sizes off a print."""
