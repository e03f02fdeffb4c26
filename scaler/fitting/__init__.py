"""Single fits in depth: hot and cold, pressed and shrunk, and which side to make first."""
