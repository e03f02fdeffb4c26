"""The best choice of rows and steps for the whole model at once, or the smallest conflict."""
