"""Pages for the bench and the whole-model report."""
