"""A model folder into records: files, entries, grammar, logs, and what only shows at the end."""
