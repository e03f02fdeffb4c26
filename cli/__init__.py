"""Command line of scaler: one small module a command group, no arithmetic here."""
