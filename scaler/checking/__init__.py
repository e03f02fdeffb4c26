"""What holds: statements, bases, verdicts, conflicts, cautions, workability, and why."""
