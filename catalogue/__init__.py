"""Packages, evidence and probability. Knows nothing of pixels."""
