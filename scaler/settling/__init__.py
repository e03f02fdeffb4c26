"""Sizes at a stage: reduction, rows, rules, definitions, and what only conditions fix."""
