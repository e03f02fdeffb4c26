"""Tolerance chains: worst case, root sum square, draws, shares, allocation, pictures."""
