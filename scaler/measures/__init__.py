"""Lengths, scales and other quantities: text to exact figures and back."""
