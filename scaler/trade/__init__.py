"""What the catalogues say: threads, drills, stock, ISO 286, trade fits, track standards."""
