"""Surfaces of a tooth and its pulp: reading, mending, finding the canals in them."""
