"""Invented teeth, rendered through a scanner model, for tests, demos and accuracy tables."""
