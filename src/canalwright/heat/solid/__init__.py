"""Heat in the root in its own shape, three dimensions."""
